// Package robust has order statistics, least squares that leave far values out, and the way down to the least
// of a sum that is not quadratic: what several packages fit with. Pure Go.
package robust

import (
	"math"
	"slices"
)

// Nth moves the k-th smallest value, counted from 0, to place k, none larger
// before it, and returns it (Hoare 1961, Algorithm 65: Find). v holds more than k
// values and no NaN.
func Nth[T ~float32 | ~float64](v []T, k int) T {
	for lo, hi := 0, len(v)-1; lo < hi; {
		pivot, i, j := v[(lo+hi)/2], lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	return v[k]
}

// Quantile is the value below which the share q, 0..1, of v lies, between two
// values by their distance; NaN for none. v is not changed.
func Quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	x := q * float64(len(w)-1)
	i := int(x)
	at := Nth(w, min(i, len(w)-1))
	if i+1 >= len(w) {
		return at
	}
	return at + (x-float64(i))*(slices.Min(w[i+1:])-at)
}
