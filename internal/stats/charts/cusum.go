package charts

import (
	"fmt"
	"math"
)

// CUSUMOptions say how deviations from a target are summed up.
type CUSUMOptions struct {
	Target    float64
	Sigma     float64 // standard deviation of a value, above 0
	Allowance float64 // K, in standard deviations: half the shift to be found; 0: 0.5
	Decision  float64 // H, in standard deviations; 0: 5
	// HeadStart is where both sums begin, in standard deviations: half of Decision
	// shows a process that starts off target sooner (Lucas and Crosier, Technometrics
	// 24, 1982; from memory).
	HeadStart float64
}

// CUSUM is a chart of two sums: of what lies above the target by more than the
// allowance, and of what lies below. NaN where the value was not measured.
type CUSUM struct {
	High, Low []float64 // both from 0 up, in the unit of the values
	Limit     float64   // a sum above it is a signal
	Signals   []CUSUMSignal
}

// CUSUMSignal is a point at which a sum is above the limit. The sums are not
// set back: that is for the person who has found the cause.
type CUSUMSignal struct {
	Point int
	Up    bool
	// Since is the first point of the run of sums above 0 that led here: about when
	// the process moved. Level is about where it went (Montgomery, "Introduction to
	// Statistical Quality Control", tabular CUSUM; from memory).
	Since int
	Level float64
	Rule  Rule
}

// NewCUSUM sums up: S_hi = max(0, S_hi + x - target - K), S_lo = max(0, S_lo +
// target - K - x), signal above H (Page, Biometrika 41, 1954; NIST/SEMATECH
// e-Handbook 6.3.2.3).
func NewCUSUM(values []float64, o CUSUMOptions) (CUSUM, error) {
	if o.Allowance == 0 {
		o.Allowance = 0.5
	}
	if o.Decision == 0 {
		o.Decision = 5
	}
	if err := checkLevel("CUSUM", values, o.Target, o.Sigma); err != nil {
		return CUSUM{}, err
	}
	if !(o.Allowance > 0 && o.Decision > 0 && o.HeadStart >= 0 && o.HeadStart < o.Decision) || math.IsInf(o.Allowance+o.Decision, 0) {
		return CUSUM{}, fmt.Errorf("charts: CUSUM with allowance %g, decision limit %g, head start %g: the first two lie above 0, the "+
			"third from 0 to below the second", o.Allowance, o.Decision, o.HeadStart)
	}
	k, n := o.Allowance*o.Sigma, len(values)
	c := CUSUM{High: make([]float64, n), Low: make([]float64, n), Limit: o.Decision * o.Sigma}
	start := o.HeadStart * o.Sigma
	up, down := side{sum: start}, side{sum: start}
	for i, x := range values {
		if math.IsNaN(x) {
			c.High[i], c.Low[i] = x, x
			continue
		}
		c.High[i], c.Low[i] = up.add(x-o.Target-k, i), down.add(o.Target-k-x, i)
		if up.sum > c.Limit {
			c.Signals = append(c.Signals, CUSUMSignal{i, true, up.since, o.Target + up.level(k, start), CUSUMRule(true)})
		}
		if down.sum > c.Limit {
			c.Signals = append(c.Signals, CUSUMSignal{i, false, down.since, o.Target - down.level(k, start), CUSUMRule(false)})
		}
	}
	return c, nil
}

// CUSUMRule is what a signal of a CUSUM chart says.
func CUSUMRule(up bool) Rule {
	if up {
		return Rule{Name: "sum-high", Text: "the sum of what lies above the target is beyond its limit", need: 1, Number: "C+"}
	}
	return Rule{Name: "sum-low", Text: "the sum of what lies below the target is beyond its limit", need: 1, Number: "C−"}
}

// side is one of the sums while it runs.
type side struct {
	sum   float64
	since int  // where the present run above 0 began
	n     int  // values in it
	later bool // the sum has been at 0: what is in it is no head start
}

func (s *side) add(d float64, i int) float64 {
	if s.n == 0 {
		s.since = i
	}
	s.n++
	if s.sum = math.Max(0, s.sum+d); s.sum == 0 {
		s.n, s.later = 0, true
	}
	return s.sum
}

// level is how far off the target the mean of the present run lies.
func (s *side) level(k, start float64) float64 {
	if s.later {
		start = 0
	}
	return k + (s.sum-start)/float64(s.n)
}
