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

// boundaryPoints is how many points of a dot's boundary are mapped.
const boundaryPoints = 72

// BoardDiameters measures each dot of a grid where it lies: the points of its
// boundary are freed of the lens's distortion, mapped to the target's plane in
// the given pose, and a circle is fitted to them there by least squares. Dots of
// which a point lies outside the lens's range are left out.
func BoardDiameters(f Found, lens optics.Lens, pose optics.Pose) ([]BoardDiameter, error) {
	if len(f.Ellipses) != len(f.View.Marks) || len(f.Ellipses) == 0 {
		return nil, fmt.Errorf("target: %s holds no dots to measure", f.View.Name)
	}
	if err := lens.Validate(); err != nil {
		return nil, err
	}
	var out []BoardDiameter
	for i, e := range f.Ellipses {
		var on []part.Point
		for _, q := range e.Boundary(boundaryPoints) {
			if m, ok := onBoard(q, lens, pose); ok {
				on = append(on, m)
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
		m := f.View.Marks[i]
		out = append(out, BoardDiameter{Col: m.Col, Row: m.Row, DiameterMM: 2 * r, UMM: 2 * r * e.UDiameterPX / e.DiameterPX(), OvalMM: 2 * (a - b)})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("target: no dot of %s lies within the lens's range", f.View.Name)
	}
	return out, nil
}

// onBoard is the target's point, mm, that the picture shows at q: where the
// ray through the lens meets the plane z = 0 of the target.
func onBoard(q part.Point, lens optics.Lens, pose optics.Pose) (part.Point, bool) {
	p, ok := lens.UndistortPX(q)
	if !ok {
		return part.Point{}, false
	}
	ray := [3]float64{(p.X - lens.CX) / lens.FX, (p.Y - lens.CY) / lens.FY, 1}
	var d, o [3]float64 // the ray and the lens's place as the target sees them: R' ray, -R' T
	for k := range 3 {
		for j := range 3 {
			d[k] += pose.R[3*j+k] * ray[j]
			o[k] -= pose.R[3*j+k] * pose.T[j]
		}
	}
	if math.Abs(d[2]) < 1e-9 {
		return part.Point{}, false
	}
	t := -o[2] / d[2]
	return part.Point{X: o[0] + t*d[0], Y: o[1] + t*d[1]}, t > 0
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
