package outline

import "bytes"

// object is one connected piece of the picture that is not background.
type object struct {
	label          int32
	area           int // samples
	x0, y0, x1, y1 int // box, x1 and y1 included
	contrast       float64
}

// run is a stretch of set samples in one row, x1 included.
type run struct{ y, x0, x1, piece int32 }

// label numbers the pieces of a mask (0 or 1) that hang together, from 1, in the order
// of their first row, into lab, which is of the mask's size; 0 is not set. With corners, samples that only share a
// corner hang together. Method: runs of each row are joined with those they
// touch in the row above (union-find).
func label(lab []int32, mask []uint8, w, h int, corners bool) []object {
	runs := make([]run, 0, 8*h)
	parent := make([]int32, 0, 8*h)
	find := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	reach := int32(0)
	if corners {
		reach = 1
	}
	above, from := 0, 0 // runs of the row above: above..from
	for y := range h {
		row := mask[y*w : (y+1)*w]
		start := len(runs)
		a := above
		for x := 0; x < w; {
			k := bytes.IndexByte(row[x:], 1)
			if k < 0 {
				break
			}
			x0 := x + k
			if k = bytes.IndexByte(row[x0:], 0); k < 0 {
				k = w - x0
			}
			x = x0 + k
			r := run{int32(y), int32(x0), int32(x - 1), int32(len(parent))}
			parent = append(parent, r.piece)
			for a < from && runs[a].x1+reach < r.x0 {
				a++
			}
			for b := a; b < from && runs[b].x0 <= r.x1+reach; b++ {
				p, q := find(runs[b].piece), find(r.piece)
				parent[max(p, q)] = min(p, q)
			}
			runs = append(runs, r)
		}
		above, from = start, len(runs)
	}
	clear(lab)
	number := make([]int32, len(parent))
	var objs []object
	for _, r := range runs {
		root := find(r.piece)
		if number[root] == 0 {
			objs = append(objs, object{x0: w, y0: int(r.y)})
			number[root] = int32(len(objs))
			objs[len(objs)-1].label = number[root]
		}
		n := number[root]
		o := &objs[n-1]
		o.area += int(r.x1 - r.x0 + 1)
		o.x0, o.x1, o.y1 = min(o.x0, int(r.x0)), max(o.x1, int(r.x1)), int(r.y)
		line := lab[int(r.y)*w+int(r.x0) : int(r.y)*w+int(r.x1)+1]
		for i := range line {
			line[i] = n
		}
	}
	return objs
}

// notReached returns a mask of what differs by more than t0 or cannot be reached
// by the background from the frame's edge, going up, down, left and right.
// Holes of an object are part of it. lab is room for w*h labels.
func notReached(lab []int32, d []uint8, w, h int, t0 uint8) []uint8 {
	like := make([]uint8, w*h)
	for i, v := range d {
		// 1 where v <= t0, without a branch on noise.
		like[i] = uint8((int(v) - int(t0) - 1) >> 63 & 1)
	}
	objs := label(lab, like, w, h, false)
	out := make([]uint8, len(objs)+1)
	out[0] = 1
	for _, o := range objs {
		if !(o.x0 == 0 || o.y0 == 0 || o.x1 == w-1 || o.y1 == h-1) {
			out[o.label] = 1
		}
	}
	for i, l := range lab {
		like[i] = out[l]
	}
	return like
}
