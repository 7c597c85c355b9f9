package charts

import (
	"fmt"
	"math"
	"slices"
)

// Measured makes the two charts of measured values: of their level (single values
// or subgroups' means) and of their spread (moving ranges, ranges or standard
// deviations). An empty subgroup, or one with a NaN, was not measured; the moving
// range does not go over it, nor over the start of a phase. Limits are as in
// [Estimate], of each phase. The rules are applied to the level; of the spread's
// chart only points beyond the limits stand out, as its values neither are normal
// nor, for moving ranges, independent.
func Measured(k Kind, groups [][]float64, o Options) (level, spread Chart, err error) {
	n, err := groupSize(k, groups)
	if err != nil {
		return level, spread, err
	}
	if level, err = newChart(k, len(groups), o.Phases); err != nil {
		return level, spread, err
	}
	spread, _ = newChart(k, len(groups), o.Phases)
	for i, g := range groups {
		if len(g) == n {
			level.Values[i] = mean(g)
		}
	}
	by := perSigma(k, n)
	for si := range level.Stretches {
		s := &level.Stretches[si]
		for i := s.From; i < s.To; i++ {
			spread.Values[i] = spreadOf(k, groups, i, n, s.From)
		}
		var centre, sigma float64
		if s.Given != nil {
			centre, sigma, s.Fixed = s.Given.Centre, s.Given.Sigma, true
		} else {
			used := level.baseline(s)
			centre = meanAt(level.Values, used)
			sigma = meanAt(spread.Values, spreadsOf(k, s, used)) / by
		}
		spread.Stretches[si] = *s
		if s.Given == nil && (math.IsNaN(centre) || math.IsNaN(sigma)) {
			continue
		}
		p, err := given(centre, sigma, n, k, by)
		if err != nil {
			return level, spread, err
		}
		for i := s.From; i < s.To; i++ {
			level.Limits[i], spread.Limits[i] = p.Level, p.Spread
		}
	}
	level.judge(o.Rules)
	beyond, _ := Rules("beyond")
	spread.judge(beyond)
	return level, spread, nil
}

// groupSize is the one size that subgroups have.
func groupSize(k Kind, groups [][]float64) (int, error) {
	n := 0
	for i, g := range groups {
		switch {
		case len(g) == 0:
		case n == 0:
			n = len(g)
		case len(g) != n:
			return 0, fmt.Errorf("charts: subgroup %d has %d values, one before it has %d: all must have the same number", i+1, len(g), n)
		}
		for _, v := range g {
			if math.IsInf(v, 0) {
				return 0, fmt.Errorf("charts: subgroup %d has a value that is infinite", i+1)
			}
		}
	}
	switch {
	case n == 0:
		return 0, fmt.Errorf("charts: a chart of %s: nothing was measured", k)
	case k != Individuals && k != MeansRanges && k != MeansSDs:
		return 0, fmt.Errorf("charts: %q is no chart of measured values: use %s, %s or %s", k, Individuals, MeansRanges, MeansSDs)
	case (k == Individuals) != (n == 1) || n > MaxSize:
		return 0, fmt.Errorf("charts: a chart of %s does not suit subgroups of %d", k, n)
	}
	return n, nil
}

// spreadOf is a subgroup's point of the spread's chart; n is the size of those
// that were measured, from where the moving ranges begin.
func spreadOf(k Kind, groups [][]float64, i, n, from int) float64 {
	g := groups[i]
	switch {
	case len(g) != n, slices.ContainsFunc(g, math.IsNaN):
		return math.NaN()
	case k == MeansRanges:
		return rangeOf(g)
	case k == MeansSDs:
		return sd(g)
	case i == from || len(groups[i-1]) != n:
		return math.NaN()
	}
	return math.Abs(g[0] - groups[i-1][0])
}

// spreadsOf are the points whose spread counts: of single values only those
// whose neighbour before counts too.
func spreadsOf(k Kind, s *Stretch, used []int) []int {
	if k != Individuals {
		return used
	}
	var out []int
	for j, i := range used {
		if j > 0 && used[j-1] == i-1 {
			out = append(out, i)
		}
	}
	return out
}

func meanAt(v []float64, at []int) float64 {
	s := 0.0
	for _, i := range at {
		s += v[i]
	}
	return s / float64(len(at)) // NaN for none
}
