package study

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a value with its confidence interval. NaN where there is none.
type Interval struct{ Value, Lower, Upper float64 }

// meanSquare is a mean square with its degrees of freedom; 0 of them: absent.
type meanSquare struct {
	of     Source
	ms, df float64
}

// term is a mean square's part in a sum.
type term struct {
	by float64 // its factor, of either sign
	meanSquare
}

// sum is the value of a sum of mean squares.
func sum(terms []term) float64 {
	s := 0.0
	for _, t := range terms {
		if t.df > 0 {
			s += t.by * t.ms
		}
	}
	return s
}

// interval is the two-sided confidence interval, at the given level, of the sum
// of expected mean squares: the modified large-sample method. Where all factors
// are positive it is that of Graybill and Wang (JASA 75, 1980, 869-873), else
// that of Ting, Burdick, Graybill, Jeyaratnam and Lu (Journal of Statistical
// Computation and Simulation 35, 1990, 135-143), as used for gauges by Burdick,
// Borror and Montgomery ("Design and Analysis of Gauge R&R Studies", ASA-SIAM,
// 2005); formulas from memory, held by tests of coverage. One mean square alone
// gets the exact interval from chi-square.
func interval(terms []term, level float64) Interval {
	t := newTails((1 - level) / 2)
	v := sum(terms)
	return Interval{v, v - math.Sqrt(t.below(terms)), v + math.Sqrt(t.below(negated(terms)))}
}

func negated(terms []term) []term {
	n := make([]term, len(terms))
	for i, t := range terms {
		n[i] = term{-t.by, t.meanSquare}
	}
	return n
}

// below is the square of the distance from the sum down to its lower bound at
// the one-sided error rate. The upper bound's is that of the negated sum.
func (t tails) below(terms []term) float64 {
	var plus, minus []term
	for _, x := range terms {
		switch {
		case x.df == 0 || x.by == 0 || x.ms == 0:
		case x.by > 0:
			plus = append(plus, x)
		default:
			minus = append(minus, x)
		}
	}
	v := 0.0
	for _, q := range plus {
		v += sq(t.g(q.df) * q.by * q.ms)
	}
	for _, r := range minus {
		v += sq(t.h(r.df) * r.by * r.ms)
	}
	for _, q := range plus {
		for _, r := range minus {
			f := t.f(q.df, r.df)
			cross := (sq(f-1) - sq(t.g(q.df)*f) - sq(t.h(r.df))) / f
			v += cross * q.by * -r.by * q.ms * r.ms
		}
	}
	if len(minus) > 0 {
		for i, q := range plus {
			for _, u := range plus[i+1:] {
				n := q.df + u.df
				cross := sq(t.g(n)*n)/(q.df*u.df) - sq(t.g(q.df))*q.df/u.df - sq(t.g(u.df))*u.df/q.df
				v += cross / float64(len(plus)-1) * q.by * u.by * q.ms * u.ms
			}
		}
	}
	return math.Max(0, v)
}

// tails are quantiles at one error rate, each computed once: they cost far more
// than all else here.
type tails struct {
	alpha float64
	known map[[3]float64]float64
}

func newTails(alpha float64) tails { return tails{alpha, map[[3]float64]float64{}} }

func (t tails) once(key [3]float64, compute func() float64) float64 {
	v, ok := t.known[key]
	if !ok {
		v = compute()
		t.known[key] = v
	}
	return v
}

// g and h are 1 - n/chi2(1-alpha; n) and n/chi2(alpha; n) - 1; f is F(1-alpha).
func (t tails) g(df float64) float64 {
	return t.once([3]float64{0, df}, func() float64 { return 1 - df/chi2Quantile(1-t.alpha, df) })
}

func (t tails) h(df float64) float64 {
	return t.once([3]float64{1, df}, func() float64 { return df/chi2Quantile(t.alpha, df) - 1 })
}

func (t tails) f(d1, d2 float64) float64 {
	return t.once([3]float64{2, d1, d2}, func() float64 { return fQuantile(1-t.alpha, d1, d2) })
}

// ratio is the interval of the ratio of two sums of mean squares: the values c
// for which the interval of (upper part - c * lower part) holds 0 (Gui, Graybill,
// Burdick and Ting, Communications in Statistics - Simulation 24, 1995, 801-813;
// from memory). Neither end is below 0; the upper one may be infinite.
func ratio(up, down []term, level float64) Interval {
	tails := newTails((1 - level) / 2)
	minus := func(c float64) []term {
		t := append([]term{}, up...)
		for _, d := range down {
			t = append(t, term{-c * d.by, d.meanSquare})
		}
		return merged(t)
	}
	lower := func(c float64) bool { t := minus(c); return sum(t)-math.Sqrt(tails.below(t)) > 0 }
	upper := func(c float64) bool { t := minus(c); return sum(t)+math.Sqrt(tails.below(negated(t))) > 0 }
	return Interval{math.Max(0, sum(up)/sum(down)), lastTrue(lower), lastTrue(upper)}
}

// merged adds the factors of terms with the same mean square.
func merged(terms []term) []term {
	var out []term
next:
	for _, t := range terms {
		for i := range out {
			if out[i].of == t.of {
				out[i].by += t.by
				continue next
			}
		}
		out = append(out, t)
	}
	return out
}

// lastTrue is where f, true at first, becomes false as c grows: 0 where it never
// is true, infinite where it stays true.
func lastTrue(f func(c float64) bool) float64 {
	const smallest, greatest = -40.0, 40.0 // natural logarithms
	lo, hi := smallest, greatest
	switch {
	case !f(math.Exp(lo)):
		return 0
	case f(math.Exp(hi)):
		return math.Inf(1)
	}
	for range 45 {
		if mid := (lo + hi) / 2; f(math.Exp(mid)) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2)
}

func sq(x float64) float64 { return x * x }

func chi2Quantile(p, df float64) float64 { return distuv.ChiSquared{K: df}.Quantile(p) }

func fQuantile(p, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Quantile(p) }

// tQuantile is Student's t; infinitely many degrees of freedom are the normal
// distribution.
func tQuantile(p, df float64) float64 {
	if df > 1e8 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// fTail is the probability of an F above f: exact far out, where 1 - CDF is 0.
func fTail(f, d1, d2 float64) float64 {
	if math.IsNaN(f) || f < 0 || !(d1 > 0) || !(d2 > 0) {
		return math.NaN()
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// tTail is the two-sided probability of a t at least so far from 0.
func tTail(t, df float64) float64 {
	if df > 1e8 {
		return math.Erfc(math.Abs(t) / math.Sqrt2)
	}
	return fTail(t*t, 1, df)
}
