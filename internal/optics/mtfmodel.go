package optics

import "math"

// Sinc is sin(pi x)/(pi x): the frequency response of a box one wide.
func Sinc(x float64) float64 {
	if math.Abs(x) < 1e-9 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// BlurMTF is the contrast that is left at f cycles a pixel after a lens with a
// Gaussian blur of sigmaPX and a pixel that is sensitive all over its square:
// exp(-2 pi^2 sigma^2 f^2) sinc(f), the Fourier transform of both (any textbook).
func BlurMTF(f, sigmaPX float64) float64 {
	return math.Exp(-2*math.Pi*math.Pi*sigmaPX*sigmaPX*f*f) * Sinc(f)
}

// PixelMTF50 is where the pixel alone, with a perfect lens, has lost half the
// contrast, cycles a pixel: sinc(f) = 1/2.
const PixelMTF50 = 0.6033545644

// MTF50OfSigma is where [BlurMTF] has fallen to one half, cycles a pixel. A
// sigma that is negative or no number gives NaN.
func MTF50OfSigma(sigmaPX float64) float64 {
	if !(sigmaPX >= 0) {
		return math.NaN()
	}
	low, high := 0.0, PixelMTF50
	for range 60 {
		if m := (low + high) / 2; BlurMTF(m, sigmaPX) > 0.5 {
			low = m
		} else {
			high = m
		}
	}
	return (low + high) / 2
}

// SigmaOfMTF50 is the inverse of [MTF50OfSigma]: the Gaussian blur, px, in front
// of the pixel's square that would give this MTF50. It is NaN where there is
// none: at or below 0, and above [PixelMTF50], as a sharpening camera shows.
//
// The width that a picture's fitness is judged by ([part.PictureResult]'s
// SharpnessPX) is that of a Gaussian fitted to the whole edge, pixel included:
// about 2.5631 sqrt(sigma^2 + 1/12), as the square's variance is 1/12 px^2.
func SigmaOfMTF50(cyPX float64) float64 {
	s := 2 * Sinc(cyPX)
	if !(cyPX > 0) || !(s >= 1) || cyPX >= 1 {
		return math.NaN()
	}
	return math.Sqrt(math.Log(s) / (2 * math.Pi * math.Pi * cyPX * cyPX))
}

// Rise1090OfSigma is the distance, px, over which an edge rises from 10 to 90 %
// behind a Gaussian blur of sigmaPX and a pixel's square.
func Rise1090OfSigma(sigmaPX float64) float64 {
	if !(sigmaPX >= 0) {
		return math.NaN()
	}
	low, high := 0.0, 1+3*sigmaPX
	for range 60 {
		if t := (low + high) / 2; boxedEdge(t, sigmaPX) < 0.9 {
			low = t
		} else {
			high = t
		}
	}
	return low + high // the edge is odd about its middle
}

// boxedEdge is a unit step blurred by a Gaussian and averaged over a box one
// wide, at t.
func boxedEdge(t, sigma float64) float64 {
	return normalRamp(t+0.5, sigma) - normalRamp(t-0.5, sigma)
}

// normalRamp is the integral of the normal distribution of this sigma up to t.
func normalRamp(t, sigma float64) float64 {
	if sigma == 0 {
		return max(t, 0)
	}
	u := t / sigma
	return t*math.Erfc(-u/math.Sqrt2)/2 + sigma*math.Exp(-u*u/2)/math.Sqrt(2*math.Pi)
}

// LinePairsPerMM turns cycles a pixel into line pairs a millimetre on the part.
func LinePairsPerMM(cyPX, mmPerPX float64) float64 {
	if !(mmPerPX > 0) {
		return math.NaN()
	}
	return cyPX / mmPerPX
}
