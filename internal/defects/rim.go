package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// The rim is rounded: its shading and the lamps mirrored in it change fast from
// the outline inwards and slowly along it. So the rim is unrolled into a strip,
// columns along the outline and rows by depth, and its base is what is constant
// along the outline, or along lines that lean a little against it: the median
// over a stretch of one such line, whichever direction varies least. A defect is
// what breaks that, being short against the stretch.
//
// rim is the unrolled rim and what was learned of it.
type rim struct {
	*strip
	block  []int32       // per pixel of the region: the block of the rim it lies in; -1: none
	placed []int32       // and its place in pixels and among
	among  []amongBlocks // per pixel of the rim: between which blocks it lies
	blocks int           // in all: rows of around blocks, the outermost first
	around int           //
	glare  [][]bool      // per picture and place in the strip: a lamp is mirrored there
}

// The rim's lengths in millimetres (common practice, no source).
const (
	rimDeepMM    = 1.5  // so deep shading is sought
	rimBlendMM   = 0.4  // over the innermost part of which the face's own base takes over
	rimStretchMM = 1.1  // half the stretch along which light is constant
	rimStepMM    = 0.13 // samples along it, and columns for which it is told
	rimMostGain  = 3.0  // light is made up for to this factor
	outerMM      = 0.15 // the outermost strip, besides what the blur smears
	outerBlurs   = 2.0  // which is so many standard deviations
)

// rimEvery columns of the strip are a step of rimStepMM.
const rimEvery = 3

// unroll makes the strip, and gives the channels their base on the rim.
func (f *sceneFace) unroll() {
	s := &rim{strip: f.surf.newStrip(int(rimDeepMM/f.mmPX+0.5), rimStepMM/f.mmPX, rimEvery)}
	f.rim = s
	f.setBlocks()
	stretch := int(math.Round(rimStretchMM / rimStepMM))
	n := len(f.scene)
	planes, rest, lean := make([][]int, n), make([][][]float32, n), make([][]uint8, n)
	s.glare, f.gain = make([][]bool, n), make([]*part.Plane, n)
	f.eachPicture(func(pic int) {
		planes[pic] = f.planesOf(pic)
		rest[pic] = make([][]float32, len(planes[pic]))
		light := make([]float32, s.cols*s.rows)
		for k, c := range planes[pic] {
			rest[pic][k] = s.over(f.channels[c].smooth, f.channels[c].base)
			for i, v := range rest[pic][k] {
				light[i] += v
			}
		}
		lean[pic] = s.leans(light, rimEvery, stretch)
		s.glare[pic] = f.glaring(planes[pic], lean[pic], stretch)
	})
	f.eachPicture(func(pic int) { // the bases change only when all have been looked at
		f.gain[pic] = f.rimBase(planes[pic], rest[pic], lean[pic], stretch)
	})
}

// eachPicture does something for each picture of the scene, several side by side.
func (f *sceneFace) eachPicture(do func(pic int)) {
	var all errgroup.Group
	all.SetLimit(f.p.Jobs)
	for pic := range f.scene {
		all.Go(func() error { do(pic); return nil })
	}
	_ = all.Wait() // it returns none
}

// planesOf are the channels of one picture.
func (f *sceneFace) planesOf(pic int) []int {
	var out []int
	for c, ch := range f.channels {
		if ch.pic == pic {
			out = append(out, c)
		}
	}
	return out
}

// rimBase gives channels of one picture what is constant along the rim as their
// base there, and returns what makes up for less light on the paint. rest is what
// lies over the face's base along the strip, per channel.
func (f *sceneFace) rimBase(planes []int, rest [][]float32, lean []uint8, stretch int) *part.Plane {
	w, h := f.surf.w, f.surf.h
	shade, level := part.NewPlane(w, h), part.NewPlane(w, h)
	blend := float32(rimBlendMM / f.mmPX)
	for k, c := range planes {
		ch := &f.channels[c]
		along := f.rim.along(rest[k], lean, rimEvery, stretch, 0.5)
		base := &part.Plane{W: w, H: h, V: slices.Clone(ch.base.V)}
		for _, p := range f.rim.pixels {
			share := min(1, (float32(f.rim.rows)-f.surf.outside.V[p.i])/blend)
			base.V[p.i] += share * f.rim.at(along, p, rimEvery)
			level.V[p.i] += ch.base.V[p.i]
			shade.V[p.i] += base.V[p.i]
		}
		ch.base = base
	}
	gain := part.NewPlane(w, h)
	for i := range gain.V {
		gain.V[i] = 1
		if shade.V[i] > 0 && level.V[i] > shade.V[i] {
			gain.V[i] = min(rimMostGain, level.V[i]/shade.V[i])
		}
	}
	return gain
}

// outermostMM is how deep the strip along the outline is that is not looked at.
func (f *sceneFace) outermostMM() float64 { return outerMM + outerBlurs*f.blurPX()*f.shapeMM() }

// withoutOutermost takes off the surface's depth what the blur mixes with the ground.
func (f *sceneFace) withoutOutermost() {
	off := float32(f.outermostMM() / f.mmPX)
	dist := part.NewPlane(f.surf.w, f.surf.h)
	for i, d := range f.surf.outside.V {
		dist.V[i] = d - off
	}
	f.surf.dist = dist
}
