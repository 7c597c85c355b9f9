package optics

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
)

// Mark is a point of a target found in a picture.
type Mark struct {
	Col, Row int     // place in the grid, from 0
	XMM, YMM float64 // on the target, mm, x right, y down as the target is held
	XPX, YPX float64 // in the picture, px (integers are pixel centres, y down)
	UPX      float64 // standard uncertainty of each coordinate, px; NaN: not known
}

// View is one picture of a target.
type View struct {
	Name  string
	W, H  int // px
	Marks []Mark
}

// Lens is the pinhole camera with the polynomial distortion of Brown (1966,
// "Decentering distortion of lenses", Photogrammetric Engineering 32), in the
// form that OpenCV uses: with x, y = X/Z, Y/Z and r its distance from the axis,
//
//	x' = x (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x y + p2 (r^2 + 2 x^2)
//	y' = y (1 + k1 r^2 + k2 r^4 + k3 r^6) + p1 (r^2 + 2 y^2) + 2 p2 x y
//
// and the pixel at (fx x' + cx, fy y' + cy).
type Lens struct {
	FX float64 `json:"fx_px"` // focal length, px, > 0
	FY float64 `json:"fy_px"`
	CX float64 `json:"cx_px"` // where the axis meets the picture, px
	CY float64 `json:"cy_px"`
	K1 float64 `json:"k1"`
	K2 float64 `json:"k2"`
	P1 float64 `json:"p1"`
	P2 float64 `json:"p2"`
	K3 float64 `json:"k3"`
}

// Validate tells what is wrong with the lens, if anything is.
func (l Lens) Validate() error {
	for _, v := range l.list() {
		if math.IsNaN(*v.at) || math.IsInf(*v.at, 0) {
			return fmt.Errorf("optics: the lens's %s is %v; it must be a number", v.name, *v.at)
		}
	}
	if l.FX <= 0 || l.FY <= 0 {
		return fmt.Errorf("optics: the lens's focal length is %g by %g px; both must be above 0", l.FX, l.FY)
	}
	return nil
}

type lensValue struct {
	name string
	at   *float64
}

// list names each parameter, in the order in which fits hold them.
func (l *Lens) list() [lensSize]lensValue {
	return [lensSize]lensValue{
		{"fx", &l.FX}, {"fy", &l.FY}, {"cx", &l.CX}, {"cy", &l.CY},
		{"k1", &l.K1}, {"k2", &l.K2}, {"p1", &l.P1}, {"p2", &l.P2}, {"k3", &l.K3},
	}
}

// Places of the parameters in [Lens.list] and in covariances.
const (
	lensFX = iota
	lensFY
	lensCX
	lensCY
	lensK1
	lensK2
	lensP1
	lensP2
	lensK3
	lensSize
)

// DistortPX gives the picture's pixel of a point whose pixel an ideal lens of
// the same focal length and axis would have at p. Beyond the radius up to which
// the model rises it is without meaning; [Lens.UndistortPX] says false there.
func (l Lens) DistortPX(p part.Point) part.Point {
	x, y := l.distort((p.X-l.CX)/l.FX, (p.Y-l.CY)/l.FY)
	return part.Point{X: l.FX*x + l.CX, Y: l.FY*y + l.CY}
}

// UndistortPX is the inverse of [Lens.DistortPX]: where an ideal lens of the
// same focal length and axis would have the picture's pixel p. It is false where
// the model cannot say: no point within the radius up to which the model rises
// is pictured there.
func (l Lens) UndistortPX(p part.Point) (part.Point, bool) {
	x, y, ok := l.undistort((p.X-l.CX)/l.FX, (p.Y-l.CY)/l.FY)
	return part.Point{X: l.FX*x + l.CX, Y: l.FY*y + l.CY}, ok
}

// distort is Brown's model on coordinates at distance 1 from the lens.
func (l *Lens) distort(x, y float64) (float64, float64) {
	s := x*x + y*y
	m := 1 + s*(l.K1+s*(l.K2+s*l.K3))
	return x*m + 2*l.P1*x*y + l.P2*(s+2*x*x), y*m + l.P1*(s+2*y*y) + 2*l.P2*x*y
}

// undistort solves distort(x, y) = xd, yd by Newton's method, from the answer
// for the radial terms alone.
func (l *Lens) undistort(xd, yd float64) (x, y float64, ok bool) {
	limit := l.risingTo()
	rd := math.Hypot(xd, yd)
	r, ok := l.unradial(rd, limit)
	if !ok || math.IsNaN(rd) {
		return math.NaN(), math.NaN(), false
	}
	x, y = xd, yd
	if rd > 0 {
		x, y = xd*r/rd, yd*r/rd
	}
	tolerance := 1e-13 * (1 + rd)
	for range 30 {
		fx, fy := l.distort(x, y)
		ex, ey := fx-xd, fy-yd
		j := l.slope(x, y)
		det := j[0]*j[3] - j[1]*j[2]
		if !(det > 0) { // folded over, or NaN
			break
		}
		if math.Hypot(ex, ey) <= tolerance {
			return x, y, x*x+y*y <= limit*limit
		}
		x -= (j[3]*ex - j[1]*ey) / det
		y -= (j[0]*ey - j[2]*ex) / det
	}
	return math.NaN(), math.NaN(), false
}

// slope is the derivative of distort: dx'/dx, dx'/dy, dy'/dx, dy'/dy.
func (l *Lens) slope(x, y float64) [4]float64 {
	s := x*x + y*y
	m := 1 + s*(l.K1+s*(l.K2+s*l.K3))
	dm := 2 * (l.K1 + s*(2*l.K2+s*3*l.K3)) // dm/ds times 2
	cross := x*y*dm + 2*l.P1*x + 2*l.P2*y
	return [4]float64{m + x*x*dm + 2*l.P1*y + 6*l.P2*x, cross, cross, m + y*y*dm + 6*l.P1*y + 2*l.P2*x}
}

// radial is r (1 + k1 r^2 + k2 r^4 + k3 r^6).
func (l *Lens) radial(r float64) float64 {
	s := r * r
	return r * (1 + s*(l.K1+s*(l.K2+s*l.K3)))
}

// unradial solves radial(r) = rd for r from 0 to limit, where radial rises.
func (l *Lens) unradial(rd, limit float64) (float64, bool) {
	lo, hi := 0.0, limit
	if math.IsInf(limit, 1) {
		for hi = 1 + rd; l.radial(hi) < rd; hi *= 2 {
			if hi > 1e9 {
				return math.NaN(), false
			}
		}
	} else if l.radial(hi) < rd {
		// A decentred lens reaches a little further on one side; Newton decides.
		return limit, rd <= 1.05*l.radial(limit)
	}
	r := min(rd, hi)
	for range 100 {
		e := l.radial(r) - rd
		if e > 0 {
			hi = r
		} else {
			lo = r
		}
		s := r * r
		next := r - e/(1+s*(3*l.K1+s*(5*l.K2+s*7*l.K3)))
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-r) <= 1e-12*(1+rd) {
			return next, true
		}
		r = next
	}
	return r, true
}

// risingTo is the radius, at distance 1 from the lens, up to which the radial
// terms let the picture grow: the smallest positive root of
// 1 + 3 k1 s + 5 k2 s^2 + 7 k3 s^3, s = r^2; infinite where there is none.
func (l *Lens) risingTo() float64 {
	a, b, c := 3*l.K1, 5*l.K2, 7*l.K3
	slope := func(s float64) float64 { return 1 + s*(a+s*(b+s*c)) }
	// Where the cubic turns, it is cut in pieces that rise or fall.
	cuts := positiveRoots(a, 2*b, 3*c)
	from := 0.0
	for _, s := range cuts {
		if slope(s) <= 0 {
			return math.Sqrt(bisect(slope, from, s))
		}
		from = s
	}
	if c > 0 || c == 0 && (b > 0 || b == 0 && a >= 0) {
		return math.Inf(1)
	}
	to := 1 + 2*from
	for slope(to) > 0 {
		if to *= 2; math.IsInf(to, 1) || math.IsNaN(to) {
			return math.Inf(1)
		}
	}
	return math.Sqrt(bisect(slope, from, to))
}

// positiveRoots are those of a + b s + c s^2 above 0, the smaller first.
func positiveRoots(a, b, c float64) []float64 {
	var all []float64
	switch d := b*b - 4*a*c; {
	case c == 0:
		all = []float64{-a / b}
	case d >= 0:
		q := -(b + math.Copysign(math.Sqrt(d), b)) / 2
		all = []float64{q / c, a / q}
	}
	slices.Sort(all)
	return slices.DeleteFunc(all, func(s float64) bool { return !(s > 0) || math.IsInf(s, 1) })
}

// bisect finds where f, above 0 at lo and not at hi, meets 0.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}
