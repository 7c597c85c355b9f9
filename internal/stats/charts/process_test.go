package charts

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/report/plots"
)

func rules(t testing.TB, list string) []Rule {
	t.Helper()
	r, err := Rules(list)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// beyond are the points, from 1, at which a rule is met.
func pointsOf(c Chart, rule string) []int {
	var out []int
	for _, s := range c.Signals {
		if s.Rule.Name == rule {
			out = append(out, s.Point+1)
		}
	}
	return out
}

func same(t *testing.T, what string, got, want []int) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func sizesOf(n int, size float64) []float64 { return slices.Repeat([]float64{size}, n) }

// TestWaferDefects: NIST/SEMATECH e-Handbook 6.3.3.1: centre 16, limits 28 and
// 4; the point of 31 is the only one out.
func TestWaferDefects(t *testing.T) {
	c, err := Counted(Count, []int{16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13}, nil,
		Options{Rules: rules(t, "beyond")})
	if err != nil {
		t.Fatal(err)
	}
	l := c.Limits[0]
	near(t, "centre", l.Centre, 16, 1e-12)
	near(t, "upper", l.Upper, 28, 1e-12)
	near(t, "lower", l.Lower, 4, 1e-12)
	same(t, "out", pointsOf(c, "beyond"), []int{24})
}

// TestWaferShare: NIST/SEMATECH e-Handbook 6.3.3.2, 50 chips a wafer: .2313,
// .4102, .0524; points 15 (.44) and 23 (.48) are out.
func TestWaferShare(t *testing.T) {
	counts := []int{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}
	c, err := Counted(Share, counts, sizesOf(30, 50), Options{Rules: rules(t, "nelson")})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Limits[0].Centre, 0.2313, 5e-5)
	near(t, "upper", c.Limits[0].Upper, 0.4102, 5e-5)
	near(t, "lower", c.Limits[0].Lower, 0.0524, 5e-5)
	same(t, "out", pointsOf(c, "beyond"), []int{15, 23})
	np, err := Counted(Number, counts, sizesOf(30, 50), Options{Rules: rules(t, "nelson")})
	if err != nil {
		t.Fatal(err)
	}
	for i := range np.Values {
		near(t, "np is 50 times p", np.Limits[i].Upper, 50*c.Limits[i].Upper, 1e-9)
	}
	if fmt.Sprint(np.Signals) == "" || len(np.Signals) != len(c.Signals) {
		t.Errorf("np calls %d times, p %d", len(np.Signals), len(c.Signals))
	}
}

// TestCircuitBoards: Montgomery's printed circuit boards (R package qcc, data set
// circuit): 19.846, 33.21, 6.48, points 6 and 20 out; without these 19.667, limits
// 32.97 and 6.36.
func TestCircuitBoards(t *testing.T) {
	counts := []int{21, 24, 16, 12, 15, 5, 28, 20, 31, 25, 20, 24, 16, 19, 10, 17, 13, 22, 18, 39, 30, 24, 16, 19, 17, 15}
	c, err := Counted(Count, counts, nil, Options{Rules: rules(t, "beyond")})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Limits[0].Centre, 19.846, 5e-4)
	near(t, "upper", c.Limits[0].Upper, 33.21, 5e-3)
	near(t, "lower", c.Limits[0].Lower, 6.48, 5e-3)
	same(t, "out", pointsOf(c, "beyond"), []int{6, 20})
	c, err = Counted(Count, counts, nil, Options{Phases: []Phase{{Without: []int{5, 19}}}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre without two", c.Limits[0].Centre, 19.667, 5e-4)
	near(t, "upper without two", c.Limits[0].Upper, 32.97, 5e-3)
	near(t, "lower without two", c.Limits[0].Lower, 6.36, 5e-3)
	if s := c.Stretches[0]; s.Used != 24 || s.Fixed {
		t.Errorf("stretch %+v", s)
	}
}

// TestComputers: Montgomery's personal computers, five a sample (qcc, data set
// pcmanufact): 1.93, 3.794, 0.066.
func TestComputers(t *testing.T) {
	c, err := Counted(PerUnit, []int{10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5}, sizesOf(20, 5),
		Options{Rules: rules(t, "beyond")})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Limits[0].Centre, 1.93, 1e-9)
	near(t, "upper", c.Limits[0].Upper, 3.794, 5e-4)
	near(t, "lower", c.Limits[0].Lower, 0.066, 5e-4)
	same(t, "out", pointsOf(c, "beyond"), nil)
}

// TestDyedCloth: Montgomery's dyed cloth, rolls of varying size (qcc, data set
// dyedcloth): 1.4233; sample 1 .2915 to 2.5550, sample 2 .1579 to 2.6886.
func TestDyedCloth(t *testing.T) {
	c, err := Counted(PerUnit, []int{14, 12, 20, 11, 7, 10, 21, 16, 19, 23}, []float64{10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5},
		Options{Rules: rules(t, "beyond")})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Limits[0].Centre, 1.4233, 5e-5)
	near(t, "upper 1", c.Limits[0].Upper, 2.5550, 5e-5)
	near(t, "lower 1", c.Limits[0].Lower, 0.2915, 5e-5)
	near(t, "upper 2", c.Limits[1].Upper, 2.6886, 5e-5)
	near(t, "lower 2", c.Limits[1].Lower, 0.1579, 5e-5)
	same(t, "out", pointsOf(c, "beyond"), nil)
}

// TestDemerits: no published numbers were found. By hand, for classes' rates of
// .02, .05, .30, .80 a unit and ten units: centre 8.3 = 100 x .02 + 50 x .05 +
// 10 x .30 + .80; sigma sqrt((10000 x .02 + 2500 x .05 + 100 x .30 + .80)/10) =
// 5.964897; upper limit 26.194692, lower 0.
func TestDemerits(t *testing.T) {
	check := func(c Chart, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		l := c.Limits[0]
		near(t, "centre", l.Centre, 8.3, 1e-9)
		near(t, "sigma", l.Sigma, 5.964897, 5e-7)
		near(t, "upper", l.Upper, 26.194692, 1e-6)
		near(t, "lower", l.Lower, 0, 0)
	}
	rates := &Standard{Rates: []float64{.02, .05, .30, .80}}
	check(Demerits([][]int{{0, 0, 2, 5}}, []float64{10}, DodgeWeights(), Options{Phases: []Phase{{Given: rates}}}))
	// The same rates from a baseline of a hundred units.
	c, err := Demerits([][]int{{1, 2, 20, 30}, {1, 3, 10, 50}, {0, 3, 0, 0}}, []float64{10, 90, 10}, DodgeWeights(),
		Options{Phases: []Phase{{Baseline: 2}}, Rules: rules(t, "beyond")})
	check(c, err)
	near(t, "first sample", c.Values[0], (100+100+200+30)/10., 1e-12)
	near(t, "sigma of ninety units", c.Limits[1].Sigma, 5.964897/3, 5e-7)
	same(t, "out", pointsOf(c, "beyond"), []int{1})
}

// TestEWMA: NIST/SEMATECH e-Handbook 6.3.2.4: weight .3, target 50, sigma
// 2.0539: steady limits 52.5884 and 47.4115, and twenty averages.
func TestEWMA(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73,
		51.23, 51.94, 51.99}
	c, err := EWMA(x, EWMAOptions{Target: 50, Sigma: 2.0539, Lambda: 0.3, Steady: true})
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range want {
		near(t, fmt.Sprintf("average %d", i+1), c.Values[i], w, 0.00501)
	}
	near(t, "upper", c.Limits[0].Upper, 52.5884, 5e-5)
	near(t, "lower", c.Limits[0].Lower, 47.4115, 1e-4) // 47.41157: the Handbook cut it off
	if len(c.Signals) != 0 {
		t.Errorf("calls %v; the source has none", c.Signals)
	}
	// Unsteady limits begin at lambda sigma, and come to the steady ones.
	u, err := EWMA(x, EWMAOptions{Target: 50, Sigma: 2.0539, Lambda: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first upper", u.Limits[0].Upper, 50+3*0.3*2.0539, 1e-9)
	near(t, "last upper", u.Limits[19].Upper, c.Limits[19].Upper, 1e-3)
	// What was not measured changes nothing after it.
	g, err := EWMA(slices.Insert(slices.Clone(x), 5, math.NaN()), EWMAOptions{Target: 50, Sigma: 2.0539, Lambda: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(g.Values[5]) || g.Values[20] != u.Values[19] {
		t.Errorf("over a gap: %v, %v want %v", g.Values[5], g.Values[20], u.Values[19])
	}
}

// TestCUSUM: NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k .3175, h 4.1959;
// the first signal is group 14. The Handbook's sums come from means of which it
// prints two digits, so each may be off by half a digit more than the one before.
func TestCUSUM(t *testing.T) {
	x := []float64{324.93, 324.68, 324.73, 324.35, 325.35, 325.23, 324.13, 324.53, 325.23, 324.60, 324.63, 325.15, 328.33, 327.25, 327.83,
		328.50, 326.68, 327.78, 326.88, 328.35}
	high := []float64{0, 0, 0, 0, .03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04}
	low := []float64{0, .01, 0, .33, 0, 0, .56, .72, .17, .25, .31, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	c, err := NewCUSUM(x, CUSUMOptions{Target: 325, Sigma: 1, Allowance: 0.3175, Decision: 4.1959})
	if err != nil {
		t.Fatal(err)
	}
	run := 0.0
	for i := range x {
		if run++; high[i] == 0 && low[i] == 0 {
			run = 1
		}
		near(t, fmt.Sprintf("high sum %d", i+1), c.High[i], high[i], 0.00501*(1+run))
		near(t, fmt.Sprintf("low sum %d", i+1), c.Low[i], low[i], 0.00501*(1+run))
	}
	if len(c.Signals) != 7 || c.Signals[0].Point != 13 || !c.Signals[0].Up || c.Signals[0].Since != 12 {
		t.Fatalf("signals %+v", c.Signals)
	}
	near(t, "level after the shift", c.Signals[0].Level, (328.33+327.25)/2, 0.005)
	// The other way round, the other sum calls.
	var y []float64
	for _, v := range x {
		y = append(y, 650-v)
	}
	d, err := NewCUSUM(y, CUSUMOptions{Target: 325, Sigma: 1, Allowance: 0.3175, Decision: 4.1959})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Signals) != 7 || d.Signals[0].Up || d.Signals[0].Rule.Name != "sum-low" {
		t.Errorf("mirrored: %+v", d.Signals)
	}
	near(t, "level below", d.Signals[0].Level, 650-(328.33+327.25)/2, 0.005)
}

// TestMeanRuns: a shift of one standard deviation shows after 43.9 points on a
// chart of single values (any text). CUSUM with k .5, h 5: 465 in control, 10.4 after
// a shift of one (Montgomery; from memory), with a head start of 2.5: 430 and 6.35
// (Lucas and Crosier 1982; from memory). The digits are as printed there.
func TestMeanRuns(t *testing.T) {
	must := func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	near(t, "single values", ShewhartRun(1), 43.9, 0.05)
	near(t, "single values in control", ShewhartRun(0), 370.4, 0.05)
	near(t, "CUSUM in control", must(CUSUMRun(.5, 5, 0, 0)), 465, 0.6)
	near(t, "CUSUM after a shift", must(CUSUMRun(.5, 5, 0, 1)), 10.4, 0.05)
	near(t, "CUSUM, head start, in control", must(CUSUMRun(.5, 5, 2.5, 0)), 430, 0.6)
	near(t, "CUSUM, head start, after a shift", must(CUSUMRun(.5, 5, 2.5, 1)), 6.35, 0.05)
	// And the charts themselves run as long.
	rng, total := rand.New(rand.NewPCG(3, 4)), 0
	const runs = 4000
	for range runs {
		x := make([]float64, 200)
		for i := range x {
			x[i] = rng.NormFloat64() + 1
		}
		c, err := NewCUSUM(x, CUSUMOptions{Sigma: 1, HeadStart: 2.5})
		if err != nil || len(c.Signals) == 0 {
			t.Fatal(err, c.Signals)
		}
		total += c.Signals[0].Point + 1
	}
	near(t, "CUSUM, head start, simulated", float64(total)/runs, must(CUSUMRun(.5, 5, 2.5, 1)), 0.25)
}

// TestFalseSignals: mean runs as in TestFalseCalls; of Nelson's rules by running
// whole charts here. Share of points, simulated elsewhere: all Western Electric
// about .016, all Nelson about .023. That of the default set is exact: a point's size
// and its side are independent, and nine in a row on one side have the chance 1/256.
func TestFalseSignals(t *testing.T) {
	p := 1 / ShewhartRun(0)
	for _, c := range []struct {
		list              string
		point, within     float64
		run, runTolerance float64
	}{
		{"beyond", .0027, 1e-6, 370.4, .05}, {"western-electric", .016, .0025, 91.75, 5}, {"nelson", .023, .004, freshRuns(t, "nelson"), 7},
		{"default", 1 - (1-p)*(1-1/256.), .001, 216.7, 18},
	} {
		f := FalseSignals(rules(t, c.list), 1)
		near(t, c.list+": per point", f.PerPoint, c.point, c.within)
		near(t, c.list+": run", f.RunMean, c.run, c.runTolerance)
		if !f.Exact && !(f.UPoint > 0 && f.UPoint < 0.002 && f.URun > 0 && f.URun < 10) {
			t.Errorf("%s: standard errors %g, %g", c.list, f.UPoint, f.URun)
		}
	}
}

// freshRuns is the mean of the first calls of charts of 2000 points.
func freshRuns(t *testing.T, list string) float64 {
	rng, sum := rand.New(rand.NewPCG(11, 12)), 0.0
	const charts = 1000
	for range charts {
		z := make([]float64, 2000)
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		s := Apply(z, Limits{Sigma: 1}, rules(t, list))
		if len(s) == 0 {
			t.Fatal("a chart of 2000 points without a call")
		}
		sum += float64(s[0].Point + 1)
	}
	return sum / charts
}

// TestPhases: limits of a baseline stay whatever comes after; a new phase has its
// own; runs do not go over the change.
func TestPhases(t *testing.T) {
	x := []float64{10, 11, 10, 9, 10, 11, 9, 10, 14, 14, 20, 21, 20, 19, 20, 21}
	var g [][]float64
	for _, v := range x {
		g = append(g, []float64{v})
	}
	o := Options{Phases: []Phase{{Name: "old", Baseline: 8}, {Name: "new", From: 10}}, Rules: rules(t, "beyond,run7")}
	level, spread, err := Measured(Individuals, g, o)
	if err != nil {
		t.Fatal(err)
	}
	p, _ := Estimate(g[:8], Individuals)
	for i := range 10 {
		if level.Limits[i] != p.Level || spread.Limits[i] != p.Spread {
			t.Fatalf("point %d: limits %+v, want those of the baseline %+v", i, level.Limits[i], p.Level)
		}
	}
	near(t, "centre of the new phase", level.Limits[10].Centre, 121./6, 1e-12)
	same(t, "beyond", pointsOf(level, "beyond"), []int{9, 10})
	same(t, "runs", pointsOf(level, "run7"), nil)
	if !level.Stretches[0].Fixed || level.Stretches[1].Fixed || level.Stretches[0].Used != 8 {
		t.Errorf("stretches %+v", level.Stretches)
	}
	if !math.IsNaN(spread.Values[10]) {
		t.Errorf("a moving range over the change: %v", spread.Values[10])
	}
	for name, ph := range map[string][]Phase{
		"not from 0":      {{From: 2}},
		"backwards":       {{}, {From: 5}, {From: 5}},
		"beyond the end":  {{}, {From: 17}},
		"left out before": {{}, {From: 5, Without: []int{3}}},
		"baseline":        {{Baseline: -1}},
	} {
		if _, _, err := Measured(Individuals, g, Options{Phases: ph}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// TestMeasured: the limits are those of Estimate, and a subgroup that was not
// measured takes no part.
func TestMeasured(t *testing.T) {
	g := pistonRings()
	for _, k := range []Kind{MeansRanges, MeansSDs} {
		level, spread, err := Measured(k, g, Options{Rules: rules(t, "nelson")})
		if err != nil {
			t.Fatal(err)
		}
		p, _ := Estimate(g, k)
		near(t, "upper", level.Limits[3].Upper, p.Level.Upper, 1e-12)
		near(t, "spread's upper", spread.Limits[3].Upper, p.Spread.Upper, 1e-12)
		gap, _, err := Measured(k, slices.Insert(slices.Clone(g), 4, nil), Options{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "upper with a gap", gap.Limits[0].Upper, p.Level.Upper, 1e-12)
		if !math.IsNaN(gap.Values[4]) {
			t.Errorf("the gap is %v", gap.Values[4])
		}
	}
	given, _, err := Measured(MeansRanges, g, Options{Phases: []Phase{{Given: &Standard{Centre: 74.00118, Sigma: .009785}}}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper from given numbers", given.Limits[0].Upper, 74.0143, 5e-5)
	near(t, "lower from given numbers", given.Limits[0].Lower, 73.98805, 6e-6)
}

func TestProcessChartsRefuse(t *testing.T) {
	o := Options{}
	for name, f := range map[string]func() error{
		"negative count":      func() error { _, err := Counted(Count, []int{1, -1}, nil, o); return err },
		"c with sizes":        func() error { _, err := Counted(Count, []int{1}, []float64{2}, o); return err },
		"p without sizes":     func() error { _, err := Counted(Share, []int{1}, nil, o); return err },
		"more than looked at": func() error { _, err := Counted(Share, []int{3}, []float64{2}, o); return err },
		"half a unit":         func() error { _, err := Counted(Number, []int{1}, []float64{2.5}, o); return err },
		"found on nothing":    func() error { _, err := Counted(PerUnit, []int{1}, []float64{0}, o); return err },
		"size not a number":   func() error { _, err := Counted(PerUnit, []int{1}, []float64{math.NaN()}, o); return err },
		"no samples":          func() error { _, err := Counted(Count, nil, nil, o); return err },
		"a chart of nothing":  func() error { _, err := Counted("x", []int{1}, nil, o); return err },
		"share above 1": func() error {
			_, err := Counted(Share, []int{1}, []float64{2}, Options{Phases: []Phase{{Given: &Standard{Centre: 1.2}}}})
			return err
		},
		"demerits: classes":      func() error { _, err := Demerits([][]int{{1, 2}}, []float64{1}, DodgeWeights(), o); return err },
		"demerits: negative":     func() error { _, err := Demerits([][]int{{1, 2, 3, -1}}, []float64{1}, DodgeWeights(), o); return err },
		"demerits: weight":       func() error { _, err := Demerits([][]int{{1}}, []float64{1}, []float64{-1}, o); return err },
		"EWMA: sigma 0":          func() error { _, err := EWMA([]float64{1}, EWMAOptions{}); return err },
		"EWMA: weight 2":         func() error { _, err := EWMA([]float64{1}, EWMAOptions{Sigma: 1, Lambda: 2}); return err },
		"CUSUM: head start":      func() error { _, err := NewCUSUM(nil, CUSUMOptions{Sigma: 1, HeadStart: 5}); return err },
		"CUSUM: infinite":        func() error { _, err := NewCUSUM([]float64{math.Inf(1)}, CUSUMOptions{Sigma: 1}); return err },
		"nothing measured":       func() error { _, _, err := Measured(Individuals, [][]float64{nil, nil}, o); return err },
		"unequal":                func() error { _, _, err := Measured(MeansRanges, [][]float64{{1, 2}, {1}}, o); return err },
		"means of single values": func() error { _, _, err := Measured(MeansRanges, [][]float64{{1}, {2}}, o); return err },
		"counts as measured":     func() error { _, _, err := Measured(Count, [][]float64{{1}, {2}}, o); return err },
	} {
		err := f()
		if err == nil || !strings.HasPrefix(err.Error(), "charts: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Samples that were not looked at are gaps, not zeros.
	c, err := Counted(Share, []int{1, 0, 2}, []float64{10, 0, 10}, Options{Rules: allRules()})
	if err != nil || !math.IsNaN(c.Values[1]) || !math.IsNaN(c.Limits[1].Upper) {
		t.Errorf("a gap: %v %+v", err, c)
	}
	near(t, "centre over the gap", c.Limits[0].Centre, 0.15, 1e-12)
}

// TestRuleNumbers: a rule has its number in the set that was asked for.
func TestRuleNumbers(t *testing.T) {
	for list, want := range map[string]string{"western-electric": "W1 W2 W3 W4", "nelson": "N1 N5 N6 N2 N3 N4 N7 N8", "iso7870": "I1 I2 I3",
		"run8": "W4", "default": "N1 N2"} {
		var got []string
		for _, r := range rules(t, list) {
			got = append(got, r.Number)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s: %s, want %s", list, s, want)
		}
	}
}

// manySamples are 100,000 samples of varying size.
func manySamples() (counts []int, sizes []float64) {
	rng := rand.New(rand.NewPCG(1, 1))
	counts, sizes = make([]int, 100_000), make([]float64, 100_000)
	for i := range counts {
		sizes[i] = float64(40 + rng.IntN(20))
		for range int(sizes[i]) {
			if rng.Float64() < 0.1 {
				counts[i]++
			}
		}
	}
	return counts, sizes
}

// chartAndDraw computes a chart with all of Nelson's rules and draws it.
func chartAndDraw(counts []int, sizes []float64, rules []Rule) (Chart, []byte, error) {
	c, err := Counted(Share, counts, sizes, Options{Rules: rules})
	if err != nil {
		return c, nil, err
	}
	d := plots.TimeChart{Values: c.Values}
	for _, l := range c.Limits {
		d.Centre, d.Lower, d.Upper = append(d.Centre, l.Centre), append(d.Lower, l.Lower), append(d.Upper, l.Upper)
	}
	for _, s := range c.Signals {
		d.Signs = append(d.Signs, plots.Sign{Point: s.Point, Number: s.Rule.Number, Text: s.Rule.Text})
	}
	svg, err := plots.Times(plots.Options{}, d)
	return c, svg, err
}

// TestHundredThousand: a chart of 100,000 points is computed and drawn in a
// second; the best of three, as other programs may be running.
func TestHundredThousand(t *testing.T) {
	counts, sizes := manySamples()
	best, size := time.Hour, 0
	for range 3 {
		start := time.Now()
		c, svg, err := chartAndDraw(counts, sizes, rules(t, "nelson"))
		if err != nil || len(c.Signals) < 1000 || len(svg) > 3<<20 {
			t.Fatalf("%d signals, %d bytes, %v", len(c.Signals), len(svg), err)
		}
		best, size = min(best, time.Since(start)), len(svg)
	}
	t.Logf("%v, %d bytes", best, size)
	if best > time.Second {
		t.Errorf("took %v, want at most a second", best)
	}
}

// BenchmarkChart is a chart of 100,000 samples of varying size with all of
// Nelson's rules, computed and drawn.
func BenchmarkChart(b *testing.B) {
	counts, sizes := manySamples()
	for b.Loop() {
		if _, _, err := chartAndDraw(counts, sizes, rules(b, "nelson")); err != nil {
			b.Fatal(err)
		}
	}
}

// ShewhartRun is the mean number of points until a single value falls beyond
// three standard deviations, after the process has moved by shift standard
// deviations.
func ShewhartRun(shift float64) float64 {
	n := distuv.UnitNormal
	return 1 / (n.CDF(-3-shift) + n.CDF(-3+shift))
}

// runNodes is the number of nodes of the integral equations below; with half as
// many the figures change by less than 1e-6 of themselves.
const runNodes = 80

// CUSUMRun is the mean number of points until a two-sided CUSUM with allowance k
// and decision limit h calls, after the process has moved by shift; all in
// standard deviations. Each side's mean solves L(u) = 1 + L(0) Phi(k-u) + integral
// from 0 to h of L(y) phi(y+k-u) (Page 1954), solved at Gauss-Legendre nodes; the two
// sides go together as 1/L = 1/L_hi + 1/L_lo (Kemp, J. R. Stat. Soc. B 23, 1961; from
// memory), exactly so without a head start and nearly with one up to h/2.
func CUSUMRun(k, h, headStart, shift float64) (float64, error) {
	if !(k > 0 && h > 0 && headStart >= 0 && headStart < h) || math.IsInf(k+h, 0) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return math.NaN(), fmt.Errorf("charts: mean run of a CUSUM with allowance %g, limit %g, head start %g, shift %g: the first two "+
			"lie above 0, the third from 0 to below the second", k, h, headStart, shift)
	}
	up, err := cusumSide(k-shift, h, headStart)
	if err != nil {
		return math.NaN(), err
	}
	down, err := cusumSide(k+shift, h, headStart)
	if err != nil {
		return math.NaN(), err
	}
	if headStart == 0 {
		return 1 / (1/up.start + 1/down.start), nil
	}
	// van Dobben de Bruyn's formula for two sides that start off 0 (from memory).
	return (up.start*down.zero + up.zero*down.start - up.zero*down.zero) / (up.zero + down.zero), nil
}

// oneSide is the mean run of one side, from 0 and from its head start.
type oneSide struct{ zero, start float64 }

func cusumSide(k, h, start float64) (oneSide, error) {
	x, w := make([]float64, runNodes), make([]float64, runNodes)
	quad.Legendre{}.FixedLocations(x, w, 0, h)
	// The unknowns: L(0), then L at the nodes.
	n := runNodes + 1
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	row := func(u float64) []float64 {
		r := make([]float64, n)
		r[0] = distuv.UnitNormal.CDF(k - u)
		for j := range x {
			r[j+1] = w[j] * distuv.UnitNormal.Prob(x[j]+k-u)
		}
		return r
	}
	for i := range n {
		u := 0.0
		if i > 0 {
			u = x[i-1]
		}
		for j, v := range row(u) {
			a.Set(i, j, -v)
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return oneSide{}, fmt.Errorf("charts: mean run of a CUSUM with limit %g: %w", h, err)
	}
	s := oneSide{zero: l.AtVec(0), start: 1}
	for j, v := range row(start) {
		s.start += v * l.AtVec(j)
	}
	return s, nil
}
