package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/robust"
)

// strip is the rim unrolled: columns along the outline, rows by depth, both in
// search pixels. Values over it are kept row by row.
type strip struct {
	cols, rows int     // column k stands at angle 2 pi k / cols from the middle; row j is j+0.5 pixels deep
	lies       []spot  // where row j, column k lies
	pixels     []rimPX // the pixels of the region that it covers
}

// spot is a place between pixels: right of and under pixel i, by shares u and v of
// a pixel. i is -1 where the strip lies nowhere.
type spot struct {
	i    int32
	u, v float32
}

// rimPX is a pixel of the region and its place in the strip.
type rimPX struct {
	i        int32
	col, row float32
}

// rimLeans are the slopes that lines of constant light may have against the outline.
var rimLeans = []float64{0, -0.06, 0.06, -0.15, 0.15, -0.3, 0.3}

// newStrip unrolls a surface to a depth in search pixels, one column to about
// each step pixels of its outline, a multiple of every. Along each ray from outside inwards it takes the places at
// which the depth reaches a row's.
func (s *surface) newStrip(rows int, step float64, every int) *strip {
	cx, cy := s.cx, s.cy
	st := &strip{rows: rows, cols: every * max(24, int(2*math.Sqrt(math.Pi*s.area)/step))}
	st.lies = make([]spot, st.cols*st.rows)
	for i := range st.lies {
		st.lies[i].i = -1
	}
	depth, far := s.outside, 0.0
	for _, q := range s.outline {
		far = math.Max(far, math.Hypot(q.X-float64(s.x0)-cx, q.Y-float64(s.y0)-cy))
	}
	for k := range st.cols {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(st.cols))
		row, last := 0, float32(0)
		for r := far + 1; r > 0 && row < rows; r -= 0.5 {
			x, y := cx+r*cos, cy+r*sin
			if x < 0 || y < 0 || x >= float64(depth.W-1) || y >= float64(depth.H-1) {
				last = 0
				continue
			}
			d := bilinear(depth, x, y)
			for row < rows && d >= float32(row)+0.5 {
				t := float64(0)
				if d > last {
					t = float64((d - (float32(row) + 0.5)) / (d - last))
				}
				rr := r + 0.5*min(1, t)
				x, y := cx+rr*cos, cy+rr*sin
				if i, j := int(x), int(y); x >= 0 && y >= 0 && i+1 < depth.W && j+1 < depth.H {
					st.lies[row*st.cols+k] = spot{int32(j*depth.W + i), float32(x - float64(i)), float32(y - float64(j))}
				}
				row++
			}
			last = d
		}
	}
	for i, d := range depth.V {
		if d <= 0 || d >= float32(rows) {
			continue
		}
		a := math.Atan2(float64(i/depth.W)-cy, float64(i%depth.W)-cx)
		if a < 0 {
			a += 2 * math.Pi
		}
		col := math.Mod(a/(2*math.Pi)*float64(st.cols), float64(st.cols))
		st.pixels = append(st.pixels, rimPX{int32(i), float32(col), max(0, min(d-0.5, float32(rows-1)))})
	}
	return st
}

// sample is a plane's value along the strip; NaN where the strip lies nowhere.
func (s *strip) sample(p *part.Plane) []float32 {
	out := make([]float32, len(s.lies))
	for k, q := range s.lies {
		if q.i < 0 {
			out[k] = float32(math.NaN())
			continue
		}
		a, b := p.V[q.i:q.i+2], p.V[int(q.i)+p.W:int(q.i)+p.W+2]
		out[k] = (a[0]*(1-q.u)+a[1]*q.u)*(1-q.v) + (b[0]*(1-q.u)+b[1]*q.u)*q.v
	}
	return out
}

// over is how far one plane lies over another along the strip.
func (s *strip) over(p, base *part.Plane) []float32 {
	out, b := s.sample(p), s.sample(base)
	for k := range out {
		out[k] -= b[k]
	}
	return out
}

// bilinear is a plane's value between pixels; the place must lie inside.
func bilinear(p *part.Plane, x, y float64) float32 {
	x = max(0, min(x, float64(p.W-1)-1e-6))
	y = max(0, min(y, float64(p.H-1)-1e-6))
	i, j := int(x), int(y)
	u, v := float32(x-float64(i)), float32(y-float64(j))
	a := p.V[j*p.W+i:]
	b := p.V[min(p.H-1, j+1)*p.W+i:]
	r := min(1, len(a)-1, len(b)-1)
	return (a[0]*(1-u)+a[r]*u)*(1-v) + (b[0]*(1-u)+b[r]*u)*v
}

// line gathers the values along a leaning line through column k, row j.
func (s *strip) line(v []float32, k, j int, lean float64, every, stretch int, buf []float64) []float64 {
	buf = buf[:0]
	for t := -stretch; t <= stretch; t++ {
		col := k + t*every
		if col < 0 {
			col += s.cols
		} else if col >= s.cols {
			col -= s.cols
		}
		row := float64(j) + lean*float64(t*every)
		if row < 0 || row > float64(s.rows-1) {
			continue
		}
		r := int(row)
		a := v[r*s.cols+col]
		if u := float32(row - float64(r)); u > 0 {
			a = a*(1-u) + u*v[min(s.rows-1, r+1)*s.cols+col]
		}
		if a == a {
			buf = append(buf, float64(a))
		}
	}
	return buf
}

// leans returns for every so many columns and each row the index of the lean
// along which the light varies least.
func (s *strip) leans(light []float32, every, stretch int) []uint8 {
	n := s.cols / every
	out := make([]uint8, n*s.rows)
	buf := make([]float64, 0, 64)
	for j := range s.rows {
		for k := range n {
			best := math.Inf(1)
			for l, lean := range rimLeans {
				buf = s.line(light, k*every, j, lean, every, stretch, buf)
				if len(buf) < stretch {
					continue
				}
				slices.Sort(buf)
				most := len(buf) * 6 / 10
				spread := math.Inf(1) // of the narrowest range that holds so many
				for i := range len(buf) - most {
					spread = math.Min(spread, buf[i+most]-buf[i])
				}
				if spread < 0.97*best {
					best, out[j*n+k] = spread, uint8(l)
				}
			}
		}
	}
	return out
}

// along is a quantile along the chosen leans (nil: straight on), for every so many
// columns.
func (s *strip) along(v []float32, lean []uint8, every, stretch int, q float64) []float32 {
	n := s.cols / every
	out := make([]float32, n*s.rows)
	buf := make([]float64, 0, 64)
	for j := range s.rows {
		for k := range n {
			slope := 0.0
			if lean != nil {
				slope = rimLeans[lean[j*n+k]]
			}
			if buf = s.line(v, k*every, j, slope, every, stretch, buf); len(buf) > 0 {
				out[j*n+k] = float32(robust.Nth(buf, int(q*float64(len(buf)-1)+0.5)))
			}
		}
	}
	return out
}

// at interpolates values that are told for every so many columns.
func (s *strip) at(v []float32, p rimPX, every int) float32 {
	n := s.cols / every
	c := p.col / float32(every)
	k := int(c)
	u := c - float32(k)
	j := int(p.row)
	t := p.row - float32(j)
	k0, k1 := k%n, (k+1)%n
	j1 := min(s.rows-1, j+1)
	return (v[j*n+k0]*(1-u)+v[j*n+k1]*u)*(1-t) + (v[j1*n+k0]*(1-u)+v[j1*n+k1]*u)*t
}
