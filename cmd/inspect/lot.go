package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

const lotHelp = `lot judges a lot by a sample. Which plan, which units, what was seen on them, who
decided: each step is an event in the records, and none can be changed later.

  inspect lot plan             what a plan looks at, accepts, lets through
  inspect lot design ...       a plan from two points, beside the tables
  inspect lot plan 31 ...      opens lot 31 with it
  inspect lot draw 31 ...      draws the units that are looked at
  inspect lot take 31 ...      takes them, from the records or from pictures
  inspect lot show 31          where it stands
  inspect lot decide 31 ...    accepts or refuses it, signed
  inspect lot step 31 ...      judges the steps by measured values, beside the counts
  inspect lot report 31 ...    all that is to be told of it, as PDF, XLSX, CSV, JSON
  inspect lot chart ...        the process over many lots

Plans, levels and classes come from the station file's key lots.`

const lotExit = `EXIT STATUS
  0    done; with decide: the lot is accepted
  1    it could not be done; the lot is as it was before
  2    wrong usage; nothing was done
  3    with decide: the lot is refused
  4    with take: some unit could not be measured
  130  stopped by ctrl-C; units already taken stay taken`

// newLotCommand is 'inspect lot'.
func newLotCommand() *cobra.Command {
	var o cli.Database
	cmd := &cobra.Command{
		Use:   "lot",
		Short: "Judge lots by samples: plan, draw, take, decide",
		Long:  lotHelp + "\n\n" + lotExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: lot plan, draw, take, decide, show, list, step, design, report or chart (see 'inspect lot --help')")
		},
	}
	f := cmd.PersistentFlags()
	f.StringVar(&o.URL, "record", "", "database of lots and inspections: a SQLite file, or postgres://USER@HOST/DATABASE (default: the station file's)")
	f.StringVar(&o.Station, "station", "", "station file: names the database, and how lots are judged")
	cmd.AddCommand(newLotPlanCommand(&o), newLotDrawCommand(&o), newLotTakeCommand(&o), newLotDecideCommand(&o), newLotShowCommand(&o), newLotListCommand(&o), newLotStepCommand(&o), newLotDesignCommand(), newLotReportCommand(&o), newLotChartCommand(&o))
	return cmd
}

// lotTopic is the records' journal of lots.
const lotTopic = "lot"

// lotEvents are a journal's entries as a lot's events.
func lotEvents(entries []records.Entry) []lots.Event {
	out := make([]lots.Event, len(entries))
	for i, e := range entries {
		out[i] = lots.Event{Lot: e.Name, Seq: e.Seq, Kind: e.Kind, At: e.At, By: e.By, Body: e.Body}
	}
	return out
}

// lotEntry is an event as the records keep it.
func lotEntry(e lots.Event) records.Entry {
	return records.Entry{Topic: lotTopic, Name: e.Lot, Seq: e.Seq, Kind: e.Kind, At: e.At, By: e.By, Body: e.Body}
}

// foldLot reads a lot. One that was never opened is no error: its State is
// [lots.StateNone].
func foldLot(ctx context.Context, s *records.Store, name string) (lots.Lot, error) {
	entries, err := s.Journal(ctx, lotTopic, name)
	if err != nil {
		return lots.Lot{}, err
	}
	l, err := lots.Fold(lotEvents(entries))
	l.Name = name
	return l, err
}

// loadLot reads a lot that must be there, and the inspections of the units of its
// current sample, in the draw's order and in brief form ([records.Store.BriefsOf]).
// Units that were not looked at have none. No picture is read.
func loadLot(ctx context.Context, s *records.Store, name string) (lots.Lot, []records.Inspection, error) {
	l, err := foldLot(ctx, s, name)
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
	all, err := s.Journals(ctx, lotTopic, lots.Opened)
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

// lotBook writes the events of one lot. It may be used by several goroutines at
// once, and other programs may write to the same lot.
type lotBook struct {
	store *records.Store
	now   func() time.Time

	mu  sync.Mutex
	lot lots.Lot
}

// openLotBook reads a lot, to write its next events.
func openLotBook(ctx context.Context, s *records.Store, name string) (*lotBook, error) {
	l, err := foldLot(ctx, s, name)
	return &lotBook{store: s, now: time.Now, lot: l}, err
}

// openLot opens the records and the book of a lot that must be there. Who calls it
// closes the book's store.
func openLot(ctx context.Context, o *cli.Database, name string) (*lotBook, error) {
	store, err := o.Open(ctx)
	if err != nil {
		return nil, err
	}
	book, err := openLotBook(ctx, store, name)
	if err == nil && book.lot.Current() == nil {
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

// step takes one step of the lot: make says which, from the lot as it is.
func (b *lotBook) step(ctx context.Context, make func(*lots.Lot, time.Time) (lots.Event, error)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for try := 1; ; try++ {
		e, err := make(&b.lot, b.now())
		if err != nil {
			return lotError(err)
		}
		err = b.store.Note(ctx, lotEntry(e))
		if err == nil {
			return b.lot.Apply(e)
		}
		if !errors.Is(err, records.ErrMeanwhile) || try == meanwhileTries {
			return err
		}
		if b.lot, err = foldLot(ctx, b.store, b.lot.Name); err != nil {
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

// lotUnit makes a lot's unit of an inspection.
func lotUnit(name string, in *records.Inspection) lots.Unit {
	u := lots.See(name, &in.Result, in.Verdict())
	u.Stage, u.Lot, u.Inspection, u.Limits, u.Seen = in.Stage, in.Lot, in.ID, in.Limits.SHA256, in.Ended
	return u
}

// lotHistory reads the events that switching goes by.
func lotHistory(ctx context.Context, s *records.Store) ([]lots.Event, error) {
	entries, err := s.Journals(ctx, lotTopic, lots.HistoryKinds()...)
	return lotEvents(entries), err
}

// stateWord says a lot's state.
func stateWord(s lots.State) string {
	switch s {
	case lots.StateNone:
		return "not opened"
	case lots.StateToDraw:
		return "to be drawn"
	case lots.StateWaiting:
		return "waits for its sample"
	case lots.StateToDecide:
		return "to be decided"
	}
	return string(s)
}

// severitiesOf is "critical, major".
func severitiesOf(list []part.Severity) string {
	names := make([]string, len(list))
	for i, s := range list {
		names[i] = string(s)
	}
	return strings.Join(names, ", ")
}

// latestOpenings is the latest opening of a lot of each product, and the products in
// the order in which they were first seen.
func latestOpenings(events []lots.Event) (map[string]lots.Opening, []string, error) {
	latest := map[string]lots.Opening{}
	var order []string
	for _, e := range events {
		if e.Kind != lots.Opened && e.Kind != lots.Replanned && e.Kind != lots.Resubmitted {
			continue
		}
		var o lots.Opening
		if err := json.Unmarshal(e.Body, &o); err != nil {
			return nil, nil, fmt.Errorf("lot %s: event %d: %w", e.Lot, e.Seq, err)
		}
		if _, ok := latest[o.Product]; !ok {
			order = append(order, o.Product)
		}
		latest[o.Product] = o
	}
	return latest, order, nil
}
