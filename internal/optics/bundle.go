package optics

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"finishbench/internal/stats/robust"
)

// bundle is the fit of one lens and a pose for each view to all marks, by
// Levenberg and Marquardt's method (Marquardt 1963, SIAM J. Appl. Math. 11(2)).
// Views share only the lens, so that each step solves for the lens first, the
// poses being eliminated block by block, then for each pose.
type bundle struct {
	views  []View
	groups [][]int // each free parameter of the lens: the places that move together
	weight []float64

	lens  Lens
	poses []Placement
}

// normal holds the normal equations: lens with lens (n x n), lens with pose
// (n x 6 a view), pose with pose (6 x 6 a view), and the right-hand sides.
type normal struct {
	n    int
	a    []float64
	g    []float64
	b    [][]float64
	v    [][36]float64
	h    [][6]float64
	cost float64 // +Inf where a mark is behind the lens
}

const placementSize = 6

// rest is how far the fits here go: good views take 10 to 30 steps; beyond the
// damping the sum is as small as numbers tell.
var rest = robust.Descent{Rounds: 500, Gain: 1e-13, Most: 1e16}

// fit improves lens and poses until they stay.
func (b *bundle) fit() error {
	type state struct {
		bundle
		q *normal
	}
	now := b.normal(&b.lens, b.poses)
	if math.IsInf(now.cost, 1) {
		return errors.New("the fit found no start with the target in front of the lens")
	}
	at, _, rested := robust.Descend(rest, state{*b, now}, now.cost, func(at state, damp float64) (state, float64) {
		var ok bool
		if at.lens, at.poses, ok = at.step(at.q, damp); !ok {
			return at, math.Inf(1)
		}
		at.q = at.normal(&at.lens, at.poses)
		return at, at.q.cost
	})
	*b = at.bundle
	if !rested {
		return errors.New("the fit did not come to rest; the views contradict each other, or say too little about the lens")
	}
	return nil
}

// normal sets up the normal equations about the given lens and poses.
func (b *bundle) normal(l *Lens, poses []Placement) *normal {
	n := len(b.groups)
	q := &normal{n: n, a: make([]float64, n*n), g: make([]float64, n), b: make([][]float64, len(b.views)),
		v: make([][36]float64, len(b.views)), h: make([][6]float64, len(b.views))}
	var jl [2][lensSize]float64
	var jp [2][placementSize]float64
	lens := make([]float64, n)
	mark := 0
	for i, view := range b.views {
		q.b[i] = make([]float64, n*placementSize)
		for _, m := range view.Marks {
			e, ok := project(l, &poses[i], m, &jl, &jp)
			if !ok {
				q.cost = math.Inf(1)
				return q
			}
			w := 1.0
			if b.weight != nil {
				w = b.weight[mark]
			}
			mark++
			for axis := range 2 {
				for k, group := range b.groups {
					lens[k] = 0
					for _, place := range group {
						lens[k] += jl[axis][place]
					}
				}
				q.add(i, lens, &jp[axis], e[axis], w)
			}
		}
	}
	return q
}

// add takes in one residual e = found - predicted with its derivatives.
func (q *normal) add(view int, lens []float64, placement *[placementSize]float64, e, w float64) {
	q.cost += w * e * e
	b, v, h := q.b[view], &q.v[view], &q.h[view]
	for r, lr := range lens {
		lr *= w
		q.g[r] += lr * e
		for c := range lens {
			q.a[r*q.n+c] += lr * lens[c]
		}
		for c := range placement {
			b[r*placementSize+c] += lr * placement[c]
		}
	}
	for r, pr := range placement {
		pr *= w
		h[r] += pr * e
		for c := range placement {
			v[r*placementSize+c] += pr * placement[c]
		}
	}
}

// project gives a mark's residual (found - predicted, px) and the derivatives of
// the prediction by the lens and by a turn and shift of the pose.
func project(l *Lens, p *Placement, m Mark, jl *[2][lensSize]float64, jp *[2][placementSize]float64) ([2]float64, bool) {
	c := p.at(m.XMM, m.YMM)
	if !(c[2] > 0) {
		return [2]float64{}, false
	}
	x, y := c[0]/c[2], c[1]/c[2]
	xd, yd := l.distort(x, y)
	s := x*x + y*y
	f := [2]float64{l.FX, l.FY}
	*jl = [2][lensSize]float64{
		{lensFX: xd, lensCX: 1, lensK1: f[0] * x * s, lensK2: f[0] * x * s * s, lensP1: f[0] * 2 * x * y,
			lensP2: f[0] * (s + 2*x*x), lensK3: f[0] * x * s * s * s},
		{lensFY: yd, lensCY: 1, lensK1: f[1] * y * s, lensK2: f[1] * y * s * s, lensP1: f[1] * (s + 2*y*y),
			lensP2: f[1] * 2 * x * y, lensK3: f[1] * y * s * s * s},
	}
	d := l.slope(x, y)
	r := [3]float64{c[0] - p.T[0], c[1] - p.T[1], c[2] - p.T[2]}
	for axis := range 2 {
		// The prediction by the point's place before the lens, then by turn and shift.
		gx, gy := f[axis]*d[2*axis]/c[2], f[axis]*d[2*axis+1]/c[2]
		gz := -(gx*x + gy*y)
		jp[axis] = [placementSize]float64{r[1]*gz - r[2]*gy, r[2]*gx - r[0]*gz, r[0]*gy - r[1]*gx, gx, gy, gz}
	}
	return [2]float64{m.XPX - (l.FX*xd + l.CX), m.YPX - (l.FY*yd + l.CY)}, true
}

// step solves the normal equations with each diagonal raised by the share
// lambda and gives the lens and poses moved by the solution.
func (b *bundle) step(q *normal, lambda float64) (Lens, []Placement, bool) {
	s, rhs, inv, ok := q.eliminate(lambda)
	if !ok {
		return Lens{}, nil, false
	}
	move, ok := robust.SolveDamped(s, rhs, 0)
	if !ok {
		return Lens{}, nil, false
	}
	l := b.lens
	at := l.list()
	for k, group := range b.groups {
		for _, place := range group {
			*at[place].at += move[k]
		}
	}
	if !(l.FX > 0 && l.FY > 0) {
		return Lens{}, nil, false
	}
	poses := make([]Placement, len(b.poses))
	for i := range poses {
		h := q.h[i]
		for c := range placementSize {
			for r := range q.n {
				h[c] -= q.b[i][r*placementSize+c] * move[r]
			}
		}
		var d [placementSize]float64
		for r := range d {
			for c := range h {
				d[r] += inv[i][r*placementSize+c] * h[c]
			}
		}
		poses[i] = b.poses[i].turned([3]float64(d[:3]), [3]float64(d[3:]))
	}
	return l, poses, true
}

// eliminate takes the poses out of the normal equations (Schur's complement) and
// gives what is left for the lens, with the inverse of each pose's block.
func (q *normal) eliminate(lambda float64) (*mat.SymDense, []float64, [][36]float64, bool) {
	inv := make([][36]float64, len(q.v))
	left := append([]float64(nil), q.a...)
	rhs := append([]float64(nil), q.g...)
	for k := range q.n {
		left[k*q.n+k] *= 1 + lambda
	}
	for i := range q.v {
		if !invert(robust.Damped(mat.NewSymDense(placementSize, q.v[i][:]), lambda), &inv[i]) {
			return nil, nil, nil, false
		}
		for r := range q.n {
			var bv [placementSize]float64 // row r of b times the inverse
			for c := range placementSize {
				for k := range placementSize {
					bv[c] += q.b[i][r*placementSize+k] * inv[i][k*placementSize+c]
				}
				rhs[r] -= bv[c] * q.h[i][c]
			}
			for o := range q.n {
				for c := range placementSize {
					left[r*q.n+o] -= bv[c] * q.b[i][o*placementSize+c]
				}
			}
		}
	}
	if q.n == 0 {
		return nil, rhs, inv, true
	}
	return mat.NewSymDense(q.n, left), rhs, inv, true
}

// invert writes the inverse of a positive definite block of 6 x 6.
func invert(v *mat.SymDense, out *[36]float64) bool {
	m, ok := robust.Inverse(v)
	if !ok {
		return false
	}
	for r := range placementSize {
		for c := range placementSize {
			out[r*placementSize+c] = m.At(r, c)
		}
	}
	return true
}
