package lots

import (
	"fmt"
	"math"

	"finishbench/internal/part"
)

// Points are the two points that a plan is designed to pass by: of lots as good
// as P1 at most the share Alpha is refused (the producer's risk), of lots as bad
// as P2 at most the share Beta is accepted (the consumer's risk).
type Points struct {
	P1    float64 `json:"p1"`
	Alpha float64 `json:"alpha"`
	P2    float64 `json:"p2"`
	Beta  float64 `json:"beta"`
}

// largestSample ends the search for a plan.
const largestSample = 1_000_000

// keeps is how far a risk may seem to be missed by rounding errors alone, of the
// risk: 5 of 100 units left out is a risk of 0.05.
const keeps = 1e-9

// wholeUnits takes what a fraction leaves of rounding errors: 0.1*30 is 3.
const wholeUnits = 1e-9

// Design finds the single plan with the smallest sample that keeps both risks,
// to rounding errors: no smaller n has any Ac that does. For the hypergeometric law a lot
// is as good as P1 with at most P1*lotSize whole nonconforming units, and as bad
// as P2 with at least P2*lotSize.
func Design(pt Points, law Law, lotSize int) (n, ac int, err error) {
	if err := checkLaw(law, lotSize); err != nil {
		return 0, 0, err
	}
	if err := pt.check(law); err != nil {
		return 0, 0, err
	}
	// For each Ac the smallest n that the consumer can accept; that grows with Ac,
	// and so does what it gives the producer: the first that serves both is it.
	for ac, n = 0, 0; ; ac++ {
		if n, err = smallestN(law, lotSize, ac, pt.P2, pt.Beta, n); err != nil {
			return 0, 0, err
		}
		if goodAccept(law, lotSize, n, ac, pt.P1) >= (1-pt.Alpha)*(1-keeps) {
			return n, ac, nil
		}
	}
}

func (pt Points) check(law Law) error {
	switch {
	case !(pt.P1 > 0 && pt.P1 < pt.P2) || math.IsInf(pt.P2, 1):
		return fmt.Errorf("lots: a plan is designed for two qualities, the better one above 0 and below the worse one, not %s and %s",
			part.Decimal(pt.P1), part.Decimal(pt.P2))
	case law != Poisson && pt.P2 > 1:
		return fmt.Errorf("lots: a share of nonconforming units of %s is more than all; give it as a fraction", part.Decimal(pt.P2))
	case !(pt.Alpha > 0 && pt.Beta > 0 && pt.Alpha+pt.Beta < 1):
		return fmt.Errorf("lots: the risks %s and %s are no shares of lots that add up to less than 1", part.Decimal(pt.Alpha),
			part.Decimal(pt.Beta))
	}
	return nil
}

// SmallestN is the smallest sample with which lots as bad as p are accepted with
// at most the probability beta when at most ac are counted. With the binomial
// law it is also the number of tries that shows, with ac failures, a share of
// success of 1-p at the confidence 1-beta.
func SmallestN(law Law, lotSize, ac int, p, beta float64) (int, error) {
	if err := checkLaw(law, lotSize); err != nil {
		return 0, err
	}
	switch {
	case ac < 0:
		return 0, fmt.Errorf("lots: an acceptance number of %d is negative", ac)
	case !(p > 0) || math.IsInf(p, 1) || law != Poisson && p > 1:
		return 0, fmt.Errorf("lots: %s is no share of nonconforming units above 0; give it as a fraction", part.Decimal(p))
	case !(beta > 0 && beta < 1):
		return 0, fmt.Errorf("lots: the risk %s is no share of lots between 0 and 1", part.Decimal(beta))
	}
	return smallestN(law, lotSize, ac, p, beta, 0)
}

// smallestN searches from a sample that is too small or just enough.
func smallestN(law Law, lotSize, ac int, p, beta float64, from int) (int, error) {
	end := largestSample
	if law == Hypergeometric {
		end = lotSize
	}
	enough := func(n int) bool { return badAccept(law, lotSize, n, ac, p) <= beta*(1+keeps) }
	low := max(from, ac, 1) - 1 // not enough, or not tried
	step := 1
	high := low + step
	for high < end && !enough(high) {
		low, step = high, step*2
		high = low + step
	}
	if high = min(high, end); !enough(high) {
		if law == Hypergeometric {
			return 0, fmt.Errorf("lots: no sample of a lot of %d can tell that it has %s of nonconforming units with at most %d accepted",
				lotSize, percent(p), ac)
		}
		return 0, fmt.Errorf("lots: no plan with a sample of up to %d keeps both risks; the two qualities are too close together",
			largestSample)
	}
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}

// Risks are how often the plan errs at the two points: of lots as good as P1 the share that is refused, of
// lots as bad as P2 the share that is accepted. A single lot (hypergeometric) is taken as [Points.Units] say.
func (o OC) Risks(pt Points) (refused, accepted float64) {
	return 1 - goodAccept(o.Law, o.LotSize, o.N, o.Ac, pt.P1), badAccept(o.Law, o.LotSize, o.N, o.Ac, pt.P2)
}

// Units are the nonconforming units of a lot that is just as good as P1, which has at most so many, and of
// one that is just as bad as P2, which has at least so many.
func (pt Points) Units(lotSize int) (good, bad int) {
	return int(math.Floor(pt.P1*float64(lotSize) + wholeUnits)), int(math.Ceil(pt.P2*float64(lotSize) - wholeUnits))
}

// goodAccept is the least probability of acceptance of lots as good as p.
func goodAccept(law Law, lotSize, n, ac int, p float64) float64 {
	if law == Hypergeometric {
		good, _ := Points{P1: p}.Units(lotSize)
		return hyperAtMost(lotSize, good, n, ac)
	}
	return AcceptP(law, lotSize, n, ac, p)
}

// badAccept is the greatest probability of acceptance of lots as bad as p.
func badAccept(law Law, lotSize, n, ac int, p float64) float64 {
	if law == Hypergeometric {
		_, bad := Points{P2: p}.Units(lotSize)
		return hyperAtMost(lotSize, bad, n, ac)
	}
	return AcceptP(law, lotSize, n, ac, p)
}

// ZeroAcceptance is the smallest sample of a lot with which lots that have the
// share p or more of nonconforming units are accepted with at most the
// probability beta when not one may be found. It is exact for the lot: drawn
// without putting back.
func ZeroAcceptance(lotSize int, p, beta float64) (int, error) {
	return SmallestN(Hypergeometric, lotSize, 0, p, beta)
}

func percent(p float64) string { return part.Decimal(math.Round(p*1e6)/1e4) + " %" }
