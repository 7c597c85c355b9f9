package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
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
func (f *face) group(places []*place, r *search.Response) ([]*place, error) {
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
func (f *face) joinArcs(places []*place, r *search.Response) ([]*place, error) {
	mm := f.ShapeMM()
	small := func(p *place) bool { return !f.isLine(p) && p.all.Long*mm < arcsMaxMM/2 }
	var out []*place
	for _, set := range shape.Connected(len(places), func(i, j int) bool {
		return small(places[i]) && small(places[j]) && places[i].all.GapTo(&places[j].all)*mm <= arcReachMM
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
func (f *face) oneOf(places []*place, set []int, r *search.Response) ([]*place, error) {
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
		b.Cover(&p.all)
	}
	w, h := float64(b.X1-b.X0+1)*f.ShapeMM(), float64(b.Y1-b.Y0+1)*f.ShapeMM()
	if min(w, h) < arcsMinMM || max(w, h) > arcsMaxMM {
		return false
	}
	cx, cy, radius := float64(b.X0+b.X1)/2, float64(b.Y0+b.Y1)/2, math.Sqrt(w*h)/2/f.ShapeMM()
	for _, p := range arcs {
		for _, i := range p.body {
			x, y := float64(i%p.win.W+p.win.X0), float64(i/p.win.W+p.win.Y0)
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
	reach := haloReachPX / float64(f.ShapeFactor)
	return slices.DeleteFunc(slices.Clone(places), func(b *place) bool {
		return !f.isLine(b) && slices.ContainsFunc(places, func(a *place) bool {
			return a.peak > haloStrength*b.peak && a.all.GapTo(&b.all) <= reach
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
func (f *face) join(places []*place, r *search.Response, same func(a, b *place) bool) ([]*place, error) {
	for {
		sets := shape.Connected(len(places), func(i, j int) bool {
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

// sameLines: parallel and near, or the one goes on where the other ends.
func (f *face) sameLines(a, b *place) bool {
	if !f.isLine(a) || !f.isLine(b) {
		return false
	}
	gap := a.all.GapTo(&b.all) * f.ShapeMM()
	turn := shape.AngleBetween(a.lineRad*180/math.Pi, b.lineRad*180/math.Pi)
	if turn < parallelDeg && gap <= lineReachMM {
		return true
	}
	if turn > bendDeg || gap > onwardReachMM || f.isBundle(a) || f.isBundle(b) {
		return false
	}
	link := math.Atan2(b.all.CY-a.all.CY, b.all.CX-a.all.CX) * 180 / math.Pi
	return shape.AngleBetween(link, a.lineRad*180/math.Pi) < bendDeg && shape.AngleBetween(link, b.lineRad*180/math.Pi) < bendDeg
}

// inside: b is a faint fragment within a's patch of lines or ring, or another slope of
// what a goes around.
func (f *face) inside(a, b *place) bool {
	if f.opacity(b) > 1 && !f.isLine(b) && !f.isSlope(b) {
		return false
	}
	switch {
	case f.isBundle(a) && b.all.Long < a.all.Long:
		m := patchMarginMM / f.ShapeMM()
		return b.all.CX > float64(a.all.X0)-m && b.all.CX < float64(a.all.X1)+m &&
			b.all.CY > float64(a.all.Y0)-m && b.all.CY < float64(a.all.Y1)+m
	case f.isSlope(a) && a.all.Across*f.ShapeMM() >= slopeWideMM && f.isSlope(b) && b.all.Long < a.all.Long:
		return b.all.CX > float64(a.all.X0) && b.all.CX < float64(a.all.X1) && b.all.CY > float64(a.all.Y0) && b.all.CY < float64(a.all.Y1)
	case a.ringPX > 0:
		return math.Hypot(a.all.CX-b.all.CX, a.all.CY-b.all.CY) < 1.4*a.ringPX
	}
	return false
}

// sameSpot: two specks that touch, of one sort.
func (f *face) sameSpot(a, b *place) bool {
	if f.isLine(a) || f.isLine(b) || (f.opacity(a) >= 1) != (f.opacity(b) >= 1) {
		return false
	}
	return a.all.GapTo(&b.all) <= spotReachMM/f.ShapeMM()
}
