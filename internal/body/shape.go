package body

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/lang"
	"finishbench/internal/part"

	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// How far a shell's cross-section may be from round, as standard deviations of its
// Fourier terms: the first is the distance from the axis that the unit is turned about,
// mm; the others are shares of its radius. And how well a place of the outline is told, mm. Common practice, no source.
const (
	orders       = 3
	offAxisMM    = 0.3
	ovalShare    = 0.1
	threeShare   = 0.04
	outlineMM    = 0.04
	moved        = 4.0  // an outline so many standard deviations off the others' shape,
	movedLeastMM = 0.25 // and by so much, is of another unit, or of one that moved
)

const terms = 2*orders + 1

// Shape is the shell's body: at each height below the seam its cross-section's
// support function, the distance from the axis of the line that touches it at right angles to
// a direction, as a Fourier series in that direction.
type Shape struct {
	Turns int // whose outlines it was fitted to; with one it is a body of revolution

	coef   [][terms]float64 // per height, mm
	root   *mat.Dense       // a root of the coefficients' covariance, mm
	radius float64          // mean at the seam, mm
}

// direction in the shell: the turn that brings what lies there to the front.
func basis(turn float64) (b [terms]float64) {
	b[0] = 1
	for k := 1; k <= orders; k++ {
		b[2*k-1], b[2*k] = math.Cos(float64(k)*turn), math.Sin(float64(k)*turn)
	}
	return b
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }

// readRows tells the outline's two sides at each height.
func (v *View) readRows() {
	// In the seam's frame: u along it, w down from it at right angles.
	sin, cos := math.Sincos(math.Atan(v.Roll))
	last := v.Flanks.Rows[len(v.Flanks.Rows)-1].Y
	for h := 0.0; ; h += heightStepMM {
		var at [2]float64
		for side := range at {
			// the row of the picture that holds the side at this height: by two steps of Newton's
			y := v.SeamY + h/v.MMPerPX
			for range 3 {
				l, r := v.across(y)
				x := [2]float64{l, r}[side] - v.MiddleX
				y = v.SeamY + (h/v.MMPerPX+x*sin)/cos
				at[side] = (x*cos + (y-v.SeamY)*sin) * v.MMPerPX
			}
			if y > last {
				return
			}
		}
		v.rows = append(v.rows, row{at[0], at[1]})
	}
}

// middle is where the axis lies, mm right of MiddleX.
func (v *View) middle() float64 { return (v.rows[0].right + v.rows[0].left) / 2 }

// Fit makes one shape of all turns of a unit. What is wrong with a turn comes back as
// sentences; a turn that does not match the others is told there and counts like them.
//
// Errors: no views, or outlines that do not reach down.
func Fit(views []*View) (*Shape, []part.Phrase, error) {
	if len(views) == 0 {
		return nil, nil, fmt.Errorf("body: no turn to tell a shape by")
	}
	all := views
	if seen := slices.DeleteFunc(slices.Clone(views), func(v *View) bool { return v.Straight }); len(seen) > 0 {
		views = seen
	}
	n := math.MaxInt
	for _, v := range views {
		n = min(n, len(v.rows))
	}
	if n < 4 {
		return nil, nil, lang.Error(part.Say("body.short", "depth_mm", part.Fixed(float64(n)*heightStepMM, 1)))
	}
	s := &Shape{Turns: len(views), coef: make([][terms]float64, n)}
	for _, v := range views {
		s.radius += (v.rows[0].right - v.rows[0].left) / 2 / float64(len(views))
	}
	s.root = posterior(views, s.radius)
	for h := range n {
		s.coef[h] = s.fitRow(views, h)
	}
	misfits := s.misfits(views)
	for _, v := range all {
		if v.Straight {
			misfits = append(misfits, part.Say("body.straight", "straight_mm", part.Fixed(straightMM, 1)).With("turn", part.Turns(v.TurnDeg)))
		}
	}
	return s, misfits, nil
}

// system is the normal equations' matrix of the directions that the turns show, and
// of what is known beforehand.
func system(views []*View, radius float64) *mat.SymDense {
	a := mat.NewSymDense(terms, nil)
	w := 1 / (outlineMM * outlineMM)
	for _, v := range views {
		for _, side := range []float64{-90, 90} {
			b := basis(rad(v.TurnDeg + side))
			for i := range terms {
				for j := i; j < terms; j++ {
					a.SetSym(i, j, a.At(i, j)+w*b[i]*b[j])
				}
			}
		}
	}
	for i, sd := range priors(radius) {
		if sd > 0 {
			a.SetSym(i, i, a.At(i, i)+1/(sd*sd))
		}
	}
	return a
}

// widths is the normal equations' matrix of what a turn tells for sure: how wide the section is. Where the axis
// lies between the two sides is not told but taken for the seam's middle, which terms of odd order move.
func widths(views []*View, radius float64) *mat.SymDense {
	a := mat.NewSymDense(terms, nil)
	for i, sd := range priors(radius) {
		if sd > 0 {
			a.SetSym(i, i, 1/(sd*sd))
		}
	}
	for _, v := range views {
		l, r := basis(rad(v.TurnDeg+90)), basis(rad(v.TurnDeg-90))
		for i := range terms {
			for j := i; j < terms; j++ {
				a.SetSym(i, j, a.At(i, j)+(l[i]+r[i])*(l[j]+r[j])/(2*outlineMM*outlineMM))
			}
		}
	}
	return a
}

// priors are the standard deviations of the terms, mm; 0: anything.
func priors(radius float64) [terms]float64 {
	return [terms]float64{0, offAxisMM, offAxisMM, ovalShare * radius, ovalShare * radius, threeShare * radius, threeShare * radius}
}

func posterior(views []*View, radius float64) *mat.Dense {
	var chol mat.Cholesky
	if !chol.Factorize(widths(views, radius)) {
		return nil
	}
	var cov mat.SymDense
	if chol.InverseTo(&cov) != nil {
		return nil
	}
	var c mat.Cholesky
	if !c.Factorize(&cov) {
		return nil
	}
	var l mat.TriDense
	c.LTo(&l)
	return mat.DenseCopyOf(&l)
}

// fitRow fits one height's series.
func (s *Shape) fitRow(views []*View, h int) (out [terms]float64) {
	a, y := system(views, s.radius), mat.NewVecDense(terms, nil)
	w := 1 / (outlineMM * outlineMM)
	for _, v := range views {
		for _, side := range []struct{ deg, at float64 }{{-90, v.rows[h].right - v.middle()}, {90, v.middle() - v.rows[h].left}} {
			b := basis(rad(v.TurnDeg + side.deg))
			for i := range terms {
				y.SetVec(i, y.AtVec(i)+w*b[i]*side.at)
			}
		}
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, y) != nil {
		return out
	}
	for i := range out {
		out[i] = x.AtVec(i)
	}
	return out
}

// misfits says which turns do not match the others: in where the seam and the axis
// lie in the picture, and in their outline.
func (s *Shape) misfits(views []*View) []part.Phrase {
	if len(views) < 2 {
		return nil
	}
	var out []part.Phrase
	tell := func(v *View, key string, mm float64, decimals int) {
		what := part.Say(key, "off_mm", part.Fixed(mm, decimals))
		out = append(out, part.Say("body.misfit").With("turn", part.Turns(v.TurnDeg)).With("what", what))
	}
	var seam, depth []float64
	for _, v := range views {
		seam = append(seam, (v.SeamY+v.Bow)*v.MMPerPX)
		depth = append(depth, float64(len(v.rows))*heightStepMM)
	}
	for k, v := range views {
		if d := seam[k] - robust.Quantile(slices.Clone(seam), 0.5); len(views) > 2 && math.Abs(d) > 2*movedLeastMM || len(views) == 2 && k == 1 && math.Abs(seam[1]-seam[0]) > 4*movedLeastMM {
			tell(v, "body.seam_off", math.Abs(d), 1)
		} else if d := depth[k] - robust.Quantile(slices.Clone(depth), 0.5); math.Abs(d) > 4*movedLeastMM {
			tell(v, "body.depth_off", math.Abs(d), 1)
		} else if worst := s.worst(v); worst > max(movedLeastMM, moved*outlineMM) {
			tell(v, "body.outline_off", worst, 2)
		}
	}
	return out
}

// worst is by how much, over the upper half, a turn's outline lies off the shape: the
// median over the heights, mm.
func (s *Shape) worst(v *View) float64 {
	var off []float64
	for h := range len(s.coef) / 2 {
		r, l := s.support(h, rad(v.TurnDeg-90)), s.support(h, rad(v.TurnDeg+90))
		off = append(off, max(math.Abs(r-(v.rows[h].right-v.middle())), math.Abs(l-(v.middle()-v.rows[h].left))))
	}
	return robust.Quantile(off, 0.5)
}

// support is the support function at a height's row, mm.
func (s *Shape) support(h int, turn float64) float64 {
	b, v := basis(turn), 0.0
	for i, c := range s.coef[h] {
		v += c * b[i]
	}
	return v
}
