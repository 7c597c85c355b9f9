package charts

import (
	"fmt"
	"math"
)

// The charts of counts: the share and the number of units that have something
// (binomial), the count and the count a unit of things found (Poisson), and
// demerits a unit.
const (
	Share     Kind = "p"
	Number    Kind = "np"
	Count     Kind = "c"
	PerUnit   Kind = "u"
	DemeritsU Kind = "demerits per unit"
)

// Counted makes a chart of counts, kind p, np, c or u. sizes are what each count
// was found on: units looked at for p and np; units, or whatever the opportunity
// is (area, length), for u; for c it is nil, all samples being alike. A size of 0
// is a sample that was not looked at. Limits are three standard deviations about
// the centre, each sample's own where sizes vary, cut at 0 (p also at 1): p +- 3
// sqrt(p(1-p)/n), c +- 3 sqrt(c), u +- 3 sqrt(u/n) (NIST/SEMATECH e-Handbook
// 6.3.3).
func Counted(k Kind, counts []int, sizes []float64, o Options) (Chart, error) {
	if err := checkCounts(k, counts, sizes); err != nil {
		return Chart{}, err
	}
	c, err := newChart(k, len(counts), o.Phases)
	if err != nil {
		return c, err
	}
	size := func(i int) float64 {
		if k == Count {
			return 1
		}
		return sizes[i]
	}
	for i, x := range counts {
		switch n := size(i); {
		case n == 0:
		case k == Share || k == PerUnit:
			c.Values[i] = float64(x) / n
		default:
			c.Values[i] = float64(x)
		}
	}
	for si := range c.Stretches {
		s := &c.Stretches[si]
		rate := math.NaN()
		if s.Given != nil {
			rate, s.Fixed = s.Given.Centre, true
			if err := checkRate(k, rate); err != nil {
				return c, err
			}
		} else {
			found, of := 0.0, 0.0
			for _, i := range c.baseline(s) {
				found, of = found+float64(counts[i]), of+size(i)
			}
			if of > 0 {
				rate = found / of
			}
		}
		for i := s.From; i < s.To; i++ {
			if n := size(i); n > 0 {
				c.Limits[i] = countLimits(k, rate, n)
			}
		}
	}
	c.judge(o.Rules)
	return c, nil
}

// countLimits are the limits of one sample of size n.
func countLimits(k Kind, rate, n float64) Limits {
	var l Limits
	switch k {
	case Share:
		l = about(rate, math.Sqrt(rate*(1-rate)/n))
		l.Upper = math.Min(1, l.Upper)
	case Number:
		l = about(n*rate, math.Sqrt(n*rate*(1-rate)))
		l.Upper = math.Min(n, l.Upper)
	case PerUnit:
		l = about(rate, math.Sqrt(rate/n))
	default:
		l = about(rate, math.Sqrt(rate))
	}
	l.Lower = math.Max(0, l.Lower)
	return l
}

func checkCounts(k Kind, counts []int, sizes []float64) error {
	switch k {
	case Share, Number, PerUnit:
		if len(sizes) != len(counts) {
			return fmt.Errorf("charts: %s chart: %d counts, %d sizes: each count needs its size", k, len(counts), len(sizes))
		}
	case Count:
		if sizes != nil {
			return fmt.Errorf("charts: a c chart is for samples that are all alike: for sizes that vary use u")
		}
	default:
		return fmt.Errorf("charts: %q is no chart of counts: use p, np, c or u", k)
	}
	if len(counts) == 0 {
		return fmt.Errorf("charts: %s chart: no samples", k)
	}
	for i, x := range counts {
		if x < 0 {
			return fmt.Errorf("charts: sample %d has a count of %d: it can not be below 0", i+1, x)
		}
		if k == Count {
			continue
		}
		n := sizes[i]
		if !(n >= 0) || math.IsInf(n, 0) {
			return fmt.Errorf("charts: sample %d has a size of %g: it must be a number not below 0", i+1, n)
		}
		if n == 0 && x > 0 {
			return fmt.Errorf("charts: sample %d has a count of %d in a size of 0", i+1, x)
		}
		if k != PerUnit && (n != math.Trunc(n) || float64(x) > n) {
			return fmt.Errorf("charts: sample %d: %d of %g units: a %s chart counts whole units, no more than were looked at", i+1, x, n, k)
		}
	}
	return nil
}

func checkRate(k Kind, rate float64) error {
	if !(rate >= 0) || math.IsInf(rate, 0) || (k == Share || k == Number) && rate > 1 {
		return fmt.Errorf("charts: a centre of %g is given for a %s chart: p and np take a share from 0 to 1, c and u a number not below 0",
			rate, k)
	}
	return nil
}

// DodgeWeights are the demerits of a critical, major, moderate and minor finding:
// classes A to D of Dodge's plan (H. F. Dodge, "A method of rating manufactured
// product", Bell System Technical Journal 7, 1928, 350-368; the weights from memory).
func DodgeWeights() []float64 { return []float64{100, 50, 10, 1} }

// Demerits makes a chart of demerits a unit: counts[i][k] findings of class k in
// sample i of sizes[i] units, weights[k] demerits each. With the classes' rates a
// unit r_k, taken as independent Poisson counts, the centre is sum w_k r_k and
// the standard deviation sqrt(sum w_k^2 r_k / n); the lower limit is cut at 0.
func Demerits(counts [][]int, sizes []float64, weights []float64, o Options) (Chart, error) {
	if err := checkDemerits(counts, sizes, weights); err != nil {
		return Chart{}, err
	}
	c, err := newChart(DemeritsU, len(counts), o.Phases)
	if err != nil {
		return c, err
	}
	for i, row := range counts {
		if sizes[i] > 0 {
			sum := 0.0
			for k, x := range row {
				sum += weights[k] * float64(x)
			}
			c.Values[i] = sum / sizes[i]
		}
	}
	for si := range c.Stretches {
		s := &c.Stretches[si]
		rates := make([]float64, len(weights))
		if s.Given != nil {
			s.Fixed = true
			if rates = s.Given.Rates; len(rates) != len(weights) {
				return c, fmt.Errorf("charts: %d rates are given for %d classes of demerits", len(rates), len(weights))
			}
			for _, r := range rates {
				if err := checkRate(PerUnit, r); err != nil {
					return c, err
				}
			}
		} else {
			of := 0.0
			for _, i := range c.baseline(s) {
				of += sizes[i]
				for k, x := range counts[i] {
					rates[k] += float64(x)
				}
			}
			for k := range rates {
				rates[k] /= of // NaN where nothing was looked at
			}
		}
		centre, square := 0.0, 0.0
		for k, w := range weights {
			centre, square = centre+w*rates[k], square+w*w*rates[k]
		}
		for i := s.From; i < s.To; i++ {
			if sizes[i] > 0 {
				c.Limits[i] = about(centre, math.Sqrt(square/sizes[i]))
				c.Limits[i].Lower = math.Max(0, c.Limits[i].Lower)
			}
		}
	}
	c.judge(o.Rules)
	return c, nil
}

func checkDemerits(counts [][]int, sizes []float64, weights []float64) error {
	if len(counts) == 0 || len(counts) != len(sizes) {
		return fmt.Errorf("charts: demerits of %d samples, %d sizes: each sample needs its size, and there must be one", len(counts),
			len(sizes))
	}
	for k, w := range weights {
		if !(w >= 0) || math.IsInf(w, 0) {
			return fmt.Errorf("charts: class %d weighs %g demerits: it must be a number not below 0", k+1, w)
		}
	}
	for i, row := range counts {
		if len(row) != len(weights) {
			return fmt.Errorf("charts: sample %d counts %d classes, there are %d weights", i+1, len(row), len(weights))
		}
		for _, x := range row {
			if err := checkCounts(PerUnit, []int{x}, sizes[i:i+1]); err != nil {
				return fmt.Errorf("charts: demerits, sample %d: a count of %d in a size of %g: neither can be below 0, and nothing is "+
					"found on nothing", i+1, x, sizes[i])
			}
		}
	}
	return nil
}
