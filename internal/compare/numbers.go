package compare

import "math"

func abs(v float64) float64      { return math.Abs(v) }
func hypot(a, b float64) float64 { return math.Hypot(a, b) }

// meanSD are the mean and the standard deviation of a sample; NaN where there are
// too few.
func meanSD(v []float64) (mean, sd float64) {
	if len(v) == 0 {
		return math.NaN(), math.NaN()
	}
	for _, x := range v {
		mean += x
	}
	mean /= float64(len(v))
	ss := 0.0
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	if len(v) < 2 {
		return mean, math.NaN()
	}
	return mean, math.Sqrt(ss / float64(len(v)-1))
}
