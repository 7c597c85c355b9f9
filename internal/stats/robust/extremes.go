package robust

import "math"

// GumbelLimit is what the largest of so many maxima exceeds with the chance
// allowed: Gumbel's law (Gumbel 1958, Statistics of Extremes), its place and scale from
// the median and the third quartile, or, for a heavy tail, from the third quartile and
// the ninth tenth where that is wider. It reorders maxima, of which there is one at least.
func GumbelLimit(maxima []float64, allowed float64, heavy bool) float64 {
	n := len(maxima)
	at := func(q float64) float64 { return Nth(maxima, min(n-1, int(q*float64(n)))) }
	gumbel := func(p float64) float64 { return -math.Log(-math.Log(p)) }
	q50, q75 := at(.5), at(.75)
	beta := (q75 - q50) / (gumbel(.75) - gumbel(.5))
	if heavy {
		beta = max(beta, (at(.9)-q75)/(gumbel(.9)-gumbel(.75)))
	}
	return q50 + beta*(gumbel(1-allowed/float64(n))-gumbel(.5))
}
