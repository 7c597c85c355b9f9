package teach

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/stats/study"
)

// spread is the pooled variance of the counts per unit over their mean, at least
// 1.
func spread(groups ...[]float64) float64 {
	var ss, sum, n, g float64
	for _, x := range groups {
		if len(x) == 0 {
			continue
		}
		m := stat.Mean(x, nil)
		for _, v := range x {
			ss += (v - m) * (v - m) / math.Max(m, 1e-12)
		}
		sum += m * float64(len(x))
		n += float64(len(x))
		g++
	}
	if n <= g || sum == 0 {
		return 1
	}
	return math.Max(1, ss/(n-g))
}

// per100 is the rate of the counts with Garwood's (1936) interval, for counts
// divided by their spread.
func per100(x []float64, spread, confidence float64) Per100 {
	count, units := floats.Sum(x), float64(len(x))
	if units == 0 {
		return Per100{}
	}
	b := study.PoissonMean(count/spread, confidence)
	f := 100 * spread / units
	return Per100{Count: int(count), Rate: 100 * count / units, Low: f * b.Lower, High: f * b.Upper}
}

// differP is the p value of two rates being one, by the deviance of quasi-
// likelihood over the spread: F on 1 and N-2 degrees of freedom.
func differP(a, na, b, nb, spread float64) float64 {
	term := func(x, mu float64) float64 {
		if x == 0 {
			return 0
		}
		return x * math.Log(x/mu)
	}
	mean := (a + b) / (na + nb)
	d := 2 * (term(a, na*mean) + term(b, nb*mean))
	return distuv.F{D1: 1, D2: math.Max(1, na+nb-2)}.Survival(math.Max(0, d) / spread)
}

const week = 7 * 24 * time.Hour

// trendOf fits a log-linear trend to the counts per week (Poisson with a spread).
func trendOf(own []Look, p CoachParams) Trend {
	t := Trend{Weeks: weeksOf(own, p.Confidence), Word: TooFew}
	var total int
	for _, w := range t.Weeks {
		total += w.Count
	}
	if len(t.Weeks) < p.MinWeeks || float64(total) < 2*p.MinExpected {
		return t
	}
	slope, pv, ok := logTrend(t.Weeks)
	if !ok {
		return t
	}
	change := math.Exp(4 * slope)
	t.Change, t.P, t.Word = &change, &pv, Level
	if pv <= 1-p.Confidence {
		t.Word = Falling
		if slope > 0 {
			t.Word = Rising
		}
	}
	return t
}

func weeksOf(own []Look, confidence float64) []Week {
	by := map[time.Time][]float64{}
	all := counts(own, "")
	for i, l := range own {
		by[monday(l.At)] = append(by[monday(l.At)], all[i])
	}
	var out []Week
	phi := spread(all)
	for from, x := range by {
		out = append(out, Week{From: from, Units: len(x), Per100: per100(x, phi, confidence)})
	}
	slices.SortFunc(out, func(a, b Week) int { return a.From.Compare(b.From) })
	return out
}

func monday(at time.Time) time.Time {
	d := at.UTC().Truncate(24 * time.Hour)
	return d.AddDate(0, 0, -(int(d.Weekday())+6)%7)
}

// logTrend is the slope per week of the log of the rate, by Newton's iteration
// (McCullagh & Nelder 1989, section 2.5), and its p value, Student's t with the
// Pearson spread, at least 1.
func logTrend(weeks []Week) (slope, p float64, ok bool) {
	x := make([]float64, len(weeks))
	var sumC, sumN float64
	for i, w := range weeks {
		x[i] = float64(w.From.Sub(weeks[0].From)) / float64(week)
		sumC += float64(w.Count)
		sumN += float64(w.Units)
	}
	mid := stat.Mean(x, nil)
	for i := range x {
		x[i] -= mid
	}
	a, b := math.Log(sumC/sumN), 0.0
	var s0, s1, s2 float64
	for range 50 {
		s0, s1, s2 = 0, 0, 0
		var g0, g1 float64
		for i, w := range weeks {
			mu := float64(w.Units) * math.Exp(a+b*x[i])
			r := float64(w.Count) - mu
			g0, g1 = g0+r, g1+r*x[i]
			s0, s1, s2 = s0+mu, s1+mu*x[i], s2+mu*x[i]*x[i]
		}
		det := s0*s2 - s1*s1
		if !(det > 0) {
			return 0, 0, false
		}
		da, db := (s2*g0-s1*g1)/det, (s0*g1-s1*g0)/det
		a, b = a+da, b+db
		if math.Abs(da)+math.Abs(db) < 1e-10 {
			return b, trendP(weeks, x, a, b, s0/det), true
		}
	}
	return 0, 0, false
}

func trendP(weeks []Week, x []float64, a, b, variance float64) float64 {
	var pearson float64
	for i, w := range weeks {
		mu := float64(w.Units) * math.Exp(a+b*x[i])
		pearson += (float64(w.Count) - mu) * (float64(w.Count) - mu) / mu
	}
	df := float64(len(weeks) - 2)
	phi := math.Max(1, pearson/df)
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(b)/math.Sqrt(phi*variance))
}
