package outline

import (
	"math"
	"slices"
)

// edgeOf names a side of the frame.
type edgeOf int

const (
	top edgeOf = iota
	right
	bottom
	left
)

// width is the number of the object's samples in the line at distance k from a
// side of the frame.
func width(lab []int32, w, h int, id int32, side edgeOf, k int) int {
	n := 0
	switch side {
	case top, bottom:
		y := k
		if side == bottom {
			y = h - 1 - k
		}
		for _, l := range lab[y*w : (y+1)*w] {
			if l == id {
				n++
			}
		}
	default:
		x := k
		if side == right {
			x = w - 1 - k
		}
		for y := range h {
			if lab[y*w+x] == id {
				n++
			}
		}
	}
	return n
}

// stemLength looks whether an object stands on a stem (or a table) that comes
// in from one side of the frame, and returns the number of lines it takes from
// there; 0 where there is none. whole is true where the object is a stem to its
// end and nothing else.
//
// A stem keeps its width, is straight and much narrower than what it carries; a
// unit that the frame cuts off changes its width from line to line.
func stemLength(lab []int32, w, h int, id int32, side edgeOf) (n int, whole bool) {
	deep, across := h, w
	if side == left || side == right {
		deep, across = w, h
	}
	widths := make([]int, 0, deep)
	most := 0
	for k := range deep {
		v := width(lab, w, h, id, side, k)
		if v == 0 {
			break
		}
		widths = append(widths, v)
		most = max(most, v)
	}
	if len(widths) == 0 {
		return 0, false
	}
	first := widths[0]
	if first >= across*97/100 { // a table
		for n < len(widths) && widths[n] >= across*97/100 {
			n++
		}
		if n > deep/2 {
			return 0, false // the frame is full of it
		}
		return n, n == len(widths)
	}
	for n < len(widths) && math.Abs(float64(widths[n])-medianOf(widths[:min(n+1, 40)])) <= 1.5+0.08*float64(first) {
		n++
	}
	if n < 6 || float64(n) < 0.12*float64(first) || math.Abs(slope(widths[:n])) > 0.25 {
		return 0, false
	}
	if n >= len(widths)-3 {
		return len(widths), true
	}
	if float64(first) > 0.6*float64(most) {
		return 0, false
	}
	return n, false
}

func medianOf(v []int) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return float64(s[len(s)/2])
}

// slope is the change of width per line, by least squares.
func slope(v []int) float64 {
	var sx, sy, sxx, sxy float64
	for i, y := range v {
		x := float64(i)
		sx, sy, sxx, sxy = sx+x, sy+float64(y), sxx+x*x, sxy+x*float64(y)
	}
	n := float64(len(v))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}
