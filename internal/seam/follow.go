package seam

import (
	"math"
)

// Lengths at the seam, in mm: how far the colour on either side is looked at.
// Common practice, no source: wider than a groove or glue line, narrower than
// the faceplate's straight wall.
const (
	followColumns   = 41
	columnHalfMM    = 0.03  // half width over which a column is averaged
	colourGapMM     = 0.075 // left out on either side of a colour change
	colourSpanMM    = 0.09  // and averaged beyond it
	sharpSpanMM     = 0.04  // a seam changes colour within this length
	sharpReachMM    = 0.03  // and at most this far from the middle
	rimMM           = 0.35  // the faceplate's rim: no seam is looked for so close to its end
	trackMM         = 0.15  // the seam moves less than this from column to column
	columnMargin    = 0.05  // share of the width left out at each limb
	plainColourStep = 20.0  // encoded levels: a change as plain as that is the seam
	minColourStep   = 3.0   // encoded levels: smallest change of colour taken for a seam
	glueMM          = 0.025 // width of the dark glue line, where it cannot be seen
	uGlueMM         = 0.015 // and its standard uncertainty
	shadeNoise      = 0.05  // share of brightness by which shading may stray from the two colours
	seamProminence  = 3.0   // and how often it must exceed what else changes along the wall
)

// columns holds sparse columns of the unit, averaged over a few pixels: sums
// of the encoded red, green and blue from the faceplate's end inwards.
type columns struct {
	start func(x float64) float64 // the row from which a column is read
	dir   float64                 // +1: the faceplate is up, the shell below; -1: turned over
	x     []int
	y0    []int      // row of index 0 of each column: start, rounded
	sum   [][]rgbSum // prefix sums: sum[c][k] is the sum of rows 0..k-1
	count int        // rows per column
	scale float64    // mm per pixel
	l     *light
	half  int
	shear []int // rows by which each column is shifted for a seam that is not level with the end
}

type rgbSum [3]float64

// wallColumns reads columns, evenly spread, from the given end of the silhouette inwards.
func wallColumns(l *light, sil *silhouette, end outlineEnd, dir, mmPerPX float64) *columns {
	xs := make([]int, followColumns)
	w := float64(sil.x1 - sil.x0)
	for i := range xs {
		xs[i] = int(float64(sil.x0) + w*(columnMargin+(1-2*columnMargin)*float64(i)/(followColumns-1)) + 0.5)
	}
	return cutColumns(l, xs, end.y, int(0.55*sil.height)+1, dir, mmPerPX)
}

// cutColumns reads count rows along dir at the places xs, each from the row start
// on; columns that leave the picture are left out.
func cutColumns(l *light, xs []int, start func(x float64) float64, count int, dir, mmPerPX float64) *columns {
	c := &columns{start: start, dir: dir, count: count, scale: mmPerPX, l: l, half: min(8, int(columnHalfMM/mmPerPX+0.5))}
	for _, x := range xs {
		y0 := int(math.Round(start(float64(x))))
		y1 := y0 + int(dir)*(c.count-1)
		if x-c.half < 0 || x+c.half >= l.w || min(y0, y1) < 0 || max(y0, y1) >= l.h {
			continue
		}
		s := make([]rgbSum, c.count+1)
		for k := 0; k < c.count; k++ {
			m := c.mean(x, y0+int(dir)*k)
			for ch := range m {
				s[k+1][ch] = s[k][ch] + m[ch]
			}
		}
		c.x, c.y0, c.sum = append(c.x, x), append(c.y0, y0), append(c.sum, s)
	}
	c.shear = make([]int, len(c.x))
	return c
}

// tilt shears the columns for a seam that rises by mm over the unit's width
// against the faceplate's end.
func (c *columns) tilt(mm float64) {
	n := len(c.x)
	for i := range c.shear {
		c.shear[i] = int(math.Round((float64(i)/float64(max(1, n-1)) - 0.5) * mm / c.scale))
	}
}

// mean is the encoded colour at (x, y) averaged over the column's width.
func (c *columns) mean(x, y int) (m rgbSum) {
	n := float64(2*c.half + 1)
	m = c.l.sum(x-c.half, y, 2*c.half+1)
	m[0], m[1], m[2] = m[0]/n, m[1]/n, m[2]/n
	return m
}

// px turns a length in mm into whole pixels, at least lo.
func (c *columns) px(mm float64, lo int) int { return max(lo, int(mm/c.scale+0.5)) }

// change is the colour after minus the colour before the border between rows
// k-1 and k of column i, with gap rows left out on either side and span rows
// averaged; ok is false where that leaves the column.
func (c *columns) change(i, k, gap, span int) (d rgbSum, ok bool) {
	if k-gap-span < 0 || k+gap+span > c.count {
		return d, false
	}
	s := c.sum[i]
	for ch := range d {
		d[ch] = (s[k+gap+span][ch] - s[k+gap][ch] - s[k-gap][ch] + s[k-gap-span][ch]) / float64(span)
	}
	return d, true
}

func dot(a, b rgbSum) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// seamCurve is the seam as followed across the unit.
type seamCurve struct {
	curve  poly         // as first followed
	closed *closedCurve // as fitted between the limbs; nil: only the first
	step   rgbSum       // the change of colour along dir, encoded levels
	from   string       // "picture" or "rim"
	u      float64      // standard uncertainty of its height in pixels
	score  float64      // colour change in encoded levels
	dir    float64      // +1: faceplate up
	points int          // columns in which it was seen
	x0, x1 float64      // where it was followed
	change float64      // how often the change exceeds what else changes there

	row, uRow [2]float64 // where it meets the limbs, left and right, in pixels, and its standard uncertainty
}

// at is the seam's row at column x.
func (s *seamCurve) at(x float64) float64 {
	if s.closed != nil {
		return s.closed.at(x)
	}
	return s.curve.at(x)
}

// findColour looks for the place where the colour changes for good, over all
// columns. It returns the index k and the change as a vector.
func (c *columns) findColour() (k int, change rgbSum, score, prominence float64) {
	n := len(c.x)
	if n < followColumns/3 {
		return 0, change, 0, 0
	}
	gap, span, sharp := c.px(colourGapMM, 2), c.px(colourSpanMM, 3), c.px(sharpSpanMM, 2)
	reach := c.px(sharpReachMM, 1)
	rim := c.px(rimMM, 4)
	scores := make([]float64, c.count)
	small := make([]rgbSum, c.count)
	for k := range small { // change close by, median over the columns
		small[k], _ = c.medianChange(k, 0, sharp)
	}
	all := make([]float64, 0, c.count)
	for k := rim; k < c.count; k++ {
		d, ok := c.medianChange(k, gap, span)
		if !ok {
			continue
		}
		size := math.Sqrt(dot(d, d))
		if size == 0 {
			continue
		}
		near := 0.0
		for j := max(0, k-reach); j <= min(c.count-1, k+reach); j++ {
			near = max(near, dot(small[j], d)/size)
		}
		scores[k] = min(size, near)
		all = append(all, scores[k])
	}
	for j, s := range scores {
		if s > score {
			k, score = j, s
		}
	}
	if k == 0 {
		return 0, change, 0, 0
	}
	change, _ = c.medianChange(k, gap, span)
	return k, change, score, score / max(0.5, median(all))
}

// medianChange is the change at index k, channel by channel the median over
// the columns.
func (c *columns) medianChange(k, gap, span int) (m rgbSum, ok bool) {
	var v [3][]float64
	var buf [3][followColumns]float64
	for ch := range v {
		v[ch] = buf[ch][:0]
	}
	for i := range c.x {
		if d, in := c.change(i, k+c.shear[i], gap, span); in {
			for ch := range d {
				v[ch] = append(v[ch], d[ch])
			}
		}
	}
	if len(v[0]) == 0 {
		return m, false
	}
	for ch := range m {
		m[ch] = median(v[ch])
	}
	return m, true
}

// track follows the colour change from the middle column to both limbs and
// returns the seam's place in each column, NaN where it is not seen.
func (c *columns) track(k0 int, change rgbSum) []float64 {
	ys := make([]float64, len(c.x))
	for i := range ys {
		ys[i] = math.NaN()
	}
	size := math.Sqrt(dot(change, change))
	if size == 0 {
		return ys
	}
	mid := len(c.x) / 2
	// rows are counted from each column's own start; its rounding is taken
	// along, so that a tilted end does not make a staircase
	off := func(i int) float64 { return c.start(float64(c.x[i])) - float64(c.y0[i]) }
	for _, step := range []int{1, -1} {
		at := float64(k0 + c.shear[mid])
		for i := mid; i >= 0 && i < len(c.x); i += step {
			k, ok := c.crossing(i, at+c.dir*off(i), change, size)
			if !ok {
				continue
			}
			ys[i] = float64(c.y0[i]) + c.dir*k
			at = k - c.dir*off(i)
		}
	}
	return ys
}

// crossing finds where column i changes from one side's colour to the other's
// near index k, to a fraction of a pixel.
func (c *columns) crossing(i int, near float64, change rgbSum, size float64) (float64, bool) {
	gap, span, reach := c.px(colourGapMM, 2), c.px(colourSpanMM, 3), c.px(trackMM, 3)
	best, k := 0.0, -1
	for j := int(near+0.5) - reach; j <= int(near+0.5)+reach; j++ {
		if d, ok := c.change(i, j, gap, span); ok {
			if s := dot(d, change) / size; s > best {
				best, k = s, j
			}
		}
	}
	if k < 0 || best < 0.3*size {
		return 0, false
	}
	s := c.sum[i]
	level := func(from, to int) (m rgbSum) {
		for ch := range m {
			m[ch] = (s[to][ch] - s[from][ch]) / float64(to-from)
		}
		return m
	}
	a, b := level(k-gap-span, k-gap), level(k+gap, k+gap+span)
	half := (dot(a, change) + dot(b, change)) / 2
	// walk from the border between the sides outwards to the nearest crossing
	at := func(j int) float64 { return dot(level(j, j+1), change) - half }
	for d := 0; d <= gap+1; d++ {
		for _, j := range [2]int{k + d, k - d} { // crossing between rows j-1 and j
			if j-1 < 0 || j >= c.count {
				continue
			}
			if v0, v1 := at(j-1), at(j); v0 < 0 && v1 >= 0 {
				return float64(j-1) + v0/(v0-v1), true
			}
		}
	}
	return 0, false
}

// fitCurve fits the seam's points with a smooth curve: second order, or fourth
// where that halves what is left over.
func fitCurve(x []int, y []float64, mid float64) (polyFit, int, bool) {
	xs, ys := make([]float64, 0, len(x)), make([]float64, 0, len(x))
	for i := range x {
		if !math.IsNaN(y[i]) {
			xs, ys = append(xs, float64(x[i])), append(ys, y[i])
		}
	}
	f, use, ok := fitRobust(xs, ys, mid, 2, 0.3)
	if !ok {
		return f, 0, false
	}
	if g, use4, ok4 := fitRobust(xs, ys, mid, 4, 0.3); ok4 && (g.sd < f.sd/2 || count(use4) > count(use)*5/4) {
		f, use = g, use4
	}
	return f, count(use), true
}

func count(b []bool) (n int) {
	for _, v := range b {
		if v {
			n++
		}
	}
	return n
}

// centre corrects the curve by what all columns together show in linear
// light. Between the faceplate's and the shell's colour there is often a dark
// line (glue, a groove's shadow): the faceplate's colour ends at a, the shell's
// begins at b, both blurred alike, and the seam is the middle of the two. It
// returns the correction in rows along dir, its standard uncertainty, and whether the fit settled.
func (c *columns) centre(at func(x float64) float64) (d, u float64, ok bool) {
	reach := max(0.22, 8*c.scale) / c.scale
	const fine = 2 // bins per pixel
	n := int(reach*fine)*2 + 1
	mean := make([]rgbSum, n)
	weight := make([]float64, n)
	for i, x := range c.x {
		k0 := c.dir * (at(float64(x)) - float64(c.y0[i]))
		lo, hi := int(math.Ceil(k0-reach))-1, int(k0+reach)+1
		if math.IsNaN(k0) || lo < 0 || hi >= c.count {
			continue
		}
		var last rgbSum
		for k := lo; k <= hi; k++ {
			var v rgbSum
			for ch := range v {
				v[ch] = c.l.decode(float32(min(255, max(0, c.sum[i][k+1][ch]-c.sum[i][k][ch]))))
			}
			if k > lo { // linear interpolation onto the fine bins
				b0 := (float64(k-1)-k0)*fine + float64(n/2)
				for b := max(0, int(math.Ceil(b0))); b < n && float64(b) < b0+fine; b++ {
					t := (float64(b) - b0) / fine
					for ch := range v {
						mean[b][ch] += last[ch]*(1-t) + v[ch]*t
					}
					weight[b]++
				}
			}
			last = v
		}
	}
	var a, b rgbSum
	na, nb := 0.0, 0.0
	for i := range mean {
		if weight[i] == 0 {
			return 0, 0, false
		}
		for ch := range mean[i] {
			mean[i][ch] /= weight[i]
		}
		t := float64(i-n/2) / fine
		if d := math.Abs(t); d < 0.6*reach || d > 0.95*reach {
			continue
		}
		side, m := &a, &na
		if t > 0 {
			side, m = &b, &nb
		}
		for ch := range side {
			side[ch] += mean[i][ch]
		}
		*m++
	}
	for ch := range a {
		a[ch], b[ch] = a[ch]/na, b[ch]/nb
	}
	return fitTwoEdges(mean, a, b, fine, glueMM/c.scale, uGlueMM/c.scale)
}

// fitTwoEdges fits the colour between two sides a and b, sampled in fine bins
// per row around the middle, with two blurred edges: v = a Q((t-p)/s) +
// b Q((q-t)/s) above the line's own darkness, Q the upper tail of the normal
// distribution, p <= q, and
// returns the middle of p and q with its standard uncertainty. The dark line is expected to be width rows
// wide, give or take uWidth: that decides only where it does not show, against
// a dark shell; the uncertainty is then half of uWidth.
func fitTwoEdges(v []rgbSum, a, b rgbSum, fine, width, uWidth float64) (middle, u float64, ok bool) {
	dark := math.Inf(1) // the line still mirrors what the darkest colour does
	for ch := range a {
		dark = min(dark, a[ch], b[ch])
	}
	prior := shadeNoise / uWidth
	sum := func(p *[maxParams]float64, q *normal) float64 {
		total := prior * prior * (width - p[1]) * (width - p[1])
		q.add([]float64{0, prior, 0}, prior*(width-p[1]), 1)
		for i := range v {
			t := float64(i-len(v)/2) / fine
			za, zb := (p[0]-p[1]/2-t)/p[2], (t-p[0]-p[1]/2)/p[2]
			da, qa := gauss(za)
			db, qb := gauss(zb)
			for ch := range a {
				la, lb := a[ch]-dark, b[ch]-dark
				w := 1 / (max(a[ch], b[ch]) + 0.02)
				r := (v[i][ch] - dark - la*qa - lb*qb) * w
				total += r * r
				q.add([]float64{
					(la*da - lb*db) / p[2] * w,
					-(la*da + lb*db) / 2 / p[2] * w,
					-(la*da*za + lb*db*zb) / p[2] * w,
				}, r, 1)
			}
		}
		return total
	}
	limit := float64(len(v)) / fine / 3
	move := func(p *[maxParams]float64, dx [maxParams]float64) {
		p[0] = clamp(p[0]+clamp(dx[0], 1), limit)
		p[1] = min(2*limit, max(0, p[1]+clamp(dx[1], 1)))
		p[2] = min(6, max(0.5, p[2]+clamp(dx[2], 0.5)))
	}
	best, _, inv, ok := marquardt([maxParams]float64{0, width, 1}, 3, 40, sum, move)
	return best[0], shadeNoise * math.Sqrt(inv[0][0]), ok && math.Abs(best[0]) < limit
}

// follow finds the seam from one end of the silhouette. ok is false where its
// colour cannot be told from what else changes along the wall.
func follow(l *light, sil *silhouette, end outlineEnd, dir, mmPerPX float64) (s seamCurve, ok bool) {
	c := wallColumns(l, sil, end, dir, mmPerPX)
	k, change, score, prominence := c.findColour()
	for _, mm := range [...]float64{-0.25, 0.25, -0.5, 0.5, -0.8, 0.8} {
		if score >= plainColourStep {
			break
		}
		level := append([]int(nil), c.shear...)
		c.tilt(mm)
		if k2, ch2, s2, p2 := c.findColour(); s2 > 1.3*score && p2 > prominence {
			k, change, score, prominence = k2, ch2, s2, p2
		} else {
			copy(c.shear, level)
		}
	}
	s = seamCurve{dir: dir, from: "picture", score: score, change: prominence, step: change}
	if score < minColourStep || prominence < seamProminence {
		return s, false
	}
	ys := c.track(k, change)
	mid := float64(sil.x0+sil.x1) / 2
	f, n, good := fitCurve(c.x, ys, mid)
	if !good || n < len(c.x)/2 || n < 7 {
		return s, false
	}
	d, u, settled := c.centre(f.at)
	if !settled {
		d, u = 0, glueMM/2/mmPerPX
	}
	f.c[0] += dir * d
	s.curve, s.points = f.poly, n
	s.u = math.Hypot(seamFloorPX, math.Hypot(u, f.u()))
	s.x0, s.x1 = float64(c.x[0]), float64(c.x[len(c.x)-1])
	return s, true
}

// seamFloorPX is the standard uncertainty of the followed seam's height that
// averaging over columns cannot lower: colour is kept at half resolution in
// most JPEG files. Common practice, no source.
const seamFloorPX = 0.3
