package study

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds is an interval; NaN: that side is not known.
type Bounds struct{ Lower, Upper float64 }

// Share is a count out of a number of opportunities, with its interval at the
// level that it was asked for.
type Share struct {
	Count, Of int
	Bounds    Bounds
}

// Value is the share, 0 to 1; NaN where there was no opportunity.
func (s Share) Value() float64 {
	if s.Of == 0 {
		return math.NaN()
	}
	return float64(s.Count) / float64(s.Of)
}

// BinomialMethod names an interval of a share.
type BinomialMethod string

// The intervals. Clopper-Pearson never covers less than it says; Wilson's is
// shorter and covers what it says on average.
const (
	WilsonScore         BinomialMethod = "Wilson"          // Wilson (1927), J. Am. Stat. Assoc. 22:209
	ClopperPearsonExact BinomialMethod = "Clopper-Pearson" // Clopper & Pearson (1934), Biometrika 26:404
)

// NewShare is count out of n with its two-sided interval. No opportunity at all
// (n = 0) gives a share that is not measured, with NaN for bounds.
func NewShare(count, n int, confidence float64, m BinomialMethod) (Share, error) {
	s := Share{Count: count, Of: n, Bounds: Bounds{math.NaN(), math.NaN()}}
	if n == 0 && count == 0 {
		return s, checkConfidence(confidence)
	}
	var err error
	switch m {
	case WilsonScore:
		s.Bounds, err = Wilson(count, n, confidence)
	case ClopperPearsonExact:
		s.Bounds, err = ClopperPearson(count, n, confidence)
	default:
		err = fmt.Errorf("interval %q: use %s or %s", m, WilsonScore, ClopperPearsonExact)
	}
	return s, err
}

// ClopperPearson is the exact two-sided interval of a share, from quantiles of
// the beta distribution (Clopper & Pearson 1934).
func ClopperPearson(count, n int, confidence float64) (Bounds, error) {
	if err := checkShare(count, n, confidence); err != nil {
		return Bounds{}, err
	}
	tail := (1 - confidence) / 2
	return Bounds{betaLower(count, n, tail), betaUpper(count, n, tail)}, nil
}

// ClopperPearsonLower is the exact one-sided lower bound of a share.
func ClopperPearsonLower(count, n int, confidence float64) (float64, error) {
	if err := checkShare(count, n, confidence); err != nil {
		return 0, err
	}
	return betaLower(count, n, 1-confidence), nil
}

// betaLower is the share at which count or more would be seen with probability
// tail.
func betaLower(count, n int, tail float64) float64 {
	if count == 0 {
		return 0
	}
	return mathext.InvRegIncBeta(float64(count), float64(n-count+1), tail)
}

// betaUpper is the share at which count or fewer would be seen with probability
// tail.
func betaUpper(count, n int, tail float64) float64 {
	if count == n {
		return 1
	}
	return mathext.InvRegIncBeta(float64(count+1), float64(n-count), 1-tail)
}

// Wilson is the two-sided score interval of a share (Wilson 1927), without
// continuity correction.
func Wilson(count, n int, confidence float64) (Bounds, error) {
	if err := checkShare(count, n, confidence); err != nil {
		return Bounds{}, err
	}
	z := normalQuantile((1 + confidence) / 2)
	x, m := float64(count), float64(n)
	middle := (x + z*z/2) / (m + z*z)
	half := z / (m + z*z) * math.Sqrt(x*(m-x)/m+z*z/4)
	b := Bounds{max(0, middle-half), min(1, middle+half)}
	if count == 0 {
		b.Lower = 0 // not what rounding leaves of it
	}
	if count == n {
		b.Upper = 1
	}
	return b, nil
}

// Rate is a number of events over a number of units, with the exact two-sided
// interval of the rate a unit for events that come singly (Garwood 1936,
// Biometrika 28:437: quantiles of the gamma distribution).
type Rate struct {
	Count, Units int
	Bounds       Bounds
}

// Value is the rate a unit; NaN where no unit was looked at.
func (r Rate) Value() float64 {
	if r.Units == 0 {
		return math.NaN()
	}
	return float64(r.Count) / float64(r.Units)
}

// NewRate is count events over so many units, with its interval. No unit at all
// gives a rate that is not measured.
func NewRate(count, units int, confidence float64) (Rate, error) {
	r := Rate{Count: count, Units: units, Bounds: Bounds{math.NaN(), math.NaN()}}
	if err := checkConfidence(confidence); err != nil {
		return r, err
	}
	if count < 0 || units < 0 {
		return r, fmt.Errorf("rate of %d events over %d units: neither can be below 0", count, units)
	}
	if units == 0 {
		return r, nil
	}
	b := PoissonMean(float64(count), confidence)
	r.Bounds = Bounds{b.Lower / float64(units), b.Upper / float64(units)}
	return r, nil
}

// PoissonMean is the exact two-sided interval of the mean of which count, 0 or more,
// was seen (Garwood 1936). confidence is between 0 and 1. A count need not be whole:
// one that is divided by its spread is not.
func PoissonMean(count, confidence float64) Bounds {
	var b Bounds
	tail := (1 - confidence) / 2
	if count > 0 {
		b.Lower = mathext.GammaIncRegInv(count, tail)
	}
	b.Upper = mathext.GammaIncRegInv(count+1, 1-tail)
	return b
}

func checkShare(count, n int, confidence float64) error {
	if n <= 0 {
		return fmt.Errorf("share of %d: there was no opportunity, so there is no share", n)
	}
	if count < 0 || count > n {
		return fmt.Errorf("share of %d in %d: the count must lie between 0 and %d", count, n, n)
	}
	return checkConfidence(confidence)
}

var errConfidence = errors.New("the level of confidence must lie between 0.5 and 1, such as 0.95")

func checkConfidence(c float64) error {
	if !(c >= 0.5 && c < 1) {
		return fmt.Errorf("confidence %g: %w", c, errConfidence)
	}
	return nil
}

// normalQuantile is the quantile of the standard normal distribution.
func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// twoSidedP is the probability of a standard normal value at least as far from 0
// as z.
func twoSidedP(z float64) float64 { return 2 * distuv.UnitNormal.Survival(math.Abs(z)) }
