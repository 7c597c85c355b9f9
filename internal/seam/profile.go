package seam

import (
	"errors"
	"fmt"
	"math"
)

// StepOptions says how a step profile is evaluated. Lengths are in the
// profile's own unit.
type StepOptions struct {
	Edge                        float64 // where the step is
	ExcludeBefore, ExcludeAfter float64 // left out before and after the edge (>= 0)
	ExtentBefore, ExtentAfter   float64 // points further from the edge are left out; 0: none
	DegreeBefore, DegreeAfter   int     // 1: straight, 2: gently curved, up to 4
}

// StepFit is an evaluated step profile. Before and after are the sides with
// smaller and larger position.
type StepFit struct {
	Vertical    float64 // after minus before at the edge, along the height axis
	Normal      float64 // the same along the outline's normal
	SE          float64 // standard error of Vertical, points taken as independent
	U           float64 // standard uncertainty of Vertical: SE with neighbours' correlation
	SDBefore    float64 // standard deviation of the residuals
	SDAfter     float64
	SlopeBefore float64 // at the edge
	SlopeAfter  float64
	NBefore     int // points used
	NAfter      int
	before      polyFit
	after       polyFit
}

// EvaluateStep evaluates a single step: each side's points are fitted by least
// squares (a straight line, or a gently curved one), both are carried to the
// edge, and their distance is the step. This is the single-edge form of the
// step-height practice of ISO 5436-1 and NIST: height is the distance of the
// two lines in the middle of the transition. The normal is that of the mean of
// the two directions at the edge. Positions x must not fall; z is the height.
// Points with a NaN height are left out. It errs where a side has no more
// points than its fit has parameters.
func EvaluateStep(x, z []float64, o StepOptions) (StepFit, error) {
	if len(x) != len(z) {
		return StepFit{}, fmt.Errorf("seam: step profile has %d positions and %d heights", len(x), len(z))
	}
	var xs, zs [2][]float64
	for i := range x {
		d := x[i] - o.Edge
		if math.IsNaN(z[i]) || math.IsNaN(d) {
			continue
		}
		switch {
		case d <= -o.ExcludeBefore && d < 0 && (o.ExtentBefore == 0 || d >= -o.ExtentBefore):
			xs[0], zs[0] = append(xs[0], x[i]), append(zs[0], z[i])
		case d >= o.ExcludeAfter && d > 0 && (o.ExtentAfter == 0 || d <= o.ExtentAfter):
			xs[1], zs[1] = append(xs[1], x[i]), append(zs[1], z[i])
		}
	}
	a, ok := fitPoly(xs[0], zs[0], o.Edge, o.DegreeBefore)
	if !ok {
		return StepFit{}, fmt.Errorf("seam: step profile: %d points before the edge are too few for degree %d", len(xs[0]), o.DegreeBefore)
	}
	b, ok := fitPoly(xs[1], zs[1], o.Edge, o.DegreeAfter)
	if !ok {
		return StepFit{}, fmt.Errorf("seam: step profile: %d points after the edge are too few for degree %d", len(xs[1]), o.DegreeAfter)
	}
	return joinSides(a, b), nil
}

// joinSides makes the step of two sides that were fitted around the same edge.
func joinSides(a, b polyFit) StepFit {
	s := StepFit{
		Vertical: b.c[0] - a.c[0],
		SE:       math.Hypot(a.sd*math.Sqrt(a.q00), b.sd*math.Sqrt(b.q00)),
		U:        math.Hypot(a.u(), b.u()),
		SDBefore: a.sd, SDAfter: b.sd,
		SlopeBefore: a.slope(a.x0), SlopeAfter: b.slope(b.x0),
		NBefore: a.n, NAfter: b.n,
		before: a, after: b,
	}
	s.Normal = s.Vertical * math.Cos((math.Atan(s.SlopeBefore)+math.Atan(s.SlopeAfter))/2)
	return s
}

// GrooveFit is an evaluated groove or ridge.
type GrooveFit struct {
	Depth         float64 // + groove, - ridge
	SE            float64 // standard error, points taken as independent
	Slope, Offset float64 // the common line under parts A and B
	NA, NB, NC    int     // points used in each part
}

// EvaluateGroove evaluates a groove or ridge between two edges by ISO 5436-1:2000,
// type A1: over three widths W centred on it, the outer 2 W/3 on either side
// (parts A and B; W/3 beside each edge is left out) and the middle W/3 of the
// bottom (part C) are fitted together as z = slope x + offset + h d, with d = +1 on A
// and B and -1 on C; the depth is 2 h.
func EvaluateGroove(x, z []float64, edge0, edge1 float64) (GrooveFit, error) {
	w, mid := edge1-edge0, (edge0+edge1)/2
	if len(x) != len(z) || !(w > 0) {
		return GrooveFit{}, errors.New("seam: groove profile: needs as many positions as heights, and edges in rising order")
	}
	const eps = 1e-9 // share of W by which a point on a limit may miss it
	q := normal{n: 3}
	var g GrooveFit
	part := func(v float64) float64 { // which part: +1 A or B, -1 C, 0 none
		d := (v - mid) / w
		switch a := math.Abs(d); {
		case a <= 1.0/6+eps:
			return -1
		case a >= 0.5+1.0/3-eps && a <= 1.5+eps:
			return 1
		}
		return 0
	}
	for i := range x {
		d := part(x[i])
		if d == 0 || math.IsNaN(z[i]) {
			continue
		}
		switch {
		case d < 0:
			g.NC++
		case x[i] < mid:
			g.NA++
		default:
			g.NB++
		}
		q.add([]float64{x[i], 1, d}, z[i], 1)
	}
	c, inv, ok := q.solve(0)
	n := g.NA + g.NB + g.NC
	if !ok || n <= 3 || g.NC == 0 {
		return GrooveFit{}, fmt.Errorf("seam: groove profile: %d, %d and %d points in parts A, B and C are too few", g.NA, g.NB, g.NC)
	}
	ss := 0.0
	for i := range x {
		if d := part(x[i]); d != 0 && !math.IsNaN(z[i]) {
			r := z[i] - (c[0]*x[i] + c[1] + c[2]*d)
			ss += r * r
		}
	}
	g.Slope, g.Offset, g.Depth = c[0], c[1], 2*c[2]
	g.SE = 2 * math.Sqrt(ss/float64(n-3)*inv[2][2])
	return g, nil
}
