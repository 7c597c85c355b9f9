package bench

import (
	"math/rand/v2"
	"testing"
	"time"

	"finishbench/internal/part"
)

// on applies events that must not be refused.
func on(t *testing.T, s State, events ...Event) (State, []Effect) {
	t.Helper()
	var all []Effect
	for _, e := range events {
		next, effects, err := s.On(e, time.Unix(0, 0))
		if err != nil {
			t.Fatalf("%T in %s: %v", e, s.Phase, err)
		}
		s, all = next, append(all, effects...)
	}
	return s, all
}

func refusedAs(t *testing.T, s State, e Event, key string) {
	t.Helper()
	next, effects, err := s.On(e, time.Unix(0, 0))
	if err == nil || err.Error() != key || len(effects) > 0 || next.Phase != s.Phase {
		t.Errorf("%T in %s: %v, effects %v; %s wanted", e, s.Phase, err, effects, key)
	}
}

var someShots = []part.Photo{{Shot: part.Shot{File: "a"}}, {Shot: part.Shot{File: "b"}}}

func readyFor(serial string) State {
	return State{Phase: Ready, Unit: part.UnitInfo{Serial: serial, Side: "L", Stage: part.Wet, Lot: "7", Operator: "finisher 3"},
		Follow: FollowPair}
}

func answerOf(s State) *Answer {
	return &Answer{Inspection: part.Inspection{ID: 5, UnitInfo: s.Unit, Result: part.Result{Verdict: part.Rework}},
		Outcome: Outcome{Result: &part.Result{Verdict: part.Rework}}}
}

func TestUnitGoesRound(t *testing.T) {
	s, e := on(t, readyFor("k7"), Press{})
	if s.Phase != Shooting || len(e) != 1 || e[0] != StartShooting {
		t.Fatalf("after the press: %s, %v", s.Phase, e)
	}
	refusedAs(t, s, Press{}, "wrong.wait") // a second press while it shoots does nothing
	s, e = on(t, s, Progressed{Progress{Done: 1, Total: 2}}, ShotsDone{Shots: someShots})
	if s.Phase != Judging || e[0] != StartJudging || len(s.Shots) != 2 {
		t.Fatalf("after the shots: %s, %v", s.Phase, e)
	}
	refusedAs(t, s, Press{}, "wrong.wait")
	refusedAs(t, s, Undo{}, "wrong.wait")
	s, e = on(t, s, Judged{Answer: answerOf(s)})
	if s.Phase != Answered || s.Count != 1 || e[0] != DropShots {
		t.Fatalf("after the judging: %s, %d, %v", s.Phase, s.Count, e)
	}
	s, _ = on(t, s, Press{})
	if s.Phase != Ready || s.Unit.Serial != "k7" || s.Unit.Side != "R" || s.Unit.Lot != "7" || s.Unit.Operator != "finisher 3" {
		t.Errorf("the next unit is %+v", s.Unit)
	}
}

func TestLostCameraKeepsShots(t *testing.T) {
	s, _ := on(t, readyFor("k7"), Press{}, ShotsDone{Shots: someShots[:1], Problem: &part.Phrase{Key: "problem.shooter"}})
	if s.Phase != Halted || len(s.Shots) != 1 || s.Problem == nil {
		t.Fatalf("%s with %d shots", s.Phase, len(s.Shots))
	}
	again, e := on(t, s, Press{})
	if again.Phase != Shooting || len(again.Shots) != 1 || e[0] != StartShooting || again.Problem != nil {
		t.Errorf("going on: %s with %d shots, %v", again.Phase, len(again.Shots), e)
	}
	up, e := on(t, s, Cancel{})
	if up.Phase != Ready || e[0] != DropShots || up.Unit.Serial != "k7" {
		t.Errorf("given up: %s, %v, %+v", up.Phase, e, up.Unit)
	}
}

func TestCancelWaitsForTheShooter(t *testing.T) {
	s, e := on(t, readyFor("k7"), Press{}, Cancel{})
	if s.Phase != Shooting || e[1] != StopShooting {
		t.Fatalf("%s, %v", s.Phase, e)
	}
	refusedAs(t, s, Cancel{}, "wrong.nothing_to_cancel")
	refusedAs(t, s, Press{}, "wrong.wait")
	s, e = on(t, s, ShotsDone{Shots: someShots, Problem: &part.Phrase{Key: "problem.shooter"}})
	if s.Phase != Ready || e[0] != DropShots || s.Problem != nil || s.Done.Key != "told.cancelled" {
		t.Errorf("%s, %v, %v", s.Phase, e, s.Problem)
	}
}

// All pictures came although it was cancelled: still no answer is given.
func TestCancelAtTheLastShot(t *testing.T) {
	s, _ := on(t, readyFor("k7"), Press{}, Cancel{}, ShotsDone{Shots: someShots})
	if s.Phase != Ready {
		t.Errorf("%s", s.Phase)
	}
}

func TestAskingTakesThePress(t *testing.T) {
	s, _ := on(t, readyFor("k7"), Press{}, Progressed{Progress{Done: 1, Total: 2, Asking: &part.Phrase{Key: "ask.turn"}}})
	s, e := on(t, s, Press{})
	if len(e) != 1 || e[0] != TellPress || s.Progress.Asking != nil {
		t.Errorf("%v, %v", e, s.Progress.Asking)
	}
}

func TestUndoGoesBackToTheUnit(t *testing.T) {
	s, _ := on(t, readyFor("k7"), Press{}, ShotsDone{Shots: someShots})
	s, _ = on(t, s, Judged{Answer: answerOf(s)})
	// After the next press too: the last is still the last.
	s, _ = on(t, s, Press{})
	refusedAs(t, s, Undo{ID: 4}, "wrong.stale") // asked about another
	s, e := on(t, s, Undo{ID: 5})
	if e[0] != StartUndo {
		t.Fatalf("%v", e)
	}
	refusedAs(t, s, Undo{}, "wrong.wait")
	refusedAs(t, s, Press{}, "wrong.wait")
	failed, _ := on(t, s, Undone{Problem: &part.Phrase{Key: "problem.undo"}})
	if failed.Last == nil || failed.Count != 1 || failed.Problem == nil {
		t.Error("an undo that failed must leave the answer as it was")
	}
	s, _ = on(t, s, Undone{})
	if s.Phase != Ready || s.Unit.Side != "L" || s.Count != 0 || s.Last != nil {
		t.Errorf("%s, %+v, %d", s.Phase, s.Unit, s.Count)
	}
	refusedAs(t, s, Undo{}, "wrong.nothing_to_undo")

	// The undo is undone: the verdict is back, and may be undone again.
	refusedAs(t, s, Restore{ID: 4}, "wrong.stale")
	undone := s
	s, e = on(t, s, Restore{ID: 5})
	if e[0] != StartRestore {
		t.Fatalf("%v", e)
	}
	refusedAs(t, s, Press{}, "wrong.wait")
	failed, _ = on(t, s, Restored{Problem: &part.Phrase{Key: "problem.restore"}})
	if failed.Withdrawn == nil || failed.Phase != Ready || failed.Problem == nil {
		t.Error("a restore that failed must leave all as it was")
	}
	s, _ = on(t, s, Restored{})
	if s.Phase != Answered || s.Answer == nil || s.Last != s.Answer || s.Count != 1 || s.Withdrawn != nil || s.Done.Key != "told.restored" {
		t.Errorf("%s, %d, %+v", s.Phase, s.Count, s.Done)
	}
	refusedAs(t, s, Restore{ID: 5}, "wrong.wait")
	// After another unit it comes back on record, and the other's verdict stays the last.
	s, _ = on(t, undone, Edit{part.UnitInfo{Serial: "k8", Stage: part.Wet}, FollowTyped}, Press{}, ShotsDone{Shots: someShots})
	other := answerOf(s)
	other.ID = 6
	s, _ = on(t, s, Judged{Answer: other}, Press{}, Restore{ID: 5}, Restored{})
	if s.Phase != Ready || s.Last != other || s.Count != 2 {
		t.Errorf("%s, %d, last %+v", s.Phase, s.Count, s.Last)
	}
	refusedAs(t, s, Restore{ID: 5}, "wrong.nothing_to_restore")
}

func TestOverruleStandsBeside(t *testing.T) {
	s, _ := on(t, readyFor("k7"), Press{}, ShotsDone{Shots: someShots})
	s, _ = on(t, s, Judged{Answer: answerOf(s)})
	good := Overruling{part.Overrule{By: "finisher 3", Verdict: part.Pass, Reason: "wiped_off"}}
	for _, c := range []struct {
		change func(*Overruling)
		key    string
	}{
		{func(o *Overruling) { o.Reason = "mood" }, "wrong.reason"},
		{func(o *Overruling) { o.By = " " }, "wrong.by"},
		{func(o *Overruling) { o.Reason = part.OverruleOther }, "wrong.note"},
		{func(o *Overruling) { o.Verdict = part.NotMeasured }, "wrong.verdict"},
		{func(o *Overruling) { o.Verdict = part.Rework }, "wrong.same_verdict"},
	} {
		bad := good
		c.change(&bad)
		refusedAs(t, s, bad, c.key)
	}
	before := s.Answer
	s, e := on(t, s, good)
	if e[0] != StartOverrule {
		t.Fatal(e)
	}
	s, _ = on(t, s, OverruleDone{Overrule: good.Overrule})
	if s.Answer.Verdict() != part.Pass || s.Answer.Outcome.Result.Verdict != part.Rework || before.Overruled != nil {
		t.Error("the tool's call must stay beside the person's, and old states as they were")
	}
}

func TestEditIsChecked(t *testing.T) {
	good := Edit{part.UnitInfo{Serial: " K-12\r\n", Stage: part.Cured, Lot: "a\tb", Operator: "x"}, FollowTyped}
	s, _ := on(t, readyFor("k7"), good)
	if s.Unit.Serial != "K-12" || s.Unit.Lot != "a b" {
		t.Errorf("%+v", s.Unit)
	}
	for _, c := range []struct {
		change func(*Edit)
		key    string
	}{
		{func(e *Edit) { e.Unit.Serial = "a/b" }, "wrong.serial_letters"},
		{func(e *Edit) { e.Unit.Serial = ".." }, "wrong.serial_letters"},
		{func(e *Edit) { e.Unit.Serial = "0123456789012345678901234567890123456789x" }, "wrong.serial_long"},
		{func(e *Edit) { e.Unit.Side = "M" }, "wrong.side"},
		{func(e *Edit) { e.Unit.Stage = "raw" }, "wrong.stage"},
		{func(e *Edit) { e.Follow = "dream" }, "wrong.follow"},
	} {
		bad := good
		c.change(&bad)
		refusedAs(t, readyFor("k7"), bad, c.key)
	}
	refusedAs(t, readyFor(""), Press{}, "wrong.serial_empty")
}

func TestNextSerial(t *testing.T) {
	for was, want := range map[string]string{"u06": "u07", "u99": "u100", "007": "008", "a1-b9": "a1-b10", "k12x": "k13x", "abc": "",
		"": "", "9999999999999999999": ""} {
		if got := nextSerial(was); got != want {
			t.Errorf("after %q comes %q, not %q", was, got, want)
		}
	}
	if u := nextUnit(part.UnitInfo{Serial: "u6", Side: "R"}, FollowPair); u.Serial != "u7" || u.Side != "L" {
		t.Errorf("after the right one: %+v", u)
	}
	if u := nextUnit(part.UnitInfo{Serial: "u6", Side: "R"}, FollowTyped); u.Serial != "" || u.Side != "R" {
		t.Errorf("typed: %+v", u)
	}
}

// Whatever comes in whatever order, each phase is one of those known, shots are
// never lost while halted, an answer is there when one is shown, and a long
// piece of work is never begun twice.
func TestAnyOrderOfEvents(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	s := readyFor("k1")
	working := map[Effect]bool{}
	ends := func(e Event) (Effect, bool) {
		switch e.(type) {
		case ShotsDone:
			return StartShooting, true
		case Judged:
			return StartJudging, true
		case Undone:
			return StartUndo, true
		case Restored:
			return StartRestore, true
		case OverruleDone:
			return StartOverrule, true
		}
		return "", false
	}
	for range 200000 {
		all := []Event{Press{}, Press{}, Cancel{}, Retry{}, Undo{ID: 5}, Restore{ID: 5}, unitScan("k3"),
			Edit{part.UnitInfo{Serial: "k2", Stage: part.Wet}, FollowNumber},
			Overruling{part.Overrule{By: "finisher 3", Verdict: part.Pass, Reason: "pattern"}},
			Progressed{Progress{Asking: &part.Phrase{Key: "ask.turn"}}}, ShotsDone{Shots: someShots},
			ShotsDone{Shots: someShots[:1], Problem: &part.Phrase{}}, Judged{Answer: answerOf(s)}, Judged{Problem: &part.Phrase{}},
			Undone{}, Restored{}, OverruleDone{Overrule: part.Overrule{Verdict: part.Pass}}}
		e := all[rnd.IntN(len(all))]
		if w, ok := ends(e); ok {
			if !working[w] {
				continue // work that was not begun does not end
			}
			delete(working, w)
		}
		next, effects, err := s.On(e, time.Unix(0, 0))
		if err != nil {
			if _, ok := ends(e); ok {
				t.Fatalf("%T was refused in %s, the work would hang", e, s.Phase)
			}
			continue
		}
		for _, f := range effects {
			if f == StartShooting || f == StartJudging || f == StartUndo || f == StartRestore || f == StartOverrule {
				if working[f] {
					t.Fatalf("%s begins twice", f)
				}
				working[f] = true
			}
		}
		s = next
		switch {
		case s.Phase == Answered && s.Answer == nil:
			t.Fatal("answered without an answer")
		case s.Phase != Answered && s.Answer != nil:
			t.Fatalf("%s shows an answer", s.Phase)
		case s.Phase == Shooting && !working[StartShooting], s.Phase == Judging && !working[StartJudging]:
			t.Fatalf("%s, but nothing goes on", s.Phase)
		}
	}
}
