package process

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/stats/charts"
)

var nan = math.NaN()

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %.8g, want %.8g within %g", what, got, want, within)
	}
}

func singles(v []float64) [][]float64 {
	var g [][]float64
	for _, x := range v {
		g = append(g, []float64{x})
	}
	return g
}

// TestIndices: NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, sigma 2.
// Piston rings (R package qcc, data set pistonrings): mean 74.00118, sigma .009785,
// limits 73.95 and 74.05: 1.703 and 1.663.
func TestIndices(t *testing.T) {
	cp, cpl, cpu, cpk := Indices(16, 2, 8, 20)
	near(t, "Cp", cp, 1, 1e-12)
	near(t, "Cpu", cpu, 0.6667, 5e-5)
	near(t, "Cpl", cpl, 1.3333, 5e-5)
	near(t, "Cpk", cpk, 0.6667, 5e-5)
	cp, _, _, cpk = Indices(74.00118, .009785, 73.95, 74.05)
	near(t, "rings: Cp", cp, 1.703, 5e-4)
	near(t, "rings: Cpk", cpk, 1.663, 5e-4)
	cp, cpl, cpu, cpk = Indices(16, 2, nan, 20)
	near(t, "one limit: Cpk", cpk, cpu, 0)
	if !math.IsNaN(cp) || !math.IsNaN(cpl) {
		t.Errorf("one limit: Cp %v, Cpl %v", cp, cpl)
	}
}

// TestIndexBounds: Montgomery's examples (printed, from memory, as 2.29 with
// 1.57..3.01 and .88..1.78), to more digits by the same formulas; and limits 90 and
// 100, mean 97, s 1.6, n = 30: Cp 1.0417 (.7749..1.3080), Cpk .625 (.4248...8252).
func TestIndexBounds(t *testing.T) {
	cp, _, _, _ := Indices(50, 1.75, 38, 62)
	near(t, "Cp", cp, 2.2857, 5e-5)
	b := CpBounds(cp, 19, .95)
	near(t, "lower", b.Lower, 1.5649, 5e-5)
	near(t, "upper", b.Upper, 3.0056, 5e-5)
	b = CpkBounds(1.33, 20, 19, .95)
	near(t, "Cpk's lower", b.Lower, .8826, 5e-5)
	near(t, "Cpk's upper", b.Upper, 1.7774, 5e-5)
	cp, _, _, cpk := Indices(97, 1.6, 90, 100)
	near(t, "third Cp", cp, 1.0417, 5e-5)
	near(t, "third Cpk", cpk, .625, 1e-12)
	b = CpBounds(cp, 29, .95)
	near(t, "its lower", b.Lower, .7749, 5e-5)
	near(t, "its upper", b.Upper, 1.3080, 5e-5)
	b = CpkBounds(cpk, 30, 29, .95)
	near(t, "its lower", b.Lower, .4248, 5e-5)
	near(t, "its upper", b.Upper, .8252, 5e-5)
}

// TestCapable: the indices are those of the formulas on what charts.Estimate
// finds, and bounds hold them.
func TestCapable(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var g [][]float64
	for range 60 {
		g = append(g, []float64{2 + 3*rng.NormFloat64(), 2 + 3*rng.NormFloat64(), 2 + 3*rng.NormFloat64()})
	}
	g[7] = nil
	c, err := Capable(g, charts.MeansRanges, CapabilityOptions{Lower: -10, Upper: 10, Target: 0, Gauge: 1})
	if err != nil {
		t.Fatal(err)
	}
	p, err := charts.Estimate(append(append([][]float64{}, g[:7]...), g[8:]...), charts.MeansRanges)
	if err != nil {
		t.Fatal(err)
	}
	if c.N != 177 {
		t.Fatalf("n = %d", c.N)
	}
	near(t, "sigma within", c.SigmaWithin, p.SigmaWithin, 1e-12)
	near(t, "Cp", c.Cp.Value, 20/(6*p.SigmaWithin), 1e-12)
	near(t, "Ppk", c.Ppk.Value, (10-c.Mean)/(3*c.SD), 1e-12)
	near(t, "Cpm", c.Cpm.Value, 20/6./math.Sqrt(c.SD*c.SD+c.Mean*c.Mean), 1e-12)
	near(t, "gauge's share", c.GaugeShare, 1/(c.SD*c.SD), 1e-12)
	for _, x := range []Index{c.Cp, c.Cpl, c.Cpu, c.Cpk, c.Pp, c.Ppl, c.Ppu, c.Ppk, c.Cpm, c.Percentiles.Pp, c.Percentiles.Ppk} {
		if !(x.Bounds.Lower < x.Value && x.Value < x.Bounds.Upper) {
			t.Errorf("%v is not within %v", x.Value, x.Bounds)
		}
	}
	if !c.Percentiles.Fitted || c.Normality.P < 0.01 {
		t.Errorf("percentiles %+v, normality %+v", c.Percentiles, c.Normality)
	}
	again, _ := Capable(g, charts.MeansRanges, CapabilityOptions{Lower: -10, Upper: 10, Target: 0, Gauge: 1})
	if again.Percentiles.Ppk != c.Percentiles.Ppk {
		t.Error("the same data and seed give other bounds")
	}
	one, err := Capable(g, charts.MeansRanges, CapabilityOptions{Lower: nan, Upper: 10, Target: nan})
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(one.Cp.Value) || !math.IsNaN(one.Cpm.Value) || one.Cpk != one.Cpu || math.IsNaN(one.Cpk.Value) ||
		!math.IsNaN(one.Percentiles.Pp.Value) || math.IsNaN(one.Percentiles.Ppk.Value) {
		t.Errorf("one limit: %+v", one)
	}
}

// TestCapablePooled: subgroups that lack values count with what they have; by
// hand: variances 1, 2 and 1 of three, two and three values: (2 x 1 + 1 x 2 + 2 x 1)/5.
func TestCapablePooled(t *testing.T) {
	g := [][]float64{{1, 2, 3}, {4, nan, 6}, {nan, nan, 5}, {7, 8, 9}}
	c, err := Capable(g, charts.MeansRanges, CapabilityOptions{Lower: -10, Upper: 20, Target: nan})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sigma within", c.SigmaWithin, math.Sqrt((2*1+1*2+2*1)/5.), 1e-12)
	near(t, "degrees of freedom", c.DOFWithin, 5, 0)
	if !c.Pooled || c.N != 9 {
		t.Errorf("%+v", c)
	}
	// No two values of one subgroup: no spread within, but one of all.
	var thin [][]float64
	for i := range 12 {
		thin = append(thin, []float64{float64(i % 5), nan})
	}
	c, err = Capable(thin, charts.MeansRanges, CapabilityOptions{Lower: -10, Upper: 20, Target: nan})
	if err != nil || !math.IsNaN(c.Cpk.Value) || math.IsNaN(c.Ppk.Value) || !math.IsNaN(c.Cp.Bounds.Lower) {
		t.Errorf("%v %+v", err, c.Cpk)
	}
}

// TestWithinDOF: a chi-squared estimate of so many degrees of freedom scatters as
// the estimate within subgroups does: by simulation. The efficiency of moving ranges
// is 0.605 (Cryer and Ryan, J. Qual. Technol. 22, 1990; from memory).
func TestWithinDOF(t *testing.T) {
	near(t, "moving ranges, many", dofWithin(charts.Individuals, 1, 100_000)/100_000, 0.605, 5e-4)
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		k    charts.Kind
		n, m int
	}{{charts.Individuals, 1, 40}, {charts.MeansRanges, 5, 12}, {charts.MeansSDs, 5, 12}} {
		var s []float64
		for range 3000 {
			g := make([][]float64, c.m)
			for i := range g {
				for range c.n {
					g[i] = append(g[i], rng.NormFloat64())
				}
			}
			m, _ := meanSD(present(charts.Spreads(g, c.k))) // but for a constant the estimate of sigma
			s = append(s, m)
		}
		m := c.m
		if c.k == charts.Individuals {
			m--
		}
		mean, sd := meanSD(s)
		near(t, string(c.k), mean*mean/(2*sd*sd)/dofWithin(c.k, c.n, m), 1, 0.08)
	}
}

// TestAndersonDarling: the chance is even over 0..1 for normal values (a property
// of any such test), and small for others. By hand: of the eight values -3, -2, -1,
// -.5, .5, 1, 2, 3 the sum of the definition.
func TestAndersonDarling(t *testing.T) {
	v := []float64{-3, -2, -1, -.5, .5, 1, 2, 3}
	s := math.Sqrt(2 * (9 + 4 + 1 + .25) / 7)
	sum := 0.0
	for i, x := range v {
		f := math.Erfc(-x/s/math.Sqrt2) / 2
		r := math.Erfc(v[7-i]/s/math.Sqrt2) / 2
		sum += (2*float64(i) + 1) / 8 * (math.Log(f) + math.Log(r))
	}
	a, err := AndersonDarling([]float64{3, nan, -2, 1, .5, -.5, -1, 2, -3})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "A squared", a.Squared, -8-sum, 1e-9)
	near(t, "adjusted", a.Adj, a.Squared*(1+.75/8+2.25/64), 1e-12)
	// The critical values at 10, 5, 2.5 and 1 % (D'Agostino and Stephens, table 4.7;
	// from memory).
	for crit, p := range map[float64]float64{0.631: .10, 0.752: .05, 0.873: .025, 1.035: .01} {
		near(t, "chance", andersonP(crit), p, 0.02*p+3e-4)
	}
	rng := rand.New(rand.NewPCG(7, 7))
	var below [4]int
	const runs = 4000
	for range runs {
		x := make([]float64, 25)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		a, _ := AndersonDarling(x)
		for i, p := range []float64{.05, .25, .5, .75} {
			if a.P < p {
				below[i]++
			}
		}
	}
	for i, p := range []float64{.05, .25, .5, .75} {
		near(t, "share of normal samples with a lesser chance", float64(below[i])/runs, p, 0.025)
	}
	x := make([]float64, 100)
	for i := range x {
		x[i] = rng.ExpFloat64()
	}
	if a, _ := AndersonDarling(x); a.P > 1e-4 {
		t.Errorf("exponential values pass for normal: %v", a.P)
	}
	x[0] = 1e9 // far out: no logarithm of 0
	if a, _ := AndersonDarling(x); math.IsNaN(a.P) || math.IsInf(a.Squared, 0) {
		t.Errorf("a value far out: %+v", a)
	}
}

// TestPercentiles: on lognormal values, whose percentiles are exp(z), the fitted
// and the data's own come near the truth, and normal indices do not.
func TestPercentiles(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	sigma := 0.5
	low, high := math.Exp(-3*sigma), math.Exp(3*sigma)
	upper := 1 + 1.2*(high-1)
	truth := 1.2
	for _, n := range []int{300, 900, 50_000} {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Exp(sigma * rng.NormFloat64())
		}
		c, err := Capable(singles(v), charts.Individuals, CapabilityOptions{Lower: nan, Upper: upper, Target: nan, Seed: 9})
		if err != nil {
			t.Fatal(err)
		}
		p := c.Percentiles
		if p.Fitted != (n < 1000) {
			t.Errorf("n = %d: fitted %v", n, p.Fitted)
		}
		if !(p.Ppk.Bounds.Lower < truth && truth < p.Ppk.Bounds.Upper) {
			t.Errorf("n = %d: Ppk %+v does not hold %g", n, p.Ppk, truth)
		}
		near(t, "median", p.Median, 1, 0.12)
		near(t, "Ppk", p.Ppk.Value, truth, 0.35)
		if n == 50_000 {
			near(t, "high percentile", p.High, high, 0.05*high)
			near(t, "low percentile", p.Low, low, 0.05*low)
		}
		if c.Normality.P > 1e-3 {
			t.Errorf("n = %d: lognormal values pass for normal", n)
		}
		if c.Ppk.Value < 1.5 {
			t.Errorf("n = %d: the normal index %g is not flattered, so that this test shows nothing", n, c.Ppk.Value)
		}
	}
	for _, l := range []float64{-1.5, 0, 0.7, 1, 2, 3.3} { // there and back
		tr := transform{centre: 3, width: 2, lambda: l, sd: 1}
		for _, v := range []float64{-4, 2.9, 3, 3.5, 9} {
			near(t, "there and back", tr.back(tr.forth(v)), v, 1e-9)
		}
	}
}

func TestBars(t *testing.T) {
	h, err := Bars([]float64{0, 1, 1.5, 2, nan, 9.99, 10})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i, c := range h.Counts {
		n += c
		if c > 0 && h.Edges[i] > 10 {
			t.Errorf("a bar beyond the data: %+v", h)
		}
	}
	if n != 6 || len(h.Edges) != len(h.Counts)+1 || h.Edges[0] > 0 || h.Edges[len(h.Edges)-1] < 10 {
		t.Errorf("%+v", h)
	}
	if h, err := Bars([]float64{5, 5, 5}); err != nil || len(h.Counts) != 1 || h.Counts[0] != 3 {
		t.Errorf("equal values: %+v %v", h, err)
	}
	if _, err := Bars([]float64{nan}); err == nil {
		t.Error("nothing measured: no error")
	}
	big := make([]float64, 5000)
	for i := range big {
		big[i] = float64(i % 100)
	}
	big[0] = 1e6
	if h, err := Bars(big); err != nil || len(h.Counts) > 62 {
		t.Errorf("%d bars, %v", len(h.Counts), err)
	}
}

func TestCapabilityRefuses(t *testing.T) {
	v := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9}
	for name, c := range map[string]struct {
		v []float64
		o CapabilityOptions
	}{
		"no limit":        {v, CapabilityOptions{Lower: nan, Upper: nan, Target: nan}},
		"limits crossed":  {v, CapabilityOptions{Lower: 5, Upper: 5, Target: nan}},
		"target outside":  {v, CapabilityOptions{Lower: 0, Upper: 5, Target: 6}},
		"infinite limit":  {v, CapabilityOptions{Lower: 0, Upper: math.Inf(1), Target: nan}},
		"confidence":      {v, CapabilityOptions{Lower: 0, Upper: 5, Target: nan, Confidence: 1}},
		"too few":         {v[:5], CapabilityOptions{Lower: 0, Upper: 5, Target: nan}},
		"all equal":       {[]float64{1, 1, 1, 1, 1, 1, 1, 1, 1}, CapabilityOptions{Lower: 0, Upper: 5, Target: nan}},
		"nothing at hand": {nil, CapabilityOptions{Lower: 0, Upper: 5, Target: nan}},
	} {
		if _, err := Capable(singles(c.v), charts.Individuals, c.o); err == nil || !strings.HasPrefix(err.Error(), "process: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
