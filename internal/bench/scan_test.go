package bench

import (
	"errors"
	"testing"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/scan"
)

// unitScan is a unit's scan.
func unitScan(name string) Scan {
	serial, side, _ := scan.Serial(name)
	return Scan{Code: scan.Code{Kind: scan.Unit, Value: serial, Side: side}}
}

// A scan names the unit that is wanted, whatever stands on the page; it never
// withdraws, retakes or appends.
func TestScanNamesTheUnit(t *testing.T) {
	now := time.Unix(1e9, 0)
	on := func(t *testing.T, s State, e Event) (State, []Effect) {
		t.Helper()
		got, effects, err := s.On(e, now)
		if err != nil {
			t.Fatalf("%+v: %v", e, err)
		}
		return got, effects
	}
	unit := part.UnitInfo{Serial: "try-2", Side: "R", Stage: part.Cured, Lot: "W48", Operator: "anna"}
	ready := State{Phase: Ready, Unit: unit, Follow: FollowNumber}
	answer := &Answer{Inspection: part.Inspection{ID: 7, UnitInfo: part.UnitInfo{Serial: "A-1", Side: "L", Stage: part.Cured, Lot: "W48"}}}
	answered := State{Phase: Answered, Unit: answer.UnitInfo, Answer: answer, Last: answer, Follow: FollowPair, Count: 1}
	for _, c := range []struct {
		name         string
		from         State
		text         string
		serial, side string
	}{
		{"over a suggestion", ready, "A-1001", "A-1001", "R"},
		{"with its side", ready, "P-01-L", "P-01", "L"},
		{"with its side after a blank", ready, "P-01 R", "P-01", "R"},
		{"a letter that is no side", ready, "PR-XL", "PR-XL", "R"},
		{"a small letter, which is none either", ready, "pr-l", "pr-l", "R"},
		{"at the verdict, its other side", answered, "A-1", "A-1", "R"},
		{"at the verdict, another unit", answered, "R-7007", "R-7007", "L"},
		{"at the verdict, what looks like a shortcut", answered, "U-7005", "U-7005", "L"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, effects := on(t, c.from, unitScan(c.text))
			want := c.from.Unit
			want.Serial, want.Side = c.serial, c.side
			if s.Phase != Ready || s.Unit != want || len(effects) != 0 || s.Count != c.from.Count || s.Last != c.from.Last {
				t.Errorf("%+v, effects %v", s, effects)
			}
		})
	}

	shooting := ready.start(now, nil)
	for _, s := range []State{shooting, {Phase: Judging, Unit: ready.Unit}, {Phase: Halted, Unit: ready.Unit}} {
		got, effects, err := s.On(unitScan("B-3"), now)
		if err == nil || len(effects) != 0 || got.Unit.Serial != "try-2" || got.Phase != s.Phase {
			t.Errorf("%s: a scan goes through: %+v, %v", s.Phase, got, effects)
		}
	}
	for _, same := range []string{"try-2", "try-2-R"} {
		refusedAs(t, shooting, unitScan(same), "wrong.scan_same")
	}
	if _, _, err := shooting.On(unitScan("B-3"), now); !errors.As(err, &asking{}) {
		t.Errorf("while shooting it is not asked: %v", err)
	}
	giving := func(name string) Scan { e := unitScan(name); e.GiveUp = "try-2-R"; return e }
	s, effects := on(t, shooting, giving("B-3-L"))
	if len(effects) != 1 || effects[0] != StopShooting {
		t.Fatalf("given up: %v", effects)
	}
	if _, _, err := s.On(unitScan("C-4"), now); err == nil {
		t.Error("a second scan is taken while the first one's unit is being left")
	}
	s, effects = on(t, s, ShotsDone{})
	if s.Phase != Ready || s.Unit.Serial != "B-3" || s.Unit.Side != "L" || len(effects) != 1 || effects[0] != DropShots || s.scanned != nil {
		t.Errorf("after the unit was given up: %+v, %v", s, effects)
	}
	if s, _ = on(t, State{Phase: Halted, Unit: ready.Unit}, giving("B-4")); s.Phase != Ready || s.Unit.Serial != "B-4" {
		t.Errorf("a halted unit given up: %+v", s)
	}

	for _, side := range []string{"", "L"} { // as was chosen before
		s, _ = on(t, ready, Edit{Unit: part.UnitInfo{Serial: "P-02 R", Side: side, Stage: part.Cured}, Follow: FollowTyped})
		if s.Unit.Serial != "P-02" || s.Unit.Side != "R" {
			t.Errorf("a typed side is not parsed: %+v", s.Unit)
		}
	}
}

// A badge, a lot, a batch of faceplates hold from the next start on, and never touch the unit that
// is shown; two units at once are none.
func TestOtherScans(t *testing.T) {
	code := func(k scan.Kind, v string) Scan { return Scan{Code: scan.Code{Kind: k, Value: v}} }
	s := readyFor("k7")
	s.Follow = FollowNumber
	s, _ = on(t, s, code(scan.Badge, "B17"), code(scan.Lot, "W48"), code(scan.Faceplate, "F-3"))
	want := part.UnitInfo{Serial: "k7", Side: "L", Stage: part.Wet, Lot: "W48", Operator: "B17", Faceplate: "F-3"}
	if s.Unit != want || s.Phase != Ready || s.Done.Args["kind"] != "@scan.kind.faceplate" {
		t.Errorf("%+v, %+v", s.Unit, s.Done)
	}
	shooting, _ := on(t, s, Press{})
	refusedAs(t, shooting, code(scan.Badge, "B18"), "wrong.scan_later")
	s, _ = on(t, shooting, ShotsDone{Shots: someShots})
	refusedAs(t, s, code(scan.Badge, "B18"), "wrong.scan_wait")
	s, _ = on(t, s, Judged{Answer: answerOf(s)})
	s, _ = on(t, s, code(scan.Badge, "B18"), code(scan.Lot, "W49"))
	if s.Phase != Answered || s.Answer.UnitInfo != want {
		t.Errorf("the verdict shown became %s, %+v", s.Phase, s.Answer.UnitInfo)
	}
	for name, e := range map[string]Event{"press": Press{}, "scan": unitScan("k9")} {
		if next, _ := on(t, s, e); next.Unit.Operator != "B18" || next.Unit.Lot != "W49" || next.Unit.Faceplate != "F-3" {
			t.Errorf("after a %s: %+v", name, next.Unit)
		}
	}
	if again, _ := on(t, s, Retry{}); again.Unit.Operator != "B18" || again.Unit.Lot != "W48" {
		t.Errorf("taken again: %+v", again.Unit)
	}
	both := unitScan("k9")
	both.Lot = "W50"
	if next, _ := on(t, s, both); next.Unit.Lot != "W50" || len(next.Done.Parts["also"]) != 1 {
		t.Errorf("a unit's code with its lot: %+v", next.Unit)
	}

	soon := func(name string, ms int) Scan {
		e := unitScan(name)
		e.After = time.Duration(ms) * time.Millisecond
		return e
	}
	for _, from := range []State{readyFor("k7"), s} {
		two, _ := on(t, from, unitScan("A-1"), soon("B-2", 30))
		if two.Unit.Serial != "" || two.Problem == nil || two.Problem.Key != "problem.two_scans" {
			t.Errorf("two at once: %+v, %+v", two.Unit, two.Problem)
		}
		refusedAs(t, two, Press{}, "wrong.serial_empty")
		if three, _ := on(t, two, soon("C-3", 30)); three.Unit.Serial != "" {
			t.Errorf("three at once: %+v", three.Unit)
		}
		if then, _ := on(t, two, soon("C-3", 900)); then.Unit.Serial != "C-3" || then.Problem != nil {
			t.Errorf("scanned again: %+v, %+v", then.Unit, then.Problem)
		}
		for _, fine := range []Scan{soon("A-1", 30), soon("B-2", 100), unitScan("B-2")} {
			if one, _ := on(t, from, unitScan("A-1"), fine); one.Unit.Serial != fine.Value {
				t.Errorf("%+v: %+v", fine, one.Unit)
			}
		}
	}
}
