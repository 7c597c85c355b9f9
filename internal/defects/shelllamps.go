package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/search"
	"finishbench/internal/part"
)

// A shell mirrors two things that a face's rules on lamps do not know. Where it faces the camera it mirrors the opening
// through which that looks: a dark spot in the light of a dome, as small as the shell is strongly curved, and nothing under low lamps.
// And a lamp's image that the seam cuts off is narrower than any on a face, but goes on over the seam: lacquer's
// slopes end there or change.

// How they are told (common practice, no source).
const (
	faceCameraDeg = 15.0 // the surface faces the camera within this: half the opening's angle, the view's perspective, the shape's doubt
	openingOther  = 0.2  // and other lights change by less than this share of what the opening takes away there,
	openingFaint  = 3.0  // or by less than so many times the noise
	openingLike   = 1.5  // images of one opening are alike up to this factor
	lampThickMM   = 0.4  // a lamp's faint image is at least this wide throughout,
	lampFill      = 0.8  // and fills so much of the box along its axes
)

// withoutOpening leaves out lamps, and the camera's opening, mirrored, of what one view shows: of what is dark under a dome alone where
// the shell faces the camera, the strongest place and those like it: a camera has one, and a shell that is not round may face it in several
// places. What they cover was not looked at, and own is cleared there.
func (f *face) withoutOpening(sub *face, v search.View, own []bool, places []*place) []*place {
	if f.Params.Shell == nil {
		return places
	}
	places = slices.DeleteFunc(places, func(p *place) bool {
		lamp := sub.isLamp(p)
		for _, i := range p.found {
			if lamp {
				own[i] = false
				f.Exclude(v.Pics[slices.Index(p.contrast, slices.Max(p.contrast))], i, part.Mirrored)
			}
		}
		return lamp
	})
	var best *place
	for _, p := range places {
		if _, ok := sub.mayBeOpening(p); ok && (best == nil || p.peak > best.peak) {
			best = p
		}
	}
	return slices.DeleteFunc(places, func(p *place) bool {
		dark, ok := sub.mayBeOpening(p)
		if !ok || p != best && !p.isLike(best, dark) {
			return false
		}
		for _, i := range p.found {
			own[i] = false
			f.Exclude(v.Pics[dark], i, part.Mirrored)
		}
		return true
	})
}

// isLike says whether two places are as large and, in one picture, as dark or as bright as each other, give or take openingLike.
func (p *place) isLike(o *place, pic int) bool {
	near := func(a, b float64) bool { return a*b > 0 && a/b <= openingLike && b/a <= openingLike }
	return near(p.all.Long, o.all.Long) && near(p.all.Across, o.all.Across) && near(p.contrast[pic], o.contrast[pic])
}

// isLamp says whether a place is a lamp that the shell itself mirrors. A fault's slopes turn within less than the shell does, and mirror
// lamps smaller: what is bright in one light alone, wide, full, and lies not down as a run does is no fault.
func (f *face) isLamp(p *place) bool {
	long, across := p.all.Long*f.ShapeMM(), p.all.Across*f.ShapeMM()
	if p.all.Fill() >= lampFill && p.all.Thick*f.ShapeMM() >= lampThickMM && p.brightInOneLight() {
		return true // faint, but flat
	}
	return long >= runMinMM && across >= slopeWideMM && !f.runsDown(p) && !f.isHollow(p) &&
		slices.Max(p.contrast) >= slopeSharp && f.isSlope(p)
}

// mayBeOpening says in which picture a place is dark, where that is one under a wide light, no other shows it, and the shell faces the
// camera.
func (f *face) mayBeOpening(p *place) (pic int, ok bool) {
	c := f.boxOf(float64(p.all.X0), float64(p.all.Y0), float64(p.all.X1), float64(p.all.Y1)).Centre()
	if at, on := f.Params.Shell.Place(c.X, c.Y); !on || at.Slope() > faceCameraDeg || f.isLine(p) { // the opening is round
		return 0, false
	}
	pic = -1
	for k, v := range p.contrast {
		if v < 0 && f.Pictures[k].Shot.Light != part.Raking && (pic < 0 || v < p.contrast[pic]) {
			pic = k
		}
	}
	for k, v := range p.contrast {
		if pic >= 0 && k != pic && math.Abs(v) > -openingOther*p.contrast[pic] && p.strength[k] > openingFaint {
			return 0, false
		}
	}
	return pic, pic >= 0
}
