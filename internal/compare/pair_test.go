package compare

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"

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
		if w := r.Seam.WorstStepUM; st.StepUM != nil && (w == nil || math.Abs(s) > math.Abs(*w)) {
			r.Seam.WorstStepUM = part.Num(s)
		}
	}
	return r
}

func withColour(r *part.Result, l, a, b float64) *part.Result {
	r.Faceplate = &part.Faceplate{Light: part.Diffuse, Colour: &part.Colour{L: l, A: a, B: b, UL: 0.1, UA: 0.1, UB: 0.1}}
	return r
}

// pairLimits are those of configs/limits.yaml.
var pairLimits = part.PairLimits{StepUM: 50, MeanUM: 25, DeltaE: 2, Demerits: 20}

func TestPairAlike(t *testing.T) {
	p := PairOf(withColour(unitWith(part.Pass, 3, 5, -4, 10, 2), 50, 10, 10),
		withColour(unitWith(part.Pass, 1, 8, 0, 4, -12), 50.2, 10.1, 10), pairLimits)
	for what, s := range pairStates(p) {
		if s != Alike {
			t.Errorf("%s: %s", what, s)
		}
	}
	if *p.Worst.Diff != -22 || math.Abs(*p.Worst.U-math.Sqrt(8)) > 1e-12 { // 10 and -12 um, each with 2 um
		t.Errorf("worst %+v", p.Worst)
	}
	// U of a mean of four: 2/sqrt(4), of a difference sqrt(2) times that.
	if *p.Mean.First != 3.25 || *p.Mean.Second != 0 || math.Abs(*p.Mean.U-math.Sqrt2) > 1e-12 {
		t.Errorf("mean %v %v %v", *p.Mean.First, *p.Mean.Second, *p.Mean.U)
	}
	if p.Colour.See != SeeNone || p.Colour.Patterned {
		t.Errorf("colour %+v", p.Colour)
	}
}

func pairStates(p Pair) map[string]State {
	return map[string]State{"worst": p.Worst.State, "mean": p.Mean.State, "colour": p.Colour.State, "demerits": p.Demerits.State}
}

// Each limit is that of its own number, and 0 is none.
func TestPairDiffers(t *testing.T) {
	base := func() *part.Result { return withColour(unitWith(part.Pass, 3, 5, -4), 50, 10, 10) }
	for what, c := range map[string]struct {
		change  func(r *part.Result)
		noLimit func(l *part.PairLimits)
	}{
		"worst": {func(r *part.Result) { *r.Seam.Stations[0].StepUM, *r.Seam.WorstStepUM = 80, 80 },
			func(l *part.PairLimits) { l.StepUM = 0 }},
		"mean": {func(r *part.Result) { *r.Seam.Stations[0].StepUM, *r.Seam.Stations[1].StepUM = 40, 41 },
			func(l *part.PairLimits) { l.MeanUM = 0 }},
		"colour":   {func(r *part.Result) { r.Faceplate.Colour.B = 20 }, func(l *part.PairLimits) { l.DeltaE = 0 }},
		"demerits": {func(r *part.Result) { *r.Score = 61 }, func(l *part.PairLimits) { l.Demerits = 0 }},
	} {
		r := base()
		c.change(r)
		if p := PairOf(base(), r, pairLimits); pairStates(p)[what] != Differ {
			t.Errorf("%s: %v", what, pairStates(p))
		}
		lim := pairLimits
		c.noLimit(&lim)
		if p := PairOf(base(), r, lim); pairStates(p)[what] != Alike {
			t.Errorf("%s without a limit: %v", what, pairStates(p))
		}
	}
}

// What was not measured is never alike.
func TestPairNotMeasured(t *testing.T) {
	base := func() *part.Result { return withColour(unitWith(part.Pass, 3, 5, -4), 50, 10, 10) }
	for what, change := range map[string]func(r *part.Result){
		"worst":    func(r *part.Result) { r.Seam = part.Seam{} },
		"mean":     func(r *part.Result) { r.Seam.Stations = unitWith("", 0, math.NaN(), math.NaN(), 4).Seam.Stations },
		"colour":   func(r *part.Result) { r.Faceplate = nil },
		"demerits": func(r *part.Result) { r.Score = nil },
	} {
		r := base()
		change(r)
		for _, p := range []Pair{PairOf(base(), r, pairLimits), PairOf(r, base(), pairLimits)} {
			if pairStates(p)[what] != NotMeasured {
				t.Errorf("%s: %v", what, pairStates(p))
			}
		}
	}
	r := base()
	r.Faceplate.Light = part.Raking
	if p := PairOf(base(), r, pairLimits); p.Colour.State != NotMeasured || p.Colour.Why != WhyLight {
		t.Errorf("other light: %+v", p.Colour)
	}
	for what, s := range pairStates(PairOf(&part.Result{}, &part.Result{}, part.PairLimits{})) {
		if s != NotMeasured {
			t.Errorf("nothing at all: %s %s", what, s)
		}
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
	if sd := stat.StdDev(d, nil); sd > u || sd < u/3 {
		t.Errorf("scatter %.3f, stated %.3f", sd, u)
	}
}
