package compare

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// unitWith is an invented unit with steps at its stations, in turn left and right.
func unitWith(verdict part.Verdict, score float64, steps ...float64) *part.Result {
	r := &part.Result{Verdict: verdict, Stage: part.Wet, Score: part.Num(score), MMPerPX: 0.02}
	for i, s := range steps {
		st := part.StepStation{AngleDeg: float64(i / 2 * 30), Side: part.Left, State: part.Measured, StepUM: part.Num(s), UUM: part.Num(2)}
		if i%2 == 1 {
			st.Side = part.Right
		}
		if math.IsNaN(s) {
			st.State, st.UUM = part.Unmeasured, nil
		}
		r.Seam.Stations = append(r.Seam.Stations, st)
	}
	return r
}

func withColour(r *part.Result, l, a, b float64) *part.Result {
	r.Faceplate = &part.Faceplate{Light: part.Diffuse, Colour: &part.Colour{L: l, A: a, B: b, UL: 0.1, UA: 0.1, UB: 0.1}}
	return r
}

func keysOf(lines []Line) map[string]bool {
	m := map[string]bool{}
	for _, l := range lines {
		m[l.Key] = true
	}
	return m
}

// pairLimits are those of configs/limits.yaml.
var pairLimits = PairLimits{50, 25, 2, 20}

func TestPairAlike(t *testing.T) {
	p := PairOf(withColour(unitWith(part.Pass, 3, 5, -4, 10, 2), 50, 10, 10), withColour(unitWith(part.Pass, 1, 8, 0, 4, -12), 50.2, 10.1, 10), pairLimits)
	if p.State != Alike || p.Lines[0].Key != "pair.alike" {
		t.Errorf("%s: %+v", p.State, p.Lines)
	}
	if *p.Worst.Diff != -22 || math.Abs(*p.Worst.U-math.Sqrt(8)) > 1e-12 || !p.Worst.Significant() { // 10 and -12 um, each with 2 um
		t.Errorf("worst %+v", p.Worst)
	}
	if *p.Mean.First != 3.25 || *p.Mean.Second != 0 || math.Abs(*p.Mean.U-math.Sqrt2) > 1e-12 { // u of a mean of four: 2/sqrt(4), of a difference sqrt(2) times that
		t.Errorf("mean %v %v %v", *p.Mean.First, *p.Mean.Second, *p.Mean.U)
	}
	if p.Colour.See != SeeNone || *p.Colour.Lighter <= 0 || p.Colour.Patterned {
		t.Errorf("colour %+v", p.Colour)
	}
	// At 0 degrees the left limb is across, at 180 degrees; the right one at 0.
	if a := p.Around[0]; a[0].AroundDeg != 0 || a[0].Side != part.Right || a[2].AroundDeg != 180 || a[2].Side != part.Left {
		t.Errorf("around %+v", a)
	}
}

func TestPairDiffers(t *testing.T) {
	lim := pairLimits
	base := func() *part.Result { return withColour(unitWith(part.Pass, 3, 5, -4), 50, 10, 10) }
	for key, change := range map[string]func(r *part.Result){
		"pair.worst.differ":    func(r *part.Result) { *r.Seam.Stations[0].StepUM = 80 },
		"pair.mean.differ":     func(r *part.Result) { *r.Seam.Stations[0].StepUM, *r.Seam.Stations[1].StepUM = 40, 41 },
		"pair.colour.differ":   func(r *part.Result) { r.Faceplate.Colour.B = 20 },
		"pair.demerits.differ": func(r *part.Result) { *r.Score = 61 },
		"pair.verdicts":        func(r *part.Result) { r.Verdict = part.Rework },
	} {
		r := base()
		change(r)
		p := PairOf(base(), r, lim)
		if p.State != Differ || !keysOf(p.Lines)[key] {
			t.Errorf("%s: %s %+v", key, p.State, p.Lines)
		}
	}
}

// What was not measured is never alike.
func TestPairNotMeasured(t *testing.T) {
	base := func() *part.Result { return withColour(unitWith(part.Pass, 3, 5, -4), 50, 10, 10) }
	for key, change := range map[string]func(r *part.Result){
		"pair.worst.not_measured":    func(r *part.Result) { r.Seam.Stations = nil },
		"pair.mean.not_measured":     func(r *part.Result) { r.Seam.Stations = unitWith("", 0, math.NaN(), math.NaN(), 4).Seam.Stations },
		"pair.colour.not_measured":   func(r *part.Result) { r.Faceplate = nil },
		"pair.demerits.not_measured": func(r *part.Result) { r.Score = nil },
		"pair.not_measured":          func(r *part.Result) { r.Verdict = part.NotMeasured },
	} {
		r := base()
		change(r)
		for _, p := range []Pair{PairOf(base(), r, pairLimits), PairOf(r, base(), pairLimits)} {
			if p.State != NotMeasured || !keysOf(p.Lines)[key] {
				t.Errorf("%s: %s %+v", key, p.State, p.Lines)
			}
		}
	}
	r := base()
	r.Faceplate.Light = part.Raking
	if p := PairOf(base(), r, pairLimits); p.Colour.State != NotMeasured || p.Colour.Why != WhyLight {
		t.Errorf("other light: %+v", p.Colour)
	}
	if p := PairOf(&part.Result{}, &part.Result{}, PairLimits{}); p.State != NotMeasured {
		t.Errorf("nothing at all: %s", p.State)
	}
}

// The bound of the colour difference's uncertainty is one: drawn colours scatter
// less than it says, and by more than a third of it.
func TestDeltaEUncertainty(t *testing.T) {
	p := part.Colour{L: 50, A: 10, B: 20, UL: 0.2, UA: 0.3, UB: 0.25}
	q := part.Colour{L: 52, A: 14, B: 18, UL: 0.1, UA: 0.1, UB: 0.4}
	_, u := DeltaEOf(p, q)
	rng := newRand()
	var d []float64
	for range 4000 {
		d = append(d, DeltaE(Lab{p.L + p.UL*rng.NormFloat64(), p.A + p.UA*rng.NormFloat64(), p.B + p.UB*rng.NormFloat64()},
			Lab{q.L + q.UL*rng.NormFloat64(), q.A + q.UA*rng.NormFloat64(), q.B + q.UB*rng.NormFloat64()}))
	}
	if _, sd := meanSD(d); sd > u || sd < u/3 {
		t.Errorf("scatter %.3f, stated %.3f", sd, u)
	}
}
