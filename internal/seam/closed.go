package seam

import (
	"math"

	"finishbench/internal/part"
)

// closedCurve is the half of the seam that faces the camera. The seam is a closed,
// nearly plane curve; a pinhole (Hartley and Zisserman 2004, Multiple View Geometry,
// 6.1) pictures a plane curve that is an ellipse as an ellipse again (ibid., 2.2.3:
// conics stay conics), and the half of one from limb to limb, held against the chord between its limbs, is
//
//	q = a + b p + sqrt(1 - p^2) (c0 + c1 p + c2 p^2 + c3 p^3)
//
// with p from -1 at the left limb to 1 at the right one along the chord, and q
// across it in pixels, downwards. An ellipse needs c0 alone: the curve's depth
// times the slant at which its plane is seen. c1 to c3 are for ovals that are no
// ellipses and for seams that are not quite plane; they are held near 0 by what
// is usual (see shapeShare, warpMM). At the limbs the root is 0: a and b alone
// say where the seam meets them.
type closedCurve struct {
	xm, ym   float64 // middle of the chord, px, distortion taken off
	cos, sin float64 // its direction
	half     float64 // half its length, px
	c        [maxParams]float64
	cov      [maxParams][maxParams]float64
	n        int     // columns used
	sd       float64 // of what they leave over, px
	uMiddle  float64 // of the middle between both colours, px: see centre

	undistort func(part.Point) part.Point
}

// Shapes of seams. The shares are the spread of c1 to c3 over c0 in 600 ovals of
// 2nd, 3rd and 4th harmonics up to 16, 5 and 1.5 % of the radius, seen from
// 140 mm to infinity (reckoned with these formulas); how plane a seam is, is
// common practice, no source.
const (
	shapeShare = 0.10
	warpMM     = 0.02 // how far from plane a seam is: standard uncertainty of each of c1 to c3
	limbShare  = 0.03 // what these curves may miss at a limb, as a share of c0: likewise reckoned
	seenTo     = 0.97 // the seam is looked at up to this p
)

// apart is by how much a place of the picture lies below the curve, across the chord, in
// px, and its p.
func (k *closedCurve) apart(at part.Point) (q, p float64) {
	if k.undistort != nil {
		at = k.undistort(at)
	}
	dx, dy := at.X-k.xm, at.Y-k.ym
	p = (dx*k.cos + dy*k.sin) / k.half
	return dy*k.cos - dx*k.sin - k.value(p), p
}

// value is the curve's q at p; beyond the limbs it goes on as the chord does.
func (k *closedCurve) value(p float64) float64 {
	j, v := closedTerms(p), 0.0
	for i, c := range k.c {
		v += c * j[i]
	}
	return v
}

// closedTerms are the derivatives of q by a, b and c0 to c3.
func closedTerms(p float64) [maxParams]float64 {
	s := math.Sqrt(max(0, 1-p*p))
	return [maxParams]float64{1, p, s, s * p, s * p * p, s * p * p * p}
}

// at is the curve's row in the picture at column x.
func (k *closedCurve) at(x float64) float64 {
	y := k.ym + (x-k.xm)*k.sin/k.cos
	for range 6 { // the chord is nearly level: each round leaves a tenth or less
		q, _ := k.apart(part.Point{X: x, Y: y})
		y -= q / k.cos
	}
	return y
}

// uRow is the standard uncertainty in pixels of the row in which the curve meets
// limb i: the columns' scatter and what is known of shapes, and where between two colours the seam is.
func (k *closedCurve) uRow(i int) float64 {
	sign := float64(2*i - 1)
	v := k.cov[0][0] + k.cov[1][1] + 2*sign*k.cov[0][1]
	shape := limbShare * k.c[2]
	return math.Sqrt(max(0, v) + shape*shape + k.uMiddle*k.uMiddle + seamFloorPX*seamFloorPX)
}

// uFlat is the standard uncertainty of a limb's row, uRow, if the seam were seen edge on.
func (s *seamCurve) uFlat(uRow float64) float64 {
	if s.closed == nil {
		return uRow
	}
	return min(uRow, math.Hypot(s.closed.uMiddle, seamFloorPX))
}

// rowAt is the row in which the curve meets limb b, near row y.
func (k *closedCurve) rowAt(b *limb, y float64) float64 {
	for range 4 {
		u := b.halfNear(y)
		if math.IsNaN(u) {
			return math.NaN()
		}
		at := part.Point{X: b.x(u), Y: y}
		if k.undistort != nil {
			at = k.undistort(at)
		}
		end := -1.0
		if b.mirrored {
			end = 1
		}
		y -= ((at.Y-k.ym)*k.cos - (at.X-k.xm)*k.sin - k.c[0] - end*k.c[1]) / k.cos
	}
	return y
}

// chord lays the chord through two places of the outline.
func (k *closedCurve) chord(ends [2]part.Point) bool {
	if k.undistort != nil {
		ends[0], ends[1] = k.undistort(ends[0]), k.undistort(ends[1])
	}
	dx, dy := ends[1].X-ends[0].X, ends[1].Y-ends[0].Y
	k.half = math.Hypot(dx, dy) / 2
	k.xm, k.ym = (ends[0].X+ends[1].X)/2, (ends[0].Y+ends[1].Y)/2
	k.cos, k.sin = dx/2/k.half, dy/2/k.half
	return dx > 0 && k.cos > 0.5
}

// fit fits the curve to places of the seam, in the order of their columns, and
// leaves out those far from it.
func (k *closedCurve) fit(at []part.Point, mmPerPX float64) bool {
	p, q := make([]float64, len(at)), make([]float64, len(at))
	k.c = [maxParams]float64{}
	for i, a := range at {
		q[i], p[i] = k.apart(a)
	}
	use := make([]bool, len(at))
	for i := range use {
		use[i] = math.Abs(p[i]) < 1 && !math.IsNaN(q[i])
	}
	res, dev := make([]float64, 0, len(at)), make([]float64, 0, len(at))
	variance := 0.25 // of one column's place, until the columns tell it
	for round := range 8 {
		sq := normal{n: maxParams}
		warp := math.Hypot(warpMM/mmPerPX, shapeShare*k.c[2])
		for j := 3; j < maxParams; j++ {
			var one [maxParams]float64
			one[j] = 1
			sq.add(one[:], 0, 1/(warp*warp))
		}
		k.n = 0
		for i := range at {
			if use[i] {
				j := closedTerms(p[i])
				sq.add(j[:], q[i], 1/variance)
				k.n++
			}
		}
		c, cov, ok := sq.solve(0)
		if !ok || k.n < 2*maxParams {
			return false
		}
		k.c, k.cov = c, cov
		res, dev = res[:0], dev[:0]
		ss := 0.0
		for i := range at {
			if use[i] {
				r := q[i] - k.value(p[i])
				res, dev, ss = append(res, r), append(dev, math.Abs(r)), ss+r*r
			}
		}
		k.sd = math.Sqrt(ss / float64(k.n-maxParams))
		variance = max(1e-4, k.sd*k.sd*inflation(res, ss))
		lim := max(4*1.4826*median(dev), 0.3)
		same := true
		for i := range at {
			if u := math.Abs(p[i]) < 1 && math.Abs(q[i]-k.value(p[i])) <= lim; u != use[i] {
				use[i], same = u, false
			}
		}
		if same && round >= 3 {
			break
		}
	}
	return true
}

// refine follows the seam once more between two known limbs and fits it as the
// closed curve that it is. It leaves the seam as it was where it cannot.
func (s *seamCurve) refine(l *light, limbs [2]*limb, p Params) {
	if s.from != "picture" || s.points == 0 {
		return
	}
	k := &closedCurve{undistort: p.Undistort}
	var ends [2]part.Point
	rows := s.row
	for i, b := range limbs {
		ends[i] = part.Point{X: b.x(b.halfNear(rows[i])), Y: rows[i]}
	}
	if !k.chord(ends) {
		return
	}
	n := followColumns
	xs := make([]int, n)
	for i := range xs { // evenly along the curve, so that they are dense where it bends
		t := math.Asin(seenTo) * (2*float64(i)/float64(n-1) - 1)
		xs[i] = int(math.Round((ends[0].X+ends[1].X)/2 + (ends[1].X-ends[0].X)/2*math.Sin(t)))
	}
	px := func(mm float64) float64 { return mm / p.MMPerPX }
	reach := px(trackMM+colourGapMM+colourSpanMM+max(0.22, 8*p.MMPerPX)) + 4
	c := cutColumns(l, xs, func(x float64) float64 { return s.at(x) - s.dir*reach }, int(2*reach)+1, s.dir, p.MMPerPX)
	guess := s.at
	fitted := false
	for round := range 3 {
		at := c.crossings(guess, s.step)
		if len(at) < n/2 || !k.fit(at, p.MMPerPX) {
			break
		}
		if round > 0 {
			d, u, settled := c.centre(k.at)
			if k.uMiddle = u; !settled {
				d, k.uMiddle = 0, glueMM/2/p.MMPerPX
			}
			k.c[0] += s.dir * d * k.cos
		}
		for i, b := range limbs {
			if rows[i] = k.rowAt(b, rows[i]); math.IsNaN(rows[i]) {
				return
			}
			ends[i] = part.Point{X: b.x(b.halfNear(rows[i])), Y: rows[i]}
		}
		fitted = round > 0
		if round < 2 && !k.chord(ends) {
			return
		}
		last := *k
		guess = last.at
	}
	if !fitted {
		return
	}
	s.closed, s.row, s.points = k, rows, k.n
	for i := range limbs {
		s.uRow[i] = k.uRow(i)
	}
}

// crossings is where each column changes from the faceplate's colour to the
// shell's, near the guess.
func (c *columns) crossings(guess func(x float64) float64, change rgbSum) []part.Point {
	size := math.Sqrt(dot(change, change))
	at := make([]part.Point, 0, len(c.x))
	for i, x := range c.x {
		if k, ok := c.crossing(i, c.dir*(guess(float64(x))-float64(c.y0[i])), change, size); ok {
			at = append(at, part.Point{X: float64(x), Y: float64(c.y0[i]) + c.dir*k})
		}
	}
	return at
}
