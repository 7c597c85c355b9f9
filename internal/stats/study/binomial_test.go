package study

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.10g, want %.10g within %g", what, got, want, within)
	}
}

// Computed with R: binom.test (Clopper-Pearson) and prop.test(correct=FALSE)
// (Wilson). 81/263, 15/148, 0/20 and 1/29 are also examples of Newcombe (1998),
// Stat. Med. 17:857, who prints four digits of the same.
func TestBinomialIntervals(t *testing.T) {
	for _, c := range []struct {
		x, n                       int
		cpLow, cpHigh, wLow, wHigh float64
	}{
		{0, 10, 0, 0.3084971078, 0, 0.2775327999},
		{0, 29, 0, 0.1194448691, 0, 0.1169697985},
		{0, 125, 0, 0.02907983714, 0, 0.02981539371},
		{1, 50, 0.000506227983, 0.106469545711, 0.003539259272, 0.104954435896},
		{5, 50, 0.03327509359, 0.21813536643, 0.04347576493, 0.21360231437},
		{3, 125, 0.004976989749, 0.068536316111, 0.008195256527, 0.068188998284},
		{7, 200, 0.01418552590, 0.07078099835, 0.01705554201, 0.07047061152},
		{48, 50, 0.8628623744, 0.9951185666, 0.8653990931, 0.9889611157},
		{15, 148, 0.05784401008, 0.16165049035, 0.06238639953, 0.16048724172},
		{81, 263, 0.2527367456, 0.3676219226, 0.2552885199, 0.3662095770},
		{1, 29, 0.0008726468836, 0.1776442954887, 0.006113214293, 0.171755218793},
		{10, 10, 0.6915028922, 1, 0.7224672001, 1},
		{2, 20, 0.01234852717, 0.31698271402, 0.02786648121, 0.30103364523},
	} {
		cp, err := ClopperPearson(c.x, c.n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Clopper-Pearson lower", cp.Lower, c.cpLow, 1e-9)
		near(t, "Clopper-Pearson upper", cp.Upper, c.cpHigh, 1e-9)
		w, err := Wilson(c.x, c.n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Wilson lower", w.Lower, c.wLow, 1e-9)
		near(t, "Wilson upper", w.Upper, c.wHigh, 1e-9)
	}
}

// One-sided 95 % upper bounds, computed with R's binom.test(alternative="less").
// 0 of n is also 1 - 0.05^(1/n) by hand.
func TestBinomialOneSided(t *testing.T) {
	for _, c := range []struct {
		x, n int
		want float64
	}{{0, 29, 0.09814}, {0, 59, 0.04951}, {0, 299, 0.00997}, {3, 125, 0.06086}} {
		got, err := ClopperPearsonUpper(c.x, c.n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "one-sided upper", got, c.want, 5e-6)
	}
	got, err := ClopperPearsonLower(29, 29, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "29 of 29", got, math.Pow(0.05, 1.0/29), 1e-12)
}

// Garwood's limits for 0, 1, 2, 5 and 10 events at 95 %: 0 to 3.69, 0.0253 to
// 5.57, 0.242 to 7.22, 1.62 to 11.67, 4.80 to 18.39 (published widely, from
// memory; for 0 events the upper one is -ln 0.025 by hand).
func TestPoissonRate(t *testing.T) {
	for _, c := range []struct {
		n         int
		low, high float64
		within    float64
	}{{0, 0, -math.Log(0.025), 1e-12}, {1, 0.0253, 5.5716, 1e-4}, {2, 0.2422, 7.2247, 1e-4}, {5, 1.6235, 11.6683, 1e-4},
		{10, 4.7954, 18.3904, 1e-4}} {
		r, err := NewRate(c.n, 4, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lower", r.Bounds.Lower*4, c.low, c.within)
		near(t, "upper", r.Bounds.Upper*4, c.high, c.within)
		near(t, "rate", r.Value(), float64(c.n)/4, 1e-15)
	}
	r, err := NewRate(0, 0, 0.95)
	if err != nil || !math.IsNaN(r.Value()) || !math.IsNaN(r.Bounds.Upper) {
		t.Errorf("over no units: %+v, %v; not measured is wanted", r, err)
	}
}

func TestBinomialRefuses(t *testing.T) {
	for _, c := range []struct {
		x, n int
		conf float64
	}{{1, 0, 0.95}, {-1, 10, 0.95}, {11, 10, 0.95}, {1, 10, 0}, {1, 10, 1}, {1, 10, math.NaN()}, {1, 10, 95}} {
		if _, err := ClopperPearson(c.x, c.n, c.conf); err == nil {
			t.Errorf("Clopper-Pearson took %v", c)
		}
		if _, err := Wilson(c.x, c.n, c.conf); err == nil {
			t.Errorf("Wilson took %v", c)
		}
	}
	s, err := NewShare(0, 0, 0.95, WilsonScore)
	if err != nil || !math.IsNaN(s.Value()) {
		t.Errorf("no opportunity: %+v, %v; not measured is wanted", s, err)
	}
}

// ClopperPearsonUpper is the exact one-sided upper bound of a share.
func ClopperPearsonUpper(count, n int, confidence float64) (float64, error) {
	if err := checkShare(count, n, confidence); err != nil {
		return 0, err
	}
	return betaUpper(count, n, 1-confidence), nil
}
