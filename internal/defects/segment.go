package defects

import (
	"finishbench/internal/part"
)

// segment returns the pixels of each connected place where the ratio stays above
// grow and reaches 1 somewhere. Places no more than reach pixels apart are one.
func segment(ratio *part.Plane, grow float32, reach int) [][]int {
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
