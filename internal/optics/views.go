package optics

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
)

// minMarks is the fewest marks that say more than a straight fit can hide: a
// homography has 8 parameters.
const minMarks = 4

// check tells what keeps the view from being used for a plane's fit.
func (v *View) check() error {
	if err := v.checkMarks(minMarks); err != nil {
		return err
	}
	if onLine(v.Marks, targetPoint) {
		return errors.New("all marks lie on one line of the target; a lens or squareness needs marks in rows and columns")
	}
	if onLine(v.Marks, picturePoint) {
		return errors.New("all marks lie on one line of the picture; the target is seen edge on, or the marks were found wrongly")
	}
	if v.mirrored() {
		return errors.New("the marks run mirrored: the picture is flipped, or the target is seen from behind or through a mirror; " +
			"photograph it straight, or number its rows the other way")
	}
	return nil
}

// checkMarks tells what is wrong with the view's size or single marks.
func (v *View) checkMarks(least int) error {
	if v.W <= 0 || v.H <= 0 {
		return fmt.Errorf("the picture's size is given as %d x %d px; both must be above 0", v.W, v.H)
	}
	if len(v.Marks) < least {
		return fmt.Errorf("%d marks were found; at least %d are needed", len(v.Marks), least)
	}
	at := make(map[part.Point]Mark, len(v.Marks))
	for _, m := range v.Marks {
		for _, c := range []float64{m.XMM, m.YMM, m.XPX, m.YPX} {
			if math.IsNaN(c) || math.IsInf(c, 0) {
				return fmt.Errorf("the mark in column %d, row %d has a coordinate that is no number", m.Col+1, m.Row+1)
			}
		}
		if m.XPX < -1 || m.YPX < -1 || m.XPX > float64(v.W) || m.YPX > float64(v.H) {
			return fmt.Errorf("the mark in column %d, row %d lies at %.1f, %.1f, outside the picture of %d x %d px", m.Col+1, m.Row+1,
				m.XPX, m.YPX, v.W, v.H)
		}
		if o, twice := at[targetPoint(m)]; twice {
			return fmt.Errorf("the marks in column %d, row %d and column %d, row %d are the same place of the target; is the pitch zero?",
				o.Col+1, o.Row+1, m.Col+1, m.Row+1)
		}
		at[targetPoint(m)] = m
	}
	return nil
}

func targetPoint(m Mark) part.Point  { return part.Point{X: m.XMM, Y: m.YMM} }
func picturePoint(m Mark) part.Point { return part.Point{X: m.XPX, Y: m.YPX} }

// onLine reports whether the marks spread a thousand times further along one
// line than across it.
func onLine(marks []Mark, at func(Mark) part.Point) bool {
	s := spreadOf(marks, at)
	return !(s.across > 1e-3*s.along)
}

// spread is how points lie about their mean: root mean squares along the
// direction in which they spread most and across it, and that direction.
type spread struct {
	mean          part.Point
	along, across float64
	dir           part.Point // unit length
}

func spreadOf(marks []Mark, at func(Mark) part.Point) spread {
	n := float64(len(marks))
	var s spread
	for _, m := range marks {
		p := at(m)
		s.mean.X += p.X / n
		s.mean.Y += p.Y / n
	}
	var xx, xy, yy float64
	for _, m := range marks {
		p := at(m)
		dx, dy := p.X-s.mean.X, p.Y-s.mean.Y
		xx, xy, yy = xx+dx*dx/n, xy+dx*dy/n, yy+dy*dy/n
	}
	half := math.Atan2(2*xy, xx-yy) / 2
	s.dir = part.Point{X: math.Cos(half), Y: math.Sin(half)}
	mid, dev := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	s.along, s.across = math.Sqrt(mid+dev), math.Sqrt(max(0, mid-dev))
	return s
}

// mirrored reports whether the target's turning sense is reversed in the
// picture: both have x to the right and y down.
func (v *View) mirrored() bool {
	a := affineStart(v.Marks)
	return a[0]*a[4]-a[1]*a[3] < 0
}

// affineStart is the plain least-squares affine map from mm to px:
// x = a0 X + a1 Y + a2, y = a3 X + a4 Y + a5.
func affineStart(marks []Mark) [6]float64 {
	m, p := spreadOf(marks, targetPoint), spreadOf(marks, picturePoint)
	var xx, xy, yy, ux, uy, vx, vy float64
	for _, k := range marks {
		x, y := k.XMM-m.mean.X, k.YMM-m.mean.Y
		u, v := k.XPX-p.mean.X, k.YPX-p.mean.Y
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
		ux, uy, vx, vy = ux+u*x, uy+u*y, vx+v*x, vy+v*y
	}
	det := xx*yy - xy*xy
	a0, a1 := (ux*yy-uy*xy)/det, (uy*xx-ux*xy)/det
	a3, a4 := (vx*yy-vy*xy)/det, (vy*xx-vx*xy)/det
	return [6]float64{a0, a1, p.mean.X - a0*m.mean.X - a1*m.mean.Y, a3, a4, p.mean.Y - a3*m.mean.X - a4*m.mean.Y}
}

// coverage is the share of a picture of w x h px that the convex hull of the
// marks takes up, 0..1.
func coverage(views []View) float64 {
	if len(views) == 0 {
		return 0
	}
	var all []part.Point
	for _, v := range views {
		for _, m := range v.Marks {
			all = append(all, picturePoint(m))
		}
	}
	hull := hullOf(all)
	area := 0.0
	for i, p := range hull {
		q := hull[(i+1)%len(hull)]
		area += (p.X*q.Y - q.X*p.Y) / 2
	}
	return min(1, math.Abs(area)/float64(views[0].W*views[0].H))
}

// hullOf is the convex hull by monotone chains (Andrew 1979, "Another efficient
// algorithm for convex hulls in two dimensions", Information Processing Letters 9).
func hullOf(p []part.Point) []part.Point {
	p = slices.Clone(p)
	slices.SortFunc(p, func(a, b part.Point) int {
		switch {
		case a.X < b.X || a.X == b.X && a.Y < b.Y:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	if len(p) < 3 {
		return p
	}
	chain := func(hull []part.Point, q part.Point, least int) []part.Point {
		for len(hull) >= least {
			a, b := hull[len(hull)-2], hull[len(hull)-1]
			if (b.X-a.X)*(q.Y-a.Y)-(b.Y-a.Y)*(q.X-a.X) > 0 {
				break
			}
			hull = hull[:len(hull)-1]
		}
		return append(hull, q)
	}
	var hull []part.Point
	for _, q := range p {
		hull = chain(hull, q, 2)
	}
	lower := len(hull)
	for i := len(p) - 2; i >= 0; i-- {
		hull = chain(hull, p[i], lower+1)
	}
	return hull[:len(hull)-1]
}
