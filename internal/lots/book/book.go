package book

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// Fold reads a lot. One that was never opened is no error: its State is
// [lots.StateNone].
func Fold(ctx context.Context, s *records.Store, name string) (lots.Lot, error) {
	entries, err := s.Journal(ctx, lots.Topic, name)
	if err != nil {
		return lots.Lot{}, err
	}
	l, err := lots.Fold(entries)
	l.Name = name
	return l, err
}

// Load reads a lot that must be there, and the inspections of the units of its
// current sample, in the draw's order and in brief form ([records.Store.BriefsOf]).
// Units that were not looked at have none. No picture is read.
func Load(ctx context.Context, s *records.Store, name string) (lots.Lot, []part.Inspection, error) {
	l, err := Fold(ctx, s, name)
	if err != nil {
		return l, nil, err
	}
	if l.Current() == nil {
		return l, nil, noLot(ctx, s, name)
	}
	ins, err := s.BriefsOf(ctx, takenIDs(l.Current()))
	return l, ins, err
}

// takenIDs are the inspections that a lot's units were taken from, in the draw's order.
func takenIDs(r *lots.Round) []int64 {
	var ids []int64
	for _, p := range r.Sample {
		if p.Unit != nil && p.Unit.Inspection != 0 {
			ids = append(ids, p.Unit.Inspection)
		}
	}
	return ids
}

// noLot says that there is no such lot, and which there are.
func noLot(ctx context.Context, s *records.Store, name string) error {
	all, err := s.Journals(ctx, lots.Topic, lots.Opened)
	if err != nil {
		return err
	}
	const most = 5
	var names []string
	for _, e := range lastOf(all, most) {
		names = append(names, e.Name)
	}
	if len(names) == 0 {
		return cli.Usagef("there is no lot %s in %s: open it with 'inspect lot plan %s --size N'", name, s.Where(), name)
	}
	return cli.Usagef("there is no lot %s in %s; the latest are %s", name, s.Where(), strings.Join(names, ", "))
}

func lastOf[T any](list []T, n int) []T { return list[max(0, len(list)-n):] }

// Book writes the events of one lot. It may be used by several goroutines at
// once, and other programs may write to the same lot.
type Book struct {
	store *records.Store
	now   func() time.Time

	mu  sync.Mutex
	Lot lots.Lot
}

// Open reads a lot, to write its next events.
func Open(ctx context.Context, s *records.Store, name string) (*Book, error) {
	l, err := Fold(ctx, s, name)
	return &Book{store: s, now: time.Now, Lot: l}, err
}

// openFrom opens the records and the book of a lot that must be there. Who calls it
// closes the book's store.
func openFrom(ctx context.Context, o *cli.Database, name string) (*Book, error) {
	store, err := o.Open(ctx)
	if err != nil {
		return nil, err
	}
	book, err := Open(ctx, store, name)
	if err == nil && book.Lot.Current() == nil {
		err = noLot(ctx, store, name)
	}
	if err != nil {
		store.Close()
		return nil, err
	}
	return book, nil
}

// meanwhileTries bounds how often a step is tried again because others wrote to
// the same lot.
const meanwhileTries = 50

// Step takes one step of the lot: make says which, from the lot as it is.
func (b *Book) Step(ctx context.Context, make func(*lots.Lot, time.Time) (part.Entry, error)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for try := 1; ; try++ {
		e, err := make(&b.Lot, b.now())
		if err != nil {
			return lotError(err)
		}
		err = b.store.Note(ctx, e)
		if err == nil {
			return b.Lot.Apply(e)
		}
		if !errors.Is(err, records.ErrMeanwhile) || try == meanwhileTries {
			return err
		}
		if b.Lot, err = Fold(ctx, b.store, b.Lot.Name); err != nil {
			return err
		}
	}
}

// lotError is an error of package lots for a person: a refused step, else wrong
// usage.
func lotError(err error) error {
	var r lots.Refusal
	if errors.As(err, &r) {
		return errors.New(r.Sentence)
	}
	return cli.UsageError{Err: errors.New(strings.TrimPrefix(err.Error(), "lots: "))}
}

// History reads the events that switching goes by.
func History(ctx context.Context, s *records.Store) ([]part.Entry, error) {
	return s.Journals(ctx, lots.Topic, lots.HistoryKinds()...)
}

// latestOpenings is the latest opening of a lot of each product, and the products in
// the order in which they were first seen.
func latestOpenings(events []part.Entry) (map[string]lots.Opening, []string, error) {
	latest := map[string]lots.Opening{}
	var order []string
	for _, e := range events {
		if e.Kind != lots.Opened && e.Kind != lots.Replanned && e.Kind != lots.Resubmitted {
			continue
		}
		var o lots.Opening
		if err := json.Unmarshal(e.Body, &o); err != nil {
			return nil, nil, fmt.Errorf("lot %s: event %d: %w", e.Name, e.Seq, err)
		}
		if _, ok := latest[o.Product]; !ok {
			order = append(order, o.Product)
		}
		latest[o.Product] = o
	}
	return latest, order, nil
}
