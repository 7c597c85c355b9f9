package outline

import (
	"math"

	"finishbench/internal/part"
)

// trace follows the outer edge of one labelled object, clockwise as seen, and
// returns its outline in full-resolution pixels: one point per sample side, put
// where the difference from the background passes half of its value further in.
func (s *Silhouette) trace(id int32, d []uint8, t0 uint8) []part.Point {
	w, h, lab := s.w, s.h, s.lab
	start := -1
	for p, l := range lab {
		if l == id {
			start = p
			break
		}
	}
	if start < 0 {
		return nil
	}
	in := func(x, y int) bool { return x >= 0 && y >= 0 && x < w && y < h && lab[y*w+x] == id }
	// Walk along the sides between samples, the object on the right hand. The
	// corner (x,y) is the upper left corner of sample (x,y); 0 right, 1 down, 2
	// left, 3 up.
	dx, dy := [4]int{1, 0, -1, 0}, [4]int{0, 1, 0, -1}
	x, y := start%w, start/w
	sx, sy, dir := x, y, 0
	var out []part.Point
	for range 8 * w * h {
		// The samples on the right and left of the side walked along.
		var ix, iy, ox, oy int
		switch dir {
		case 0:
			ix, iy, ox, oy = x, y, x, y-1
		case 1:
			ix, iy, ox, oy = x-1, y, x, y
		case 2:
			ix, iy, ox, oy = x-1, y-1, x-1, y
		default:
			ix, iy, ox, oy = x, y-1, x-1, y-1
		}
		out = append(out, s.crossing(ix, iy, ox, oy, id, d, t0))
		x, y = x+dx[dir], y+dy[dir]
		// Turn left where the object goes on there (corners hang together), else
		// straight on, else right.
		for _, turn := range [3]int{3, 0, 1} {
			nd := (dir + turn) % 4
			var rx, ry int
			switch nd {
			case 0:
				rx, ry = x, y
			case 1:
				rx, ry = x-1, y
			case 2:
				rx, ry = x-1, y-1
			default:
				rx, ry = x, y-1
			}
			if in(rx, ry) {
				dir = nd
				break
			}
		}
		if x == sx && y == sy && dir == 0 {
			break
		}
	}
	return out
}

// crossing places the edge between the inner sample and the outer one.
func (s *Silhouette) crossing(ix, iy, ox, oy int, id int32, d []uint8, t0 uint8) part.Point {
	w, h := s.w, s.h
	sx, sy := ix-ox, iy-oy
	at := func(k float64) part.Point { // k samples inwards from the outer one
		return part.Point{X: s.centre(float64(ox) + k*float64(sx)), Y: s.centre(float64(oy) + k*float64(sy))}
	}
	if ox < 0 || oy < 0 || ox >= w || oy >= h {
		return at(0.5)
	}
	// Half of the highest difference within three samples inwards.
	inner := float64(d[iy*w+ix])
	for k := 1; k <= 2; k++ {
		x, y := ix+k*sx, iy+k*sy
		if x < 0 || y < 0 || x >= w || y >= h || s.lab[y*w+x] != id {
			break
		}
		inner = max(inner, float64(d[y*w+x]))
	}
	level := max(float64(t0), inner/2)
	prev := float64(d[oy*w+ox])
	for k := 0; k <= 2; k++ {
		x, y := ix+k*sx, iy+k*sy
		if x < 0 || y < 0 || x >= w || y >= h {
			break
		}
		v := float64(d[y*w+x])
		if prev < level && v >= level {
			return at(float64(k) + (level-prev)/(v-prev))
		}
		prev = v
	}
	return at(0.5)
}

// Area is the area inside a closed polygon, in square pixels, by the shoelace
// formula (Gauss).
func Area(p []part.Point) float64 {
	a := 0.0
	for i, q := range p {
		r := p[(i+1)%len(p)]
		a += q.X*r.Y - r.X*q.Y
	}
	return math.Abs(a) / 2
}
