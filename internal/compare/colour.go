package compare

import "math"

// Lab is a colour in CIELAB under D65, for the 2 degree observer: L 0 (black) to
// 100 (white), A towards red, B towards yellow.
type Lab struct {
	L, A, B float64
}

// rgbToXYZ takes linear light of the sRGB primaries to XYZ, white having Y = 1.
// Source: IEC 61966-2-1:1999, section 5.2 (from memory).
var rgbToXYZ = [3][3]float64{
	{0.4124, 0.3576, 0.1805},
	{0.2126, 0.7152, 0.0722},
	{0.0193, 0.1192, 0.9505},
}

// LabOf is the colour of linear light, red, green and blue from 0 to 1 (all 1:
// white). White is what the matrix makes of (1, 1, 1), so that greys have no
// colour. CIE 15:2004, section 8.2.1 (from memory).
func LabOf(r, g, b float64) Lab {
	var f [3]float64
	for i, row := range rgbToXYZ {
		f[i] = labRoot((row[0]*r + row[1]*g + row[2]*b) / (row[0] + row[1] + row[2]))
	}
	return Lab{116*f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])}
}

// labRoot is CIELAB's cube root with its straight piece near black.
func labRoot(t float64) float64 {
	const d = 6.0 / 29
	if t > d*d*d {
		return math.Cbrt(t)
	}
	return t/(3*d*d) + 4.0/29
}

// DeltaE is the colour difference CIEDE2000 with kL = kC = kH = 1, never below 0.
// Formula: Luo, Cui & Rigg 2001, Color Res. Appl. 26(5):340-350; the steps in the
// order of Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, section 2.
func DeltaE(p, q Lab) float64 {
	// Equations 2 to 7: greys are moved along a, then chroma and hue.
	mean7 := math.Pow((math.Hypot(p.A, p.B)+math.Hypot(q.A, q.B))/2, 7)
	g := 0.5 * (1 - math.Sqrt(mean7/(mean7+pow25to7)))
	c1, h1 := chromaHue((1+g)*p.A, p.B)
	c2, h2 := chromaHue((1+g)*q.A, q.B)

	// Equations 8 to 11: the differences.
	dL, dC := q.L-p.L, c2-c1
	dh := 0.0
	if c1*c2 != 0 {
		dh = h2 - h1
		if dh > 180 {
			dh -= 360
		} else if dh < -180 {
			dh += 360
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * sinDeg(dh/2)

	// Equations 12 to 14: the means.
	l, c := (p.L+q.L)/2, (c1+c2)/2
	h := meanHue(c1, h1, c2, h2)

	// Equations 15 to 21: weights and rotation.
	t := 1 - 0.17*cosDeg(h-30) + 0.24*cosDeg(2*h) + 0.32*cosDeg(3*h+6) - 0.20*cosDeg(4*h-63)
	theta := 30 * math.Exp(-math.Pow((h-275)/25, 2))
	c7 := math.Pow(c, 7)
	rc := 2 * math.Sqrt(c7/(c7+pow25to7))
	l50 := (l - 50) * (l - 50)
	sl := 1 + 0.015*l50/math.Sqrt(20+l50)
	sc := 1 + 0.045*c
	sh := 1 + 0.015*c*t
	rt := -sinDeg(2*theta) * rc

	x, y, z := dL/sl, dC/sc, dH/sh
	return math.Sqrt(math.Max(0, x*x+y*y+z*z+rt*y*z))
}

// pow25to7 is 25 to the 7th.
const pow25to7 = 6103515625.0

// chromaHue is a colour's distance from grey and its direction, 0 to 360 degrees;
// 0 for grey itself.
func chromaHue(a, b float64) (c, h float64) {
	if a == 0 && b == 0 {
		return 0, 0
	}
	h = math.Atan2(b, a) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return math.Hypot(a, b), h
}

// meanHue is equation 14: the mean of two hues the short way around; that of the
// other where one is grey.
func meanHue(c1, h1, c2, h2 float64) float64 {
	switch {
	case c1*c2 == 0:
		return h1 + h2
	case math.Abs(h1-h2) <= 180:
		return (h1 + h2) / 2
	case h1+h2 < 360:
		return (h1 + h2 + 360) / 2
	}
	return (h1 + h2 - 360) / 2
}

func sinDeg(d float64) float64 { return math.Sin(d * math.Pi / 180) }
func cosDeg(d float64) float64 { return math.Cos(d * math.Pi / 180) }

// See is how a colour difference looks, in words' keys.
type See string

// The steps of seeing, by CIEDE2000 (common practice, no source): side by side in
// the same light.
const (
	SeeNone   See = "unseen" // below 1: most see none
	SeeClose  See = "close"  // 1 to 2: seen at a close look
	SeeGlance See = "glance" // 2 to 5: seen at a glance
	SeeOther  See = "other"  // above: two colours
)

// SeeOf puts a colour difference into words' keys; "" where it is NaN.
func SeeOf(deltaE float64) See {
	switch {
	case math.IsNaN(deltaE):
		return ""
	case deltaE < 1:
		return SeeNone
	case deltaE < 2:
		return SeeClose
	case deltaE < 5:
		return SeeGlance
	}
	return SeeOther
}
