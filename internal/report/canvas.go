package report

import (
	"image"
	"image/color"
	"math"

	"finishbench/internal/part"
	"finishbench/internal/report/palette"
)

// tileSide is the side of a canvas tile; strokes are gathered in tiles, so that
// drawing costs what the strokes cover, not what the picture holds.
const tileSide = 64

// canvas draws on 8-bit RGB pixels. keep holds areas (in whole pixels) that
// strokes and plates leave as they are.
type canvas struct {
	w, h  int
	pix   []uint8
	keep  []image.Rectangle
	tiles tiles // of the stroke that is being drawn
}

// pixels returns the pixels that share any area with the box, for a pixel
// covers -0.5..0.5 around its centre.
func pixels(b part.Box) image.Rectangle {
	return image.Rect(int(math.Floor(b[0]+0.5)), int(math.Floor(b[1]+0.5)),
		int(math.Ceil(b[0]+b[2]+0.5)), int(math.Ceil(b[1]+b[3]+0.5)))
}

// tile is coverage 0..255 of a part of the canvas; rows x0..x1-1 of lines y0..y1-1 hold all that is not 0.
type tile struct {
	v              [tileSide * tileSide]uint8
	x0, y0, x1, y1 int
}

// tiles are those that strokes meet, row by row of the canvas; nil where none does.
type tiles struct {
	across int
	at     []*tile
	spare  []*tile // cleared
}

// of returns the tile of a pixel.
func (t *tiles) of(x, y int) *tile {
	k := y/tileSide*t.across + x/tileSide
	if t.at[k] == nil {
		if n := len(t.spare); n > 0 {
			t.at[k], t.spare = t.spare[n-1], t.spare[:n-1]
		} else {
			t.at[k] = new(tile)
		}
		t.at[k].x0, t.at[k].y0 = tileSide, tileSide
	}
	return t.at[k]
}

// stroke draws the paths with a line of the half width (pixels) in one colour.
// Joints are round; the line is anti-aliased; where it crosses itself it is no
// darker.
func (c *canvas) stroke(paths [][]part.Point, half float64, col color.NRGBA, alpha float64) {
	if c.tiles.at == nil {
		c.tiles.across = (c.w-1)/tileSide + 1
		c.tiles.at = make([]*tile, c.tiles.across*((c.h-1)/tileSide+1))
	}
	for _, p := range paths {
		for i := 1; i < len(p); i++ {
			c.cover(p[i-1], p[i], half)
		}
	}
	c.blend(col, alpha)
}

// cover adds the coverage of one segment, row by row.
func (c *canvas) cover(a, b part.Point, half float64) {
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
		var t *tile
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
			if t == nil || x%tileSide == 0 {
				t = c.tiles.of(x, y)
			}
			t.add(x%tileSide, y%tileSide, uint8(v*255+0.5))
		}
	}
}

func (t *tile) add(x, y int, v uint8) {
	i := y*tileSide + x
	t.v[i] = max(t.v[i], v)
	t.x0, t.x1, t.y0, t.y1 = min(t.x0, x), max(t.x1, x+1), min(t.y0, y), max(t.y1, y+1)
}

// blend lays a colour over the pixels by their coverage, which is then none.
func (c *canvas) blend(col color.NRGBA, alpha float64) {
	var share [256]int
	for v := range share {
		share[v] = shareOf(float64(v) / 255 * alpha)
	}
	for k, t := range c.tiles.at {
		if t == nil {
			continue
		}
		x0, y0 := k%c.tiles.across*tileSide, k/c.tiles.across*tileSide
		near := c.kept(image.Rect(x0+t.x0, y0+t.y0, x0+t.x1, y0+t.y1))
		for y := t.y0; y < t.y1; y++ {
			for x, v := range t.v[y*tileSide+t.x0 : y*tileSide+t.x1] {
				if x += t.x0; v != 0 && !inAny(near, x0+x, y0+y) {
					c.mixShare(x0+x, y0+y, col, share[v])
				}
			}
		}
		*t = tile{}
		c.tiles.at[k], c.tiles.spare = nil, append(c.tiles.spare, t)
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
func (c *canvas) mix(x, y int, col color.NRGBA, a float64) { c.mixShare(x, y, col, shareOf(a)) }

// shareOf is a share from 0 to 1 in 256ths.
func shareOf(a float64) int { return int(a*256 + 0.5) }

// mixShare is mix by a share in 256ths.
func (c *canvas) mixShare(x, y int, col color.NRGBA, k int) {
	p := c.pix[(y*c.w+x)*3:][:3]
	p[0] += uint8((int(col.R) - int(p[0])) * k >> 8)
	p[1] += uint8((int(col.G) - int(p[1])) * k >> 8)
	p[2] += uint8((int(col.B) - int(p[2])) * k >> 8)
}

// fill lays a colour over an area.
func (c *canvas) fill(r image.Rectangle, col color.NRGBA, alpha float64) {
	r = r.Intersect(image.Rect(0, 0, c.w, c.h))
	near, share := c.kept(r), shareOf(alpha)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if !inAny(near, x, y) {
				c.mixShare(x, y, col, share)
			}
		}
	}
}

// cased draws a line that shows on any ground: dark casing, bright core.
func (c *canvas) cased(paths [][]part.Point, half, casing float64, core color.NRGBA) {
	c.stroke(paths, half+casing, palette.Shadow, 0.85)
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
