package target

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// blob is an area darker or lighter than what surrounds it, by its moments.
type blob struct {
	x, y, a, b, angle float64 // an ellipse of the same moments: half axes, angle clockwise as seen, rad
	area              float64 // px
	cut               bool    // touches the picture's border
}

func (b *blob) oval() oval { return newOval(b.x, b.y, b.a, b.b, b.angle) }

// Limits of blobs; common practice, no source.
const (
	darkShare   = 0.72 // a dark pixel has less than this share of the light around it
	lightShare  = 1.35 // a light one more
	leastArea   = 7.0  // px
	thinnest    = 5.0  // longest against shortest axis
	leastFilled = 0.82 // area against that of the ellipse with the same moments
	mostFilled  = 1.12
)

// blobs finds dark (or light) areas that may be pictures of round dots. Light is
// compared with the mean of square windows of several sizes, since neither dots'
// size nor the light is known; one area found in several windows counts once, as
// found in the largest.
func blobs(p *part.Plane, light bool) []blob {
	sum := integral(p)
	long := max(p.W, p.H)
	var all []blob
	seen := newPlaces(8)
	for _, share := range []int{4, 12, 40} {
		half := max(6, long/share/2)
		for _, b := range round(components(threshold(p, sum, half, light), p.W, p.H)) {
			if i := seen.nearest(b.x, b.y, 0.6*b.b); i < 0 {
				seen.add(b.x, b.y)
				all = append(all, b)
			}
		}
	}
	return all
}

// integral holds at x, y the sum of light above and left of it.
func integral(p *part.Plane) []float64 {
	w := p.W + 1
	s := make([]float64, w*(p.H+1))
	for y := range p.H {
		line := 0.0
		for x := range p.W {
			line += float64(p.V[y*p.W+x])
			s[(y+1)*w+x+1] = s[y*w+x+1] + line
		}
	}
	return s
}

// threshold marks pixels clearly darker (lighter) than the mean of the window
// around them, cut off at the picture's border.
func threshold(p *part.Plane, sum []float64, half int, light bool) []bool {
	w := p.W + 1
	out := make([]bool, len(p.V))
	for y := range p.H {
		y0, y1 := max(0, y-half), min(p.H, y+half+1)
		for x := range p.W {
			x0, x1 := max(0, x-half), min(p.W, x+half+1)
			mean := (sum[y1*w+x1] - sum[y0*w+x1] - sum[y1*w+x0] + sum[y0*w+x0]) / float64((x1-x0)*(y1-y0))
			v := float64(p.V[y*p.W+x])
			if light {
				out[y*p.W+x] = v > lightShare*mean && mean > 0
			} else {
				out[y*p.W+x] = v < darkShare*mean
			}
		}
	}
	return out
}

// run is a piece of a row.
type run struct{ y, x0, x1, root int }

// components joins marked pixels that touch by a side into areas.
func components(mark []bool, w, h int) []blob {
	var runs []run
	find := func(i int) int {
		for runs[i].root != i {
			runs[i].root = runs[runs[i].root].root
			i = runs[i].root
		}
		return i
	}
	prev := 0 // first run of the row above
	for y := range h {
		first := len(runs)
		line := mark[y*w : (y+1)*w]
		for x := 0; x < w; x++ {
			if !line[x] {
				continue
			}
			x0 := x
			for x < w && line[x] {
				x++
			}
			runs = append(runs, run{y, x0, x, len(runs)})
		}
		for i, j := first, prev; i < len(runs) && j < first; {
			a, b := &runs[i], &runs[j]
			if b.y == y-1 && a.x0 < b.x1 && b.x0 < a.x1 {
				if ra, rb := find(i), find(j); ra != rb {
					runs[max(ra, rb)].root = min(ra, rb)
				}
			}
			if a.x1 < b.x1 && b.y == y-1 {
				i++
			} else {
				j++
			}
		}
		prev = first
	}
	return measureRuns(runs, find, w, h)
}

// moments are sums over an area's pixels.
type moments struct {
	n, x, y, xx, xy, yy float64
	cut                 bool
}

func measureRuns(runs []run, find func(int) int, w, h int) []blob {
	all := map[int]*moments{}
	var order []int
	for i, r := range runs {
		root := find(i)
		m := all[root]
		if m == nil {
			m = &moments{}
			all[root] = m
			order = append(order, root)
		}
		n, y := float64(r.x1-r.x0), float64(r.y)
		mid := float64(r.x0+r.x1-1) / 2
		m.n += n
		m.x += n * mid
		m.y += n * y
		m.xx += n*mid*mid + n*(n*n-1)/12
		m.xy += n * mid * y
		m.yy += n * y * y
		m.cut = m.cut || r.x0 == 0 || r.x1 == w || r.y == 0 || r.y == h-1
	}
	var out []blob
	for _, root := range order {
		if m := all[root]; m.n >= leastArea {
			out = append(out, m.blob())
		}
	}
	return out
}

func (m *moments) blob() blob {
	x, y := m.x/m.n, m.y/m.n
	xx, yy, xy := m.xx/m.n-x*x+1.0/12, m.yy/m.n-y*y+1.0/12, m.xy/m.n-x*y
	mid, d := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	return blob{x: x, y: y, a: 2 * math.Sqrt(mid+d), b: 2 * math.Sqrt(max(mid-d, 1e-9)),
		angle: 0.5 * math.Atan2(2*xy, xx-yy), area: m.n, cut: m.cut}
}

// round keeps the blobs that may be pictures of round dots, and those at the
// picture's border, which may be cut dots.
func round(all []blob) []blob {
	return slices.DeleteFunc(slices.Clone(all), func(b blob) bool {
		filled := b.area / (math.Pi * b.a * b.b)
		slack := 2 / b.area * math.Sqrt(b.area) / 4 // few pixels make rough figures
		whole := b.a <= thinnest*b.b && filled >= leastFilled-slack && filled <= mostFilled+slack
		return !whole
	})
}
