package station

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// Records writes what the bench answers to the records.
type Records struct {
	*records.Store
	of *inspection.Recorder
}

// NewRecords are the records that are open.
func NewRecords(of *inspection.Recorder) *Records { return &Records{of.Store, of} }

// Add is [bench.Recorder]: one transaction, so that an answer is there as a
// whole or not at all.
func (b *Records) Add(ctx context.Context, in part.Inspection) (int64, error) {
	b.of.Complete(&in)
	in.Result = *inspection.WithoutBudgets(&in.Result)
	id, err := b.Store.Add(ctx, in)
	var twice *records.KeyError
	if errors.As(err, &twice) {
		// It was recorded, though the answer was lost on the way and nobody saw it;
		// judged again it says something else, for what bars a pass has changed.
		// What is shown now corrects it.
		in.Key, in.Corrects = "", twice.Inspection
		return b.Store.Add(ctx, in)
	}
	return id, err
}

// Withdraw is asked for again where the answer to the first time was lost: then
// it is done.
func (b *Records) Withdraw(ctx context.Context, id int64, by, why string) error {
	err := b.Store.Withdraw(ctx, id, part.Note{By: by, Why: why})
	if errors.Is(err, records.ErrWithdrawn) {
		return nil
	}
	return err
}

// Restore is done too where a first try's answer was lost.
func (b *Records) Restore(ctx context.Context, id int64, by, why string) error {
	err := b.Store.Restore(ctx, id, part.Note{By: by, Why: why})
	if errors.Is(err, records.ErrHolds) {
		return nil
	}
	return err
}

// historyMost is how many inspections of a serial the page looks at, the latest.
const historyMost = 40

// History is [bench.Recorder].
func (b *Records) History(ctx context.Context, serial string) ([]part.Inspection, error) {
	all, err := b.Store.Find(ctx, records.Filter{Serial: serial, Limit: historyMost, NewestFirst: true})
	slices.Reverse(all)
	return all, err
}

// Notices says what stands in the way of trusting an answer. The check
// piece's log is looked at again now and then, not for each browser.
type Notices struct {
	inspection.Settings
	checkLog string
	fixed    []bench.Notice // for as long as the program runs

	mu   sync.Mutex
	at   time.Time
	last []bench.Notice
}

// noticesEvery is the least time between two looks at files.
const noticesEvery = 5 * time.Second

func (n *Notices) Notices(now time.Time) []bench.Notice {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !n.at.IsZero() && now.Sub(n.at) < noticesEvery && !now.Before(n.at) {
		return n.last
	}
	n.at, n.last = now, nil
	if why, barred := inspection.CheckGate(n.checkLog, now); barred {
		n.last = append(n.last, bench.Notice{Phrase: part.Phrase{Key: "notice.check_bars"}.With("why", why), Bars: true})
	}
	if why, barred := n.PoorScale(); barred {
		n.last = append(n.last, bench.Notice{Phrase: part.Phrase{Key: "notice.scale_poor", Args: why.Args}, Bars: true})
	}
	for _, f := range n.Scales {
		args := map[string]string{"file": filepath.Base(f.Path)}
		switch age := f.AgeState(now); age.State {
		case optics.AgeOver:
			n.last = append(n.last, bench.Notice{Phrase: part.Phrase{Key: "notice.scale_over", Args: args}, Bars: true})
		case optics.AgeSoon:
			args["days"] = strconv.Itoa(int(math.Ceil(age.DaysLeft)))
			n.last = append(n.last, bench.Notice{Phrase: part.Phrase{Key: "notice.scale_soon", Args: args}})
		}
	}
	n.last = append(n.last, n.fixed...)
	return n.last
}
