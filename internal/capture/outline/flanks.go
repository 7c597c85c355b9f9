package outline

import (
	"math"
	"slices"

	"finishbench/internal/lang"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// ErrNoFlanks says that pictures from the side show no unit.
var ErrNoFlanks = lang.Error(part.Say("outline.no_flanks"))

// Flanks is a unit's outline from the side: where each row of the picture enters and
// leaves it. All in full-resolution pixels.
type Flanks struct {
	Rows []FlankRow // from the top down, evenly
	Seen float64    // share of the rows at which an edge was seen on both sides, 0..1
}

// FlankRow is one row of a picture and where the unit begins and ends there.
type FlankRow struct{ Y, Left, Right float64 }

// Points are the outline as a closed curve, clockwise as seen.
func (f *Flanks) Points() []part.Point {
	var out []part.Point
	for _, r := range f.Rows {
		out = append(out, part.Point{X: r.Right, Y: r.Y})
	}
	for k := len(f.Rows) - 1; k >= 0; k-- {
		out = append(out, part.Point{X: f.Rows[k].Left, Y: f.Rows[k].Y})
	}
	return out
}

// How sides are sought. Lengths in samples of a thinned picture; common practice, no source.
const (
	sidesSteep    = 4    // by so much half the width may change from row to row
	sidesApart    = 2    // the two sides may lie so much off even
	sidesOff      = 0.25 // the axis lies within this share of the frame's width from its middle
	sidesLeast    = 12   // least half width
	sidesEdge     = 0.25 // mean strength of the edges along the sides
	sidesLean     = 0.04 // the axis leans by at most this slope
	sidesClose    = 5    // so near the outline the two sides are then placed apart
	sidesSmooth   = 0.06 // they are smoothed over this share of the unit's height, to either side
	sidesHolder   = 0.4  // where half the width is under this share of its largest, the holder begins
	sidesHeights  = 24   // least rows
	sidesFaint    = 0.5  // it ends where edges have less than this share of sidesEdge
	sidesGoOn     = 0.5  // above its clearest row a unit goes on where edges have this share of those below,
	sidesStraight = 5    // and lie within so much above them,
	sidesPlate    = 6    // for at least so long
	sidesPlateOf  = 14   // a faceplate is at least this part of the height
	topWidth      = 0.7  // the ground ends above this share of the width
)

// FindFlanks finds a unit that is photographed from the side, in all pictures of one pose
// together, on any ground that reaches the frame's edge. It is about even to either side of
// an axis that is about upright: for each axis, half the width at each row is the path along
// which the edges at both sides sum up to most, by dynamic programming (Bellman 1957), an edge
// being a change of mean or texture against its scatter (Fisher's ratio), from what looks like the frame's edge to what does not. Parts
// seen inside a clear shell are not even, and not next to the ground. Then each side is placed by itself.
func FindFlanks(images []*part.Image) (*Flanks, error) {
	ts, err := thinnedPose(images)
	if err != nil {
		return nil, err
	}
	e := newSideEdges(ts)
	best := sidePath{score: math.Inf(-1)}
	try := func(x, lean float64) {
		if p := e.path(x, lean); p.score > best.score {
			best = p
		}
	}
	w := float64(e.w)
	for x := w * (0.5 - sidesOff); x <= w*(0.5+sidesOff); x += 8 {
		try(x, 0)
	}
	for step := 4.0; step >= 2; step /= 2 { // ever finer around it
		x := best.x
		try(x-step, 0)
		try(x+step, 0)
	}
	for _, lean := range []float64{-sidesLean, -sidesLean / 2, sidesLean / 2, sidesLean} {
		x := best.x
		for _, d := range [3]float64{-3, 0, 3} {
			try(x+d, lean)
		}
	}
	// A clear shell on cloth shows what lies inside better than its own sides: those go on from the
	// faceplate's, which is as wide.
	top, bottom := e.extent(best, e.along(best))
	at := top + max(sidesPlate/2, (bottom-top)/sidesPlateOf)
	x, half := e.plate(best, top, at)
	if math.Abs(float64(half-best.half[at]))+math.Abs(x-best.x) > 2*sidesApart {
		best = e.pathFrom(x, best.lean, at, half)
	}
	return e.sides(best)
}

// sideEdges are, for each sample of a thinned picture, how strong an edge there is that
// has the ground on its left, and on its right.
type sideEdges struct {
	w, h, step  int
	left, right []float32

	nearLeft, nearRight []float32 // the largest of these within sidesApart
	down                []float32 // and how strong an edge that has nothing but ground above it
	over                []float32 // and one that has anything
}

func newSideEdges(ts []*thinned) *sideEdges {
	t := ts[0]
	e := &sideEdges{w: t.w, h: t.h, step: t.step, left: make([]float32, t.w*t.h), right: make([]float32, t.w*t.h),
		down: make([]float32, t.w*t.h), over: make([]float32, t.w*t.h)}
	g := newGround(ts)
	g.spread()
	lw := (t.w + 1) / 2
	like := make([]float32, t.w+1)
	edge := make([]float32, t.w)
	most := (max(t.w, t.h) + 1) * t.c
	sums := [2][]int32{make([]int32, most), make([]int32, most)} // their first place stays 0
	for y := range t.h {
		for x := range t.w {
			like[x+1] = like[x] + g.likeness[y/2*lw+x/2]
			edge[x] = 0
		}
		for _, t := range ts {
			alongLine(t, y*t.w, 1, t.w, edge, &sums)
		}
		for x := beside; x < t.w-beside; x++ {
			a, b := min(x, groundReach), min(t.w-x, groundReach)
			d := groundCounts * ((like[x]-like[x-a])/float32(a) - (like[x+b]-like[x])/float32(b))
			e.left[y*t.w+x], e.right[y*t.w+x] = edge[x]+d, edge[x]-d
		}
	}
	e.nearLeft, e.nearRight = nearest(e.left, e.w), nearest(e.right, e.w)
	like, edge = make([]float32, t.h+1), make([]float32, t.h)
	for x := range t.w {
		for y := range t.h {
			like[y+1] = like[y] + g.likeness[y/2*lw+x/2]
			edge[y] = 0
		}
		for _, t := range ts {
			alongLine(t, x, t.w, t.h, edge, &sums)
		}
		for y := beside; y < t.h-beside; y++ {
			b := min(t.h-y, groundReach)
			e.over[y*t.w+x] = edge[y]
			e.down[y*t.w+x] = edge[y] + like[y]/float32(y) - (like[y+b]-like[y])/float32(b)
		}
	}
	return e
}

// alongLine raises edge to Fisher's ratio between the samples on either side of each place of a
// line of n samples, over all channels, as a share of it and 2. The line begins at a sample and goes on in steps.
// sums are two rows of n+1 places of all channels to work in.
func alongLine(t *thinned, first, step, n int, edge []float32, sums *[2][]int32) {
	sum, square := sums[0], sums[1]
	for k := range n {
		p := first + k*step
		for c, v := range t.v[p*t.c : (p+1)*t.c] {
			sum[(k+1)*t.c+c] = sum[k*t.c+c] + int32(v)
			square[(k+1)*t.c+c] = square[k*t.c+c] + int32(v)*int32(v)
		}
	}
	for k := beside; k < min(n, n-beside+1); k++ {
		edge[k] = max(edge[k], change(sum, square, t.c, k))
	}
}

// sidePath is half the width of a unit along an axis.
type sidePath struct {
	x, lean float64 // of the axis: at the frame's middle row
	half    []int   // per row
	score   float64
}

// axis is where the axis lies in a row.
func (p sidePath) axis(y, h int) float64 { return p.x + p.lean*float64(y-h/2) }

// path is the best half width at each row around an axis.
func (e *sideEdges) path(x, lean float64) sidePath { return e.pathFrom(x, lean, -1, 0) }

// pathFrom is path, held at a row to a half width.
func (e *sideEdges) pathFrom(x, lean float64, held, half int) sidePath {
	p := sidePath{x: x, lean: lean, half: make([]int, e.h)}
	n := e.w / 2
	from := make([]int8, e.h*n)
	const never = -1e9
	var cost [2*sidesSteep + 1]float32 // of each change from row to row
	for i := range cost {
		cost[i] = stiffness * float32((i-sidesSteep)*(i-sidesSteep))
	}
	sum, next := make([]float32, n+2*sidesSteep), make([]float32, n+2*sidesSteep) // with what is no half width to either side
	for _, s := range [][]float32{sum, next} {
		for i := range sidesSteep {
			s[i], s[len(s)-1-i] = never, never
		}
	}
	for y := range e.h {
		c := int(math.Round(p.axis(y, e.h)))
		left, right := e.nearLeft[y*e.w:(y+1)*e.w], e.nearRight[y*e.w:(y+1)*e.w]
		for k := range n {
			best, at := float32(never), sidesSteep
			for d, v := range sum[k : k+len(cost)] {
				if v -= cost[d]; v > best {
					best, at = v, d
				}
			}
			if y == held && (k < half-sidesApart || k > half+sidesApart) {
				best -= 1e6
			}
			if k >= sidesLeast && c-k >= 0 && c+k < e.w {
				best += min(left[c-k], right[c+k])
			}
			next[k+sidesSteep], from[y*n+k] = best, int8(at-sidesSteep)
		}
		sum, next = next, sum
	}
	sum = sum[sidesSteep : sidesSteep+n]
	k := 0
	for i, v := range sum {
		if v > sum[k] {
			k = i
		}
	}
	p.score = float64(sum[k])
	for y := e.h - 1; y >= 0; y-- {
		p.half[y] = k
		k += int(from[y*n+k])
	}
	return p
}

// plate is where straight sides lie that show best between two rows: the axis and half the width.
func (e *sideEdges) plate(p sidePath, top, bottom int) (x float64, half int) {
	best := float32(-1)
	for d := -2.0 * sidesClose; d <= 2*sidesClose; d++ {
		for k := sidesLeast; k < e.w/2; k++ {
			v := float32(0)
			for y := top + 1; y <= bottom; y++ {
				c := p.axis(y, e.h) + d
				l, r := int(math.Round(c-float64(k))), int(math.Round(c+float64(k)))
				if l >= 0 && r < e.w {
					v += min(e.left[y*e.w+l], e.right[y*e.w+r])
				}
			}
			if v > best {
				best, x, half = v, p.x+d, k
			}
		}
	}
	return x, half
}

// nearest is the largest value of a row within sidesApart of each place.
func nearest(v []float32, w int) []float32 {
	out := make([]float32, len(v))
	for i := range v {
		x := i % w
		for k := max(0, x-sidesApart); k <= min(w-1, x+sidesApart); k++ {
			out[i] = max(out[i], v[i-x+k])
		}
	}
	return out
}

// along is how strong the edges are along a path, at the weaker of both sides.
func (e *sideEdges) along(p sidePath) []float64 {
	out := make([]float64, e.h)
	for y := range out {
		c := p.axis(y, e.h)
		_, l := steepest1(e.left[y*e.w:(y+1)*e.w], c-float64(p.half[y]))
		_, r := steepest1(e.right[y*e.w:(y+1)*e.w], c+float64(p.half[y]))
		out[y] = float64(min(l, r))
	}
	return out
}

// sides places both sides of a path.
func (e *sideEdges) sides(p sidePath) (*Flanks, error) {
	strength := e.along(p)
	lefts, rights := make([]float64, e.h), make([]float64, e.h)
	for y := range e.h {
		c := p.axis(y, e.h)
		lefts[y], _ = steepest1(e.left[y*e.w:(y+1)*e.w], c-float64(p.half[y]))
		rights[y], _ = steepest1(e.right[y*e.w:(y+1)*e.w], c+float64(p.half[y]))
	}
	top, bottom := e.extent(p, strength)
	if bottom-top < sidesHeights {
		return nil, ErrNoFlanks
	}
	within := slices.Clone(strength[top:bottom])
	if robust.Quantile(within, 0.5) < sidesEdge {
		return nil, ErrNoFlanks
	}
	out := &Flanks{}
	reach := max(3, int(sidesSmooth*float64(bottom-top)))
	for y := top; y < bottom; y++ {
		if strength[y] >= sidesEdge/2 {
			out.Seen += 1 / float64(bottom-top)
		}
		c := func(x float64) float64 { return x*float64(e.step) - 0.5 }
		out.Rows = append(out.Rows, FlankRow{
			Y:    float64(y*e.step) + float64(e.step-1)/2,
			Left: c(smoothAt(lefts, strength, y, top, bottom, reach)), Right: c(smoothAt(rights, strength, y, top, bottom, reach)),
		})
	}
	return out, nil
}

// extent is from which row to which the unit reaches: above, the ground ends over most of the width
// between the sides; below, half the width falls to the holder's, or the edges end.
func (e *sideEdges) extent(p sidePath, strength []float64) (top, bottom int) {
	best := float32(0)
	for y := beside; y < e.h-beside; y++ {
		c, half := p.axis(y, e.h), topWidth*float64(p.half[min(e.h-1, y+2*beside)])
		from, to := max(0, int(c-half)), min(e.w-1, int(c+half))
		if to-from < 2*sidesLeast {
			continue
		}
		v := float32(0)
		for x := from; x <= to; x++ {
			v += e.down[y*e.w+x] / float32(to-from+1)
		}
		if v > best {
			best, top = v, y
		}
	}
	top = above(p, strength, e.steepestRow(p, top))
	widest := 0
	for bottom = top; bottom < e.h; bottom++ {
		soft, n := 0.0, 0.0 // edges over a few rows
		for k := max(0, bottom-2); k <= min(e.h-1, bottom+2); k++ {
			soft += strength[k]
			n++
		}
		widest = max(widest, p.half[bottom])
		if float64(p.half[bottom]) < sidesHolder*float64(widest) || soft/n < sidesEdge*sidesFaint && bottom > top+sidesHeights {
			break
		}
	}
	return top, bottom
}

// above is where sides that go on straight above a row end: a faceplate may look like the ground.
func above(p sidePath, strength []float64, top int) int {
	usual := robust.Quantile(slices.Clone(strength[top:min(len(strength), top+sidesHeights)]), 0.5)
	up := top
	for up > 0 && strength[up-1] >= sidesGoOn*usual && math.Abs(float64(p.half[up-1]-p.half[top])) <= sidesStraight {
		up--
	}
	if top-up < sidesPlate {
		return top
	}
	return up
}

// steepestRow is the row near another across which the width between the sides changes most.
func (e *sideEdges) steepestRow(p sidePath, at int) int {
	best, row := float32(-1), at
	for y := max(beside, at-2*beside); y <= min(e.h-1-beside, at+2*beside); y++ {
		c, half := p.axis(y, e.h), topWidth*float64(p.half[min(e.h-1, at+2*beside)])
		v := float32(0)
		for x := max(0, int(c-half)); x <= min(e.w-1, int(c+half)); x++ {
			v += e.over[y*e.w+x]
		}
		if v > best {
			best, row = v, y
		}
	}
	return row
}

// steepest1 is where near a place a row is strongest, between samples by the parabola through three,
// as the place between two samples that the edge lies at.
func steepest1(row []float32, x float64) (at float64, strength float32) {
	mid := int(math.Round(x))
	k := -1
	for i := max(1, mid-sidesClose); i <= min(len(row)-2, mid+sidesClose); i++ {
		if k < 0 || row[i] > row[k] {
			k = i
		}
	}
	if k < 0 {
		return x, 0
	}
	a, b, c := float64(row[k-1]), float64(row[k]), float64(row[k+1])
	d := 0.0
	if den := a - 2*b + c; den < 0 {
		d = max(-0.5, min(0.5, (a-c)/(2*den)))
	}
	return float64(k) + d, row[k]
}

// smoothAt is a value from a parabola through the values around a row, far ones left out.
func smoothAt(v, weight []float64, y, top, bottom, reach int) float64 {
	from, to := max(top, y-reach), min(bottom-1, y+reach)
	fit := []float64{v[y], 0, 0}
	sd := math.Inf(1)
	dev := make([]float64, 0, to-from+1)
	for range 5 {
		var m [3 * 4]float64
		dev = dev[:0]
		for k := from; k <= to; k++ {
			t := float64(k-y) / float64(reach)
			d := v[k] - fit[0] - fit[1]*t - fit[2]*t*t
			dev = append(dev, math.Abs(d))
			u := d / (tukey * sd)
			if math.Abs(u) >= 1 {
				continue
			}
			w := (weight[k] + 1e-3) * (1 - u*u) * (1 - u*u)
			b := [4]float64{1, t, t * t, v[k]}
			for i := range 3 {
				for j := i; j < 4; j++ {
					m[i*4+j] += w * b[i] * b[j]
				}
			}
		}
		if s := robust.Solve(m[:], 3); s != nil {
			fit = s
		}
		sd = max(1.4826*robust.Quantile(dev, 0.5), 0.25)
	}
	return fit[0]
}
