package defects

import (
	"math"
	"slices"
)

// How near places must be to be one thing, in millimetres on the unit (common
// practice, no source).
const (
	parallelDeg   = 12.0
	bendDeg       = 50.0
	lineReachMM   = 0.30
	onwardReachMM = 0.50
	patchMarginMM = 0.30
	spotReachMM   = 0.06
	arcReachMM    = 0.25 // glints around one bubble or crater
	arcsLeast     = 3    // so many at least,
	arcsMinMM     = 0.25 // over this much to either side
	arcsMaxMM     = 0.7
	arcsHollow    = 0.35 // and none within this share of its radius
)

// group joins places that belong together: lines of one patch, pieces of one
// fibre, fragments inside a patch or a ring, glints of one bubble.
func (f *face) group(places []*place, r *response) ([]*place, error) {
	var err error
	for _, same := range []func(a, b *place) bool{f.sameLines, f.sameRun, f.inside, f.sameSpot} {
		if places, err = f.join(places, r, same); err != nil {
			return nil, err
		}
	}
	if places, err = f.joinArcs(places, r); err != nil {
		return nil, err
	}
	return f.withoutHalos(places), nil
}

// joinArcs makes one place of small ones that lie around an empty middle: the glints of
// a bubble or a crater that mirrors lamps on several sides.
func (f *face) joinArcs(places []*place, r *response) ([]*place, error) {
	mm := f.shapeMM()
	small := func(p *place) bool { return !f.isLine(p) && p.all.long*mm < arcsMaxMM/2 }
	var out []*place
	for _, set := range connected(len(places), func(i, j int) bool {
		return small(places[i]) && small(places[j]) && places[i].all.gapTo(&places[j].all)*mm <= arcReachMM
	}) {
		arcs := make([]*place, len(set))
		for k, i := range set {
			arcs[k] = places[i]
		}
		if !f.around(arcs) {
			out = append(out, arcs...)
			continue
		}
		one, err := f.oneOf(places, set, r)
		if err != nil {
			return nil, err
		}
		out = append(out, one...)
	}
	return out, nil
}

// oneOf makes one place of a set of places; none where it cannot be measured.
func (f *face) oneOf(places []*place, set []int, r *response) ([]*place, error) {
	var found []int
	for _, i := range set {
		found = append(found, places[i].found...)
	}
	p, err := f.newPlace(found, r)
	if err != nil || p == nil {
		return nil, err
	}
	return []*place{p}, nil
}

// around says whether places lie on a ring of a bubble's or a crater's size.
func (f *face) around(arcs []*place) bool {
	if len(arcs) < arcsLeast {
		return false
	}
	b := arcs[0].all
	for _, p := range arcs {
		b.cover(&p.all)
	}
	w, h := float64(b.x1-b.x0+1)*f.shapeMM(), float64(b.y1-b.y0+1)*f.shapeMM()
	if min(w, h) < arcsMinMM || max(w, h) > arcsMaxMM {
		return false
	}
	cx, cy, radius := float64(b.x0+b.x1)/2, float64(b.y0+b.y1)/2, math.Sqrt(w*h)/2/f.shapeMM()
	for _, p := range arcs {
		for _, i := range p.body {
			x, y := float64(i%p.win.w+p.win.x0), float64(i/p.win.w+p.win.y0)
			if math.Hypot(x-cx, y-cy) < arcsHollow*radius {
				return false
			}
		}
	}
	return true
}

// withoutHalos leaves out faint specks within a JPEG block's reach of something
// far stronger: ripples of its coding, not defects.
func (f *face) withoutHalos(places []*place) []*place {
	reach := haloReachPX / float64(f.shape)
	return slices.DeleteFunc(slices.Clone(places), func(b *place) bool {
		return !f.isLine(b) && slices.ContainsFunc(places, func(a *place) bool {
			return a.peak > haloStrength*b.peak && a.all.gapTo(&b.all) <= reach
		})
	})
}

// haloReachPX is a colour block of a JPEG, in full-resolution pixels; haloStrength
// how many times stronger the cause is (common practice, no source).
const (
	haloReachPX  = 16.0
	haloStrength = 8.0
)

// join merges places for which same holds, all of a set at once, over and over
// until none does.
func (f *face) join(places []*place, r *response, same func(a, b *place) bool) ([]*place, error) {
	for {
		sets := connected(len(places), func(i, j int) bool {
			return same(places[i], places[j]) || same(places[j], places[i])
		})
		if len(sets) == len(places) {
			return places, nil
		}
		var out []*place
		for _, set := range sets {
			if len(set) == 1 {
				out = append(out, places[set[0]])
				continue
			}
			one, err := f.oneOf(places, set, r)
			if err != nil {
				return nil, err
			}
			out = append(out, one...)
		}
		places = out
	}
}

// connected splits 0..n-1 into the sets that a relation connects, each in order.
func connected(n int, related func(i, j int) bool) [][]int {
	set := make([]int, n)
	for i := range set {
		set[i] = i
	}
	for i := range n {
		for j := i + 1; j < n; j++ {
			if set[i] != set[j] && related(i, j) {
				from, to := max(set[i], set[j]), min(set[i], set[j])
				for k := range set {
					if set[k] == from {
						set[k] = to
					}
				}
			}
		}
	}
	var out [][]int
	at := map[int]int{}
	for i, s := range set {
		if _, ok := at[s]; !ok {
			at[s] = len(out)
			out = append(out, nil)
		}
		out[at[s]] = append(out[at[s]], i)
	}
	return out
}

// sameLines: parallel and near, or the one goes on where the other ends.
func (f *face) sameLines(a, b *place) bool {
	if !f.isLine(a) || !f.isLine(b) {
		return false
	}
	gap := a.all.gapTo(&b.all) * f.shapeMM()
	turn := angleBetween(a.lineRad*180/math.Pi, b.lineRad*180/math.Pi)
	if turn < parallelDeg && gap <= lineReachMM {
		return true
	}
	if turn > bendDeg || gap > onwardReachMM || f.isBundle(a) || f.isBundle(b) {
		return false
	}
	link := math.Atan2(b.all.cy-a.all.cy, b.all.cx-a.all.cx) * 180 / math.Pi
	return angleBetween(link, a.lineRad*180/math.Pi) < bendDeg && angleBetween(link, b.lineRad*180/math.Pi) < bendDeg
}

// inside: b is a faint fragment within a's patch of lines or ring, or another slope of
// what a goes around.
func (f *face) inside(a, b *place) bool {
	if f.opacity(b) > 1 && !f.isLine(b) && !f.isSlope(b) {
		return false
	}
	switch {
	case f.isBundle(a) && b.all.long < a.all.long:
		m := patchMarginMM / f.shapeMM()
		return b.all.cx > float64(a.all.x0)-m && b.all.cx < float64(a.all.x1)+m &&
			b.all.cy > float64(a.all.y0)-m && b.all.cy < float64(a.all.y1)+m
	case f.isSlope(a) && a.all.across*f.shapeMM() >= slopeWideMM && f.isSlope(b) && b.all.long < a.all.long:
		return b.all.cx > float64(a.all.x0) && b.all.cx < float64(a.all.x1) && b.all.cy > float64(a.all.y0) && b.all.cy < float64(a.all.y1)
	case a.ringPX > 0:
		return math.Hypot(a.all.cx-b.all.cx, a.all.cy-b.all.cy) < 1.4*a.ringPX
	}
	return false
}

// sameSpot: two specks that touch, of one sort.
func (f *face) sameSpot(a, b *place) bool {
	if f.isLine(a) || f.isLine(b) || (f.opacity(a) >= 1) != (f.opacity(b) >= 1) {
		return false
	}
	return a.all.gapTo(&b.all) <= spotReachMM/f.shapeMM()
}
