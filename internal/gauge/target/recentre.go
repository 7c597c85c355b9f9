package target

import (
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Recentred gives a dot grid's view with its marks where the dots' middles are
// pictured, now that lens and pose are known roughly: a dot's outline is carried
// to the target's plane, its middle taken there, and carried back. Tilt and
// distortion set the middle of the pictured outline off from the pictured
// middle, by some hundredths of a pixel for large dots (Datta, Kim and Kanade
// 2009, ICCV workshops, "Accurate camera calibration using iterative refinement
// of control points"). A dot of which a part lies outside the lens's range, and
// a view of another kind of target, stays as it is.
func Recentred(f Found, lens optics.Lens, placement optics.Placement) optics.View {
	v := f.View
	if len(f.Ellipses) != len(v.Marks) {
		return v
	}
	v.Marks = append([]optics.Mark(nil), v.Marks...)
	for i, e := range f.Ellipses {
		if p, ok := boardMiddle(e, lens, placement); ok {
			q := pictured(p, lens, placement)
			v.Marks[i].XPX, v.Marks[i].YPX = q.X, q.Y
		}
	}
	return v
}

// boardMiddle is the middle of a dot on the target's plane, mm.
func boardMiddle(e Ellipse, lens optics.Lens, placement optics.Placement) (part.Point, bool) {
	var on []part.Point
	for _, q := range e.Boundary(boundaryPoints) {
		p, ok := onBoard(q, lens, placement)
		if !ok {
			return part.Point{}, false
		}
		on = append(on, p)
	}
	o, ok := conic(on)
	return part.Point{X: o.x, Y: o.y}, ok
}

// pictured is where the picture has a point of the target, mm.
func pictured(p part.Point, lens optics.Lens, placement optics.Placement) part.Point {
	var c [3]float64
	for k := range c {
		c[k] = placement.R[3*k]*p.X + placement.R[3*k+1]*p.Y + placement.T[k]
	}
	return lens.DistortPX(part.Point{X: lens.FX*c[0]/c[2] + lens.CX, Y: lens.FY*c[1]/c[2] + lens.CY})
}

// boundaryPoints is how many points of a dot's boundary are mapped.
const boundaryPoints = 72

// onBoard is the target's point, mm, that the picture shows at q: where the
// ray through the lens meets the plane z = 0 of the target.
func onBoard(q part.Point, lens optics.Lens, placement optics.Placement) (part.Point, bool) {
	p, ok := lens.UndistortPX(q)
	if !ok {
		return part.Point{}, false
	}
	ray := [3]float64{(p.X - lens.CX) / lens.FX, (p.Y - lens.CY) / lens.FY, 1}
	var d, o [3]float64 // the ray and the lens's place as the target sees them: R' ray, -R' T
	for k := range 3 {
		for j := range 3 {
			d[k] += placement.R[3*j+k] * ray[j]
			o[k] -= placement.R[3*j+k] * placement.T[j]
		}
	}
	if math.Abs(d[2]) < 1e-9 {
		return part.Point{}, false
	}
	t := -o[2] / d[2]
	return part.Point{X: o[0] + t*d[0], Y: o[1] + t*d[1]}, t > 0
}
