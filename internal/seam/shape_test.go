package seam

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"finishbench/internal/part"

	"gonum.org/v1/gonum/stat/distuv"
)

// round returns stations at these places around the seam, each with the standard uncertainty u,
// the odd ones as left limbs.
func round(step func(deg float64) float64, u float64, degs ...float64) []part.StepStation {
	var out []part.StepStation
	for i, d := range degs {
		s := part.StepStation{Image: fmt.Sprintf("edge_%03.0f.jpg", d), AngleDeg: d, Side: part.Right, State: part.Measured,
			StepUM: part.Num(step(d)), UUM: part.Num(u)}
		if i%2 == 1 {
			s.AngleDeg, s.Side = part.Turn(d+180), part.Left
		}
		out = append(out, s)
	}
	return out
}

var twelve = []float64{0, 30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330}

func cosDeg(d float64) float64 { return math.Cos(d * math.Pi / 180) }

func told(t *testing.T, what string, got *float64, want, within float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s was not told, want %g", what, want)
	} else if !(math.Abs(*got-want) <= within) {
		t.Errorf("%s is %g, want %g +- %g", what, *got, want, within)
	}
}

// A curve without errors gives its terms back, at even and uneven angles: 61 all round, 84 towards
// 40 deg, 20 proud at 25 and 205 deg. The standard uncertainty of a mean of n equal ones is u over
// root n, that of a harmonic root 2 times as large (orthogonal columns; Draper and Smith, 1.4).
func TestShapeOfKnownCurve(t *testing.T) {
	curve := func(d float64) float64 { return 61 + 84*cosDeg(d-40) + 20*cosDeg(2*(d-25)) }
	for name, degs := range map[string][]float64{"even": twelve, "uneven, three missing": {3, 25, 61, 92, 150, 180, 215, 262, 341}} {
		h := ShapeOf(round(curve, 1, degs...))
		told(t, name+": mean", h.MeanUM, 61, 0.05)
		told(t, name+": offset", h.OffCentreUM, 84, 0.05)
		told(t, name+": towards", h.TowardsDeg, 40, 0.05)
		told(t, name+": towards 0", h.Towards0UM, 84*cosDeg(40), 0.05)
		told(t, name+": towards 90", h.Towards90UM, 84*cosDeg(50), 0.05)
		told(t, name+": oval", h.OvalUM, 20, 0.05)
		told(t, name+": oval at", h.OvalDeg, 25, 0.1)
		if len(h.Local)+len(h.Undetermined) > 0 {
			t.Errorf("%s: local %v, untold %v", name, h.Local, h.Undetermined)
		}
		within := func(u *float64, want float64) bool { return *u >= 0.95*want && *u < 1.3*want }
		if name == "even" && !(within(h.UMeanUM, 1/math.Sqrt(12)) && within(h.UOffCentreUM, math.Sqrt(2./12))) {
			t.Errorf("u of the mean %g, of the offset %g", *h.UMeanUM, *h.UOffCentreUM)
		}
	}
}

// A faceplate with an oval outline that is moved by d reaches out by d.n more in the direction n,
// whatever the outline: here both support functions are found by looking at all points of two ellipses.
func TestOffsetOfOvalOutline(t *testing.T) {
	const a, b, dx, dy = 8000.0, 5500.0, 60.0, -45.0 // um
	reach := func(deg, x, y float64) float64 {
		s, c := math.Sincos(deg * math.Pi / 180)
		most := math.Inf(-1)
		for i := range 20000 {
			ts, tc := math.Sincos(float64(i) * 2 * math.Pi / 20000)
			most = max(most, (a*tc+x)*c+(b*ts+y)*s)
		}
		return most
	}
	h := ShapeOf(round(func(d float64) float64 { return reach(d, dx, dy) - reach(d, 0, 0) }, 1, twelve...))
	told(t, "towards 0", h.Towards0UM, dx, 0.05)
	told(t, "towards 90", h.Towards90UM, dy, 0.05)
	told(t, "offset", h.OffCentreUM, 75, 0.05) // 3, 4, 5
	if h.OvalUM != nil {
		t.Errorf("oval by %g", *h.OvalUM)
	}
}

// A place that stands off by itself is told, where it is and by how much, and does not move the rest.
func TestLocalPlaceIsLeftOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12)) // drawn once
	noise := map[float64]float64{}
	for _, d := range twelve {
		noise[d] = rng.NormFloat64()
	}
	for _, bead := range []float64{40, -40} {
		h := ShapeOf(round(func(d float64) float64 {
			v := -5 + 12*cosDeg(d-100) + noise[d]
			if d == 210 {
				v += bead
			}
			return v
		}, 1, twelve...))
		if len(h.Local) != 1 || h.Local[0].AroundDeg != 210 || h.Local[0].Side != part.Left ||
			math.Abs(h.Local[0].UM-bead) > 3*h.Local[0].UUM || h.Local[0].UUM > 6 {
			t.Errorf("bead of %g: local %+v", bead, h.Local)
		}
		told(t, "mean", h.MeanUM, -5, 3**h.UMeanUM)
		told(t, "offset", h.OffCentreUM, 12, 3**h.UOffCentreUM)
	}
}

// What the stations do not tell is named, and no number stands for it: one picture, pictures at 0
// and 90 deg, two stations side by side, one station.
func TestUntoldTerms(t *testing.T) {
	curve := func(d float64) float64 { return 12.5 + 83.5*cosDeg(d) }
	h := ShapeOf(round(curve, 1, 0, 180))
	told(t, "one picture: along", h.AlongUM, 83.5, 1)
	told(t, "one picture: along deg", h.AlongDeg, 0, 1e-6)
	if h.OffCentreUM != nil || h.Towards0UM != nil || h.OffCentreMostUM != nil || h.OvalUM != nil || h.OvalMostUM != nil || h.MeanUM != nil ||
		!slices.Equal(h.Undetermined, []part.Term{part.TermMean, part.TermOffCentre, part.TermOval}) {
		t.Errorf("one picture: %+v", h)
	}
	h = ShapeOf(round(curve, 1, 0, 90, 180, 270))
	told(t, "four: mean", h.MeanUM, 12.5, 1)
	told(t, "four: towards 0", h.Towards0UM, 83.5, 1)
	told(t, "four: towards 90", h.Towards90UM, 0, 1)
	if h.OvalUM != nil || h.OvalMostUM != nil || !slices.Equal(h.Undetermined, []part.Term{part.TermOval}) {
		t.Errorf("four: %+v", h)
	}
	h = ShapeOf(round(curve, 1, 0, 30))
	if h.MeanUM != nil || h.AlongUM != nil || h.OffCentreUM != nil || len(h.Undetermined) != 3 {
		t.Errorf("side by side: %+v", h)
	}
	if h := ShapeOf(round(curve, 1, 0)); h != nil {
		t.Errorf("one station: %+v", h)
	}
	st := round(curve, 1, twelve...)
	for i := range st {
		st[i].UUM = nil
	}
	if h := ShapeOf(st); h != nil {
		t.Errorf("without uncertainty: %+v", h)
	}
}

// Nothing there: an offset is told only rarely, and never as 0 but by its bound. A chance of 0.01
// makes it one unit in a hundred.
func TestNoOffsetSeen(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 2026))
	const units = 40
	seen := 0
	for range units {
		h := ShapeOf(round(func(float64) float64 { return 30 + rng.NormFloat64() }, 1, twelve...))
		if h.OffCentreUM != nil {
			seen++
		} else if h.OffCentreMostUM == nil || !(*h.OffCentreMostUM > 0) || *h.OffCentreMostUM > 5 {
			t.Errorf("bound %v", h.OffCentreMostUM)
		}
	}
	if p := (distuv.Binomial{N: units, P: 0.01}).Survival(float64(seen) - 1); seen > 0 && p < 0.001 {
		t.Errorf("%d of %d units without an offset have one", seen, units)
	}
}

// The parts that stations share are found in a budget as Measure makes it: 0.2 % of 100 um by the
// scale, and half of the variance of two sharpness parts of 0.5 um.
func TestSharedParts(t *testing.T) {
	p := DefaultParams(0.015)
	var face, shell side
	face.name, face.sign, shell.name, shell.sign = "faceplate", -1, "shell", 1
	for _, s := range []*side{&face, &shell} {
		s.fit.c = []float64{0}
		s.fit.infl = 1
	}
	b := stepBudget(100, &face, &shell, StepFit{}, 1, 0, math.Sqrt(0.5*0.5/15/15-uCodedPX*uCodedPX)/uSharpness, 1, 0, p)
	scale, blur := shared(&b)
	if math.Abs(scale-0.2) > 1e-9 || math.Abs(blur-0.5) > 1e-9 {
		t.Errorf("scale %g, blur %g, want 0.2 and 0.5", scale, blur)
	}
}

// Both components of the offset lie within 2 u 19 times in 20: a two-sided binomial test against
// 95 % at 1 %, of one component a unit, so that the values are independent. Offsets, third waves and
// missing stations are drawn.
func TestOffsetCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(20261201, 7))
	const units = 120
	in, n := 0, 0
	for k := range units {
		size, dir, mean := 80*rng.Float64(), 360*rng.Float64(), 30*rng.NormFloat64()
		third, thirdAt := size*0.05*rng.Float64(), 360*rng.Float64()
		st := round(func(d float64) float64 {
			return mean + size*cosDeg(d-dir) + third*cosDeg(3*(d-thirdAt)) + 1.2*rng.NormFloat64()
		}, 1.1, twelve...)
		for range k % 3 {
			j := rng.IntN(len(st))
			st = slices.Delete(st, j, j+1)
		}
		h := ShapeOf(st)
		if h.Towards0UM == nil {
			t.Fatalf("unit %d: %+v", k, h)
		}
		n++
		got, want, u := *h.Towards0UM, size*cosDeg(dir), *h.UTowards0UM
		if k%2 == 1 {
			got, want, u = *h.Towards90UM, size*cosDeg(90-dir), *h.UTowards90UM
		}
		if math.Abs(got-want) <= part.CoverageK*u {
			in++
		}
	}
	b := distuv.Binomial{N: float64(n), P: 0.95}
	if p := 2 * min(b.CDF(float64(in)), b.Survival(float64(in)-1)); p < 0.01 {
		t.Errorf("%d of %d within 2 u (p = %.2g)", in, n, p)
	}
	t.Logf("%d of %d within 2 u", in, n)
}

// The same of the ray-traced units: their own first harmonic is that of the twelve true steps. A unit
// counts once, where both components lie within 2 u as often as two independent ones do.
func TestOffsetOfSharedUnits(t *testing.T) {
	if testing.Short() {
		t.Skip("108 pictures")
	}
	type station struct {
		StepUM float64 `json:"step_um"`
	}
	truths, _ := filepath.Glob(filepath.Join(sharedUnits(t), "*", "truth.json"))
	in, means, n := 0, 0, 0
	for _, name := range truths {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var truth struct {
			MM   float64 `json:"mm_per_px"`
			Edge []struct {
				File        string
				AngleDeg    float64 `json:"angle_deg"`
				Left, Right station
			}
		}
		if err := json.Unmarshal(raw, &truth); err != nil {
			t.Fatal(err)
		}
		var st []part.StepStation
		mean, c, s, k := 0.0, 0.0, 0.0, 0.0
		for _, e := range truth.Edge {
			m := Measure(readJPEG(t, filepath.Join(filepath.Dir(name), e.File)), part.Shot{File: e.File, AngleDeg: e.AngleDeg}, DefaultParams(truth.MM))
			for i, v := range [2]float64{e.Left.StepUM, e.Right.StepUM} {
				sin, cos := math.Sincos(m.Stations[i].AroundDeg() * math.Pi / 180)
				mean, c, s, k = mean+v, c+2*v*cos, s+2*v*sin, k+1
				st = append(st, m.Stations[i])
			}
		}
		mean, c, s = mean/k, c/k, s/k
		h := ShapeOf(st)
		if h == nil || h.Towards0UM == nil || h.MeanUM == nil {
			t.Errorf("%s: %+v", name, h)
			continue
		}
		n++
		e0, e90, em := math.Abs(*h.Towards0UM-c) / *h.UTowards0UM, math.Abs(*h.Towards90UM-s) / *h.UTowards90UM, math.Abs(*h.MeanUM-mean) / *h.UMeanUM
		if max(e0, e90) <= part.CoverageK {
			in++
		}
		if em <= part.CoverageK {
			means++
		}
		if max(e0, e90, em) > part.CoverageK {
			t.Logf("%s: errors %.1f and %.1f u of the offset, %.1f u of the mean", filepath.Base(filepath.Dir(name)), e0, e90, em)
		}
	}
	if p := (distuv.Binomial{N: float64(n), P: 0.95 * 0.95}).CDF(float64(in)); p < 0.005 {
		t.Errorf("both components of %d of %d units within 2 u (p = %.2g)", in, n, p)
	}
	t.Logf("both components within 2 u on %d of %d units, the mean on %d", in, n, means)
}
