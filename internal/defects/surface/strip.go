package surface

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Strip is the rim unrolled: columns along the outline, rows by depth, both in
// search pixels. Values over it are kept row by row.
type Strip struct {
	Cols, Rows int     // column k stands at angle 2 pi k / cols from the middle; row j is j+0.5 pixels deep
	lies       []spot  // where row j, column k lies
	Pixels     []RimPX // the pixels of the region that it covers
}

// spot is a place between pixels: right of and under pixel i, by shares u and v of
// a pixel. i is -1 where the strip lies nowhere.
type spot struct {
	i    int32
	u, v float32
}

// RimPX is a pixel of the region and its place in the strip.
type RimPX struct {
	I        int32
	Col, Row float32
}

// rimLeans are the slopes that lines of constant light may have against the outline.
var rimLeans = []float64{0, -0.06, 0.06, -0.15, 0.15, -0.3, 0.3}

// Unroll unrolls a surface to a depth in search pixels, one column to about
// each step pixels of its outline, a multiple of every. Along each ray from outside inwards it takes the places at
// which the depth reaches a row's.
func (s *Surface) Unroll(rows int, step float64, every int) *Strip {
	cx, cy := s.CX, s.CY
	st := &Strip{Rows: rows, Cols: every * max(24, int(2*math.Sqrt(math.Pi*s.Area)/step))}
	st.lies = make([]spot, st.Cols*st.Rows)
	for i := range st.lies {
		st.lies[i].i = -1
	}
	depth, far := s.Outside, 0.0
	for _, q := range s.Outline {
		far = math.Max(far, math.Hypot(q.X-float64(s.X0)-cx, q.Y-float64(s.Y0)-cy))
	}
	for k := range st.Cols {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(st.Cols))
		row, last := 0, float32(0)
		for r := far + 1; r > 0 && row < rows; r -= 0.5 {
			x, y := cx+r*cos, cy+r*sin
			if x < 0 || y < 0 || x >= float64(depth.W-1) || y >= float64(depth.H-1) {
				last = 0
				continue
			}
			d := raster.Bilinear(depth, x, y)
			for row < rows && d >= float32(row)+0.5 {
				t := float64(0)
				if d > last {
					t = float64((d - (float32(row) + 0.5)) / (d - last))
				}
				rr := r + 0.5*min(1, t)
				x, y := cx+rr*cos, cy+rr*sin
				if i, j := int(x), int(y); x >= 0 && y >= 0 && i+1 < depth.W && j+1 < depth.H {
					st.lies[row*st.Cols+k] = spot{int32(j*depth.W + i), float32(x - float64(i)), float32(y - float64(j))}
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
		col := math.Mod(a/(2*math.Pi)*float64(st.Cols), float64(st.Cols))
		st.Pixels = append(st.Pixels, RimPX{int32(i), float32(col), max(0, min(d-0.5, float32(rows-1)))})
	}
	return st
}

// Sample is a plane's value along the strip; NaN where the strip lies nowhere.
func (s *Strip) Sample(p *part.Plane) []float32 {
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

// Over is how far one plane lies over another along the strip.
func (s *Strip) Over(p, base *part.Plane) []float32 {
	out, b := s.Sample(p), s.Sample(base)
	for k := range out {
		out[k] -= b[k]
	}
	return out
}

// tap is where a leaning line through a row meets another column: between two rows,
// by their places in the strip, u of the way down. row is -1 above and below it.
type tap struct {
	row, next int32
	u         float32
}

// taps are those of each lean and row, of columns every apart, stretch to either side.
func (s *Strip) taps(leans []float64, every, stretch int) [][]tap {
	out := make([][]tap, len(leans)*s.Rows)
	width := 2*stretch + 1
	all := make([]tap, len(out)*width)
	for i := range out {
		out[i] = all[i*width : (i+1)*width]
		for t := range out[i] {
			row := float64(i%s.Rows) + leans[i/s.Rows]*float64((t-stretch)*every)
			if row < 0 || row > float64(s.Rows-1) {
				out[i][t].row = -1
				continue
			}
			r := int(row)
			out[i][t] = tap{int32(r * s.Cols), int32(min(s.Rows-1, r+1) * s.Cols), float32(row - float64(r))}
		}
	}
	return out
}

// line gathers the values along a line of taps through column k.
func (s *Strip) line(v []float32, k int, taps []tap, every int, buf []float32) []float32 {
	buf = buf[:0]
	col := k - len(taps)/2*every
	if col < 0 {
		col += s.Cols
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
		if col += every; col >= s.Cols {
			col -= s.Cols
		}
	}
	return buf
}

// Leans returns for every so many columns and each row the index of the lean
// along which the light varies least.
func (s *Strip) Leans(light []float32, every, stretch int) []uint8 {
	n := s.Cols / every
	out := make([]uint8, n*s.Rows)
	buf := make([]float32, 0, 2*stretch+1)
	taps := s.taps(rimLeans, every, stretch)
	for j := range s.Rows {
		for k := range n {
			best := math.Inf(1)
			for l := range rimLeans {
				buf = s.line(light, k*every, taps[l*s.Rows+j], every, buf)
				if len(buf) < stretch {
					continue
				}
				sortShort(buf)
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

// sortShort sorts some twenty values, where sorts made for more take three times as long.
func sortShort(v []float32) {
	for i := 1; i < len(v); i++ {
		a, j := v[i], i
		for ; j > 0 && v[j-1] > a; j-- {
			v[j] = v[j-1]
		}
		v[j] = a
	}
}

// Along is a quantile along the chosen leans (nil: straight on), for every so many
// columns.
func (s *Strip) Along(v []float32, lean []uint8, every, stretch int, q float64) []float32 {
	n := s.Cols / every
	out := make([]float32, n*s.Rows)
	buf := make([]float32, 0, 2*stretch+1)
	taps := s.taps(rimLeans, every, stretch) // the first is straight on
	for j := range s.Rows {
		for k := range n {
			l := 0
			if lean != nil {
				l = int(lean[j*n+k])
			}
			if buf = s.line(v, k*every, taps[l*s.Rows+j], every, buf); len(buf) > 0 {
				out[j*n+k] = robust.Nth(buf, int(q*float64(len(buf)-1)+0.5))
			}
		}
	}
	return out
}

// At interpolates values that are told for every so many columns.
func (s *Strip) At(v []float32, p RimPX, every int) float32 {
	n := s.Cols / every
	c := p.Col / float32(every)
	k := int(c)
	u := c - float32(k)
	j := int(p.Row)
	t := p.Row - float32(j)
	k0, k1 := k%n, (k+1)%n
	j1 := min(s.Rows-1, j+1)
	return (v[j*n+k0]*(1-u)+v[j*n+k1]*u)*(1-t) + (v[j1*n+k0]*(1-u)+v[j1*n+k1]*u)*t
}

// Spanned tells for each column between which rows a mask holds in columns within a
// reach of it, and so many rows more: what hangs on a line lies beside it.
func (s *Strip) Spanned(mask []bool, reach, more int) (lo, hi []int) {
	first, last := make([]int, s.Cols), make([]int, s.Cols)
	for k := range first {
		first[k], last[k] = s.Rows, -1
		for j := range s.Rows {
			if mask[j*s.Cols+k] {
				first[k], last[k] = min(first[k], j), j
			}
		}
	}
	lo, hi = make([]int, s.Cols), make([]int, s.Cols)
	for k := range lo {
		lo[k], hi[k] = s.Rows, -1
		for t := -reach; t <= reach; t++ {
			col := (k + t + s.Cols) % s.Cols
			lo[k], hi[k] = min(lo[k], first[col]), max(hi[k], last[col])
		}
		lo[k], hi[k] = max(0, lo[k]-more), min(s.Rows-1, hi[k]+more)
	}
	return lo, hi
}

// BrightestNear is the largest value within so many rows.
func (s *Strip) BrightestNear(v []float32, reach int) []float32 {
	out := make([]float32, len(v))
	for j := range s.Rows {
		row := out[j*s.Cols : (j+1)*s.Cols]
		copy(row, v[j*s.Cols:])
		for dj := max(0, j-reach); dj <= min(s.Rows-1, j+reach); dj++ {
			for k, x := range v[dj*s.Cols : (dj+1)*s.Cols] {
				row[k] = max(row[k], x)
			}
		}
	}
	return out
}
