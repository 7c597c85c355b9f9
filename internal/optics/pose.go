package optics

import (
	"math"

	"finishbench/internal/part"

	"gonum.org/v1/gonum/mat"
)

// Placement is where a target stands before the lens: a point m of the target is at
// R m + T, with x to the right, y down and z away from the lens.
type Placement struct {
	R [9]float64 // rotation, row by row
	T [3]float64 // mm
}

// TiltDeg is the angle between the target's plane and the picture's, 0..90.
func (p Placement) TiltDeg() float64 {
	return degrees(math.Atan2(math.Hypot(p.R[2], p.R[5]), math.Abs(p.R[8])))
}

// TurnDeg is the direction of the target's x axis in the picture, counter-clockwise
// as seen, -180..180.
func (p Placement) TurnDeg() float64 { return degrees(math.Atan2(-p.R[3], p.R[0])) }

func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// at is the place of a target's point before the lens, mm.
func (p *Placement) at(x, y float64) [3]float64 {
	return [3]float64{
		p.R[0]*x + p.R[1]*y + p.T[0],
		p.R[3]*x + p.R[4]*y + p.T[1],
		p.R[6]*x + p.R[7]*y + p.T[2],
	}
}

// turned is the pose after a small turn w about the target's origin, as the
// lens sees it, and a shift.
func (p Placement) turned(w, shift [3]float64) Placement {
	q := Placement{R: product(rotation(w), p.R)}
	for i := range 3 {
		q.T[i] = p.T[i] + shift[i]
	}
	return q
}

// rotation is that about the axis w by its length in radians (Rodrigues 1840).
func rotation(w [3]float64) [9]float64 {
	a2 := w[0]*w[0] + w[1]*w[1] + w[2]*w[2]
	a := math.Sqrt(a2)
	s, c := 1-a2/6, 0.5-a2/24 // sin a / a, (1 - cos a) / a^2
	if a > 1e-4 {
		h := math.Sin(a/2) / a
		s, c = math.Sin(a)/a, 2*h*h
	}
	x, y, z := w[0], w[1], w[2]
	return [9]float64{
		1 - c*(y*y+z*z), c*x*y - s*z, c*x*z + s*y,
		c*x*y + s*z, 1 - c*(x*x+z*z), c*y*z - s*x,
		c*x*z - s*y, c*y*z + s*x, 1 - c*(x*x+y*y),
	}
}

func product(a, b [9]float64) [9]float64 {
	var m [9]float64
	for r := range 3 {
		for c := range 3 {
			m[3*r+c] = a[3*r]*b[c] + a[3*r+1]*b[3+c] + a[3*r+2]*b[6+c]
		}
	}
	return m
}

// homography maps mm of the target to px: (h0 X + h1 Y + h2) / (h6 X + h7 Y + h8) ...
type homography [9]float64

func (h homography) at(x, y float64) part.Point {
	w := h[6]*x + h[7]*y + h[8]
	return part.Point{X: (h[0]*x + h[1]*y + h[2]) / w, Y: (h[3]*x + h[4]*y + h[5]) / w}
}

// slope is the derivative of at: dx/dX, dx/dY, dy/dX, dy/dY, px/mm.
func (h homography) slope(x, y float64) [4]float64 {
	w := h[6]*x + h[7]*y + h[8]
	p := h.at(x, y)
	return [4]float64{(h[0] - h[6]*p.X) / w, (h[1] - h[7]*p.X) / w, (h[3] - h[6]*p.Y) / w, (h[4] - h[7]*p.Y) / w}
}

// inverse maps px to mm.
func (h homography) inverse() homography {
	return homography{
		h[4]*h[8] - h[5]*h[7], h[2]*h[7] - h[1]*h[8], h[1]*h[5] - h[2]*h[4],
		h[5]*h[6] - h[3]*h[8], h[0]*h[8] - h[2]*h[6], h[2]*h[3] - h[0]*h[5],
		h[3]*h[7] - h[4]*h[6], h[1]*h[6] - h[0]*h[7], h[0]*h[4] - h[1]*h[3],
	}
}

// homographyOf is the direct linear transform on coordinates shifted and scaled
// to mean 0 and mean square distance 2 (Hartley 1997, "In defense of the
// eight-point algorithm", IEEE PAMI 19(6)). False: the marks do not fix one.
func homographyOf(marks []Mark) (homography, bool) {
	from, to := spreadOf(marks, targetPoint), spreadOf(marks, picturePoint)
	sf := math.Sqrt2 / math.Hypot(from.along, from.across)
	st := math.Sqrt2 / math.Hypot(to.along, to.across)
	a := mat.NewSymDense(9, nil)
	for _, m := range marks {
		x, y := sf*(m.XMM-from.mean.X), sf*(m.YMM-from.mean.Y)
		u, v := st*(m.XPX-to.mean.X), st*(m.YPX-to.mean.Y)
		a.SymRankOne(a, 1, mat.NewVecDense(9, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y, -u}))
		a.SymRankOne(a, 1, mat.NewVecDense(9, []float64{0, 0, 0, x, y, 1, -v * x, -v * y, -v}))
	}
	var e mat.EigenSym
	if !e.Factorize(a, true) || !(e.Values(nil)[1] > 1e-12) {
		return homography{}, false
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	var h homography
	for i := range h {
		h[i] = vectors.At(i, 0)
	}
	mf := [9]float64{sf, 0, -sf * from.mean.X, 0, sf, -sf * from.mean.Y, 0, 0, 1}
	mt := [9]float64{1 / st, 0, to.mean.X, 0, 1 / st, to.mean.Y, 0, 0, 1}
	h = homography(product(mt, product(h, mf)))
	// The marks are in front of the lens: the denominator is positive there.
	if h[6]*from.mean.X+h[7]*from.mean.Y+h[8] < 0 {
		for i := range h {
			h[i] = -h[i]
		}
	}
	return h, true
}

// placement is where the target stands, for a lens without distortion whose picture
// of it the homography is (Zhang 2000, section 3.1), its columns made square to
// each other by the nearest rotation (same, appendix C).
func (h homography) placement(l *Lens) (Placement, bool) {
	var c [9]float64 // the lens taken off
	for i := range 3 {
		c[6+i] = h[6+i]
		c[i] = (h[i] - l.CX*h[6+i]) / l.FX
		c[3+i] = (h[3+i] - l.CY*h[6+i]) / l.FY
	}
	n1 := math.Sqrt(c[0]*c[0] + c[3]*c[3] + c[6]*c[6])
	n2 := math.Sqrt(c[1]*c[1] + c[4]*c[4] + c[7]*c[7])
	s := 2 / (n1 + n2)
	for i := range c {
		c[i] *= s
	}
	r := [9]float64{
		c[0], c[1], c[3]*c[7] - c[6]*c[4],
		c[3], c[4], c[6]*c[1] - c[0]*c[7],
		c[6], c[7], c[0]*c[4] - c[3]*c[1],
	}
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(3, 3, r[:]), mat.SVDFull) {
		return Placement{}, false
	}
	var u, v, m mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	m.Mul(&u, v.T())
	p := Placement{T: [3]float64{c[2], c[5], c[8]}}
	for i := range p.R {
		p.R[i] = m.At(i/3, i%3)
	}
	return p, true
}
