package synth

import (
	"math"

	"finishbench/internal/part"
)

// fill adds to share, a plane of w x h, how much of each pixel the closed
// polygon covers, 0..1 (exact area; the sign of the turn does not matter). What
// lies outside the plane is left out.
func fill(share []float32, w, h int, polygon []part.Point) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range polygon {
		x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
	}
	if !(x1 > -1 && y1 > -1 && x0 < float64(w) && y0 < float64(h)) {
		return
	}
	left, top := int(math.Floor(x0+0.5)), int(math.Floor(y0+0.5))
	c := coverage{w: int(math.Floor(x1+0.5)) - left + 3, h: int(math.Floor(y1+0.5)) - top + 1}
	if c.w > 100_000 || c.h > 100_000 {
		return // a mapping gone astray
	}
	c.v = make([]float64, c.w*c.h)
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		c.edge(p.X+0.5-float64(left), p.Y+0.5-float64(top), q.X+0.5-float64(left), q.Y+0.5-float64(top))
	}
	for y := max(0, -top); y < min(c.h, h-top); y++ {
		sum := 0.0
		for x := range c.w {
			sum += c.v[y*c.w+x]
			if xx := x + left; xx >= 0 && xx < w {
				share[(y+top)*w+xx] += float32(math.Abs(sum))
			}
		}
	}
}

// coverage gathers, for each pixel, by how much the covered share changes from
// the pixel to its left.
type coverage struct {
	w, h int
	v    []float64
}

// edge adds one edge. Pixel (i, j) is the square from i, j to i+1, j+1. The edge
// is cut at each row and column, so that each piece lies in one pixel: it covers
// what lies to its right.
func (c *coverage) edge(x0, y0, x1, y1 float64) {
	if y0 == y1 {
		return
	}
	at := func(y float64) float64 { return x0 + (x1-x0)*(y-y0)/(y1-y0) }
	lo, hi, sign := y0, y1, 1.0
	if y0 > y1 {
		lo, hi, sign = y1, y0, -1
	}
	for row := int(lo); float64(row) < hi; row++ {
		ya, yb := max(lo, float64(row)), min(hi, float64(row+1))
		xa, xb := at(ya), at(yb)
		if xa > xb {
			xa, xb = xb, xa
		}
		for col := int(xa); ; col++ {
			l, r := max(xa, float64(col)), min(xb, float64(col+1))
			d := sign * (yb - ya)
			if xb > xa {
				d *= (r - l) / (xb - xa)
			}
			f := (l+r)/2 - float64(col)
			c.v[row*c.w+col] += d * (1 - f)
			c.v[row*c.w+col+1] += d * f
			if float64(col+1) >= xb {
				break
			}
		}
	}
}
