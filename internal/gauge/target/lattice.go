package target

import (
	"cmp"
	"math"
	"slices"
)

// cell numbers a node of a lattice along its two basis vectors.
type cell [2]int

// lattice is a set of blobs that follow each other in two directions.
type lattice struct {
	at map[cell]int // the blob at a node
}

// Limits of growing; common practice, no source.
const (
	stepSlack  = 0.28 // a neighbour may be off its foretold place by this share of the step
	likeArea   = 0.42 // areas of neighbours may differ by this ratio
	farthest   = 12.0 // no neighbour is farther than this many half axes
	leastNodes = 6    // fewer blobs make no lattice
)

// lattices grows lattices from the blobs, the largest first. Each step is
// foretold from the last one, so that perspective and a lens's distortion are
// followed; stray blobs are not at a foretold place, or not of a like size.
func lattices(all []blob) []lattice {
	g := &grower{all: all, places: newPlaces(32), used: make([]bool, len(all))}
	for i := range all {
		g.places.add(all[i].x, all[i].y)
	}
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	// Large blobs first: noise is small.
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(all[b].area, all[a].area) })
	var out []lattice
	tries := 0
	for _, i := range order {
		if g.used[i] || all[i].cut {
			continue
		}
		u, v, ok := g.basis(i)
		if !ok {
			continue
		}
		if tries++; tries > 400 {
			break
		}
		l := g.grow(i, u, v)
		if len(l.at) < leastNodes {
			continue
		}
		for _, k := range l.at {
			g.used[k] = true
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b lattice) int { return cmp.Compare(len(b.at), len(a.at)) })
	return out
}

type grower struct {
	all    []blob
	places *places
	used   []bool
}

type vec struct{ x, y float64 }

func (v vec) len() float64 { return math.Hypot(v.x, v.y) }

// like says whether two blobs may be neighbours by size.
func (g *grower) like(i, k int) bool {
	a, b := g.all[i].area, g.all[k].area
	return a > likeArea*b && b > likeArea*a
}

// next is the blob at p + d, or -1.
func (g *grower) next(from int, x, y float64, d vec) int {
	best, at := math.Inf(1), -1
	g.places.within(x, y, stepSlack*d.len(), func(i int, dist float64) {
		if i != from && !g.used[i] && dist < best && g.like(from, i) {
			best, at = dist, i
		}
	})
	return at
}

// basis finds two steps from blob i that lead to blobs both ways.
func (g *grower) basis(i int) (u, v vec, ok bool) {
	b := &g.all[i]
	type near struct {
		d vec
		r float64
	}
	var all []near
	g.places.within(b.x, b.y, farthest*b.a, func(k int, r float64) {
		if k != i && !g.used[k] && g.like(i, k) {
			all = append(all, near{vec{g.all[k].x - b.x, g.all[k].y - b.y}, r})
		}
	})
	slices.SortFunc(all, func(a, b near) int { return cmp.Compare(a.r, b.r) })
	all = all[:min(len(all), 12)]
	found := 0
	for _, n := range all {
		if g.next(i, b.x-n.d.x, b.y-n.d.y, n.d) < 0 {
			continue
		}
		if found == 0 {
			u, found = n.d, 1
			continue
		}
		if cross := u.x*n.d.y - u.y*n.d.x; math.Abs(cross) > 0.25*u.len()*n.d.len() && g.surrounded(i, u, n.d) {
			return u, n.d, true
		}
	}
	return u, v, false
}

// surrounded says whether the four places beyond two steps hold blobs too, but
// for one of them: a stray blob may look like a step, hardly like a mesh.
func (g *grower) surrounded(i int, u, v vec) bool {
	b := &g.all[i]
	n := 0
	for _, s := range [4][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
		shorter := u
		if v.len() < u.len() {
			shorter = v
		}
		if g.next(i, b.x+s[0]*u.x+s[1]*v.x, b.y+s[0]*u.y+s[1]*v.y, shorter) >= 0 {
			n++
		}
	}
	return n >= 3
}

// grow numbers the blobs that can be reached from a seed step by step.
func (g *grower) grow(seed int, u, v vec) lattice {
	l := lattice{at: map[cell]int{{0, 0}: seed}}
	where := map[int]cell{seed: {0, 0}}
	steps := map[cell][2]vec{{0, 0}: {u, v}}
	queue := []cell{{0, 0}}
	for len(queue) > 0 {
		c := queue[0]
		queue = queue[1:]
		b := &g.all[l.at[c]]
		for axis := range 2 {
			for _, sign := range [2]int{1, -1} {
				to := c
				to[axis] += sign
				if _, taken := l.at[to]; taken {
					continue
				}
				d := l.step(g, c, axis, sign, steps[c][axis])
				k := g.next(l.at[c], b.x+d.x, b.y+d.y, d)
				if k < 0 {
					continue
				}
				if _, twice := where[k]; twice {
					continue
				}
				l.at[to], where[k] = k, to
				s := steps[c]
				s[axis] = vec{float64(sign) * (g.all[k].x - b.x), float64(sign) * (g.all[k].y - b.y)}
				steps[to] = s
				queue = append(queue, to)
			}
		}
	}
	return l
}

// step foretells the way from a node to the next: that from the node before, or
// the one that led here.
func (l *lattice) step(g *grower, c cell, axis, sign int, known vec) vec {
	back := c
	back[axis] -= sign
	if k, ok := l.at[back]; ok {
		return vec{g.all[l.at[c]].x - g.all[k].x, g.all[l.at[c]].y - g.all[k].y}
	}
	return vec{float64(sign) * known.x, float64(sign) * known.y}
}
