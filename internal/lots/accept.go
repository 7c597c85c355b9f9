package lots

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Law says by which distribution the count in a sample varies.
type Law string

const (
	// Binomial: nonconforming units of a process, or of a lot much larger than the sample.
	Binomial Law = "binomial"
	// Poisson: nonconformities, of which a unit can have several.
	Poisson Law = "poisson"
	// Hypergeometric: nonconforming units of one lot, drawn without putting back.
	Hypergeometric Law = "hypergeometric"
)

// Laws lists the laws.
var Laws = []Law{Binomial, Poisson, Hypergeometric}

// AcceptP is the probability that a sample of n with at most ac counted turns
// up, in a lot or a process of which the share p is nonconforming (Poisson: p
// nonconformities a unit). Only the hypergeometric law needs lotSize; there,
// p*lotSize is rounded to whole units. NaN where the arguments make no plan.
func AcceptP(law Law, lotSize, n, ac int, p float64) float64 {
	if n < 1 || ac < 0 || !(p >= 0) || law != Poisson && p > 1 {
		return math.NaN()
	}
	switch law {
	case Binomial:
		return binomialAtMost(n, ac, p)
	case Poisson:
		return poissonAtMost(float64(n)*p, ac)
	case Hypergeometric:
		if n > lotSize {
			return math.NaN()
		}
		return hyperAtMost(lotSize, int(math.Round(p*float64(lotSize))), n, ac)
	}
	return math.NaN()
}

// binomialAtMost is P(X <= c), as the regularized incomplete beta function.
// Abramowitz and Stegun 1964, 26.5.24.
func binomialAtMost(n, c int, p float64) float64 {
	switch {
	case c >= n || p == 0:
		return 1
	case p == 1:
		return 0
	}
	return mathext.RegIncBeta(float64(n-c), float64(c)+1, 1-p)
}

// poissonAtMost is P(X <= c) of a Poisson variable with mean m, as the
// regularized incomplete gamma function. Abramowitz and Stegun 1964, 26.4.21.
func poissonAtMost(m float64, c int) float64 {
	switch {
	case m == 0:
		return 1
	case math.IsInf(m, 1):
		return 0
	}
	return mathext.GammaIncRegComp(float64(c)+1, m)
}

// hyperAtMost is P(X <= c) where n of N units are drawn and D of the N are
// nonconforming. Terms are added in logarithms, so that large lots neither
// overflow nor vanish.
func hyperAtMost(N, D, n, c int) float64 {
	first, last := max(0, n+D-N), min(n, D)
	switch {
	case c >= last:
		return 1
	case c < first:
		return 0
	}
	term := logChoose(D, first) + logChoose(N-D, n-first) - logChoose(N, n)
	sum := 0.0
	for x := first; x <= c; x++ {
		sum += math.Exp(term)
		term += math.Log(float64(D-x)) + math.Log(float64(n-x)) - math.Log(float64(x+1)) - math.Log(float64(N-D-n+x+1))
	}
	return min(sum, 1)
}

func logChoose(n, k int) float64 {
	return lgamma(n+1) - lgamma(k+1) - lgamma(n-k+1)
}

func lgamma(v int) float64 {
	g, _ := math.Lgamma(float64(v))
	return g
}

// checkLaw refuses a law that there is not, and a lot that it needs.
func checkLaw(law Law, lotSize int) error {
	switch law {
	case Binomial, Poisson:
		return nil
	case Hypergeometric:
		return checkLot(lotSize)
	}
	return fmt.Errorf("lots: no law %q; there are binomial, poisson and hypergeometric", law)
}
