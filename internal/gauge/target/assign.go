package target

import (
	"math"

	"finishbench/internal/optics"
)

// node is a blob with its place in the grid.
type node struct {
	col, row int
	blob     int
}

// seating is how a lattice fits the grid that was asked for.
type seating struct {
	nodes      []node
	cols, rows int     // what was seen, in whole lines of the grid
	whole      bool    // all of the grid's lines are there
	mirrored   bool    // it fits only as seen in a mirror
	fill       float64 // share of the seen rectangle's places that hold a dot
}

// thinLine is the share of a rectangle's side that a border line of dots must
// hold, else it is stray blobs. Common practice, no source.
const thinLine = 0.3

// turn takes a node of the lattice to columns and rows (half pitches for an
// asymmetric grid).
type turn [4]int

func (t turn) of(c cell) cell { return cell{t[0]*c[0] + t[1]*c[1], t[2]*c[0] + t[3]*c[1]} }

// turns are the changes between bases of one lattice that growing may need: all
// with whole numbers up to 2 and determinant 1 or -1.
func turns() []turn {
	var all []turn
	for n := range 625 {
		t := turn{n%5 - 2, n/5%5 - 2, n/25%5 - 2, n/125 - 2}
		if det := t[0]*t[3] - t[1]*t[2]; det == 1 || det == -1 {
			all = append(all, t)
		}
	}
	return all
}

// seat numbers a lattice's blobs by column and row. A growing lattice may have
// any two steps for its basis; the right one is that in which the dots fill a
// rectangle. Of the ways that remain, one that fits the asked numbers, is not
// mirrored and has columns run most to the right is taken.
func seat(l lattice, all []blob, spec optics.Target) seating {
	asym := spec.Kind == optics.AsymmetricDots
	var best seating
	bestScore := math.Inf(-1)
	for _, t := range turns() {
		if asym {
			// The lattice's steps lead half a pitch across and half a pitch down.
			t = turn{t[0] - t[2], t[1] - t[3], t[0] + t[2], t[1] + t[3]}
		}
		s, right := tryTurn(l, all, t, spec, asym)
		score := 1000*math.Round(50*s.fill)/50 + right
		if s.whole && !s.mirrored {
			score += 500
		} else if s.whole {
			score += 200
		} else if s.cols <= spec.Cols && s.rows <= spec.Rows && !s.mirrored {
			score += 100
		}
		if score > bestScore {
			best, bestScore = s, score
		}
	}
	return best
}

// tryTurn numbers the nodes in one way, and says how much columns run to the
// right and rows downwards: 2 where exactly.
func tryTurn(l lattice, all []blob, t turn, spec optics.Target, asym bool) (seating, float64) {
	at := make(map[cell]int, len(l.at))
	for c, k := range l.at {
		at[t.of(c)] = k
	}
	lo, hi := trimmed(at, asym)
	w, h := hi[0]-lo[0]+1, hi[1]-lo[1]+1
	s := seating{cols: w, rows: h}
	places := w * h
	if asym {
		s.cols, places = (w+1)/2, (w*h+1)/2
		shifted := true // odd rows further right
		for c := range at {
			if inside(c, lo, hi) && (c[0]-lo[0]+c[1]-lo[1])%2 != 0 {
				shifted = false
			}
		}
		s.whole = w == 2*spec.Cols && h == spec.Rows && shifted
	} else {
		s.whole = w == spec.Cols && h == spec.Rows
	}
	if w < 1 || h < 1 {
		return seating{}, 0
	}
	for c, k := range at {
		if !inside(c, lo, hi) {
			continue
		}
		x, y := c[0]-lo[0], c[1]-lo[1]
		if asym {
			x /= 2
		}
		s.nodes = append(s.nodes, node{x, y, k})
	}
	s.fill = float64(len(s.nodes)) / float64(places)
	cols, rows := directions(at, all)
	s.mirrored = cols.x*rows.y-cols.y*rows.x < 0
	right := 0.0
	if n, m := cols.len(), rows.len(); n > 0 && m > 0 {
		right = cols.x/n + rows.y/m
	}
	return s, right
}

func inside(c, lo, hi cell) bool {
	return c[0] >= lo[0] && c[0] <= hi[0] && c[1] >= lo[1] && c[1] <= hi[1]
}

// trimmed is the rectangle that the nodes span, less border lines that hold
// only a few.
func trimmed(at map[cell]int, asym bool) (lo, hi cell) {
	first := true
	for c := range at {
		if first {
			lo, hi, first = c, c, false
		}
		for k := range 2 {
			lo[k], hi[k] = min(lo[k], c[k]), max(hi[k], c[k])
		}
	}
	for {
		cut := false
		for axis := range 2 {
			for _, side := range []*int{&lo[axis], &hi[axis]} {
				if hi[axis] == lo[axis] {
					continue
				}
				n := 0
				for c := range at {
					if c[axis] == *side && inside(c, lo, hi) {
						n++
					}
				}
				full := float64(hi[1-axis] - lo[1-axis] + 1)
				if asym {
					full /= 2
				}
				if float64(n) >= max(thinLine*full, 1.5) { // one alone is a stray blob
					continue
				}
				if side == &lo[axis] {
					lo[axis]++
				} else {
					hi[axis]--
				}
				cut = true
			}
		}
		if !cut {
			return lo, hi
		}
	}
}

// directions fits the mean steps in the picture along columns and rows.
func directions(at map[cell]int, all []blob) (cols, rows vec) {
	var n, sx, sy, xx, xy, yy float64
	var px, py, xpx, xpy, ypx, ypy float64
	for c, k := range at {
		x, y := float64(c[0]), float64(c[1])
		b := &all[k]
		n++
		sx, sy, xx, xy, yy = sx+x, sy+y, xx+x*x, xy+x*y, yy+y*y
		px, py = px+b.x, py+b.y
		xpx, xpy, ypx, ypy = xpx+x*b.x, xpy+x*b.y, ypx+y*b.x, ypy+y*b.y
	}
	xx, xy, yy = xx-sx*sx/n, xy-sx*sy/n, yy-sy*sy/n
	xpx, xpy, ypx, ypy = xpx-sx*px/n, xpy-sx*py/n, ypx-sy*px/n, ypy-sy*py/n
	det := xx*yy - xy*xy
	if det <= 0 {
		return
	}
	cols = vec{(yy*xpx - xy*ypx) / det, (yy*xpy - xy*ypy) / det}
	rows = vec{(xx*ypx - xy*xpx) / det, (xx*ypy - xy*xpy) / det}
	return cols, rows
}
