package charts

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// FalseRate says how often a chart calls where nothing is wrong.
type FalseRate struct {
	PerPoint float64 // share of points at which at least one rule is met
	RunMean  float64 // mean number of points until the first call
	Exact    bool    // else simulated, with the standard errors below
	UPoint   float64
	URun     float64
}

// falsePoints is how many points are simulated.
const falsePoints = 300_000

// FalseSignals is how often rules call on independent normal values about a known
// centre. The rule of three standard deviations alone is exact, all else is
// simulated; the same seed gives the same figures. Limits that were estimated from
// few points, and counts that are small, call more or less often: see
// [CountFalse].
func FalseSignals(rules []Rule, seed uint64) FalseRate {
	switch {
	case len(rules) == 0:
		return FalseRate{RunMean: math.Inf(1), Exact: true}
	case len(rules) == 1 && rules[0].Name == "beyond":
		p := 2 * distuv.UnitNormal.CDF(-3)
		return FalseRate{PerPoint: p, RunMean: 1 / p, Exact: true}
	}
	rng := rand.New(rand.NewPCG(seed, 0x5157))
	z := make([]float64, falsePoints)
	for i := range z {
		z[i] = rng.NormFloat64()
	}
	const batches = 30 // for the standard error: calls come in clusters
	var met [batches]float64
	var runs []float64
	calls, need := 0, 0
	for _, r := range rules {
		need = max(need, r.need)
	}
	start := 0 // a run begins afresh after each call
	for i := range z {
		if meets(z[max(0, i+1-need):i+1], rules) {
			calls++
			met[i*batches/len(z)]++
		}
		if meets(z[max(start, i+1-need):i+1], rules) {
			runs, start = append(runs, float64(i+1-start)), i+1
		}
	}
	f := FalseRate{PerPoint: float64(calls) / falsePoints, RunMean: mean(runs), URun: sd(runs) / math.Sqrt(float64(len(runs)))}
	f.UPoint = sd(met[:]) / (falsePoints / batches) / math.Sqrt(batches)
	return f
}

// meets says whether a rule is met at the last of the points.
func meets(z []float64, rules []Rule) bool {
	for _, r := range rules {
		if len(z) >= r.need && r.met(z[len(z)-r.need:]) {
			return true
		}
	}
	return false
}

// CountFalse is the chance that a sample of size n lies beyond the limits of a
// chart of counts (p, np, c or u) though the rate is right: exact, from the
// binomial or the Poisson distribution. It is often far from the 0.0027 of normal
// values: a lower limit of 0 never calls. NaN for demerits, which have no simple
// distribution, and for u where a size is no number above 0.
func CountFalse(k Kind, rate, n float64) float64 {
	if !(rate >= 0) || (k != Count && !(n > 0)) {
		return math.NaN()
	}
	l := countLimits(k, rate, n)
	per := 1.0 // from the plotted value to a count
	if k == Share || k == PerUnit {
		per = n
	}
	// The last count that is not above the upper limit, and the last below the lower.
	const tiny = 1e-9
	up, down := math.Floor(l.Upper*per+tiny), math.Ceil(l.Lower*per-tiny)-1
	mean := rate
	switch k {
	case Share, Number:
		if rate > 1 {
			return math.NaN()
		}
		return binomialCDF(down, n, rate) + 1 - binomialCDF(up, n, rate)
	case PerUnit:
		mean = rate * n
	case Count:
	default:
		return math.NaN()
	}
	return poissonCDF(down, mean) + 1 - poissonCDF(up, mean)
}

func poissonCDF(x, mean float64) float64 {
	switch {
	case x < 0:
		return 0
	case mean == 0:
		return 1
	}
	return mathext.GammaIncRegComp(x+1, mean)
}

func binomialCDF(x, n, p float64) float64 {
	switch {
	case x < 0:
		return 0
	case x >= n || p == 0:
		return 1
	case p == 1:
		return 0
	}
	return mathext.RegIncBeta(n-x, x+1, 1-p)
}

// ShewhartRun is the mean number of points until a single value falls beyond
// three standard deviations, after the process has moved by shift standard
// deviations.
func ShewhartRun(shift float64) float64 {
	n := distuv.UnitNormal
	return 1 / (n.CDF(-3-shift) + n.CDF(-3+shift))
}

// runNodes is the number of nodes of the integral equations below; with half as
// many the figures change by less than 1e-6 of themselves.
const runNodes = 80

// CUSUMRun is the mean number of points until a two-sided CUSUM with allowance k
// and decision limit h calls, after the process has moved by shift; all in
// standard deviations. Each side's mean solves L(u) = 1 + L(0) Phi(k-u) + integral
// from 0 to h of L(y) phi(y+k-u) (Page 1954), solved at Gauss-Legendre nodes; the two
// sides go together as 1/L = 1/L_hi + 1/L_lo (Kemp, J. R. Stat. Soc. B 23, 1961; from
// memory), exactly so without a head start and nearly with one up to h/2.
func CUSUMRun(k, h, headStart, shift float64) (float64, error) {
	if !(k > 0 && h > 0 && headStart >= 0 && headStart < h) || math.IsInf(k+h, 0) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return math.NaN(), fmt.Errorf("charts: mean run of a CUSUM with allowance %g, limit %g, head start %g, shift %g: the first two lie above 0, the third from 0 to below the second", k, h, headStart, shift)
	}
	up, err := cusumSide(k-shift, h, headStart)
	if err != nil {
		return math.NaN(), err
	}
	down, err := cusumSide(k+shift, h, headStart)
	if err != nil {
		return math.NaN(), err
	}
	if headStart == 0 {
		return 1 / (1/up.start + 1/down.start), nil
	}
	// van Dobben de Bruyn's formula for two sides that start off 0 (from memory).
	return (up.start*down.zero + up.zero*down.start - up.zero*down.zero) / (up.zero + down.zero), nil
}

// oneSide is the mean run of one side, from 0 and from its head start.
type oneSide struct{ zero, start float64 }

func cusumSide(k, h, start float64) (oneSide, error) {
	x, w := make([]float64, runNodes), make([]float64, runNodes)
	quad.Legendre{}.FixedLocations(x, w, 0, h)
	// The unknowns: L(0), then L at the nodes.
	n := runNodes + 1
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	row := func(u float64) []float64 {
		r := make([]float64, n)
		r[0] = distuv.UnitNormal.CDF(k - u)
		for j := range x {
			r[j+1] = w[j] * distuv.UnitNormal.Prob(x[j]+k-u)
		}
		return r
	}
	for i := range n {
		u := 0.0
		if i > 0 {
			u = x[i-1]
		}
		for j, v := range row(u) {
			a.Set(i, j, -v)
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return oneSide{}, fmt.Errorf("charts: mean run of a CUSUM with limit %g: %w", h, err)
	}
	s := oneSide{zero: l.AtVec(0), start: 1}
	for j, v := range row(start) {
		s.start += v * l.AtVec(j)
	}
	return s, nil
}

// EWMARun is the mean number of points until an EWMA chart with weight lambda
// and steady limits of so many standard deviations of the average calls, after the
// process has moved by shift standard deviations of a value: the solution of L(u)
// = 1 + 1/lambda integral of L(y) phi((y-(1-lambda)u)/lambda - shift) over the limits
// (Crowder, Technometrics 29, 1987; from memory).
func EWMARun(lambda, widths, shift float64) (float64, error) {
	if !(lambda > 0 && lambda <= 1 && widths > 0) || math.IsInf(widths, 0) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return math.NaN(), fmt.Errorf("charts: mean run of an EWMA with weight %g, limits %g, shift %g: the weight lies above 0 and up to 1, the limits above 0", lambda, widths, shift)
	}
	h := widths * math.Sqrt(lambda/(2-lambda))
	x, w := make([]float64, runNodes), make([]float64, runNodes)
	quad.Legendre{}.FixedLocations(x, w, -h, h)
	kernel := func(u float64, j int) float64 {
		return w[j] / lambda * distuv.UnitNormal.Prob((x[j]-(1-lambda)*u)/lambda-shift)
	}
	a, b := mat.NewDense(runNodes, runNodes, nil), mat.NewVecDense(runNodes, nil)
	for i := range runNodes {
		for j := range runNodes {
			a.Set(i, j, -kernel(x[i], j))
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		return math.NaN(), fmt.Errorf("charts: mean run of an EWMA with weight %g: %w", lambda, err)
	}
	run := 1.0
	for j := range runNodes {
		run += kernel(0, j) * l.AtVec(j)
	}
	return run, nil
}
