package bench

import (
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

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
		{"with its side after a blank, and what readers add", ready, "P-01 R\r\n", "P-01", "R"},
		{"a letter that is no side", ready, "PR-XL", "PR-XL", "R"},
		{"a small letter, which is none either", ready, "pr-l", "pr-l", "R"},
		{"at the verdict, its other side", answered, "A-1", "A-1", "R"},
		{"at the verdict, another unit", answered, "R-7007", "R-7007", "L"},
		{"at the verdict, what looks like a shortcut", answered, "U-7005", "U-7005", "L"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, effects := on(t, c.from, Scan{Text: c.text})
			want := c.from.Unit
			want.Serial, want.Side = c.serial, c.side
			if s.Phase != Ready || s.Unit != want || len(effects) != 0 || s.Count != c.from.Count || s.Last != c.from.Last {
				t.Errorf("%+v, effects %v", s, effects)
			}
		})
	}

	shooting := ready.start(now, nil)
	for _, s := range []State{shooting, {Phase: Judging, Unit: ready.Unit}, {Phase: Halted, Unit: ready.Unit}} {
		got, effects, err := s.On(Scan{Text: "B-3"}, now)
		if err == nil || len(effects) != 0 || got.Unit.Serial != "try-2" || got.Phase != s.Phase {
			t.Errorf("%s: a scan goes through: %+v, %v", s.Phase, got, effects)
		}
	}
	s, effects := on(t, shooting, Scan{Text: "B-3-L", GiveUp: "try-2-R"})
	if len(effects) != 1 || effects[0] != StopShooting {
		t.Fatalf("given up: %v", effects)
	}
	if _, _, err := s.On(Scan{Text: "C-4"}, now); err == nil {
		t.Error("a second scan is taken while the first one's unit is being left")
	}
	s, effects = on(t, s, ShotsDone{})
	if s.Phase != Ready || s.Unit.Serial != "B-3" || s.Unit.Side != "L" || len(effects) != 1 || effects[0] != DropShots || s.scanned != "" {
		t.Errorf("after the unit was given up: %+v, %v", s, effects)
	}
	if s, _ = on(t, State{Phase: Halted, Unit: ready.Unit}, Scan{Text: "B-4", GiveUp: "try-2-R"}); s.Phase != Ready || s.Unit.Serial != "B-4" {
		t.Errorf("a halted unit given up: %+v", s)
	}

	for _, bad := range []string{"", "   ", "a/b", "..", strings.Repeat("9", 500), "0123456789012345678901234567890123456789X"} {
		if got, _, err := ready.On(Scan{Text: bad}, now); err == nil || got.Unit.Serial != "try-2" {
			t.Errorf("%.20q is taken as a serial: %q", bad, got.Unit.Serial)
		}
	}
	for _, side := range []string{"", "L"} { // as was chosen before
		s, _ = on(t, ready, Edit{Unit: part.UnitInfo{Serial: "P-02 R", Side: side, Stage: part.Cured}, Follow: FollowTyped})
		if s.Unit.Serial != "P-02" || s.Unit.Side != "R" {
			t.Errorf("a typed side is not parsed: %+v", s.Unit)
		}
	}
}
