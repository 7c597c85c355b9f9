package charts

import (
	"math"
	"math/rand/v2"

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
// few points, and counts that are small, call more or less often.
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
