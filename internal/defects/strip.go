package defects

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
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

// tap is where a leaning line through a row meets another column: between two rows,
// by their places in the strip, u of the way down. row is -1 above and below it.
type tap struct {
	row, next int32
	u         float32
}

// taps are those of each lean and row, of columns every apart, stretch to either side.
func (s *strip) taps(leans []float64, every, stretch int) [][]tap {
	out := make([][]tap, len(leans)*s.rows)
	width := 2*stretch + 1
	all := make([]tap, len(out)*width)
	for i := range out {
		out[i] = all[i*width : (i+1)*width]
		for t := range out[i] {
			row := float64(i%s.rows) + leans[i/s.rows]*float64((t-stretch)*every)
			if row < 0 || row > float64(s.rows-1) {
				out[i][t].row = -1
				continue
			}
			r := int(row)
			out[i][t] = tap{int32(r * s.cols), int32(min(s.rows-1, r+1) * s.cols), float32(row - float64(r))}
		}
	}
	return out
}

// line gathers the values along a line of taps through column k.
func (s *strip) line(v []float32, k int, taps []tap, every int, buf []float32) []float32 {
	buf = buf[:0]
	col := k - len(taps)/2*every
	if col < 0 {
		col += s.cols
	}
	for _, t := range taps {
		if t.row >= 0 {
			a := v[int(t.row)+col]
			if t.u > 0 {
				a = a*(1-t.u) + t.u*v[int(t.next)+col]
			}
			if a == a {
				buf = append(buf, a)
			}
		}
		if col += every; col >= s.cols {
			col -= s.cols
		}
	}
	return buf
}

// leans returns for every so many columns and each row the index of the lean
// along which the light varies least.
func (s *strip) leans(light []float32, every, stretch int) []uint8 {
	n := s.cols / every
	out := make([]uint8, n*s.rows)
	buf := make([]float32, 0, 2*stretch+1)
	taps := s.taps(rimLeans, every, stretch)
	for j := range s.rows {
		for k := range n {
			best := math.Inf(1)
			for l := range rimLeans {
				buf = s.line(light, k*every, taps[l*s.rows+j], every, buf)
				if len(buf) < stretch {
					continue
				}
				sortFew(buf)
				most := len(buf) * 6 / 10
				spread := math.Inf(1) // of the narrowest range that holds so many
				for i := range len(buf) - most {
					spread = min(spread, float64(buf[i+most])-float64(buf[i]))
				}
				if spread < 0.97*best {
					best, out[j*n+k] = spread, uint8(l)
				}
			}
		}
	}
	return out
}

// sortFew sorts some twenty values, where sorts made for more take three times as long.
func sortFew(v []float32) {
	for i := 1; i < len(v); i++ {
		a, j := v[i], i
		for ; j > 0 && v[j-1] > a; j-- {
			v[j] = v[j-1]
		}
		v[j] = a
	}
}

// along is a quantile along the chosen leans (nil: straight on), for every so many
// columns.
func (s *strip) along(v []float32, lean []uint8, every, stretch int, q float64) []float32 {
	n := s.cols / every
	out := make([]float32, n*s.rows)
	buf := make([]float32, 0, 2*stretch+1)
	taps := s.taps(rimLeans, every, stretch) // the first is straight on
	for j := range s.rows {
		for k := range n {
			l := 0
			if lean != nil {
				l = int(lean[j*n+k])
			}
			if buf = s.line(v, k*every, taps[l*s.rows+j], every, buf); len(buf) > 0 {
				out[j*n+k] = robust.Nth(buf, int(q*float64(len(buf)-1)+0.5))
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
