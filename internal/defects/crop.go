package defects

import "finishbench/internal/part"

// crop is a rectangle of the region: what is small needs no planes of the region's size.
type crop struct {
	x0, y0, w, h int // search pixels
	width        int // of the region
}

// cropAround is the rectangle around a mask of a region of w x h pixels, and so many pixels more to either side as far as
// the region goes; empty where nothing is marked.
func cropAround(mask []bool, w, h, more int) crop {
	x0, y0, x1, y1 := w, h, -1, -1
	for y := range h {
		row := mask[y*w : (y+1)*w]
		for x, in := range row {
			if in {
				x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), y
			}
		}
	}
	if y1 < 0 {
		return crop{width: w}
	}
	c := crop{x0: max(0, x0-more), y0: max(0, y0-more), width: w}
	c.w, c.h = min(w, x1+more+1)-c.x0, min(h, y1+more+1)-c.y0
	return c
}

// at is the region's pixel that is pixel i of the rectangle.
func (c crop) at(i int) int { return (c.y0+i/c.w)*c.width + c.x0 + i%c.w }

// plane is the rectangle's part of a plane of the region.
func (c crop) plane(p *part.Plane) *part.Plane {
	return &part.Plane{W: c.w, H: c.h, V: cropped(c, p.V)}
}

// cropped is the rectangle's part of what is told for each of the region's pixels.
func cropped[T any](c crop, of []T) []T {
	out := make([]T, 0, c.w*c.h)
	for y := c.y0; y < c.y0+c.h; y++ {
		out = append(out, of[y*c.width+c.x0:][:c.w]...)
	}
	return out
}
