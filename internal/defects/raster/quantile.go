package raster

import (
	"math"

	"finishbench/internal/stats/robust"
)

// MADToSD turns the median absolute deviation of a normal sample into its
// standard deviation: 1 over the normal quantile of 3/4.
const MADToSD = 1.4826

// Median returns the middle of v, 0 for none. It reorders v.
func Median[T float32 | float64](v []T) T { return Quantile(v, 0.5) }

// Quantile returns the value below which the share q of v lies, one of v's own
// (robust.Quantile lies between two); 0 for none. It reorders v.
func Quantile[T float32 | float64](v []T, q float64) T {
	if len(v) == 0 {
		return 0
	}
	return robust.Nth(v, rank(v, q))
}

// Quantiles returns two of them at once, low <= high.
func Quantiles[T float32 | float64](v []T, low, high float64) (T, T) {
	if len(v) == 0 {
		return 0, 0
	}
	k := rank(v, high)
	most := robust.Nth(v, k)
	return robust.Nth(v[:k+1], rank(v, low)), most
}

func rank[T any](v []T, q float64) int { return min(len(v)-1, int(q*float64(len(v)))) }

// EdgeOut is how far outside a straight edge, in standard deviations of the
// blur, its height has fallen to a share: the normal distribution's quantile.
func EdgeOut(share float32) float64 {
	return math.Sqrt2 * math.Erfinv(math.Max(-0.99, math.Min(0.99, 1-2*float64(share))))
}
