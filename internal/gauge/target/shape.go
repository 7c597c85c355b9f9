package target

import (
	"fmt"
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Shape is a grid as several pictures show it to be, not as it was meant.
type Shape struct {
	Marks []ShapeMark
	Lens  optics.Lens        // fitted together with the shape
	Poses []optics.Placement // of each view
	RMSPX float64            // of the marks about the fit
	// LargestMM is the largest distance of a mark from its meant place, RMSMM the
	// root mean square of all, mm.
	LargestMM, RMSMM float64
}

// ShapeMark is one mark off its meant place: DX to the right, DY downwards, DZ
// away from the lens, mm, with the standard uncertainties of each.
type ShapeMark struct {
	Col, Row      int
	XMM, YMM      float64 // meant
	DX, DY, DZ    float64
	UDX, UDY, UDZ float64
}

// Limits of shapes; common practice, no source.
const (
	shapeViews = 3    // least number of views
	shapePrior = 0.03 // how far off its place a mark is expected to be, in pitches
	markNoise  = 0.03 // px, expected of a mark's place in a picture
	mostShape  = 250  // marks
)

// FindShape frees the marks of a grid from the places they were meant to have: a
// printed sheet is neither flat nor even, and what several views agree on beyond
// the lens is the target's own. Lens, poses and the marks' places in space are
// fitted together (bundle adjustment with an imperfect planar target, Strobl and
// Hirzinger 2011, ICCV workshops 1068-1075), each mark held to its meant place
// with a standard deviation of 3 % of the pitch, which also fixes where the target as a whole
// lies. views and c are those of one call of [optics.Calibrate]. The lens
// has the terms that c fitted.
func FindShape(views []optics.View, c optics.Calibration, pitchMM float64) (Shape, error) {
	if len(views) < shapeViews || len(views) != len(c.Views) {
		return Shape{}, fmt.Errorf("target: a target's shape needs %d views or more, calibrated together; there are %d", shapeViews, len(views))
	}
	q := shapeFit{views: views, c: c, prior: shapePrior * pitchMM, number: map[[2]int]int{}}
	for v, view := range views {
		for m, mark := range view.Marks {
			k := [2]int{mark.Col, mark.Row}
			if _, ok := q.number[k]; !ok {
				q.number[k] = len(q.marks)
				q.marks = append(q.marks, ShapeMark{Col: mark.Col, Row: mark.Row, XMM: mark.XMM, YMM: mark.YMM})
			}
			q.seen = append(q.seen, [2]int{v, m})
		}
	}
	if len(q.marks) > mostShape {
		return Shape{}, fmt.Errorf("target: the shape of %d marks is too much to fit; %d at most", len(q.marks), mostShape)
	}
	return q.solve()
}

// shapeFit has the unknowns in this order: lens, each view's
// small turn and shift from its pose, each mark's offset.
type shapeFit struct {
	views  []optics.View
	c      optics.Calibration
	prior  float64
	marks  []ShapeMark
	number map[[2]int]int
	seen   [][2]int // view, mark
}

const (
	shapeLens      = 9
	shapePlacement = 6
)

func (q *shapeFit) placement(v int) int { return shapeLens + shapePlacement*v }
func (q *shapeFit) mark(m int) int      { return shapeLens + shapePlacement*len(q.views) + 3*m }

func (q *shapeFit) lens(p []float64) optics.Lens {
	l := q.c.Lens
	l.FX, l.FY, l.CX, l.CY = l.FX+p[0], l.FY+p[1], l.CX+p[2], l.CY+p[3]
	l.K1, l.K2, l.P1, l.P2, l.K3 = l.K1+p[4], l.K2+p[5], l.P1+p[6], l.P2+p[7], l.K3+p[8]
	return l
}

// moved is a pose after a small turn (a rotation vector, rad) and shift.
func moved(o optics.Placement, d []float64) optics.Placement {
	w := rotation([3]float64{d[0], d[1], d[2]})
	var out optics.Placement
	for r := range 3 {
		for c := range 3 {
			for k := range 3 {
				out.R[3*r+c] += w[3*r+k] * o.R[3*k+c]
			}
		}
		out.T[r] = o.T[r] + d[3+r]
	}
	return out
}

// rotation is the matrix of a rotation vector (Rodrigues's formula).
func rotation(w [3]float64) [9]float64 {
	a := math.Sqrt(w[0]*w[0] + w[1]*w[1] + w[2]*w[2])
	if a < 1e-12 {
		return [9]float64{1, -w[2], w[1], w[2], 1, -w[0], -w[1], w[0], 1}
	}
	x, y, z := w[0]/a, w[1]/a, w[2]/a
	s, c := math.Sincos(a)
	d := 1 - c
	return [9]float64{c + x*x*d, x*y*d - z*s, x*z*d + y*s, y*x*d + z*s, c + y*y*d, y*z*d - x*s, z*x*d - y*s, z*y*d + x*s, c + z*z*d}
}

// picture is where a view shows a point of the target.
func picture(l optics.Lens, o optics.Placement, x, y, z float64) part.Point {
	X := o.R[0]*x + o.R[1]*y + o.R[2]*z + o.T[0]
	Y := o.R[3]*x + o.R[4]*y + o.R[5]*z + o.T[1]
	Z := o.R[6]*x + o.R[7]*y + o.R[8]*z + o.T[2]
	return l.DistortPX(part.Point{X: l.FX*X/Z + l.CX, Y: l.FY*Y/Z + l.CY})
}

// at is where the fit has mark number k of the list seen.
func (q *shapeFit) at(p []float64, k int) part.Point {
	v, m := q.seen[k][0], q.seen[k][1]
	mark := q.views[v].Marks[m]
	n := q.mark(q.number[[2]int{mark.Col, mark.Row}])
	o := moved(q.c.Views[v].Placement, p[q.placement(v):q.placement(v)+shapePlacement])
	return picture(q.lens(p), o, mark.XMM+p[n], mark.YMM+p[n+1], p[n+2])
}

// steps are the unknowns that a mark's place in a picture depends on, with steps
// for derivatives.
func (q *shapeFit) steps(k int) (at []int, step []float64) {
	v, m := q.seen[k][0], q.seen[k][1]
	mark := q.views[v].Marks[m]
	for i := range q.lensTerms() {
		s := 1e-5
		if i < 4 {
			s = 1e-2
		}
		at, step = append(at, i), append(step, s)
	}
	for i := range shapePlacement {
		s := 1e-6
		if i >= 3 {
			s = 1e-3
		}
		at, step = append(at, q.placement(v)+i), append(step, s)
	}
	for i := range 3 {
		at, step = append(at, q.mark(q.number[[2]int{mark.Col, mark.Row}])+i), append(step, 1e-3)
	}
	return at, step
}

// lensTerms is how many of the lens's parameters are fitted: those that the
// calibration fitted.
func (q *shapeFit) lensTerms() int {
	switch q.c.Terms {
	case optics.TermsNone:
		return 4
	case optics.TermsK1:
		return 5
	case optics.TermsRadial:
		return 6
	case optics.TermsK1K2P:
		return 8
	}
	return shapeLens
}

func (q *shapeFit) solve() (Shape, error) {
	n := q.mark(len(q.marks))
	free := n - q.mark(0)
	work := make([]float64, n)
	m := &model{n: 2*len(q.seen) + free + shapeLens, m: n}
	m.row = func(p []float64, i int, slope []float64) float64 {
		clear(slope)
		if k := i - 2*len(q.seen) - free; k >= 0 { // keeps what is not fitted where it is
			if k >= q.lensTerms() {
				slope[k] = 1
			}
			return p[k] * slope[k]
		}
		if i >= 2*len(q.seen) {
			k := q.mark(0) + i - 2*len(q.seen)
			slope[k] = 1 / q.prior
			return p[k] / q.prior
		}
		k := i / 2
		pick := func(a part.Point) float64 {
			if i%2 == 0 {
				return a.X
			}
			return a.Y
		}
		here := pick(q.at(p, k))
		copy(work, p)
		at, step := q.steps(k)
		for j, a := range at {
			work[a] += step[j]
			slope[a] = (pick(q.at(work, k)) - here) / step[j] / markNoise
			work[a] = p[a]
		}
		mark := q.views[q.seen[k][0]].Marks[q.seen[k][1]]
		return (here - pick(part.Point{X: mark.XPX, Y: mark.YPX})) / markNoise
	}
	f, ok := m.solve(work[:n:n], 15, false)
	if !ok {
		return Shape{}, fmt.Errorf("target: the views do not tell the target's shape: take more, tilted differently")
	}
	s := Shape{Marks: q.marks, Lens: q.lens(f.p)}
	for v := range q.views {
		s.Poses = append(s.Poses, moved(q.c.Views[v].Placement, f.p[q.placement(v):q.placement(v)+shapePlacement]))
	}
	for i := range s.Marks {
		k, d := q.mark(i), &s.Marks[i]
		d.DX, d.DY, d.DZ = f.p[k], f.p[k+1], f.p[k+2]
		d.UDX, d.UDY, d.UDZ = math.Sqrt(f.cov.At(k, k)), math.Sqrt(f.cov.At(k+1, k+1)), math.Sqrt(f.cov.At(k+2, k+2))
		off := math.Sqrt(d.DX*d.DX + d.DY*d.DY + d.DZ*d.DZ)
		s.LargestMM = max(s.LargestMM, off)
		s.RMSMM += off * off / float64(len(s.Marks))
	}
	s.RMSMM = math.Sqrt(s.RMSMM)
	for k, at := range q.seen {
		mark := q.views[at[0]].Marks[at[1]]
		here := q.at(f.p, k)
		s.RMSPX += ((here.X-mark.XPX)*(here.X-mark.XPX) + (here.Y-mark.YPX)*(here.Y-mark.YPX)) / float64(len(q.seen))
	}
	s.RMSPX = math.Sqrt(s.RMSPX)
	return s, nil
}
