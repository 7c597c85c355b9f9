package bench

import (
	"context"
	"errors"
	"math"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"finishbench/internal/part"
)

// Parts are what a station is put together from.
type Parts struct {
	Shooter   Shooter
	Inspector Inspector
	Recorder  Recorder
	Notices   Notices    // nil: none
	Sheets    SheetMaker // nil: no shift sheet
	Quizzes   Quizzes    // nil: no blind tests
	Atlas     Atlas      // nil: no atlas
	Lots      Lots       // nil: no lots
	Keeper    Keeper     // nil: a unit under way ends with the program
	Screens   *Screens   // that give light; nil: those that NewStation makes
	Stopped   *Stopped   // how long a unit stands still for the plan's pictures; nil: nothing is known of it
	// StoppedWet is the same for units at stage wet, where these have a plan of their own.
	StoppedWet *Stopped
	PairLimits part.PairLimits
	Now        func() time.Time
	Log        func(format string, a ...any) // faults, for whoever looks after the program; nil: nowhere
}

// Station is one bench: the state, and the work that goes on behind it.
type Station struct {
	Parts
	events chan posted
	now    atomic.Pointer[Snapshot]
	hub    hub
	live   liveCache

	work   sync.WaitGroup
	cancel context.CancelFunc // of the shooting under way; used by the loop only
	ended  chan struct{}      // closed when Run is over
}

// Snapshot is a state with its number.
type Snapshot struct {
	State
	Version int64 // counts every change
	Turn    int64 // counts changes of what a press would do; a press says which it saw
}

// posted is an event on its way to the loop.
type posted struct {
	e     Event
	turn  int64 // -1: whatever turn it is
	reply chan error
}

// writeTime bounds a write to the records.
const writeTime = 20 * time.Second

// NewStation returns a station that is ready for a unit. Call Run.
func NewStation(p Parts, first part.UnitInfo, follow string) *Station {
	if p.Now == nil {
		p.Now = time.Now
	}
	if p.Log == nil {
		p.Log = func(string, ...any) {}
	}
	if p.Screens == nil {
		p.Screens = NewScreens()
	}
	if first.Stage == "" {
		first.Stage = part.Wet
	}
	if follow == "" {
		follow = FollowTyped
	}
	b := &Station{Parts: p, events: make(chan posted), ended: make(chan struct{})}
	b.live.shooter = p.Shooter
	b.now.Store(&Snapshot{State: State{Phase: Ready, Unit: first, Follow: follow}, Version: 1, Turn: 1})
	return b
}

// Snapshot is the state as it is.
func (b *Station) Snapshot() *Snapshot { return b.now.Load() }

// Run carries events out until ctx ends. It then stops a shooting under way,
// lets a judging and its recording finish, and returns.
func (b *Station) Run(ctx context.Context) {
	defer close(b.ended)
	defer b.hub.close()
	defer b.Screens.hub.close()
	done := ctx.Done()
	var idle chan struct{} // closed once all work is over, after ctx has ended
	for {
		select {
		case p := <-b.events:
			err := b.handle(ctx, p)
			if p.reply != nil {
				p.reply <- err
			}
		case <-done:
			done = nil
			if b.cancel != nil {
				b.cancel()
			}
			idle = make(chan struct{})
			go func() { b.work.Wait(); close(idle) }()
		case <-idle:
			return
		}
	}
}

// errEnded says that the program is about to end.
var errEnded = refuse("lost_server")

// Send hands events of people to the station, one after the other up to the
// first that is refused. turn is the turn that the person saw, -1 where it does
// not matter.
func (b *Station) Send(ctx context.Context, turn int64, events ...Event) error {
	for _, e := range events {
		p := posted{e, turn, make(chan error, 1)}
		select {
		case b.events <- p:
		case <-b.ended:
			return errEnded
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := <-p.reply; err != nil {
			return err
		}
	}
	return nil
}

// post hands in what work has to tell; the loop takes it as long as work goes on.
func (b *Station) post(e Event) {
	select {
	case b.events <- posted{e, -1, nil}:
	case <-b.ended:
	}
}

func (b *Station) handle(ctx context.Context, p posted) error {
	old := b.now.Load()
	if p.turn >= 0 && p.turn != old.Turn {
		return refuse("wrong.stale")
	}
	s, effects, err := old.State.On(p.e, b.Now())
	if err != nil {
		return err
	}
	if ctx.Err() != nil && s.Phase == Shooting && old.Phase != Shooting {
		return errEnded
	}
	if s.Phase == Shooting && s.Key == "" {
		s.Key = token()
	}
	next := &Snapshot{State: s, Version: old.Version + 1, Turn: old.Turn}
	_, scanned := p.e.(Scan)
	if s.Phase != old.Phase || (s.Progress.Asking == nil) != (old.Progress.Asking == nil) || scanned && s.Unit != old.Unit {
		next.Turn++
	}
	b.keep(old, next) // before the first picture, and before a verdict is seen
	for _, e := range effects {
		b.carryOut(ctx, e, next, p.e)
	}
	if len(effects) == 1 && effects[0] == DropShots {
		next.Shots = nil
	}
	b.now.Store(next)
	b.hub.wake()
	return nil
}

func (b *Station) carryOut(ctx context.Context, e Effect, s *Snapshot, why Event) {
	switch e {
	case StartShooting:
		work, cancel := context.WithCancel(ctx)
		b.cancel = cancel
		b.behind(func() { b.shoot(work, cancel, s.Unit, s.Shots) }, func(p *part.Phrase) Event { return ShotsDone{s.Shots, p} })
	case StopShooting:
		b.cancel()
	case TellPress:
		b.Shooter.Press()
	case StartJudging:
		b.behind(func() { b.judge(ctx, s.State) }, func(p *part.Phrase) Event { return Judged{nil, p} })
	case DropShots:
		b.Shooter.Release(s.Shots)
	case StartUndo:
		id, by := s.Last.ID, why.(Undo).By
		b.behind(func() {
			write, stop := writing(ctx)
			defer stop()
			b.post(Undone{phraseOf("problem.undo", b.Recorder.Withdraw(write, id, by, "undo"))})
		}, func(p *part.Phrase) Event { return Undone{p} })
	case StartRestore:
		id, by := s.Withdrawn.ID, why.(Restore).By
		b.behind(func() {
			write, stop := writing(ctx)
			defer stop()
			b.post(Restored{phraseOf("problem.restore", b.Recorder.Restore(write, id, by, "undo"))})
		}, func(p *part.Phrase) Event { return Restored{p} })
	case StartOverrule:
		id, o := s.Answer.ID, why.(Overruling).Overrule
		o.At = b.Now().UTC()
		b.behind(func() {
			write, stop := writing(ctx)
			defer stop()
			b.post(OverruleDone{o, phraseOf("problem.overrule", b.Recorder.Overrule(write, id, o))})
		}, func(p *part.Phrase) Event { return OverruleDone{o, p} })
	}
}

// writing is a context for writes: the end of the program does not break them
// off, only time does.
func writing(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(ctx), writeTime)
}

// behind does work in the background. A fault in it becomes an event, so that
// the bench never hangs in a phase.
func (b *Station) behind(work func(), fault func(*part.Phrase) Event) {
	b.work.Go(func() {
		defer func() {
			if r := recover(); r != nil {
				b.Log("bench: fault: %v\n%s", r, debug.Stack())
				b.post(fault(&part.Phrase{Key: "problem.fault"}))
			}
		}()
		work()
	})
}

func (b *Station) shoot(ctx context.Context, cancel context.CancelFunc, u part.UnitInfo, kept []part.Photo) {
	defer cancel()
	shots, err := b.Shooter.Shoot(ctx, u, kept, func(p Progress) { b.post(Progressed{p}) })
	b.post(ShotsDone{shots, phraseOf("problem.shooter", err)})
}

// judge measures the pictures and records the answer. What could not be recorded
// is no answer.
func (b *Station) judge(ctx context.Context, s State) {
	// A unit whose pictures are all there is answered and written even while
	// the program ends.
	ctx = context.WithoutCancel(ctx)
	o, err := b.Inspector.Inspect(ctx, s.Unit, s.Shots)
	if err != nil || o.Result == nil {
		b.post(Judged{nil, phraseOf("problem.judge", errors.Join(err, missingResult(o)))})
		return
	}
	o.Result.StoppedS = stoppedS(s)
	// A clock that was set back meanwhile does not end a unit before its start.
	ended := s.Started.Add(max(0, b.Now().Sub(s.Started))).UTC()
	a := &Answer{Outcome: o, Inspection: part.Inspection{Key: s.Key, UnitInfo: s.Unit, Started: s.Started.UTC(), Ended: ended,
		Result: *o.Result}}
	a.Before, a.Other, a.Unread = b.earlier(ctx, s.Unit)
	write, stop := writing(ctx)
	defer stop()
	record := a.Inspection
	record.Pictures = toStore(s.Shots) // the answer does not hold on to their files
	if a.ID, err = b.Recorder.Add(write, record); err != nil {
		b.post(Judged{nil, phraseOf("problem.record", err)})
		return
	}
	b.post(Judged{a, nil})
}

// toStore are the shots of which there is a file.
func toStore(shots []part.Photo) []part.StoredPicture {
	var out []part.StoredPicture
	for _, s := range shots {
		if len(s.Raw) > 0 {
			out = append(out, part.StoredPicture{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg, MIME: s.MIME,
				Bytes: s.Raw})
		}
	}
	return out
}

// stoppedS is how long the unit stood still, s: from the press that started it to its last
// picture; nil where that was played back, or is not known.
func stoppedS(s State) *float64 {
	last := time.Time{}
	for _, x := range s.Shots {
		if x.Came.After(last) {
			last = x.Came
		}
	}
	if last.Before(s.Started) { // also where the clock was set back
		return nil
	}
	return part.Num(math.Round(10*last.Sub(s.Started).Seconds()) / 10)
}

func missingResult(o Outcome) error {
	if o.Result == nil {
		return errors.New("no result")
	}
	return nil
}

// earlier finds the latest inspection of the same side, and of the other one;
// unread says that the records could not be asked.
func (b *Station) earlier(ctx context.Context, u part.UnitInfo) (before, other *part.Inspection, unread bool) {
	past, err := b.Recorder.History(ctx, u.Serial)
	if err != nil {
		b.Log("bench: history of %s: %v", u.Serial, err)
		return nil, nil, true
	}
	return latest(past, u.Side), latest(past, otherSide(u.Side)), false
}

func otherSide(side string) string {
	switch side {
	case "L":
		return "R"
	case "R":
		return "L"
	}
	return "?" // a unit without a side has no other
}

// latest is the last inspection of a side that holds; nil where there is none.
func latest(past []part.Inspection, side string) *part.Inspection {
	for i := len(past) - 1; i >= 0; i-- {
		if past[i].Holds() && past[i].Side == side {
			return &past[i]
		}
	}
	return nil
}

// phraseOf turns an error into a phrase: its own, else that of the key; nil where there is none.
func phraseOf(key string, err error) *part.Phrase {
	if err == nil {
		return nil
	}
	var own *part.Trouble
	if errors.As(err, &own) {
		return &own.Phrase
	}
	p := part.Say(key, "why", err.Error())
	return &p
}
