package target

import (
	"fmt"
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// BoardDiameter is one dot as measured on the target's plane.
type BoardDiameter struct {
	Col, Row   int
	DiameterMM float64
	UMM        float64 // standard uncertainty from the boundary's fit alone, mm
	OvalMM     float64 // longest less shortest diameter of the ellipse fitted there
}

// BoardDiameters measures each dot of a grid where it lies: the points of its
// boundary are freed of the lens's distortion, mapped to the target's plane in
// the given pose, and a circle is fitted to them there by least squares. Dots of
// which a point lies outside the lens's range are left out.
func BoardDiameters(f Found, lens optics.Lens, placement optics.Placement) ([]BoardDiameter, error) {
	if len(f.Ellipses) != len(f.View.Marks) || len(f.Ellipses) == 0 {
		return nil, fmt.Errorf("target: %s holds no dots to measure", f.View.Name)
	}
	if err := lens.Validate(); err != nil {
		return nil, err
	}
	return diameters(f, lens, func(optics.Mark) optics.Placement { return placement })
}

// ShapeDiameters is [BoardDiameters] on a sheet that is not flat: each dot is
// measured in the plane that its neighbours' places, as [FindShape] has them,
// make around it. view is the picture's number in the shape's views.
func ShapeDiameters(f Found, s Shape, view int, pitchMM float64) ([]BoardDiameter, error) {
	if view < 0 || view >= len(s.Poses) {
		return nil, fmt.Errorf("target: the shape has %d views, no number %d", len(s.Poses), view)
	}
	if len(f.Ellipses) != len(f.View.Marks) || len(f.Ellipses) == 0 {
		return nil, fmt.Errorf("target: %s holds no dots to measure", f.View.Name)
	}
	return diameters(f, s.Lens, func(m optics.Mark) optics.Placement { return s.around(m, s.Poses[view], pitchMM) })
}

// around is the pose of the plane that lies on the shape around a mark: x and y
// in it start at the mark.
func (s *Shape) around(m optics.Mark, placement optics.Placement, pitchMM float64) optics.Placement {
	var rows [][]float64
	var right []float64
	var here *ShapeMark
	for i := range s.Marks {
		d := &s.Marks[i]
		x, y := d.XMM-m.XMM, d.YMM-m.YMM
		if d.Col == m.Col && d.Row == m.Row {
			here = d
		}
		if math.Hypot(x, y) < 1.6*pitchMM {
			rows, right = append(rows, []float64{1, x, y}), append(right, d.DZ)
		}
	}
	var slope [3]float64
	if len(rows) >= 4 {
		if b, ok := linearFit(rows, right); ok {
			copy(slope[:], b)
		}
	}
	if here == nil {
		here = &ShapeMark{XMM: m.XMM, YMM: m.YMM}
	}
	x, y, z := here.XMM+here.DX, here.YMM+here.DY, here.DZ
	turn := rotation([3]float64{slope[2], -slope[1], 0}) // z = slope1 x + slope2 y
	var out optics.Placement
	for r := range 3 {
		for c := range 3 {
			for k := range 3 {
				out.R[3*r+c] += placement.R[3*r+k] * turn[3*k+c]
			}
		}
		out.T[r] = placement.T[r] + placement.R[3*r]*x + placement.R[3*r+1]*y + placement.R[3*r+2]*z
	}
	return out
}

// diameters measures each dot in the plane that pose names for it.
func diameters(f Found, lens optics.Lens, placement func(optics.Mark) optics.Placement) ([]BoardDiameter, error) {
	var out []BoardDiameter
	for i, e := range f.Ellipses {
		m := f.View.Marks[i]
		plane := placement(m)
		var on []part.Point
		for _, q := range e.Boundary(boundaryPoints) {
			if p, ok := onBoard(q, lens, plane); ok {
				on = append(on, p)
			}
		}
		if len(on) < boundaryPoints {
			continue
		}
		r, ok := circleRadius(on)
		o, ok2 := conic(on)
		if !ok || !ok2 {
			continue
		}
		a, b, _ := o.axes()
		out = append(out, BoardDiameter{Col: m.Col, Row: m.Row, DiameterMM: 2 * r, UMM: 2 * r * e.UDiameterPX / e.DiameterPX(), OvalMM: 2 * (a - b)})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("target: no dot of %s lies within the lens's range", f.View.Name)
	}
	return out, nil
}

// circleRadius fits a circle by least squares of the distances to it, from the
// linear fit of x^2 + y^2 (Kasa 1976, IEEE Trans. Instrum. Meas. 25, 8-14).
func circleRadius(p []part.Point) (float64, bool) {
	m, s := spread(p)
	var rows [][]float64
	var right []float64
	for _, q := range p {
		x, y := (q.X-m.X)/s, (q.Y-m.Y)/s
		rows, right = append(rows, []float64{2 * x, 2 * y, 1}), append(right, x*x+y*y)
	}
	f, ok := linearFit(rows, right)
	if !ok {
		return 0, false
	}
	par := []float64{f[0], f[1], math.Sqrt(max(f[2]+f[0]*f[0]+f[1]*f[1], 0))}
	q := &model{n: len(p), m: 3}
	q.row = func(par []float64, i int, slope []float64) float64 {
		x, y := (p[i].X-m.X)/s-par[0], (p[i].Y-m.Y)/s-par[1]
		d := math.Hypot(x, y)
		slope[0], slope[1], slope[2] = -x/d, -y/d, -1
		return d - par[2]
	}
	if got, ok := q.solve(par, fitRounds, false); ok {
		par = got.p
	}
	return par[2] * s, true
}
