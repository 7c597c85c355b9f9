package optics

import (
	"errors"
	"math"

	"finishbench/internal/part"
)

// posed is the fit of one view's pose to a lens that is known.
type posed struct {
	fit      ViewFit
	cov      [36]float64 // of turn and shift, from the residuals
	variance float64     // of one coordinate, px^2
	free     int
	other    float64 // sum of squares of the pose tilted the other way, over this one's; infinite where there is none
}

// fitPlacement finds where the target of a view stands before a known lens. Seen from
// far, a plane tilted one way and the other look nearly alike: both are tried.
func fitPlacement(l *Lens, v View) (posed, error) {
	ideal := make([]Mark, len(v.Marks))
	for i, m := range v.Marks {
		p, ok := l.UndistortPX(picturePoint(m))
		if !ok {
			return posed{}, errors.New("a mark lies where the lens's distortion is not known; take the lens again with the target in the picture's corners")
		}
		m.XPX, m.YPX = p.X, p.Y
		ideal[i] = m
	}
	h, ok := homographyOf(ideal)
	if !ok {
		return posed{}, errors.New("the marks do not fix how the plane is seen; use more marks, in rows and columns")
	}
	first, ok := h.placement(l)
	if !ok {
		return posed{}, errors.New("the marks do not fix where the target stands")
	}
	best, other, err := bothTilts(l, v, first)
	if err != nil {
		return posed{}, err
	}
	q := best.normal(l, best.poses)
	_, _, inv, ok := q.eliminate(0)
	if !ok {
		return posed{}, errors.New("the marks do not fix where the target stands")
	}
	p := posed{fit: viewFit(l, best.poses[0], v), free: 2*len(v.Marks) - placementSize, other: other}
	p.variance = q.cost / float64(max(1, p.free))
	p.cov = inv[0]
	p.fit.UTiltDeg = tiltU(p.fit.Placement, p.cov, p.variance)
	for i := range p.cov {
		p.cov[i] *= p.variance
	}
	return p, nil
}

// bothTilts fits the pose from a start and from the start tilted the other way.
// It gives the better fit, and by how much the other one's sum of squares is
// larger; infinite where both come to the same pose.
func bothTilts(l *Lens, v View, start Placement) (*bundle, float64, error) {
	var fits []*bundle
	var costs []float64
	for _, p := range []Placement{start, start.flipped(spreadOf(v.Marks, targetPoint).mean)} {
		b := &bundle{views: []View{v}, lens: *l, poses: []Placement{p}}
		if b.fit() == nil {
			fits, costs = append(fits, b), append(costs, b.normal(l, b.poses).cost)
		}
	}
	if len(fits) == 0 {
		return nil, 0, errors.New("no place of the target before the lens explains the marks")
	}
	if len(fits) == 1 || turnBetween(fits[0].poses[0], fits[1].poses[0]) < sameTiltRad {
		return fits[0], math.Inf(1), nil
	}
	if costs[1] < costs[0] {
		return fits[1], costs[0] / costs[1], nil
	}
	return fits[0], costs[1] / costs[0], nil
}

// sameTiltRad is the turn below which two fits are one (about the rounding of a fit).
const sameTiltRad = 1e-3

// flipped is the pose with the target's plane tilted the other way about the
// line of sight to its point m: what a lens far away cannot tell from it.
func (p Placement) flipped(m part.Point) Placement {
	c := p.at(m.X, m.Y)
	n := math.Sqrt(c[0]*c[0] + c[1]*c[1] + c[2]*c[2])
	v := [3]float64{c[0] / n, c[1] / n, c[2] / n}
	var q Placement
	for col := range 3 {
		dot := v[0]*p.R[col] + v[1]*p.R[3+col] + v[2]*p.R[6+col]
		sign := -1.0 // half a turn about the sight, and half a turn of the target in its plane
		if col == 2 {
			sign = 1
		}
		for row := range 3 {
			q.R[3*row+col] = sign * (2*dot*v[row] - p.R[3*row+col])
		}
	}
	at := q.at(m.X, m.Y)
	for i := range 3 {
		q.T[i] = c[i] - at[i]
	}
	return q
}

// turnBetween is the angle of the turn from a to b, radians.
func turnBetween(a, b Placement) float64 {
	trace := 0.0
	for i := range a.R {
		trace += a.R[i] * b.R[i]
	}
	return math.Acos(max(-1, min(1, (trace-1)/2)))
}

// homography is the target's plane as a lens without distortion pictures it.
func (p *Placement) homography(l *Lens) homography {
	c := [9]float64{p.R[0], p.R[1], p.T[0], p.R[3], p.R[4], p.T[1], p.R[6], p.R[7], p.T[2]}
	return homography(product([9]float64{l.FX, 0, l.CX, 0, l.FY, l.CY, 0, 0, 1}, c))
}
