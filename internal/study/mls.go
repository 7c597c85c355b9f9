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
	alpha := (1 - level) / 2
	v := sum(terms)
	return Interval{v, v - math.Sqrt(below(terms, alpha)), v + math.Sqrt(below(negated(terms), alpha))}
}

func negated(terms []term) []term {
	n := make([]term, len(terms))
	for i, t := range terms {
		n[i] = term{-t.by, t.meanSquare}
	}
	return n
}

// below is the square of the distance from the sum down to its lower bound at
// one-sided error rate alpha. The upper bound's is that of the negated sum.
func below(terms []term, alpha float64) float64 {
	var plus, minus []term
	for _, t := range terms {
		switch {
		case t.df == 0 || t.by == 0 || t.ms == 0:
		case t.by > 0:
			plus = append(plus, t)
		default:
			minus = append(minus, t)
		}
	}
	v := 0.0
	for _, q := range plus {
		v += sq(g(q.df, alpha) * q.by * q.ms)
	}
	for _, r := range minus {
		v += sq(h(r.df, alpha) * r.by * r.ms)
	}
	for _, q := range plus {
		for _, r := range minus {
			f := fQuantile(1-alpha, q.df, r.df)
			cross := (sq(f-1) - sq(g(q.df, alpha)*f) - sq(h(r.df, alpha))) / f
			v += cross * q.by * -r.by * q.ms * r.ms
		}
	}
	if len(minus) > 0 {
		for i, q := range plus {
			for _, t := range plus[i+1:] {
				n := q.df + t.df
				cross := sq(g(n, alpha)*n)/(q.df*t.df) - sq(g(q.df, alpha))*q.df/t.df - sq(g(t.df, alpha))*t.df/q.df
				v += cross / float64(len(plus)-1) * q.by * t.by * q.ms * t.ms
			}
		}
	}
	return math.Max(0, v)
}

// g and h are 1 - n/chi2(1-alpha; n) and n/chi2(alpha; n) - 1.
func g(df, alpha float64) float64 { return 1 - df/chi2Quantile(1-alpha, df) }
func h(df, alpha float64) float64 { return df/chi2Quantile(alpha, df) - 1 }

// ratio is the interval of the ratio of two sums of mean squares: the values c
// for which the interval of (upper part - c * lower part) holds 0 (Gui, Graybill,
// Burdick and Ting, Communications in Statistics - Simulation 24, 1995, 801-813;
// from memory). Neither end is below 0; the upper one may be infinite.
func ratio(up, down []term, level float64) Interval {
	alpha := (1 - level) / 2
	minus := func(c float64) []term {
		t := append([]term{}, up...)
		for _, d := range down {
			t = append(t, term{-c * d.by, d.meanSquare})
		}
		return merged(t)
	}
	lower := func(c float64) bool { t := minus(c); return sum(t)-math.Sqrt(below(t, alpha)) > 0 }
	upper := func(c float64) bool { t := minus(c); return sum(t)+math.Sqrt(below(negated(t), alpha)) > 0 }
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
