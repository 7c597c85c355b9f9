// Package align tells how the pictures of a scene lie against the first one: by detail inside the outline (Detail), or by the outline
// itself (Outlines, OwnOutlines). Each way gives a Registration with its standard uncertainty; where more than ApartPX is left, the
// pictures show no one surface in one place. Pixels are full-resolution ones.
package align

import (
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"

	"gonum.org/v1/gonum/mat"
)

// Similarity carries places of a scene's first picture into another one, both in
// full-resolution pixels: x' = a x - b y + tx, y' = b x + a y + ty.
type Similarity struct{ A, B, TX, TY float64 }

var identity = Similarity{A: 1}

// Of carries a place of the first picture into the other one.
func (s Similarity) Of(p part.Point) part.Point {
	return part.Point{X: s.A*p.X - s.B*p.Y + s.TX, Y: s.B*p.X + s.A*p.Y + s.TY}
}

// Back carries places of the other picture into the first one.
func (s Similarity) Back(p part.Point) part.Point {
	n := s.A*s.A + s.B*s.B
	x, y := p.X-s.TX, p.Y-s.TY
	return part.Point{X: (s.A*x + s.B*y) / n, Y: (s.A*y - s.B*x) / n}
}

// Basis says what two pictures were registered on.
type Basis string

const (
	ByDetail  Basis = "detail"  // pattern, print and defects inside the outline
	ByOutline Basis = "outline" // the outline alone: there is too little detail
	ByNothing Basis = "none"    // neither: the pictures are taken as they lie
)

// Registration is how one picture of a scene lies against the first.
type Registration struct {
	To         Similarity // identity where the pictures do not differ by more than twice UPX
	By         Basis
	shiftPX    float64 // how far places of the unit moved, rms
	ResidualPX float64 // what is left of that after the transform, rms; NaN: not measured
	UPX        float64 // standard uncertainty of where a place lies in the other picture; NaN: not measured
	Apart      bool    // more is left than ApartPX: the pictures do not show one surface in one place
}

// What a second picture may differ by, and what is too much. Common practice, no
// source: a unit that lies still and a camera that was touched.
const (
	mostShiftPX = 10.0
	mostTurn    = math.Pi / 180
	mostScale   = 0.02
	ApartPX     = 3.0
)

// How pictures are compared. Common practice, no source.
const (
	registerSide = 400  // samples along a picture's longer side, about
	blockHalf    = 12   // half a block's side, samples
	blockStep    = 18   // from block to block
	alikeEnough  = 0.45 // correlation of two blocks that show the same thing
	peakOverNext = 1.15 // and how much more than at any other place, so that stripes do not lock onto their neighbours
	minBlocks    = 12   // with fewer that agree, detail tells nothing
	lightPX      = 0.12 // how far two lights alone move an edge, standard uncertainty
)

// bandPassed takes off what changes over more than some nine samples, and cuts
// off what is far off the rest: lamps and glints are strong.
func bandPassed(p *part.Plane) *part.Plane {
	soft := part.NewPlane(p.W, p.H)
	boxMean(soft, p, 4)
	var some []float64
	for i, v := range p.V {
		soft.V[i] = v - soft.V[i]
		if i%23 == 0 {
			some = append(some, math.Abs(float64(soft.V[i])))
		}
	}
	most := float32(4*raster.MADToSD*raster.Median(some) + 1e-3)
	for i, v := range soft.V {
		soft.V[i] = max(-most, min(most, v))
	}
	return soft
}

// encodedDown averages the green or grey samples of step x step pixels, in levels
// 0..255. Encoded samples stand for light: they go about as its square root, so
// that noise is even and a lamp's image counts little.
func encodedDown(im *part.Image, step int) *part.Plane {
	p := part.NewPlane(im.W/step, im.H/step)
	k := 1 / float32(step*step)
	if im.Pix16 != nil {
		sumBlocks(p, im.Pix16, im.W, im.C, step, k/257)
	} else {
		sumBlocks(p, im.Pix8, im.W, im.C, step, k)
	}
	return p
}

func sumBlocks[T uint8 | uint16](p *part.Plane, pix []T, width, c, step int, k float32) {
	sum := make([]uint32, p.W)
	for y := range p.H {
		clear(sum)
		for dy := range step {
			row := pix[(y*step+dy)*width*c+c/2:]
			i := 0
			for x := range sum {
				s := uint32(0)
				for range step {
					s += uint32(row[i])
					i += c
				}
				sum[x] += s
			}
		}
		for x, s := range sum {
			p.V[y*p.W+x] = float32(s) * k
		}
	}
}

// boxMean is the mean over a square of 2r+1 samples, the border's repeated.
func boxMean(dst, src *part.Plane, r int) {
	w, h := src.W, src.H
	mid := part.NewPlane(w, h)
	k := 1 / float32(2*r+1)
	for y := range h {
		in, out := src.V[y*w:(y+1)*w], mid.V[y*w:(y+1)*w]
		s := float32(0)
		for x := -r; x <= r; x++ {
			s += in[max(0, min(w-1, x))]
		}
		for x := range out {
			out[x] = s * k
			s += in[min(w-1, x+r+1)] - in[max(0, x-r)]
		}
	}
	sum := make([]float32, w)
	for y := -r; y <= r; y++ {
		for x, v := range mid.V[max(0, min(h-1, y))*w:][:w] {
			sum[x] += v
		}
	}
	for y := range h {
		out := dst.V[y*w : (y+1)*w]
		add, drop := mid.V[min(h-1, y+r+1)*w:][:w], mid.V[max(0, y-r)*w:][:w]
		for x := range out {
			out[x] = sum[x] * k
			sum[x] += add[x] - drop[x]
		}
	}
}

// match is one block of the first picture found in the other, full-resolution px.
type match struct{ at, to part.Point }

// Band is a picture's brightness in samples of step x step pixels, without what
// changes slowly.
type Band struct {
	*part.Plane
	step int
}

// NewBand makes an image ready for Detail.
func NewBand(im *part.Image) Band {
	step := max(1, (max(im.W, im.H)+registerSide/2)/registerSide)
	return Band{bandPassed(encodedDown(im, step)), step}
}

// Detail tells how picture b lies against picture a of the same unit, by the
// detail inside an outline of a: blocks of the band-passed pictures are sought in
// the other by normalised correlation (Lewis 1995, Fast normalized
// cross-correlation), each peak placed between samples by a parabola, and the
// similarity is the one on which most blocks agree (Fischler and Bolles 1981, RANSAC), fitted
// by least squares to those. By is ByNothing where too few blocks agree.
func Detail(a, b Band, inside []part.Point) Registration {
	none := Registration{To: identity, By: ByNothing, ResidualPX: math.NaN(), UPX: math.NaN()}
	tol := 0.6 * float64(a.step)
	// One block in four usually tells where the others are to be sought.
	fit, in := agreed(matches(a, b, inside, identity, 0, 2), tol)
	if len(in) < minBlocks {
		all := matches(a, b, inside, identity, 0, 1)
		if fit, in = agreed(all, tol); len(in) < minBlocks || 3*len(in) < len(all) {
			return none
		}
	}
	near := matches(a, b, inside, fit, 2, 1)
	if fit, in = agreed(near, tol); len(in) < minBlocks || 2*len(in) < len(near) {
		return none
	}
	return summed(fit, in, ByDetail, lightPX)
}

// summed is the registration that a fit to matches tells; floor is the part of
// its uncertainty that the matches do not show.
func summed(fit Similarity, in []match, basis Basis, floor float64) Registration {
	r := Registration{To: fit, By: basis}
	for _, m := range in {
		q := fit.Of(m.at)
		r.ResidualPX += math.Pow(q.X-m.to.X, 2) + math.Pow(q.Y-m.to.Y, 2)
		r.shiftPX += math.Pow(q.X-m.at.X, 2) + math.Pow(q.Y-m.at.Y, 2)
	}
	n := float64(len(in))
	r.ResidualPX, r.shiftPX = math.Sqrt(r.ResidualPX/n), math.Sqrt(r.shiftPX/n)
	// four numbers fitted to 2n
	r.UPX = math.Hypot(r.ResidualPX*math.Sqrt(4/math.Max(1, 2*n-4)), floor)
	if r.shiftPX <= 2*r.UPX {
		r.To = identity
	}
	return r
}

// matches finds blocks of a, inside an outline, in b: around where guess puts
// them, up to reach samples away; 0 for as far as anything may have moved, and
// then only where no other place is nearly as like. One row and one column of
// blocks in so many are taken.
func matches(a, b Band, inside []part.Point, guess Similarity, reach, every int) []match {
	var out []match
	alone := reach == 0
	if alone {
		far := 0.4 * float64(max(a.W, a.H)*a.step) // a unit's farther side
		reach = int(math.Ceil((mostShiftPX + far*math.Hypot(mostTurn, mostScale)) / float64(a.step)))
	}
	s := float64(a.step)
	full := func(v float64) float64 { return v*s + (s-1)/2 }
	square := newSums(b.Plane)
	score := make([]float64, (2*reach+1)*(2*reach+1))
	for y := blockHalf; y < a.H-blockHalf; y += every * blockStep {
		for x := blockHalf; x < a.W-blockHalf; x += every * blockStep {
			at := part.Point{X: full(float64(x)), Y: full(float64(y))}
			if !blockInside(at, s*blockHalf, inside) {
				continue
			}
			q := guess.Of(at)
			gx, gy := int(math.Round((q.X-(s-1)/2)/s)), int(math.Round((q.Y-(s-1)/2)/s))
			if dx, dy, ok := bestShift(a.Plane, b.Plane, square, x, y, gx, gy, reach, score, alone); ok {
				out = append(out, match{at: at, to: part.Point{X: full(float64(gx) + dx), Y: full(float64(gy) + dy)}})
			}
		}
	}
	return out
}

// sums holds, for each corner of a plane's samples, the sum of squares above and
// left of it.
type sums struct {
	w int
	v []float64
}

func newSums(p *part.Plane) *sums {
	s := &sums{w: p.W + 1, v: make([]float64, (p.W+1)*(p.H+1))}
	for y := range p.H {
		row := 0.0
		for x, v := range p.V[y*p.W : (y+1)*p.W] {
			row += float64(v) * float64(v)
			s.v[(y+1)*s.w+x+1] = s.v[y*s.w+x+1] + row
		}
	}
	return s
}

// sum is the sum of squares over the n x n samples from x, y.
func (s *sums) sum(x, y, n int) float64 {
	return s.v[(y+n)*s.w+x+n] - s.v[(y+n)*s.w+x] - s.v[y*s.w+x+n] + s.v[y*s.w+x]
}

// blockInside says whether a square around a point lies inside an outline.
func blockInside(p part.Point, half float64, outline []part.Point) bool {
	for _, d := range [4]part.Point{{X: -half, Y: -half}, {X: half, Y: -half}, {X: half, Y: half}, {X: -half, Y: half}} {
		if !(part.Point{X: p.X + d.X, Y: p.Y + d.Y}).Inside(outline) {
			return false
		}
	}
	return true
}

// bestShift is the shift, in samples, at which the block of a around x, y is most
// like b around gx, gy. ok is false where that is at the end of the reach, not
// like enough, or not alone.
func bestShift(a, b *part.Plane, square *sums, x, y, gx, gy, reach int, score []float64, alone bool) (dx, dy float64, ok bool) {
	const h = blockHalf
	if gx-reach-h < 0 || gy-reach-h < 0 || gx+reach+h >= b.W || gy+reach+h >= b.H {
		return 0, 0, false
	}
	aa := float32(0)
	for j := -h; j <= h; j++ {
		for _, v := range a.V[(y+j)*a.W+x-h : (y+j)*a.W+x+h+1] {
			aa += v * v
		}
	}
	if aa <= 0 {
		return 0, 0, false
	}
	n := 2*reach + 1
	best := 0
	for v := range n {
		for u := range n {
			var ab float32
			for j := -h; j <= h; j++ {
				ra := a.V[(y+j)*a.W+x-h:][:2*h+1]
				rb := b.V[(gy+v-reach+j)*b.W+gx+u-reach-h:][:2*h+1]
				for i, p := range ra {
					ab += p * rb[i]
				}
			}
			bb := square.sum(gx+u-reach-h, gy+v-reach-h, 2*h+1)
			k := v*n + u
			score[k] = float64(ab) / math.Sqrt(math.Max(float64(aa)*bb, 1e-12))
			if score[k] > score[best] {
				best = k
			}
		}
	}
	u, v := best%n, best/n
	top := score[best]
	if top < alikeEnough || u == 0 || v == 0 || u == n-1 || v == n-1 {
		return 0, 0, false
	}
	if alone {
		for k, s := range score[:n*n] {
			if s*peakOverNext > top && max(abs(k%n-u), abs(k/n-v)) > 3 {
				return 0, 0, false
			}
		}
	}
	return float64(u-reach) + peakOf(score[best-1], top, score[best+1]), float64(v-reach) + peakOf(score[best-n], top, score[best+n]), true
}

func abs(v int) int { return max(v, -v) }

// peakOf is where the parabola through three values at -1, 0 and 1 has its top.
func peakOf(l, m, r float64) float64 {
	if d := l - 2*m + r; d < 0 {
		return math.Max(-0.5, math.Min(0.5, (l-r)/(2*d)))
	}
	return 0
}

// agreed is the similarity on which most matches agree to within tol pixels, and
// these. Every pair of matches far enough apart is tried, so that no chance is in
// it.
func agreed(ms []match, tol float64) (Similarity, []match) {
	near := func(s Similarity, m match) bool {
		q := s.Of(m.at)
		dx, dy := q.X-m.to.X, q.Y-m.to.Y
		return dx*dx+dy*dy <= tol*tol
	}
	within := func(s Similarity) (in []match) {
		for _, m := range ms {
			if near(s, m) {
				in = append(in, m)
			}
		}
		return in
	}
	most, first := 0, identity
	// Matches in an order that is spread over the unit, so that a few of many do.
	some := ms
	if len(some) > 48 {
		some = nil
		for i := range 48 {
			some = append(some, ms[i*len(ms)/48])
		}
	}
	for i, m := range some {
		for _, n := range some[i+1:] {
			if math.Hypot(m.at.X-n.at.X, m.at.Y-n.at.Y) < 12*tol {
				continue
			}
			s := throughTwo(m, n)
			if !plausible(s) {
				continue
			}
			count := 0
			for _, o := range ms {
				if near(s, o) {
					count++
				}
			}
			if count > most {
				most, first = count, s
			}
		}
	}
	best := within(first)
	if most < 3 {
		return identity, nil
	}
	fit := leastSquares(best)
	for range 3 {
		if in := within(fit); len(in) >= len(best) {
			best = in
			fit = leastSquares(best)
		}
	}
	if !plausible(fit) {
		return identity, nil
	}
	return fit, best
}

// plausible says whether a second picture of a unit that lies still can lie so:
// half as much again as it may.
func plausible(s Similarity) bool {
	scale, turn := math.Hypot(s.A, s.B), math.Atan2(s.B, s.A)
	return math.Abs(scale-1) < 1.5*mostScale && math.Abs(turn) < 1.5*mostTurn
}

// throughTwo is the similarity that carries two places exactly.
func throughTwo(m, n match) Similarity {
	x, y := n.at.X-m.at.X, n.at.Y-m.at.Y
	u, v := n.to.X-m.to.X, n.to.Y-m.to.Y
	d := x*x + y*y
	s := Similarity{A: (u*x + v*y) / d, B: (v*x - u*y) / d}
	s.TX, s.TY = m.to.X-s.A*m.at.X+s.B*m.at.Y, m.to.Y-s.B*m.at.X-s.A*m.at.Y
	return s
}

// leastSquares is the similarity that carries the matches with the least sum of
// squares.
func leastSquares(ms []match) Similarity {
	var cx, cy, cu, cv float64
	n := float64(len(ms))
	for _, m := range ms {
		cx, cy, cu, cv = cx+m.at.X/n, cy+m.at.Y/n, cu+m.to.X/n, cv+m.to.Y/n
	}
	var d, a, b float64
	for _, m := range ms {
		x, y, u, v := m.at.X-cx, m.at.Y-cy, m.to.X-cu, m.to.Y-cv
		d, a, b = d+x*x+y*y, a+u*x+v*y, b+v*x-u*y
	}
	s := Similarity{A: a / d, B: b / d}
	s.TX, s.TY = cu-s.A*cx+s.B*cy, cv-s.B*cx-s.A*cy
	return s
}

// Moved says whether a picture lies elsewhere than the first one.
func (r *Registration) Moved() bool { return r != nil && r.To != identity }

// OwnOutlines tells how two pictures lie by the outline that each shows by itself.
// A light that shows glints of the rim instead of its edge shows none, and proves nothing.
func OwnOutlines(a, b *part.Image) Registration {
	first, err := outline.Face([]*part.Image{a})
	if err == nil {
		var second *outline.Curve
		if second, err = outline.Face([]*part.Image{b}); err == nil {
			return Outlines(first, second)
		}
	}
	return Registration{To: identity, By: ByNothing, ResidualPX: math.NaN(), UPX: math.NaN()}
}

// outlinePX is how far a light alone may move the outline: a rim is edge behind
// edge. Standard uncertainty; common practice, no source.
const outlinePX = 1.0

// Outlines tells how two pictures lie by their outlines about one middle:
// the similarity that brings one onto the other along its normals, by least
// squares with Tukey's biweight. The turn of a nearly round outline does not show,
// and is left at none; nor does growth, which is told from an edge that another
// light shows farther in by nothing: it is fitted, and not applied.
func Outlines(a, b *outline.Curve) Registration {
	n := len(a.RadiusN)
	pa, pb := a.Points(), b.Points()
	rows, want := make([][4]float64, n), make([]float64, n)
	var size float64
	for k := range n {
		p, q := pa[(k+n-1)%n], pa[(k+1)%n]
		nx, ny := q.Y-p.Y, p.X-q.X
		l := math.Hypot(nx, ny)
		nx, ny = nx/l, ny/l
		x, y := pa[k].X-a.Middle.X, pa[k].Y-a.Middle.Y
		// shift right, shift down, turn, growth
		rows[k] = [4]float64{nx, ny, x*ny - y*nx, x*nx + y*ny}
		want[k] = nx*(pb[k].X-pa[k].X) + ny*(pb[k].Y-pa[k].Y)
		size += math.Hypot(x, y) / float64(n)
	}
	fit, scatter, turnSD := normalFit(rows, want, true)
	if turnSD*size > 0.5 || math.Abs(fit[2]) < 3*turnSD {
		fit, scatter, _ = normalFit(rows, want, false)
	}
	s := Similarity{A: 1, B: fit[2]}
	m := a.Middle
	s.TX, s.TY = m.X+fit[0]-s.A*m.X+s.B*m.Y, m.Y+fit[1]-s.B*m.X-s.A*m.Y
	r := Registration{To: s, By: ByOutline, ResidualPX: scatter, UPX: math.Hypot(outlinePX, scatter/math.Sqrt(fourPlaces))}
	for _, p := range pa {
		q := s.Of(p)
		r.shiftPX += (math.Pow(q.X-p.X, 2) + math.Pow(q.Y-p.Y, 2)) / float64(n)
	}
	r.shiftPX = math.Sqrt(r.shiftPX)
	r.Apart = scatter > ApartPX || !plausible(s)
	if r.shiftPX <= 2*r.UPX || r.Apart {
		r.To = identity
	}
	return r
}

// fourPlaces is how many places around an outline err independently: rims bulge
// together over an arc.
const fourPlaces = 4

// normalFit solves for shift, turn and growth, and tells what is left over, robust
// standard deviation, and the turn's standard uncertainty, radians.
func normalFit(rows [][4]float64, want []float64, turn bool) (fit [4]float64, scatter, turnSD float64) {
	off := make([]float64, len(rows))
	for range 12 {
		a, b := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
		for k, row := range rows {
			off[k] = want[k]
			for i, v := range row {
				off[k] -= fit[i] * v
			}
		}
		dev := make([]float64, len(off))
		for k, v := range off {
			dev[k] = math.Abs(v)
		}
		scatter = raster.MADToSD * raster.Median(dev)
		limit := 4.685 * math.Max(scatter, 0.05)
		for k, row := range rows {
			u := off[k] / limit
			if math.Abs(u) >= 1 {
				continue
			}
			if !turn {
				row[2] = 0
			}
			w := (1 - u*u) * (1 - u*u)
			for i := range 4 {
				b.SetVec(i, b.AtVec(i)+w*row[i]*off[k])
				for j := i; j < 4; j++ {
					a.SetSym(i, j, a.At(i, j)+w*row[i]*row[j])
				}
			}
		}
		if !turn {
			a.SetSym(2, 2, 1)
		}
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
			break // the last fit stands
		}
		for i := range fit {
			fit[i] += x.AtVec(i)
		}
		var inverse mat.SymDense
		if chol.InverseTo(&inverse) == nil {
			turnSD = math.Max(scatter, 0.1) * math.Sqrt(inverse.At(2, 2)*float64(len(rows))/fourPlaces/4)
		}
	}
	return fit, scatter, turnSD
}
