package charts

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// MaxSize is the largest subgroup for which there are constants.
const MaxSize = 200

// D2 is the mean range of n values drawn from a normal distribution with
// standard deviation 1 (Tippett, Biometrika 17, 1925); NaN outside 2..MaxSize.
func D2(n int) float64 {
	d2, _ := rangeMoments(n)
	return d2
}

// D3 is the standard deviation of that range; NaN outside 2..MaxSize.
func D3(n int) float64 {
	d2, square := rangeMoments(n)
	return math.Sqrt(square - d2*d2)
}

// D2Star is the square root of the mean square of the mean of g ranges of n
// values each: sqrt(d2^2 + d3^2/g) (Duncan, "Quality Control and Industrial
// Statistics", appendix; values from memory). The mean of few ranges is divided
// by it to estimate a standard deviation; with many it becomes D2.
func D2Star(n, g int) float64 {
	d2, square := rangeMoments(n)
	if g < 1 {
		return math.NaN()
	}
	return math.Sqrt(d2*d2 + (square-d2*d2)/float64(g))
}

// C4 is the mean standard deviation of n values drawn from a normal
// distribution with standard deviation 1: sqrt(2/(n-1)) gamma(n/2)/gamma((n-1)/2);
// NaN outside 2..MaxSize.
func C4(n int) float64 {
	if n < 2 || n > MaxSize {
		return math.NaN()
	}
	a, _ := math.Lgamma(float64(n) / 2)
	b, _ := math.Lgamma(float64(n-1) / 2)
	return math.Sqrt(2/float64(n-1)) * math.Exp(a-b)
}

// Factors are those of the usual charts for subgroups of n, for limits of three
// standard deviations (ISO 7870-2; from memory), from d2, d3 and c4. A factor
// below 0 is cut to 0.
type Factors struct{ A2, A3, B3, B4, D3, D4, E2 float64 }

// FactorsFor are the factors for subgroups of n; NaN outside 2..MaxSize.
func FactorsFor(n int) Factors {
	d2, d3, c4, root := D2(n), D3(n), C4(n), math.Sqrt(float64(n))
	s := 3 * math.Sqrt(1-c4*c4) / c4
	return Factors{
		A2: 3 / (d2 * root), A3: 3 / (c4 * root),
		B3: math.Max(0, 1-s), B4: 1 + s,
		D3: math.Max(0, 1-3*d3/d2), D4: 1 + 3*d3/d2,
		E2: 3 / d2,
	}
}

// rangeMoments are the mean and the mean square of the range W of n standard
// normal values, from its distribution function
//
//	F(w) = n * integral of phi(x) (Phi(x+w) - Phi(x))^(n-1) dx
//
// as the integrals of 1-F and of 2w(1-F) over w. Good to 1e-9.
func rangeMoments(n int) (mean, square float64) {
	if n < 2 || n > MaxSize {
		return math.NaN(), math.NaN()
	}
	const (
		far   = 9.0 // standard deviations beyond which nothing is left
		step  = 0.1 // the trapezium rule is all but exact for what dies away so
		nodes = 96
	)
	var x, phi, cdf []float64
	for v := -far; v <= far; v += step {
		x, phi, cdf = append(x, v), append(phi, distuv.UnitNormal.Prob(v)), append(cdf, distuv.UnitNormal.CDF(v))
	}
	w, weight := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(w, weight, 0, 2*far)
	for i := range w {
		f := 0.0
		for k := range x {
			f += phi[k] * math.Pow(distuv.UnitNormal.CDF(x[k]+w[i])-cdf[k], float64(n-1))
		}
		above := 1 - float64(n)*f*step
		mean += weight[i] * above
		square += weight[i] * 2 * w[i] * above
	}
	return mean, square
}
