package defects

import (
	"math/bits"
	"slices"

	"finishbench/internal/part"
)

// openUp decides in which pictures each pixel may be searched, and gives what
// is mirrored a base of its own.
func (f *sceneFace) openUp() error {
	n := len(f.surf.dist.V)
	f.open = make([]uint8, n)
	all := uint8(1<<len(f.scene) - 1)
	for i, d := range f.surf.dist.V {
		if d > 0 {
			f.open[i] = all
		}
	}
	f.why = make([][]part.Why, len(f.scene))
	if err := f.closeUnfit(); err != nil {
		return err
	}
	if f.surf.all {
		return nil
	}
	lamps, err := f.findLamps()
	if err != nil {
		return err
	}
	if err := f.levelBase(lamps); err != nil {
		return err
	}
	f.clear = f.seesThrough()
	if err := f.judgePeel(); err != nil {
		return err
	}
	if f.p.Shell == nil {
		f.unroll()
		f.withoutOutermost()
	} else {
		f.gain = make([]*part.Plane, len(f.scene)) // all light counts alike
	}
	for i, d := range f.surf.dist.V {
		if d <= 0 {
			f.open[i] = 0
		}
	}
	for pic := range lamps {
		l := &lamps[pic]
		if l.broken {
			for i := range f.open {
				f.close(pic, i, part.Mirrored)
			}
			continue
		}
		if l.any {
			for i, e := range l.edge {
				if e {
					f.close(pic, i, part.Mirrored)
				}
			}
			if f.clear {
				continue
			}
			if err := f.baseInside(pic, l.core, true); err != nil {
				return err
			}
			f.evenNoise(pic, l.core)
		}
		f.closeFoot(pic, l.core)
	}
	if f.clear {
		return f.leaveInside()
	}
	if f.rim != nil {
		if err := f.closeGlare(); err != nil {
			return err
		}
	}
	return f.leavePrint()
}

// evenNoise weighs what lies inside a lamp's image by how much noisier its
// brighter light is, and how unevenly a lamp shines.
func (f *sceneFace) evenNoise(pic int, core []bool) {
	var in []int
	for i, c := range core {
		if c && i%3 == 0 {
			in = append(in, i)
		}
	}
	if len(in) < 50 {
		return
	}
	more := 1.0
	spread := func(ch channel, at []int) float64 {
		v := make([]float64, 0, len(at))
		for _, i := range at {
			v = append(v, float64(abs32(ch.smooth.V[i]-ch.base.V[i])))
		}
		return max(median(v), 1e-6)
	}
	for _, ch := range f.channels {
		if ch.pic == pic {
			more = max(more, insideDoubt*spread(ch, in)/spread(ch, f.points))
		}
	}
	if f.gain[pic] == nil {
		f.gain[pic] = part.NewPlane(f.surf.w, f.surf.h)
		for i := range f.gain[pic].V {
			f.gain[pic].V[i] = 1
		}
	}
	for i, c := range core {
		if c {
			f.gain[pic].V[i] = float32(1 / more)
		}
	}
}

// insideDoubt is how many times as far something has to stand out inside a lamp's
// image (common practice, no source).
const insideDoubt = 1.5

// closeFoot bars what hangs together with what is mirrored or clipped and goes on
// over it: a light that is far over full scale is smeared farther than its edge tells.
func (f *sceneFace) closeFoot(pic int, core []bool) {
	if f.why[pic] == nil {
		return
	}
	w, h := f.surf.w, f.surf.h
	over := func(i int) float32 {
		d, b := float32(0), float32(0)
		for _, ch := range f.channels {
			if ch.pic == pic {
				d, b = d+ch.smooth.V[i]-ch.base.V[i], b+ch.base.V[i]
			}
		}
		return abs32(d) / max(b, paintAtLeast)
	}
	own := make([]float64, len(f.points)) // what the pattern itself has
	for k, i := range f.points {
		own[k] = float64(over(i))
	}
	pattern := 1.5 * float32(quantile(own, 0.95))
	var front []int
	for i, why := range f.why[pic] {
		if why == part.Mirrored || why == part.Clipped {
			front = append(front, i)
		}
	}
	for range int(footMM/f.mmPX + 0.5) {
		var next []int
		for _, i := range front {
			x, y := i%w, i/w
			for _, k := range [4]int{i - 1, i + 1, i - w, i + w} {
				if k == i-1 && x == 0 || k == i+1 && x == w-1 || k == i-w && y == 0 || k == i+w && y == h-1 {
					continue
				}
				limit := max(footShare, pattern)
				if core != nil && core[k] {
					limit = max(footInside, pattern)
				}
				if f.open[k]>>pic&1 == 1 && over(k) > limit {
					f.close(pic, k, part.Mirrored)
					next = append(next, k)
				}
			}
		}
		front = next
	}
}

// How far a lamp's foot reaches at most, and how much it adds there (common
// practice, no source).
const (
	footMM     = 0.4
	footShare  = 0.08
	footInside = 0.025 // inside the image, whose own light is even
)

// close bars a pixel in one picture.
func (f *sceneFace) close(pic, i int, why part.Why) {
	if f.open[i]&(1<<pic) == 0 {
		return
	}
	f.open[i] &^= 1 << pic
	if f.why[pic] == nil {
		f.why[pic] = make([]part.Why, len(f.open))
	}
	f.why[pic][i] = why
}

// closeUnfit bars what is clipped or in the dark, and what the smoothing mixes
// with it.
func (f *sceneFace) closeUnfit() error {
	w, h := f.surf.w, f.surf.h
	for pic := range f.scene {
		most := part.NewPlane(w, h) // of a pixel's colours
		for _, c := range f.planesOf(pic) {
			for i, v := range f.channels[c].smooth.V {
				if v > most.V[i] {
					most.V[i] = v
				}
			}
		}
		for _, why := range [2]part.Why{part.Clipped, part.Shadow} { // clipped in one colour, dark in all
			unfit := false
			fit := part.NewPlane(w, h)
			for i, v := range most.V {
				fit.V[i] = 1
				if (why == part.Clipped && v >= clippedFrom || why == part.Shadow && v < shadowUnder) && f.surf.dist.V[i] > 0 {
					fit.V[i], unfit = 0, true
				}
			}
			if !unfit {
				continue
			}
			if err := erode(fit, max(1, int(2*f.smoothPX(f.factor)+0.5))); err != nil {
				return err
			}
			for i, v := range fit.V {
				if v == 0 && f.surf.dist.V[i] > 0 {
					f.close(pic, i, why)
				}
			}
		}
	}
	return nil
}

// insideMM is the radius over which the light inside a lamp's image is levelled.
const insideMM = 0.5

// baseInside gives a picture's channels the local level inside a lamp's image, or on
// an ink, as their base there, far values left out. Under a lamp the paint's pattern
// goes on; ink covers it.
func (f *sceneFace) baseInside(pic int, core []bool, pattern bool) error {
	r := max(2, int(insideMM/f.mmPX+0.5))
	crop := cropAround(core, f.surf.w, f.surf.h, r)
	if crop.w == 0 {
		return nil
	}
	in := cropped(crop, core)
	for k := range f.channels {
		ch := &f.channels[k]
		if ch.pic != pic {
			continue
		}
		base, light := crop.plane(ch.base), crop.plane(ch.smooth)
		if pattern && ch.paint.slope > 0 { // without the paint's pattern, as the other picture foretells it
			smooth, level := crop.plane(ch.twin.smooth), crop.plane(ch.twin.base)
			for i := range light.V {
				light.V[i] -= ch.paint.slope * (smooth.V[i] - level.V[i])
			}
		}
		noise, _ := f.channelNoise(*ch)
		sum, n := part.NewPlane(crop.w, crop.h), part.NewPlane(crop.w, crop.h)
		mean, share := part.NewPlane(crop.w, crop.h), part.NewPlane(crop.w, crop.h)
		for round := range 3 {
			var dev []float64
			if round > 0 {
				for i, in := range in {
					if in && crop.at(i)%7 == 0 {
						dev = append(dev, float64(abs32(light.V[i]-base.V[i])))
					}
				}
			}
			far := float32(4 * max(madToSD*median(dev), noise))
			clear(sum.V)
			clear(n.V)
			for i, in := range in {
				if in && (round == 0 || abs32(light.V[i]-base.V[i]) <= far) {
					sum.V[i], n.V[i] = light.V[i], 1
				}
			}
			if err := box(mean, sum, r); err != nil {
				return err
			}
			if err := box(share, n, r); err != nil {
				return err
			}
			for i, in := range in {
				if in && share.V[i] > 1e-4 {
					base.V[i] = mean.V[i] / share.V[i]
				}
			}
		}
		ch.base = &part.Plane{W: f.surf.w, H: f.surf.h, V: slices.Clone(ch.base.V)}
		for i, in := range in {
			if in {
				ch.base.V[crop.at(i)] = base.V[i]
			}
		}
	}
	return nil
}

// view is a set of pictures and what is searched in just these.
type view struct {
	pics []int
	area int // search pixels that are open in these and no others
}

// views lists the sets of pictures in which something is to be searched, the
// largest first; slivers too small for anything are left out.
func (f *searchFace) views() []view {
	var area [256]int
	for i, s := range f.open {
		if s != 0 && f.surf.dist.V[i] > 0 {
			area[s]++
		}
	}
	var out []view
	for n := len(f.scene); n > 0; n-- {
		for s, a := range area {
			if bits.OnesCount8(uint8(s)) != n || float64(a)*f.mmPX*f.mmPX < leastViewMM2 {
				continue
			}
			v := view{area: a}
			for p := range f.scene {
				if s>>p&1 == 1 {
					v.pics = append(v.pics, p)
				}
			}
			out = append(out, v)
		}
	}
	return out
}

// sliverMM2 is the area under which a view is searched for what is small alone.
const sliverMM2 = 25

// leastViewMM2 is the least area that is searched by itself.
const leastViewMM2 = 0.05

// with is the face as only some of its pictures show it: its noise, colours and
// thresholds are learned where all of them are open; own is true where these are
// all that are.
func (f *searchFace) with(v view) (sub *searchFace, own []bool, err error) {
	set := uint8(0)
	for _, p := range v.pics {
		set |= 1 << p
	}
	c := *f
	sub = &c
	sub.sliver = float64(v.area)*f.mmPX*f.mmPX < sliverMM2
	surf := *f.surf
	surf.dist = part.NewPlane(surf.w, surf.h)
	own = make([]bool, len(f.open))
	for i, s := range f.open {
		if s&set == set {
			surf.dist.V[i] = f.surf.dist.V[i]
		}
		own[i] = s == set
	}
	sub.surf = &surf
	sub.scene, sub.channels, sub.colour = nil, nil, nil
	for k, p := range v.pics {
		sub.scene = append(sub.scene, f.scene[p])
		for _, ch := range f.channels {
			if ch.pic == p {
				ch.pic = k
				ch.gain = nil
				if f.gain != nil {
					ch.gain = f.gain[p]
				}
				sub.channels = append(sub.channels, ch)
			}
		}
	}
	if f.lone {
		even, err := sub.evenTexture()
		if err != nil {
			return nil, nil, err
		}
		for k := range sub.channels {
			sub.channels[k].gain = even
		}
	}
	sub.points = sub.samplePoints(surf.dist, f.deep())
	if err := sub.setBesideLamps(f, v); err != nil {
		return nil, nil, err
	}
	if err := sub.learn(); err != nil {
		return nil, nil, err
	}
	return sub, own, nil
}
