package part

import "slices"

// MapOf is the picture made of a screen's stripes in which a finding of the mirror shows best:
// slopes, where they could be followed, else gloss; "" for what other pictures show.
func MapOf(f Finding) string {
	in := func(name string) bool {
		return slices.ContainsFunc(f.AlsoIn, func(s Sighting) bool { return s.Image == name })
	}
	switch {
	case !in(GlossMap):
		return ""
	case in(SlopeMap) && f.Kind != Haze && f.Features["gloss_lost_most"] < slopesLost:
		return SlopeMap
	}
	return GlossMap
}

// slopesLost is the share of gloss lost from which on a slope picture shows less than a gloss picture (common
// practice, no source).
const slopesLost = 0.5

// BoxAround is the box of this half width and half height, px, around a place.
func BoxAround(p Point, hx, hy float64) Box {
	return Box{p.X - hx, p.Y - hy, 2 * hx, 2 * hy}
}
