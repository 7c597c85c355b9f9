package synth

import "math"

// halfPlaneArea is the share, 0..1, of a square of side s that lies on the
// positive side of a straight edge. d is the signed distance from the edge to
// the square's middle, nx and ny the edge's unit normal. The share is the
// distribution function of the sum of two even distributions, of width
// s|nx| and s|ny|, at d: exact for a straight edge.
func halfPlaneArea(d, nx, ny, s float64) float64 {
	a, b := s*math.Abs(nx), s*math.Abs(ny)
	if a < b {
		a, b = b, a
	}
	h := (a + b) / 2
	switch {
	case d >= h:
		return 1
	case d <= -h:
		return 0
	case b < 1e-6*a:
		return clamp01(0.5 + d/a)
	}
	k := (a - b) / 2
	return clamp01((halfSquare(d+h) - halfSquare(d+k) - halfSquare(d-k)) / (a * b))
}

// halfSquare is x*x/2 above zero and 0 below.
func halfSquare(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * x / 2
}

func clamp01(v float64) float64 { return min(1, max(0, v)) }

// smooth rises from 0 at x <= 0 to 1 at x >= 1 with level ends.
func smooth(x float64) float64 {
	x = clamp01(x)
	return x * x * (3 - 2*x)
}
