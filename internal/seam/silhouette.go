package seam

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Constants of the rough silhouette. None is a length of the unit.
const (
	gridCells     = 320  // the rough grid is about this many cells wide
	minContrast   = 10.0 // encoded levels (of 255) by which the unit must differ from the panel
	contrastShare = 0.08 // and share of the unit's own usual contrast
	minUnitShare  = 0.005
)

// outlineEnd is one end of the silhouette, top or bottom: a line (in pixels)
// and how well the end is one.
type outlineEnd struct {
	slope, at0 float64 // y = at0 + slope x
	straight   float64 // share of columns on the line
}

func (e outlineEnd) y(x float64) float64 { return e.at0 + e.slope*x }

// silhouette is the rough outline of the unit in a picture.
type silhouette struct {
	s        int     // grid step in pixels
	gw, gh   int     // grid size in cells
	mask     []bool  // the unit's cells (with what hangs together with it)
	x0, x1   int     // the unit's own columns in pixels, without thin holders beside it
	height   float64 // the unit's usual height in pixels
	top, bot outlineEnd
	colTop   []int // first and last cell of each grid column, -1 where empty
	colBot   []int
}

// findSilhouette finds the largest thing that differs from the panel. reason
// is empty where it is found.
func findSilhouette(l *light, mmPerPX float64) (sil silhouette, reason part.Phrase) {
	s := max(1, (l.w+gridCells/2)/gridCells)
	gw, gh := (l.w-1)/s+1, (l.h-1)/s+1
	sil = silhouette{s: s, gw: gw, gh: gh}
	if gw < 24 || gh < 24 {
		return sil, part.Say("seam.why.small")
	}
	grid := make([]float32, gw*gh)
	for j := 0; j < gh; j++ {
		for i := 0; i < gw; i++ {
			grid[j*gw+i] = l.luma(i*s, j*s)
		}
	}
	panel, noise, ok := fitPanel(grid, gw, gh)
	if !ok {
		return sil, part.Say("seam.why.no_panel")
	}
	contrast := grid // overwritten in place
	var levels [256]int
	strong := 0
	floor := max(minContrast, 6*noise)
	for j := 0; j < gh; j++ {
		// along a row the surface is a parabola
		c0, c1, c2 := panel.row(j)
		for i := 0; i < gw; i++ {
			x := float32(2*float64(i)/panel.gw - 1)
			c := grid[j*gw+i] - (c0 + x*(c1+x*c2))
			if c < 0 {
				c = -c
			}
			contrast[j*gw+i] = c
			if c > float32(floor) {
				levels[min(255, int(c))]++
				strong++
			}
		}
	}
	if float64(strong) < minUnitShare*float64(gw*gh) {
		return sil, part.Say("seam.why.no_unit")
	}
	usual, below := 0, 0 // contrast that 80 % of the unit do not exceed
	for usual < 255 && below+levels[usual] < strong*4/5 {
		below += levels[usual]
		usual++
	}
	limit := float32(max(floor, contrastShare*float64(usual)))
	if sil.mask = largestPart(contrast, gw, gh, limit); sil.mask == nil {
		return sil, part.Say("seam.why.no_unit")
	}
	return sil, sil.shape(mmPerPX)
}

// surface is a brightness that changes slowly over the picture.
type surface struct {
	c      [maxParams]float64
	gw, gh float64
}

// at returns the surface at x, y, both from -1 to 1.
func (p surface) at(x, y float64) float64 {
	return p.c[0] + p.c[1]*x + p.c[2]*y + p.c[3]*(x*x) + p.c[4]*(x*y) + p.c[5]*(y*y)
}

// row returns the surface along row j as c0 + c1 x + c2 x^2, x from -1 to 1.
func (p surface) row(j int) (c0, c1, c2 float32) {
	y := 2*float64(j)/p.gh - 1
	return float32(p.c[0] + y*(p.c[2]+y*p.c[5])), float32(p.c[1] + y*p.c[4]), float32(p.c[3])
}

// fitPanel fits a second-order surface to the picture's border, leaving out
// what stands there (a holder), and returns the robust standard deviation.
func fitPanel(grid []float32, gw, gh int) (p surface, noise float64, ok bool) {
	p = surface{gw: float64(gw), gh: float64(gh)}
	type cell struct{ x, y, v float64 }
	ring := make([]cell, 0, 4*(gw+gh))
	var all robust.Quadric
	for j := 0; j < gh; j++ {
		for i := 0; i < gw; i++ {
			if i == 2 && j >= 2 && j < gh-2 {
				i = gw - 2
			}
			c := cell{2*float64(i)/p.gw - 1, 2*float64(j)/p.gh - 1, float64(grid[j*gw+i])}
			ring = append(ring, c)
			all.Add(c.x, c.y, c.v, 1)
		}
	}
	dev, apart := make([]float64, len(ring)), make([]float64, len(ring))
	for i, c := range ring {
		dev[i] = c.v
	}
	p.c[0] = median(dev)
	for round := 0; round < 5; round++ {
		for i, c := range ring {
			apart[i] = math.Abs(c.v - p.at(c.x, c.y))
		}
		copy(dev, apart)
		noise = 1.4826 * median(dev)
		lim := 3*noise + 3
		sums, used := all, len(ring)
		for i, c := range ring {
			if apart[i] > lim {
				sums.Add(c.x, c.y, c.v, -1)
				used--
			}
		}
		q := normal{n: maxParams}
		for i, row := range sums.Equations(maxParams) {
			q.b[i] = row[maxParams]
			for k := i; k < maxParams; k++ {
				q.a[k][i] = row[k]
			}
		}
		c, _, good := q.solve(1e-6)
		if !good || used < len(ring)/3 {
			return p, 0, false
		}
		p.c = c
	}
	return p, noise, true
}

// largestPart returns the largest connected part above the limit, nil where it
// is too small to be a unit.
func largestPart(v []float32, gw, gh int, limit float32) []bool {
	label := make([]int32, len(v))
	var stack []int32
	best, bestN, next := int32(0), 0, int32(0)
	for start := range v {
		if label[start] != 0 || !(v[start] > limit) {
			continue
		}
		next++
		n := 0
		stack = append(stack[:0], int32(start))
		label[start] = next
		for len(stack) > 0 {
			k := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			n++
			x := k % gw
			for _, m := range [4]int{k - 1, k + 1, k - gw, k + gw} {
				if m < 0 || m >= len(v) || (m == k-1 && x == 0) || (m == k+1 && x == gw-1) {
					continue
				}
				if label[m] == 0 && v[m] > limit {
					label[m] = next
					stack = append(stack, int32(m))
				}
			}
		}
		if n > bestN {
			best, bestN = next, n
		}
	}
	if float64(bestN) < minUnitShare*float64(len(v)) {
		return nil
	}
	mask := make([]bool, len(v))
	for k := range v {
		mask[k] = label[k] == best
	}
	return mask
}

// shape fills in columns, height and ends. It returns the reason where the
// silhouette cannot be a unit.
func (sil *silhouette) shape(mmPerPX float64) part.Phrase {
	gw, gh := sil.gw, sil.gh
	sil.colTop, sil.colBot = make([]int, gw), make([]int, gw)
	filled := make([]float64, 0, gw)
	colH := make([]float64, gw)
	for i := 0; i < gw; i++ {
		sil.colTop[i], sil.colBot[i] = -1, -1
		for j := 0; j < gh; j++ {
			if sil.mask[j*gw+i] {
				if sil.colTop[i] < 0 {
					sil.colTop[i] = j
				}
				sil.colBot[i] = j
			}
		}
		if sil.colTop[i] >= 0 {
			colH[i] = float64(sil.colBot[i] - sil.colTop[i] + 1)
			filled = append(filled, colH[i])
		}
	}
	typical := robust.Quantile(filled, 0.6)
	first, last := -1, -1
	for i := 0; i < gw; i++ {
		if colH[i] > 0.12*typical {
			// the longest stretch of columns is the unit
			k := i
			for k < gw && colH[k] > 0.12*typical {
				k++
			}
			if first < 0 || k-i > last-first+1 {
				first, last = i, k-1
			}
			i = k
		}
	}
	if first < 0 || last-first < 12 {
		return part.Say("seam.why.narrow")
	}
	sil.x0, sil.x1 = first*sil.s, last*sil.s
	margin := (last - first) / 10
	var xs, tops, bots, hs []float64
	step := max(1, (last-first)/60)
	for i := first + margin; i <= last-margin; i += step {
		if sil.colTop[i] < 0 {
			continue
		}
		xs = append(xs, float64(i*sil.s))
		tops = append(tops, float64(sil.colTop[i]*sil.s))
		bots = append(bots, float64(sil.colBot[i]*sil.s))
		hs = append(hs, colH[i]*float64(sil.s))
	}
	if len(xs) < 8 {
		return part.Say("seam.why.no_silhouette")
	}
	sil.top = fitEnd(xs, tops, float64(sil.s), mmPerPX)
	sil.bot = fitEnd(xs, bots, float64(sil.s), mmPerPX)
	sil.height = robust.Quantile(hs, 0.4)
	return part.Phrase{}
}

// fitEnd fits a straight line to one end of the silhouette.
func fitEnd(x, y []float64, s, mmPerPX float64) outlineEnd {
	var e outlineEnd
	e.slope, e.at0 = theilSen(x, y)
	tol := max(1.5*s, 0.1/mmPerPX)
	n := 0
	for i := range x {
		if math.Abs(y[i]-e.y(x[i])) <= tol {
			n++
		}
	}
	e.straight = float64(n) / float64(len(x))
	return e
}

// limbCell returns the rough place of the outline in row y of a limb's own
// frame, in pixels; NaN where the row has none or something thin (a holder)
// runs on beyond the unit's own columns.
func (sil *silhouette) limbCell(y float64, w int, mirrored bool) float64 {
	j := int(y/float64(sil.s) + 0.5)
	if j < 0 || j >= sil.gh {
		return math.NaN()
	}
	row := sil.mask[j*sil.gw : (j+1)*sil.gw]
	lo, hi := sil.x0/sil.s, sil.x1/sil.s
	if !mirrored {
		for i := 0; i < sil.gw; i++ {
			if row[i] {
				if i < lo-1 {
					return math.NaN()
				}
				return float64(i * sil.s)
			}
		}
		return math.NaN()
	}
	for i := sil.gw - 1; i >= 0; i-- {
		if row[i] {
			if i > hi+1 {
				return math.NaN()
			}
			return float64(w - 1 - i*sil.s)
		}
	}
	return math.NaN()
}
