package station

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// Records writes what the bench answers to the records.
type Records struct {
	*inspection.Recorder
	Name string // the bench's, for the records
}

// Add is [bench.Recorder]: one transaction, so that an answer is there as a
// whole or not at all.
func (b *Records) Add(ctx context.Context, e bench.Entry) (int64, error) {
	in := records.Inspection{
		Key: e.Key, Serial: e.Unit.Serial, Side: e.Unit.Side, Lot: e.Unit.Lot, Bench: b.Name, Operator: e.Unit.Operator,
		Faceplate: cli.First(e.Unit.Faceplate, b.Faceplate), Resin: b.Resin, Stage: e.Unit.Stage,
		Started: e.Started, Ended: e.Ended, Result: *inspection.WithoutBudgets(e.Outcome.Result), Limits: b.Limits, Station: b.Station, Scales: b.Scales,
		Program: cli.Version, Libraries: inspection.Libraries(),
	}
	for _, s := range e.Shots {
		if len(s.Raw) > 0 {
			in.Pictures = append(in.Pictures, records.Picture{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg,
				MIME: s.MIME, Bytes: s.Raw})
		}
	}
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
	err := b.Store.Withdraw(ctx, id, records.Note{By: by, Why: why})
	if errors.Is(err, records.ErrWithdrawn) {
		return nil
	}
	return err
}

// Restore is done too where a first try's answer was lost.
func (b *Records) Restore(ctx context.Context, id int64, by, why string) error {
	err := b.Store.Restore(ctx, id, records.Note{By: by, Why: why})
	if errors.Is(err, records.ErrHolds) {
		return nil
	}
	return err
}

func (b *Records) Overrule(ctx context.Context, id int64, o part.Overrule) error {
	return b.Store.Overrule(ctx, id, o)
}

// historyMost is how many inspections of a serial the page looks at, the latest.
const historyMost = 40

func (b *Records) History(ctx context.Context, serial string) ([]bench.Past, error) {
	all, err := b.Store.Find(ctx, records.Filter{Serial: serial, Limit: historyMost, NewestFirst: true})
	if err != nil {
		return nil, err
	}
	out := make([]bench.Past, len(all))
	for i := range all {
		out[len(all)-1-i] = pastOf(&all[i])
	}
	return out, nil
}

func pastOf(in *records.Inspection) bench.Past {
	p := bench.Past{
		ID: in.ID, Ended: in.Ended, Result: in.Result, Withdrawn: !in.Holds(), Overruled: in.Overruled,
		Unit: bench.UnitInfo{Serial: in.Serial, Side: in.Side, Lot: in.Lot, Operator: in.Operator, Stage: in.Stage},
	}
	for _, q := range in.Pictures {
		p.Pictures = append(p.Pictures, bench.PastPicture{File: q.File, SHA256: q.SHA256, View: q.View, Light: q.Light,
			AngleDeg: q.AngleDeg})
	}
	return p
}

func (b *Records) PictureBytes(ctx context.Context, sum string) ([]byte, string, error) {
	data, mime, err := b.Store.PictureBytes(ctx, sum)
	if errors.Is(err, records.ErrForgotten) {
		err = bench.ErrForgotten
	}
	return data, mime, err
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
