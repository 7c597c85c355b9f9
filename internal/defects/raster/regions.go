package raster

import (
	"math"

	"finishbench/internal/part"
)

// Regions returns the pixels of each 4-connected region of a mask.
func Regions(mask []bool, w, h int) [][]int {
	n := 0
	for _, v := range mask {
		if v {
			n++
		}
	}
	seen := make([]bool, len(mask))
	all := make([]int, 0, n) // of all regions, one after the other
	var out [][]int
	var stack []int
	for i, v := range mask {
		if !v || seen[i] {
			continue
		}
		first := len(all)
		stack = append(stack[:0], i)
		seen[i] = true
		for len(stack) > 0 {
			j := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			all = append(all, j)
			x, y := j%w, j/w
			for _, k := range [4]int{j - 1, j + 1, j - w, j + w} {
				if k == j-1 && x == 0 || k == j+1 && x == w-1 || k == j-w && y == 0 || k == j+w && y == h-1 {
					continue
				}
				if mask[k] && !seen[k] {
					seen[k] = true
					stack = append(stack, k)
				}
			}
		}
		out = append(out, all[first:len(all):len(all)])
	}
	return out
}

// Bounds returns x0, y0, x1, y1, inclusive, of pixels of a plane w wide.
func Bounds(pixels []int, w int) [4]int {
	b := [4]int{math.MaxInt32, math.MaxInt32, -1, -1}
	for _, i := range pixels {
		x, y := i%w, i/w
		b = [4]int{min(b[0], x), min(b[1], y), max(b[2], x), max(b[3], y)}
	}
	return b
}

// Abs is |v|, without a detour over float64.
func Abs(v float32) float32 { return math.Float32frombits(math.Float32bits(v) &^ (1 << 31)) }

// Segment returns the pixels of each connected place where the ratio stays above
// grow and reaches 1 somewhere. Places no more than reach pixels apart are one.
func Segment(ratio *part.Plane, grow float32, reach int) [][]int {
	w, h := ratio.W, ratio.H
	seen := make([]bool, w*h)
	var out [][]int
	var stack []int
	for i, v := range ratio.V {
		if v < 1 || seen[i] {
			continue
		}
		var pixels []int
		stack = append(stack[:0], i)
		seen[i] = true
		for len(stack) > 0 {
			j := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			pixels = append(pixels, j)
			x, y := j%w, j/w
			for dy := -reach; dy <= reach; dy++ {
				for dx := -reach; dx <= reach; dx++ {
					xx, yy := x+dx, y+dy
					if xx < 0 || yy < 0 || xx >= w || yy >= h {
						continue
					}
					if k := yy*w + xx; !seen[k] && ratio.V[k] >= grow {
						seen[k] = true
						stack = append(stack, k)
					}
				}
			}
		}
		out = append(out, pixels)
	}
	return out
}
