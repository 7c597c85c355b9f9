package study

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Bliss's groups are tested by the deviance: 11.23 on 6 degrees of freedom
// (Dobson), p .08 by a table of chi-square (10.64 is 10 %, 12.59 is 5 %).
func TestCheckGroups(t *testing.T) {
	c, ok := fit(t, bliss, PlainSize).Check()
	if !ok || c.Method != "deviance" || c.DF != 6 {
		t.Fatalf("%+v, %v", c, ok)
	}
	near(t, "deviance", c.Statistic, 11.2322, 5e-5)
	if !(c.P > 0.05 && c.P < 0.10) {
		t.Errorf("p %g", c.P)
	}
}

// Single targets: a right curve is doubted seldom, a wrong one (found in the
// middle only) is. Fixed seeds.
func TestCheckSingles(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	doubted, sets := 0, 200
	for range sets {
		f, err := FitPOD(drawTargets(rng, 150, 7.2, 3), LogSize)
		if err != nil {
			continue
		}
		if c, ok := f.Check(); ok && c.P < 0.05 {
			doubted++
		}
	}
	if doubted > 24 { // 5 % would be 10, give or take 3
		t.Errorf("a right curve is doubted in %d of %d sets", doubted, sets)
	}
	var humped []Target
	for i := range 150 {
		x := 0.05 + 0.01*float64(i)
		f := 0
		if rng.Float64() < math.Exp(-(x-0.7)*(x-0.7)*12) {
			f = 1
		}
		humped = append(humped, Target{x, 1, f})
	}
	if c, ok := fit(t, humped, PlainSize).Check(); !ok || c.P > 0.001 {
		t.Errorf("a wrong curve passes: %+v, %v", c, ok)
	}
}

func TestCheckTooFew(t *testing.T) {
	f := fit(t, []Target{{1, 1, 0}, {2, 1, 1}, {3, 1, 0}, {4, 1, 1}}, PlainSize)
	if c, ok := f.Check(); ok {
		t.Errorf("four targets checked: %+v", c)
	}
}

// Without a slope's doubt: Bliss's null deviance is 284.2 (computed with a
// general library for generalised linear models, from memory), so that chi-square is about 273.
func TestSlope(t *testing.T) {
	chi, p := fit(t, bliss, PlainSize).SlopeTest()
	near(t, "chi-square", chi, 272.97, 0.01)
	if p > 1e-50 {
		t.Errorf("p %g", p)
	}
}

func TestCurveMeetsTheFit(t *testing.T) {
	f := fit(t, bliss, LogSize)
	size, p, lower, upper := f.Curve(1.7, 1.88, 7, 0.95)
	if len(size) != 7 || math.Abs(size[0]-1.7) > 1e-12 || math.Abs(size[6]-1.88) > 1e-12 {
		t.Fatalf("sizes %v", size)
	}
	for i := range size {
		if !(lower[i] < p[i] && p[i] < upper[i] && p[i] == f.At(size[i])) {
			t.Errorf("at %g: %g in %g ... %g", size[i], p[i], lower[i], upper[i])
		}
	}
}
