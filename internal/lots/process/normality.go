package process

import (
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Normality is the test of Anderson and Darling for a normal distribution whose
// mean and standard deviation are estimated from the same values.
type Normality struct {
	N       int
	Squared float64 // A^2
	Adj     float64 // A^2 (1 + 0.75/n + 2.25/n^2)
	P       float64 // chance of so large a deviation from normal values; NaN where it could not be tested
}

// AndersonDarling tests for normality: statistic by Anderson and Darling (J. Am.
// Stat. Assoc. 49, 1954), small-sample factor and chance by D'Agostino and Stephens,
// "Goodness-of-Fit Techniques", 1986, table 4.9 (from memory). At least eight values
// that are not all equal are needed. With thousands of values any true process
// fails: look at the histogram too.
func AndersonDarling(values []float64) (Normality, error) {
	v := present(values)
	n := len(v)
	out := Normality{N: n, Squared: math.NaN(), Adj: math.NaN(), P: math.NaN()}
	if n < 8 {
		return out, lang.Error(part.Say("lot.normality.few", "n", strconv.Itoa(n)))
	}
	slices.Sort(v)
	m, s := meanSD(v)
	if !(s > 1e-12*math.Max(math.Abs(v[0]), math.Abs(v[n-1]))) {
		return out, lang.Error(part.Say("lot.normality.equal", "n", strconv.Itoa(n)))
	}
	sum := 0.0
	for i := range v {
		sum += float64(2*i+1) * (logPhi((v[i]-m)/s) + logPhi(-(v[n-1-i]-m)/s))
	}
	k := float64(n)
	out.Squared = -k - sum/k
	out.Adj = out.Squared * (1 + 0.75/k + 2.25/(k*k))
	out.P = andersonP(out.Adj)
	return out, nil
}

// logPhi is the logarithm of the normal distribution function, also far out.
func logPhi(z float64) float64 {
	if z > -30 {
		return math.Log(distuv.UnitNormal.CDF(z))
	}
	return -z*z/2 - math.Log(-z) - math.Log(2*math.Pi)/2
}

func andersonP(a float64) float64 {
	var p float64
	switch {
	case a < 0.2:
		p = 1 - math.Exp(-13.436+101.14*a-223.73*a*a)
	case a < 0.34:
		p = 1 - math.Exp(-8.318+42.796*a-59.938*a*a)
	case a < 0.6:
		p = math.Exp(0.9177 - 4.279*a - 1.38*a*a)
	case a < 13:
		p = math.Exp(1.2937 - 5.709*a + 0.0186*a*a)
	}
	return math.Max(0, math.Min(1, p))
}

// present are the values that were measured.
func present(values []float64) []float64 {
	var out []float64
	for _, x := range values {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			out = append(out, x)
		}
	}
	return out
}

// meanSD are the mean and the standard deviation (n-1); NaN where there are too few.
func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x
	}
	mean /= float64(len(v))
	for _, x := range v {
		sd += (x - mean) * (x - mean)
	}
	if len(v) < 2 {
		return mean, math.NaN()
	}
	return mean, math.Sqrt(sd / float64(len(v)-1))
}
