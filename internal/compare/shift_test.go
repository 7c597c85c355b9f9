package compare

import (
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"finishbench/internal/part"
)

var six = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// looked is an invented inspection that ended so many minutes after six.
func looked(id int64, serial, side string, minute float64, v part.Verdict, step float64, kinds ...part.Kind) part.Inspection {
	end := six.Add(time.Duration(minute * float64(time.Minute)))
	in := part.Inspection{ID: id, UnitInfo: part.UnitInfo{Serial: serial, Side: side, Stage: part.Wet}, Started: end.Add(-time.Minute),
		Ended: end}
	in.Result.Verdict, in.Result.Seam.WorstStepUM = v, part.Num(step)
	for _, k := range kinds {
		in.Result.Findings = append(in.Result.Findings, part.Finding{Kind: k, Severity: part.Minor})
	}
	return in
}

func TestShift(t *testing.T) {
	over := looked(5, "103", "L", 65, part.Rework, 30, part.Dust)
	over.Overruled = &part.Overrule{Verdict: part.Pass, Reason: "reflection"}
	void := looked(6, "104", "L", 66, part.Reject, 200, part.Chip)
	void.Withdrawn = &part.Note{}
	within := looked(7, "104", "L", 70, part.Pass, -3)
	within.Result.Findings = []part.Finding{{Kind: part.Dust, Severity: part.None}}
	all := []part.Inspection{
		over, void, within,
		looked(1, "101", "L", 2, part.Pass, 5),
		looked(2, "101", "R", 4, part.Rework, -80, part.Bubble, part.Bubble, part.Step),
		looked(3, "102", "L", 5, part.NotMeasured, math.NaN()),
		looked(4, "101", "R", 60, part.Pass, 4, part.Dust), // again, after a pause
	}
	s, err := ShiftOf(all, ShiftOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Inspections != 6 || s.Void != 1 || s.Units != 5 {
		t.Errorf("%d inspections, %d void, %d units", s.Inspections, s.Void, s.Units)
	}
	if s.Calls[part.Pass] != 4 || s.Calls[part.Rework] != 1 || s.Calls[part.NotMeasured] != 1 || s.Calls[part.Reject] != 0 {
		t.Errorf("calls %v", s.Calls)
	}
	if s.Standing[part.Pass] != 4 || s.Standing[part.Rework] != 0 || s.Standing[part.NotMeasured] != 1 {
		t.Errorf("standing %v", s.Standing)
	}
	// First looks: 101 L passed, 101 R rework, 102 L not measured, 103 L passed by
	// a person, 104 L passed.
	if f := s.First; f.Passed != 3 || f.Measured != 4 || f.NotMeasured != 1 || *f.Yield != 0.75 {
		t.Errorf("first pass %+v", f)
	}
	if f := s.FirstTool; f.Passed != 2 || f.Measured != 4 {
		t.Errorf("first pass by the tool %+v", f)
	}
	if s.Findings != 4 || len(s.Kinds) != 3 || s.Kinds[0] != (KindShare{part.Bubble, 2, 1, 0.5, 0.5}) || s.Kinds[1].Kind != part.Dust ||
		s.Kinds[2].Cumulative != 1 {
		t.Errorf("%d findings: %+v", s.Findings, s.Kinds)
	}
	if len(s.Steps.Points) != 4 || s.Steps.Missing != 1 || s.Steps.Points[1].SizeUM != 80 || s.Steps.Points[1].StepUM != -80 ||
		s.Steps.Limits != nil {
		t.Errorf("steps %+v", s.Steps)
	}
	// One minute for the first, then 2 to 4 to 5, one minute after the pause, then 60 to 65 to 70.
	if want := (1 + 2 + 1 + 1 + 5 + 5) / 60.0; math.Abs(s.ActiveHours-want) > 1e-9 || math.Abs(*s.PerHour-6/want) > 1e-9 {
		t.Errorf("%v active hours, %v an hour", s.ActiveHours, *s.PerHour)
	}
	if len(s.Hours) != 2 || s.Hours[0].Inspections != 3 || s.Hours[1].Inspections != 3 {
		t.Errorf("hours %+v", s.Hours)
	}
	if len(s.Overrules) != 1 || s.Overrules[0] != (Overruling{part.Rework, part.Pass, "reflection", 1}) {
		t.Errorf("overrules %+v", s.Overrules)
	}
}

func TestEmptyShift(t *testing.T) {
	s, err := ShiftOf(nil, ShiftOptions{})
	if err != nil || s.Inspections != 0 || s.First.Yield != nil || s.PerHour != nil || len(s.Kinds)+len(s.Hours) != 0 {
		t.Errorf("%+v %v", s, err)
	}
	one := looked(1, "1", "L", 0, part.Pass, 3)
	one.Started = one.Ended // answered at once
	if s, err := ShiftOf([]part.Inspection{one}, ShiftOptions{}); err != nil || s.PerHour != nil || *s.First.Yield != 1 {
		t.Errorf("%+v %v", s, err)
	}
}

// A unit that was looked at before the shift has no first look in it.
func TestShiftEarlier(t *testing.T) {
	all := []part.Inspection{looked(1, "1", "L", 0, part.Pass, 3, part.Dust), looked(2, "1", "R", 1, part.Rework, 3)}
	s, err := ShiftOf(all, ShiftOptions{Earlier: []part.Look{{Serial: "1", Side: "L", Stage: part.Wet}}})
	if err != nil || s.First.Measured != 1 || s.First.Passed != 0 || s.Findings != 0 || s.Inspections != 2 {
		t.Errorf("%+v %v", s, err)
	}
}

// Steps that jump stand out; limits are those of the charts package.
func TestShiftTrend(t *testing.T) {
	rng := newRand()
	var all []part.Inspection
	for i := range 40 {
		v := 20 + 2*rng.NormFloat64()
		if i == 30 {
			v = -60
		}
		all = append(all, looked(int64(i+1), fmt.Sprint(i), "L", float64(i), part.Pass, v))
	}
	s, err := ShiftOf(all, ShiftOptions{})
	if err != nil || s.Steps.Limits == nil || s.Steps.Limits.Lower < 0 {
		t.Fatalf("%+v %v", s.Steps.Limits, err)
	}
	if len(s.Steps.Points[30].Signals) == 0 || s.Steps.Points[30].Signals[0] != "beyond" {
		t.Errorf("a step of 60 among 20s has no signal: %+v", s.Steps.Points[30])
	}
}

// The order in which inspections come changes nothing, and all sums agree.
func TestShiftSums(t *testing.T) {
	rng := newRand()
	verdicts := []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured}
	for range 200 {
		var all []part.Inspection
		for i := range rng.IntN(60) {
			in := looked(int64(i+1), fmt.Sprint(rng.IntN(12)), []string{"L", "R", ""}[rng.IntN(3)], 300*rng.Float64(),
				verdicts[rng.IntN(4)], 50*rng.NormFloat64())
			for range rng.IntN(4) {
				in.Result.Findings = append(in.Result.Findings, part.Finding{Kind: part.Kinds[rng.IntN(len(part.Kinds))],
					Severity: part.Severities[rng.IntN(5)]})
			}
			if rng.IntN(8) == 0 {
				in.CorrectedBy = 99
			}
			all = append(all, in)
		}
		a, err := ShiftOf(all, ShiftOptions{})
		if err != nil {
			t.Fatal(err)
		}
		rng.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		b, err := ShiftOf(all, ShiftOptions{})
		if err != nil || !reflect.DeepEqual(a, b) {
			t.Fatalf("another order, other figures: %v", err)
		}
		calls, kinds, hours := 0, 0, 0
		for _, n := range a.Calls {
			calls += n
		}
		for _, k := range a.Kinds {
			kinds += k.Count
		}
		for _, h := range a.Hours {
			hours += h.Inspections
		}
		if calls != a.Inspections || hours != a.Inspections || kinds != a.Findings || a.Inspections+a.Void != len(all) ||
			len(a.Steps.Points)+a.Steps.Missing != a.First.Measured+a.First.NotMeasured {
			t.Fatalf("sums do not agree: %+v", a)
		}
	}
}
