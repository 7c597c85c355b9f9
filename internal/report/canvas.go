package report

import (
	"image"
	"math"

	"finishbench/internal/part"
)

// tileSide is the side of a canvas tile; strokes are gathered in tiles, so that
// drawing costs what the strokes cover, not what the picture holds.
const tileSide = 64

// canvas draws on 8-bit RGB pixels. keep holds areas (in whole pixels) that
// strokes and plates leave as they are.
type canvas struct {
	w, h int
	pix  []uint8
	keep []image.Rectangle
}

// pixels returns the pixels that share any area with the box, for a pixel
// covers -0.5..0.5 around its centre.
func pixels(b part.Box) image.Rectangle {
	return image.Rect(int(math.Floor(b[0]+0.5)), int(math.Floor(b[1]+0.5)),
		int(math.Ceil(b[0]+b[2]+0.5)), int(math.Ceil(b[1]+b[3]+0.5)))
}

// tiles is coverage 0..255 by tile.
type tiles map[[2]int]*[tileSide * tileSide]uint8

// stroke draws the paths with a line of the half width (pixels) in one colour.
// Joints are round; the line is anti-aliased; where it crosses itself it is no
// darker.
func (c *canvas) stroke(paths [][]part.Point, half float64, col colour, alpha float64) {
	t := tiles{}
	for _, p := range paths {
		for i := 1; i < len(p); i++ {
			c.cover(t, p[i-1], p[i], half)
		}
	}
	c.blend(t, col, alpha)
}

// cover adds the coverage of one segment, row by row.
func (c *canvas) cover(t tiles, a, b part.Point, half float64) {
	if !finite(a) || !finite(b) {
		return
	}
	if b.Y < a.Y {
		a, b = b, a
	}
	dx, dy := b.X-a.X, b.Y-a.Y
	l2 := dx*dx + dy*dy
	reach := half + 0.5
	y0, y1 := max(0, int(math.Ceil(a.Y-reach))), min(c.h-1, int(math.Floor(b.Y+reach)))
	for y := y0; y <= y1; y++ {
		// The part of the segment within reach of this row bounds x.
		xa, xb := a.X, b.X
		if dy > 1e-9 {
			ta := min(max((float64(y)-reach-a.Y)/dy, 0), 1)
			tb := min(max((float64(y)+reach-a.Y)/dy, 0), 1)
			xa, xb = a.X+ta*dx, a.X+tb*dx
		}
		x0 := max(0, int(math.Ceil(min(xa, xb)-reach)))
		x1 := min(c.w-1, int(math.Floor(max(xa, xb)+reach)))
		for x := x0; x <= x1; x++ {
			px, py := float64(x)-a.X, float64(y)-a.Y
			s := 0.0
			if l2 > 0 {
				s = min(max((px*dx+py*dy)/l2, 0), 1)
			}
			ex, ey := px-s*dx, py-s*dy
			d2 := ex*ex + ey*ey
			if d2 >= reach*reach {
				continue
			}
			v := min(reach-math.Sqrt(d2), 1)
			t.add(x, y, uint8(v*255+0.5))
		}
	}
}

func (t tiles) add(x, y int, v uint8) {
	k := [2]int{x / tileSide, y / tileSide}
	m := t[k]
	if m == nil {
		m = new([tileSide * tileSide]uint8)
		t[k] = m
	}
	i := (y%tileSide)*tileSide + x%tileSide
	m[i] = max(m[i], v)
}

// blend lays a colour over the pixels by their coverage.
func (c *canvas) blend(t tiles, col colour, alpha float64) {
	for k, m := range t {
		area := image.Rect(k[0]*tileSide, k[1]*tileSide, min(c.w, (k[0]+1)*tileSide), min(c.h, (k[1]+1)*tileSide))
		near := c.kept(area)
		for y := area.Min.Y; y < area.Max.Y; y++ {
			row := m[(y%tileSide)*tileSide:]
			for x := area.Min.X; x < area.Max.X; x++ {
				if v := row[x-area.Min.X]; v != 0 && !inAny(near, x, y) {
					c.mix(x, y, col, float64(v)/255*alpha)
				}
			}
		}
	}
}

// kept lists the kept areas that meet r.
func (c *canvas) kept(r image.Rectangle) []image.Rectangle {
	var out []image.Rectangle
	for _, k := range c.keep {
		if k.Overlaps(r) {
			out = append(out, k)
		}
	}
	return out
}

func inAny(rs []image.Rectangle, x, y int) bool {
	for _, r := range rs {
		if x >= r.Min.X && x < r.Max.X && y >= r.Min.Y && y < r.Max.Y {
			return true
		}
	}
	return false
}

// mix lays a colour over one pixel, a from 0 (nothing) to 1 (all).
func (c *canvas) mix(x, y int, col colour, a float64) {
	p := c.pix[(y*c.w+x)*3:]
	k := int(a*256 + 0.5)
	p[0] += uint8((int(col.r) - int(p[0])) * k >> 8)
	p[1] += uint8((int(col.g) - int(p[1])) * k >> 8)
	p[2] += uint8((int(col.b) - int(p[2])) * k >> 8)
}

// fill lays a colour over an area.
func (c *canvas) fill(r image.Rectangle, col colour, alpha float64) {
	r = r.Intersect(image.Rect(0, 0, c.w, c.h))
	near := c.kept(r)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if !inAny(near, x, y) {
				c.mix(x, y, col, alpha)
			}
		}
	}
}

// cased draws a line that shows on any ground: dark casing, bright core.
func (c *canvas) cased(paths [][]part.Point, half, casing float64, core colour) {
	c.stroke(paths, half+casing, shadow, 0.85)
	c.stroke(paths, half, core, 1)
}

// dashed cuts a path into dashes: on pixels drawn, off pixels left.
func dashed(path []part.Point, on, off float64) [][]part.Point {
	var out [][]part.Point
	var cur []part.Point
	drawing, left := true, on
	for i := 1; i < len(path); i++ {
		a, b := path[i-1], path[i]
		if !finite(a) || !finite(b) {
			continue
		}
		d := math.Hypot(b.X-a.X, b.Y-a.Y)
		for done := 0.0; done < d; {
			step := min(left, d-done)
			p := part.Point{X: a.X + (b.X-a.X)*done/d, Y: a.Y + (b.Y-a.Y)*done/d}
			done += step
			q := part.Point{X: a.X + (b.X-a.X)*done/d, Y: a.Y + (b.Y-a.Y)*done/d}
			if drawing {
				if cur == nil {
					cur = append(cur, p)
				}
				cur = append(cur, q)
			}
			if left -= step; left <= 1e-9 {
				if cur != nil {
					out, cur = append(out, cur), nil
				}
				drawing = !drawing
				left = off
				if drawing {
					left = on
				}
			}
		}
	}
	if len(cur) > 1 {
		out = append(out, cur)
	}
	return out
}

// finite says whether a point can be drawn: a number, and not far beyond any
// picture.
func finite(p part.Point) bool {
	return math.Abs(p.X) < 1e6 && math.Abs(p.Y) < 1e6
}

// pts makes points of pairs x, y.
func pts(xy ...float64) []part.Point {
	p := make([]part.Point, len(xy)/2)
	for i := range p {
		p[i] = part.Point{X: xy[2*i], Y: xy[2*i+1]}
	}
	return p
}
