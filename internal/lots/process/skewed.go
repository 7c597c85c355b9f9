package process

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/stats/robust"
	"finishbench/internal/stats/study"
)

// Percentiles are the indices for values that need not be normal: in place of
// mean and six standard deviations the median and the stretch between the 0.135th
// and the 99.865th percentile (ISO 22514-2; from memory).
type Percentiles struct {
	Low, Median, High  float64 // the 0.135th, 50th and 99.865th percentile; NaN: not known
	Pp, Ppl, Ppu, Ppk  Index
	Fitted             bool      // through a transform to normal values; else the data's own percentiles
	Lambda             float64   // of the transform
	Fit                Normality // of the transformed values: does the transform hold?
	ExpectedOutsidePPM float64   // beyond the limits, per million
}

// ownFrom is from how many values on their own percentiles are used: one value
// lies beyond the 99.865th percentile in 741.
const ownFrom = 1000

// The tails of the percentiles: three standard deviations of normal values.
func lowTail() float64 { return distuv.UnitNormal.CDF(-3) }

// percentilesOf finds the indices. Fewer than a thousand values are transformed
// to normal ones (Yeo and Johnson, Biometrika 87, 2000, 954-959) and the
// percentiles taken back from there. Bounds are from resampling (Efron and
// Tibshirani, "An Introduction to the Bootstrap", 1993, the percentile interval).
func percentilesOf(v []float64, lower, upper, confidence float64, seed uint64) Percentiles {
	p := Percentiles{Lambda: math.NaN(), Fit: Normality{P: math.NaN(), Squared: math.NaN(), Adj: math.NaN()}}
	rng := rand.New(rand.NewPCG(seed, 0x9e37))
	var draw func() spread3
	var at spread3
	draws := 200
	if len(v) >= ownFrom {
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		at = spread3{robust.Quantile(v, lowTail()), robust.Quantile(v, 0.5), robust.Quantile(v, 1-lowTail())}
		draw, draws = func() spread3 { return redrawn(sorted, rng) }, 2000
		p.ExpectedOutsidePPM = 1e6 * shareOutside(v, lower, upper)
	} else {
		t := fitTransform(v)
		at = t.spread()
		p.Fitted, p.Lambda = true, t.lambda
		p.Fit, _ = AndersonDarling(t.all(v))
		p.ExpectedOutsidePPM = 1e6 * t.outside(lower, upper)
		again := make([]float64, len(v))
		draw = func() spread3 {
			for i := range again {
				again[i] = v[rng.IntN(len(v))]
			}
			return fitTransform(again).spread()
		}
	}
	p.Low, p.Median, p.High = at.low, at.mid, at.high
	pp, ppl, ppu, ppk := at.indices(lower, upper)
	var many [4][]float64
	for range draws {
		a, b, c, d := draw().indices(lower, upper)
		for i, x := range []float64{a, b, c, d} {
			many[i] = append(many[i], x)
		}
	}
	for i, x := range []*Index{&p.Pp, &p.Ppl, &p.Ppu, &p.Ppk} {
		*x = Index{[]float64{pp, ppl, ppu, ppk}[i], drawnBounds(many[i], confidence)}
	}
	return p
}

// spread3 are the three percentiles.
type spread3 struct{ low, mid, high float64 }

func (s spread3) indices(lower, upper float64) (pp, ppl, ppu, ppk float64) {
	pp = (upper - lower) / (s.high - s.low)
	ppl, ppu = (s.mid-lower)/(s.mid-s.low), (upper-s.mid)/(s.high-s.mid)
	return pp, ppl, ppu, lesser(ppl, ppu)
}

// lesser is the smaller of two numbers, or the one that is there.
func lesser(a, b float64) float64 {
	switch {
	case math.IsNaN(a):
		return b
	case math.IsNaN(b):
		return a
	}
	return math.Min(a, b)
}

// redrawn are the percentiles of one resample, by the spacings that a resample's
// ranks have (a Dirichlet distribution), without drawing all its values.
func redrawn(sorted []float64, rng *rand.Rand) spread3 {
	n := float64(len(sorted))
	q := lowTail()
	var g [4]float64
	sum := 0.0
	for i, share := range []float64{q, 0.5 - q, 0.5 - q, q} {
		g[i] = distuv.Gamma{Alpha: share * n, Beta: 1, Src: rng}.Rand()
		sum += g[i]
	}
	at := func(share float64) float64 {
		x := math.Max(0, math.Min(share, 1)) * (n - 1)
		i := min(int(x), len(sorted)-2)
		return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
	}
	return spread3{at(g[0] / sum), at((g[0] + g[1]) / sum), at(1 - g[3]/sum)}
}

// drawnBounds cut the tails off resampled numbers; NaN where too many could not
// be found.
func drawnBounds(v []float64, confidence float64) study.Bounds {
	ok := present(v)
	if len(ok) == 0 || len(ok) < len(v)*9/10 {
		return study.Bounds{Lower: math.NaN(), Upper: math.NaN()}
	}
	return study.Bounds{Lower: robust.Quantile(ok, (1-confidence)/2), Upper: robust.Quantile(ok, (1+confidence)/2)}
}

func shareOutside(v []float64, lower, upper float64) float64 {
	n := 0
	for _, x := range v {
		if x < lower || x > upper {
			n++
		}
	}
	return float64(n) / float64(len(v))
}

// transform takes values to nearly normal ones: after taking off the median and
// dividing by the spread, the power transform of Yeo and Johnson, which values of
// either sign may have.
type transform struct {
	centre, width float64
	lambda        float64
	mean, sd      float64 // of the transformed values
}

// fitTransform finds the transform of the greatest likelihood.
func fitTransform(v []float64) transform {
	q := robust.Quantile
	t := transform{centre: q(v, 0.5), width: (q(v, 0.75) - q(v, 0.25)) / 1.349}
	if !(t.width > 0) {
		_, t.width = meanSD(v)
	}
	if !(t.width > 0) {
		return transform{lambda: math.NaN()}
	}
	x, logs, sum := make([]float64, len(v)), make([]float64, len(v)), 0.0
	for i, a := range v {
		x[i] = (a - t.centre) / t.width
		logs[i] = math.Log1p(math.Abs(x[i]))
		if x[i] < 0 {
			sum -= logs[i]
		} else {
			sum += logs[i]
		}
	}
	y := make([]float64, len(v))
	loss := func(l float64) float64 {
		for i := range x {
			y[i] = powered(x[i] < 0, logs[i], l)
		}
		_, s := meanSD(y)
		return float64(len(y))*math.Log(s) - (l-1)*sum
	}
	t.lambda = lowest(loss, -4, 6)
	loss(t.lambda)
	t.mean, t.sd = meanSD(y)
	return t
}

// powered is the transform of a value x with log(1+|x|) at hand.
func powered(negative bool, log, l float64) float64 {
	if negative {
		if math.Abs(2-l) < 1e-9 {
			return -log
		}
		return -math.Expm1((2-l)*log) / (2 - l)
	}
	if math.Abs(l) < 1e-9 {
		return log
	}
	return math.Expm1(l*log) / l
}

// back takes a transformed value back; NaN beyond what the transform reaches.
func (t transform) back(y float64) float64 {
	var x float64
	switch l := t.lambda; {
	case y >= 0 && math.Abs(l) < 1e-9:
		x = math.Expm1(y)
	case y >= 0:
		x = math.Expm1(math.Log1p(l*y) / l)
	case math.Abs(2-l) < 1e-9:
		x = -math.Expm1(-y)
	default:
		x = -math.Expm1(math.Log1p(-(2-l)*y) / (2 - l))
	}
	if math.IsInf(x, 0) {
		return math.NaN()
	}
	return t.centre + t.width*x
}

// forth is a value's distance from the mean in standard deviations, transformed.
func (t transform) forth(v float64) float64 {
	x := (v - t.centre) / t.width
	return (powered(x < 0, math.Log1p(math.Abs(x)), t.lambda) - t.mean) / t.sd
}

func (t transform) all(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = t.forth(x)
	}
	return out
}

func (t transform) spread() spread3 {
	return spread3{t.back(t.mean - 3*t.sd), t.back(t.mean), t.back(t.mean + 3*t.sd)}
}

// outside is the share expected beyond limits; NaN limits are none.
func (t transform) outside(lower, upper float64) float64 {
	p := 0.0
	if !math.IsNaN(lower) {
		p += distuv.UnitNormal.CDF(t.forth(lower))
	}
	if !math.IsNaN(upper) {
		p += distuv.UnitNormal.CDF(-t.forth(upper))
	}
	return p
}

// lowest finds the lowest place of a function with one dip, by golden section.
func lowest(f func(float64) float64, lo, hi float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	a, b := hi-g*(hi-lo), lo+g*(hi-lo)
	fa, fb := f(a), f(b)
	for hi-lo > 1e-3 {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - g*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + g*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
}
