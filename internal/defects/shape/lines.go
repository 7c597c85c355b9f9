package shape

import (
	"math"
)

// LineDirection is the direction along which pixels line up best: that in which
// their projection across it is most uneven (the strongest column of a Radon
// transform). It returns the angle in radians in picture coordinates (y down),
// how many lines stand apart in the projection, and how much more uneven it is
// than the projection at right angles: 1 for a ring, large for lines.
func LineDirection(pixels []int, weight func(i int) float64, w int) (angle float64, lines int, grain float64) {
	const steps = 60
	var e [steps]float64
	best := 0
	look := func(k int) {
		k = (k + steps) % steps
		if e[k] == 0 {
			e[k] = roughness(projectionAcross(pixels, weight, w, math.Pi*float64(k)/steps))
		}
		if e[k] > e[best] {
			best = k
		}
	}
	for k := 0; k < steps; k += 2 {
		look(k)
	}
	near := best
	look(near - 1)
	look(near + 1)
	look(best + steps/2)
	angle = math.Pi * float64(best) / steps
	grain = e[best] / math.Max(e[(best+steps/2)%steps], 1e-12)
	return angle, countPeaks(projectionAcross(pixels, weight, w, angle)), grain
}

// projectionAcross sums weights over lines of direction a, one bin a pixel.
func projectionAcross(pixels []int, weight func(i int) float64, w int, a float64) []float64 {
	s, c := math.Sincos(a)
	lo, hi := math.Inf(1), math.Inf(-1)
	at := func(i int) float64 { return -float64(i%w)*s + float64(i/w)*c }
	for _, i := range pixels {
		lo, hi = math.Min(lo, at(i)), math.Max(hi, at(i))
	}
	p := make([]float64, int(hi-lo)+3)
	for _, i := range pixels {
		t := at(i) - lo + 0.5
		k := int(t)
		p[k] += weight(i) * (1 - (t - float64(k)))
		p[k+1] += weight(i) * (t - float64(k))
	}
	return p
}

// roughness is the sum of squared steps of a projection over its squared sum.
func roughness(p []float64) float64 {
	var d, s float64
	for i := range p {
		s += p[i]
		if i > 0 {
			d += (p[i] - p[i-1]) * (p[i] - p[i-1])
		}
	}
	return d / math.Max(s*s, 1e-12)
}

// countPeaks counts maxima that stand at least a quarter of the largest value
// above the dips on both sides.
func countPeaks(p []float64) int {
	top := 0.0
	for _, v := range p {
		top = math.Max(top, v)
	}
	need := top * 0.15
	n := 0
	up, low, high := true, 0.0, 0.0
	for _, v := range append(p, 0) {
		if up {
			high = math.Max(high, v)
			if high-v > need && high-low > need {
				n++
				up, low = false, v
			}
		} else {
			low = math.Min(low, v)
			if v-low > need {
				up, high = true, v
			}
		}
	}
	return n
}
