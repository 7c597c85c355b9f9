package charts

import (
	"fmt"
	"math"
)

// Limits are those of one chart. NaN where there is none.
type Limits struct {
	Centre, Lower, Upper float64
	Sigma                float64 // of what is plotted; a third of the way from the centre to a limit
}

// Kind is a kind of control chart for measured values.
type Kind string

// The kinds: single values with moving ranges; means with ranges; means with
// standard deviations.
const (
	Individuals Kind = "individuals"
	MeansRanges Kind = "means and ranges"
	MeansSDs    Kind = "means and standard deviations"
)

// KindFor is the kind that suits subgroups of n: ranges waste little up to ten
// values (common practice, no source).
func KindFor(n int) Kind {
	switch {
	case n == 1:
		return Individuals
	case n <= 10:
		return MeansRanges
	}
	return MeansSDs
}

// Pair are the limits of the two charts that go together: that of the level
// (values or means) and that of the spread (moving ranges, ranges or standard
// deviations), and the standard deviation within subgroups that they rest on.
type Pair struct {
	Level, Spread Limits
	SigmaWithin   float64
}

// Spreads are the points of the spread's chart for subgroups: the moving range
// (NaN for the first), the range, or the standard deviation.
func Spreads(groups [][]float64, k Kind) []float64 {
	s := make([]float64, len(groups))
	for i, g := range groups {
		s[i] = spreadOf(k, groups, i, len(g), 0)
	}
	return s
}

// Means are the subgroups' means.
func Means(groups [][]float64) []float64 {
	m := make([]float64, len(groups))
	for i, g := range groups {
		m[i] = mean(g)
	}
	return m
}

// Estimate computes limits from subgroups of one size: three standard
// deviations about the mean (Shewhart; NIST/SEMATECH e-Handbook 6.3.2.1 and
// 6.3.2.2). At least two subgroups are needed.
func Estimate(groups [][]float64, k Kind) (Pair, error) {
	if len(groups) < 2 {
		return Pair{}, fmt.Errorf("charts: limits from %d subgroups: at least two are needed", len(groups))
	}
	n := len(groups[0])
	for i, g := range groups {
		if len(g) != n {
			return Pair{}, fmt.Errorf("charts: subgroup %d has %d values, the first has %d: all must have the same number", i+1, len(g), n)
		}
	}
	if (k == Individuals) != (n == 1) || n == 0 || n > MaxSize {
		return Pair{}, fmt.Errorf("charts: a chart of %s does not suit subgroups of %d", k, n)
	}
	spread := Spreads(groups, k)
	if k == Individuals {
		spread = spread[1:] // the first value has no range
	}
	by := perSigma(k, n)
	return given(mean(Means(groups)), mean(spread)/by, n, k, by)
}

// Given are the limits that follow from a centre and a standard deviation
// within subgroups of n.
func Given(centre, sigma float64, n int, k Kind) (Pair, error) {
	return given(centre, sigma, n, k, perSigma(k, n))
}

// perSigma is the mean spread of subgroups of n over the standard deviation: d2 or
// c4.
func perSigma(k Kind, n int) float64 {
	if k == MeansSDs {
		return C4(n)
	}
	return D2(max(n, 2))
}

// given has d2 or c4 at hand, which takes a while to compute.
func given(centre, sigma float64, n int, k Kind, by float64) (Pair, error) {
	if !(sigma >= 0) || math.IsInf(sigma, 0) || math.IsNaN(centre) || math.IsInf(centre, 0) {
		return Pair{}, fmt.Errorf("charts: limits from centre %g and standard deviation %g: both must be numbers, the second not below 0",
			centre, sigma)
	}
	p := Pair{SigmaWithin: sigma, Level: about(centre, sigma/math.Sqrt(float64(n)))}
	if k == MeansSDs {
		p.Spread = about(by*sigma, sigma*math.Sqrt(1-by*by))
	} else {
		p.Spread = about(by*sigma, D3(max(n, 2))*sigma)
	}
	p.Spread.Lower = math.Max(0, p.Spread.Lower)
	return p, nil
}

func about(centre, sigma float64) Limits {
	return Limits{centre, centre - 3*sigma, centre + 3*sigma, sigma}
}

func mean(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func rangeOf(v []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return hi - lo
}

func sd(v []float64) float64 {
	m, s := mean(v), 0.0
	for _, x := range v {
		s += (x - m) * (x - m)
	}
	return math.Sqrt(s / float64(len(v)-1))
}
