package scene

import (
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// openUp decides in which pictures each pixel may be searched, and gives what
// is mirrored a base of its own.
func (f *Face) openUp() error {
	n := len(f.Surface.Dist.V)
	f.Open = make([]uint8, n)
	all := uint8(1<<len(f.Pictures) - 1)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			f.Open[i] = all
		}
	}
	f.Why = make([][]part.Why, len(f.Pictures))
	if err := f.closeUnfit(); err != nil {
		return err
	}
	if f.Surface.All {
		return nil
	}
	lamps, err := f.findLamps()
	if err != nil {
		return err
	}
	if err := f.levelBase(lamps); err != nil {
		return err
	}
	f.SeeThrough = f.seesThrough()
	if err := f.judgePeel(); err != nil {
		return err
	}
	if f.Params.Shell == nil {
		f.unroll()
		f.withoutOutermost()
	} else {
		f.Gain = make([]*part.Plane, len(f.Pictures)) // all light counts alike
	}
	for i, d := range f.Surface.Dist.V {
		if d <= 0 {
			f.Open[i] = 0
		}
	}
	for pic := range lamps {
		l := &lamps[pic]
		if l.broken {
			for i := range f.Open {
				f.Exclude(pic, i, part.Mirrored)
			}
			continue
		}
		if l.any {
			for i, e := range l.edge {
				if e {
					f.Exclude(pic, i, part.Mirrored)
				}
			}
			if f.SeeThrough {
				continue
			}
			if err := f.baseInside(pic, l.core, true); err != nil {
				return err
			}
			f.evenNoise(pic, l.core)
		}
		f.closeFoot(pic, l.core)
	}
	if f.SeeThrough {
		return f.leaveInside()
	}
	if f.Rim != nil {
		if err := f.closeGlare(); err != nil {
			return err
		}
	}
	return f.leavePrint()
}

// evenNoise weighs what lies inside a lamp's image by how much noisier its
// brighter light is, and how unevenly a lamp shines.
func (f *Face) evenNoise(pic int, core []bool) {
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
	spread := func(ch Channel, at []int) float64 {
		v := make([]float64, 0, len(at))
		for _, i := range at {
			v = append(v, float64(raster.Abs(ch.Light.V[i]-ch.Base.V[i])))
		}
		return max(raster.Median(v), 1e-6)
	}
	for _, ch := range f.Channels {
		if ch.Pic == pic {
			more = max(more, insideDoubt*spread(ch, in)/spread(ch, f.Points))
		}
	}
	if f.Gain[pic] == nil {
		f.Gain[pic] = part.NewPlane(f.Surface.W, f.Surface.H)
		for i := range f.Gain[pic].V {
			f.Gain[pic].V[i] = 1
		}
	}
	for i, c := range core {
		if c {
			f.Gain[pic].V[i] = float32(1 / more)
		}
	}
}

// insideDoubt is how many times as far something has to stand out inside a lamp's
// image (common practice, no source).
const insideDoubt = 1.5

// closeFoot bars what hangs together with what is mirrored or clipped and goes on
// over it: a light that is far over full scale is smeared farther than its edge tells.
func (f *Face) closeFoot(pic int, core []bool) {
	if f.Why[pic] == nil {
		return
	}
	w, h := f.Surface.W, f.Surface.H
	over := func(i int) float32 {
		d, b := float32(0), float32(0)
		for _, ch := range f.Channels {
			if ch.Pic == pic {
				d, b = d+ch.Light.V[i]-ch.Base.V[i], b+ch.Base.V[i]
			}
		}
		return raster.Abs(d) / max(b, PaintAtLeast)
	}
	own := make([]float64, len(f.Points)) // what the pattern itself has
	for k, i := range f.Points {
		own[k] = float64(over(i))
	}
	pattern := 1.5 * float32(raster.Quantile(own, 0.95))
	var front []int
	for i, why := range f.Why[pic] {
		if why == part.Mirrored || why == part.Clipped {
			front = append(front, i)
		}
	}
	for range int(footMM/f.MMPX + 0.5) {
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
				if f.Open[k]>>pic&1 == 1 && over(k) > limit {
					f.Exclude(pic, k, part.Mirrored)
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

// Exclude bars a pixel in one picture.
func (f *Face) Exclude(pic, i int, why part.Why) {
	if f.Open[i]&(1<<pic) == 0 {
		return
	}
	f.Open[i] &^= 1 << pic
	if f.Why[pic] == nil {
		f.Why[pic] = make([]part.Why, len(f.Open))
	}
	f.Why[pic][i] = why
}

// closeUnfit bars what is clipped or in the dark, and what the smoothing mixes
// with it.
func (f *Face) closeUnfit() error {
	w, h := f.Surface.W, f.Surface.H
	for pic := range f.Pictures {
		most := part.NewPlane(w, h) // of a pixel's colours
		for _, c := range f.ChannelsOf(pic) {
			for i, v := range f.Channels[c].Light.V {
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
				if (why == part.Clipped && v >= clippedFrom || why == part.Shadow && v < shadowUnder) && f.Surface.Dist.V[i] > 0 {
					fit.V[i], unfit = 0, true
				}
			}
			if !unfit {
				continue
			}
			if err := raster.Erode(fit, max(1, int(2*f.smoothPX(f.Factor)+0.5))); err != nil {
				return err
			}
			for i, v := range fit.V {
				if v == 0 && f.Surface.Dist.V[i] > 0 {
					f.Exclude(pic, i, why)
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
func (f *Face) baseInside(pic int, core []bool, pattern bool) error {
	r := max(2, int(insideMM/f.MMPX+0.5))
	crop := raster.CropAround(core, f.Surface.W, f.Surface.H, r)
	if crop.W == 0 {
		return nil
	}
	in := raster.Cropped(crop, core)
	for k := range f.Channels {
		ch := &f.Channels[k]
		if ch.Pic != pic {
			continue
		}
		base, light := crop.Plane(ch.Base), crop.Plane(ch.Light)
		if pattern && ch.paint.slope > 0 { // without the paint's pattern, as the other picture foretells it
			smooth, level := crop.Plane(ch.twin.Light), crop.Plane(ch.twin.Base)
			for i := range light.V {
				light.V[i] -= ch.paint.slope * (smooth.V[i] - level.V[i])
			}
		}
		noise, _ := f.ChannelNoise(*ch)
		sum, n := part.NewPlane(crop.W, crop.H), part.NewPlane(crop.W, crop.H)
		mean, share := part.NewPlane(crop.W, crop.H), part.NewPlane(crop.W, crop.H)
		for round := range 3 {
			var dev []float64
			if round > 0 {
				for i, in := range in {
					if in && crop.At(i)%7 == 0 {
						dev = append(dev, float64(raster.Abs(light.V[i]-base.V[i])))
					}
				}
			}
			far := float32(4 * max(raster.MADToSD*raster.Median(dev), noise))
			clear(sum.V)
			clear(n.V)
			for i, in := range in {
				if in && (round == 0 || raster.Abs(light.V[i]-base.V[i]) <= far) {
					sum.V[i], n.V[i] = light.V[i], 1
				}
			}
			if err := raster.Mean(mean, sum, r); err != nil {
				return err
			}
			if err := raster.Mean(share, n, r); err != nil {
				return err
			}
			for i, in := range in {
				if in && share.V[i] > 1e-4 {
					base.V[i] = mean.V[i] / share.V[i]
				}
			}
		}
		ch.Base = &part.Plane{W: f.Surface.W, H: f.Surface.H, V: slices.Clone(ch.Base.V)}
		for i, in := range in {
			if in {
				ch.Base.V[crop.At(i)] = base.V[i]
			}
		}
	}
	return nil
}
