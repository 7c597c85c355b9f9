package raster

import (
	"finishbench/internal/part"
)

// Crop is a rectangle of the region: what is small needs no planes of the region's size.
type Crop struct {
	x0, y0, W, H int // search pixels
	width        int // of the region
}

// CropAround is the rectangle around a mask of a region of w x h pixels, and so many pixels more to either side as far as
// the region goes; empty where nothing is marked.
func CropAround(mask []bool, w, h, more int) Crop {
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
		return Crop{width: w}
	}
	c := Crop{x0: max(0, x0-more), y0: max(0, y0-more), width: w}
	c.W, c.H = min(w, x1+more+1)-c.x0, min(h, y1+more+1)-c.y0
	return c
}

// At is the region's pixel that is pixel i of the rectangle.
func (c Crop) At(i int) int { return (c.y0+i/c.W)*c.width + c.x0 + i%c.W }

// Plane is the rectangle's part of a plane of the region.
func (c Crop) Plane(p *part.Plane) *part.Plane {
	return &part.Plane{W: c.W, H: c.H, V: Cropped(c, p.V)}
}

// Cropped is the rectangle's part of what is told for each of the region's pixels.
func Cropped[T any](c Crop, of []T) []T {
	out := make([]T, 0, c.W*c.H)
	for y := c.y0; y < c.y0+c.H; y++ {
		out = append(out, of[y*c.width+c.x0:][:c.W]...)
	}
	return out
}
