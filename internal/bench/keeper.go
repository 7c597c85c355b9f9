package bench

import (
	"cmp"
	"context"
	"time"

	"finishbench/internal/part"
)

// Underway is a unit whose verdict is not on record yet.
type Underway struct {
	Unit    part.UnitInfo
	Follow  string
	Started time.Time
	Key     string       // of this going at the unit, see [part.Inspection]
	Shots   []part.Photo `json:"-"` // taken so far
}

// Shown is the verdict that is shown.
type Shown struct {
	ID      int64
	Serial  string
	Follow  string
	Outcome Outcome
}

// Keeper keeps what the bench stands at where the program's end does not reach it.
// Each call replaces what was kept before. Pictures are kept by whoever takes them.
type Keeper interface {
	Begin(Underway) error // before the first picture
	Answer(Shown) error
	Drop() error // nothing is under way or shown
	// Kept is what was kept when the program ended: a unit under way, else a verdict; nil for none.
	Kept() (*Underway, *Shown, error)
}

// keep tells the keeper what has begun or ended with a step from old to next. What cannot be kept
// is logged: the bench goes on.
func (b *Station) keep(old, next *Snapshot) {
	var err error
	switch {
	case b.Keeper == nil || next.Phase == old.Phase:
		return
	case next.Phase == Shooting && next.Key != old.Key:
		err = b.Keeper.Begin(Underway{Unit: next.Unit, Follow: next.Follow, Started: next.Started, Key: next.Key})
	case next.Phase == Answered:
		err = b.Keeper.Answer(Shown{next.Answer.ID, next.Answer.Serial, next.Follow, next.Answer.Outcome})
	case next.Phase == Ready:
		err = b.Keeper.Drop()
	}
	if err != nil {
		b.Log("bench: what is under way would not survive the program's end: %v", err)
	}
}

// Resume puts the bench where the program ended last: before the rest of a unit's pictures, or at a verdict that still holds. Call
// it before Run.
func (b *Station) Resume(ctx context.Context) {
	if b.Keeper == nil {
		return
	}
	unit, shown, err := b.Keeper.Kept()
	s := *b.now.Load()
	switch {
	case err != nil:
		b.Log("bench: what was under way when the program ended is lost: %v", err)
		p := part.Say("problem.not_resumed", "why", err.Error())
		s.Problem = &p
	case unit != nil:
		p := part.Say("problem.resumed", "at", unit.Started.Local().Format("2006-01-02 15:04"))
		s.Phase, s.Unit, s.Follow, s.Started, s.Key, s.Shots, s.Problem = Halted, unit.Unit, cmp.Or(unit.Follow, s.Follow), unit.Started,
			unit.Key, unit.Shots, &p
		s.Progress.Done = len(unit.Shots)
	case shown != nil:
		a := b.stillHolds(ctx, *shown)
		if a == nil {
			return
		}
		s.Phase, s.Unit, s.Follow, s.Answer, s.Last = Answered, a.UnitInfo, cmp.Or(shown.Follow, s.Follow), a, a
	default:
		return
	}
	b.now.Store(&s)
}

// stillHolds is the verdict as the records have it; nil where it was withdrawn or corrected since, or cannot be asked for.
func (b *Station) stillHolds(ctx context.Context, shown Shown) *Answer {
	past, err := b.Recorder.History(ctx, shown.Serial)
	if err != nil {
		b.Log("bench: the verdict %d of %s: %v", shown.ID, shown.Serial, err)
		return nil
	}
	for i, in := range past {
		if in.ID == shown.ID && in.Holds() && shown.Outcome.Result != nil {
			before := past[:i]
			return &Answer{Inspection: in, Outcome: shown.Outcome, Before: latest(before, in.Side),
				Other: latest(before, otherSide(in.Side))}
		}
	}
	return nil
}
