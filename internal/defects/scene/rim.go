package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/surface"
	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// Rim is the unrolled rim and what was learned of it.
//
// The rim is rounded: its shading and the lamps mirrored in it change fast from
// the outline inwards and slowly along it. So the rim is unrolled into a strip,
// columns along the outline and rows by depth, and its base is what is constant
// along the outline, or along lines that lean a little against it: the median
// over a stretch of one such line, whichever direction varies least. A defect is
// what breaks that, being short against the stretch.
type Rim struct {
	*surface.Strip
	Block  []int32       // per pixel of the region: the block of the rim it lies in; -1: none
	placed []int32       // and its place in pixels and among
	among  []amongBlocks // per pixel of the rim: between which blocks it lies
	Blocks int           // in all: rows of around blocks, the outermost first
	Around int           // blocks around the outline
	glare  [][]bool      // per picture and place in the strip: a lamp is mirrored there
}

// The rim's lengths in millimetres (common practice, no source).
const (
	RimDeepMM    = 1.5  // so deep shading is sought
	rimBlendMM   = 0.4  // over the innermost part of which the face's own base takes over
	RimStretchMM = 1.1  // half the stretch along which light is constant
	RimStepMM    = 0.13 // samples along it, and columns for which it is told
	rimMostGain  = 3.0  // light is made up for to this factor
	outerMM      = 0.15 // the outermost strip, besides what the blur smears
	outerBlurs   = 2.0  // which is so many standard deviations
)

// RimEvery columns of the strip are a step of RimStepMM.
const RimEvery = 3

// unroll makes the strip, and gives the channels their base on the rim.
func (f *Face) unroll() {
	s := &Rim{Strip: f.Surface.Unroll(int(RimDeepMM/f.MMPX+0.5), RimStepMM/f.MMPX, RimEvery)}
	f.Rim = s
	f.setBlocks()
	stretch := int(math.Round(RimStretchMM / RimStepMM))
	n := len(f.Pictures)
	planes, rest, lean := make([][]int, n), make([][][]float32, n), make([][]uint8, n)
	s.glare, f.Gain = make([][]bool, n), make([]*part.Plane, n)
	f.eachPicture(func(pic int) {
		planes[pic] = f.ChannelsOf(pic)
		rest[pic] = make([][]float32, len(planes[pic]))
		light := make([]float32, s.Cols*s.Rows)
		for k, c := range planes[pic] {
			rest[pic][k] = s.Over(f.Channels[c].Light, f.Channels[c].Base)
			for i, v := range rest[pic][k] {
				light[i] += v
			}
		}
		lean[pic] = s.Leans(light, RimEvery, stretch)
		s.glare[pic] = f.glaring(planes[pic], lean[pic], stretch)
	})
	f.eachPicture(func(pic int) { // the bases change only when all have been looked at
		f.Gain[pic] = f.rimBase(planes[pic], rest[pic], lean[pic], stretch)
	})
}

// eachPicture does something for each picture of the scene, several side by side.
func (f *Face) eachPicture(do func(pic int)) {
	var all errgroup.Group
	all.SetLimit(f.Params.Jobs)
	for pic := range f.Pictures {
		all.Go(func() error { do(pic); return nil })
	}
	_ = all.Wait() // it returns none
}

// ChannelsOf are the channels of one picture.
func (f *Face) ChannelsOf(pic int) []int {
	var out []int
	for c, ch := range f.Channels {
		if ch.Pic == pic {
			out = append(out, c)
		}
	}
	return out
}

// rimBase gives channels of one picture what is constant along the rim as their
// base there, and returns what makes up for less light on the paint. rest is what
// lies over the face's base along the strip, per channel.
func (f *Face) rimBase(planes []int, rest [][]float32, lean []uint8, stretch int) *part.Plane {
	w, h := f.Surface.W, f.Surface.H
	shade, level := part.NewPlane(w, h), part.NewPlane(w, h)
	blend := float32(rimBlendMM / f.MMPX)
	for k, c := range planes {
		ch := &f.Channels[c]
		along := f.Rim.Along(rest[k], lean, RimEvery, stretch, 0.5)
		base := &part.Plane{W: w, H: h, V: slices.Clone(ch.Base.V)}
		for _, p := range f.Rim.Pixels {
			share := min(1, (float32(f.Rim.Rows)-f.Surface.Outside.V[p.I])/blend)
			base.V[p.I] += share * f.Rim.At(along, p, RimEvery)
			level.V[p.I] += ch.Base.V[p.I]
			shade.V[p.I] += base.V[p.I]
		}
		ch.Base = base
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

// OutermostMM is how deep the strip along the outline is that is not looked at.
func (f *Face) OutermostMM() float64 { return outerMM + outerBlurs*f.BlurPX()*f.ShapeMM() }

// withoutOutermost takes off the surface's depth what the blur mixes with the ground.
func (f *Face) withoutOutermost() {
	off := float32(f.OutermostMM() / f.MMPX)
	dist := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, d := range f.Surface.Outside.V {
		dist.V[i] = d - off
	}
	f.Surface.Dist = dist
}
