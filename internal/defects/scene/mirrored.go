package scene

import (
	"math"

	"finishbench/internal/defects/lampedge"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// Peel is what lamps' edges say of a faceplate's waves.
type Peel struct {
	Asked bool // there is a faceplate or a shell under lamps
	Blind bool // what shows through it cannot be told from lamps: there is one light alone
	Waves lampedge.Waves
	Pic   int // that shows most
}

// lampHalf is the share of a lamp's light at which its edge runs, and lampClear by how many
// times its light has to go over what is told from the paint, which is so many times what is left of
// the paint itself (common practice, no source).
const (
	lampHalf  = 0.5
	lampClear = 2.0
	lampRest  = 3.0
)

// judgePeel looks at the edges of what is mirrored in the faceplate, away from its rim. The bases
// are those of the face without lamps.
func (f *Face) judgePeel() error {
	f.Peel = Peel{}
	if f.Surface.All || f.Params.Lit != nil { // a screen shows waves themselves
		return nil
	}
	f.Peel.Asked = true
	f.Peel.Blind = f.SeeThrough
	most := -1.0
	for pic := range f.Pictures {
		planes := f.ChannelsOf(pic)
		if len(planes) == 0 || f.Channels[planes[0]].twin == nil && (f.SeeThrough || !f.PlainPaint(planes)) {
			continue // veins, and what shows through, cannot be told from lamps in one light
		}
		f.Peel.Blind = false
		var weak *part.Plane
		var err error
		if f.weak != nil {
			weak = f.weak[pic]
		} else if weak, _, err = f.beyondPaint(pic); err != nil {
			return err
		}
		if err := f.levelled(weak); err != nil {
			return err
		}
		var of lampedge.Waves
		for _, sign := range []float32{1, -1} {
			of = of.Plus(f.mirroredIn(pic, weak, sign).Waves())
		}
		if of.LengthMM > most {
			most, f.Peel.Pic = of.LengthMM, pic
		}
		f.Peel.Waves = f.Peel.Waves.Plus(of)
	}
	return nil
}

// levelled takes a smooth surface off a plane, in place: a lamp among veins lifts the bases, which
// hold both, more than what is left without the veins.
func (f *Face) levelled(weak *part.Plane) error {
	level, err := f.Grid.Spread(f.smoothLight(f.Grid.Medians(weak, f.Surface.Dist, f.RimPX())), f.Surface.W, f.Surface.H)
	if err != nil {
		return err
	}
	for i := range weak.V {
		weak.V[i] -= level.V[i]
	}
	return nil
}

// mirroredIn is what goes beyond the paint in one picture, upwards or downwards, each
// connected piece over half of its own light.
func (f *Face) mirroredIn(pic int, weak *part.Plane, sign float32) lampedge.Mirrored {
	w, h := f.Surface.W, f.Surface.H
	v := f.offMedian(weak)
	// Islands may take half of the face: its quieter part tells what is left of the paint (a normal law's
	// quartile of |deviations| is 0.3186 of its standard deviation), and neighbours tell the noise.
	noise, _ := f.ChannelNoise(Channel{Pic: pic, Light: weak})
	limit := float32(max(lampLight, lampNoise*noise, lampRest*raster.Quantile(v, 0.25)/0.3186))
	m := lampedge.Mirrored{Light: part.NewPlane(w, h), BlurPX: math.Hypot(lampSoftMM, f.BlurPX()*f.ShapeMM()) / f.MMPX}
	mask := make([]bool, w*h)
	for i, x := range weak.V {
		mask[i] = sign*x > limit && f.Surface.Dist.V[i] > 0
	}
	unit := float32(0)
	for _, pixels := range raster.Regions(mask, w, h) {
		l := make([]float64, 0, len(pixels))
		for _, i := range pixels {
			l = append(l, float64(sign*weak.V[i]))
		}
		height := float32(raster.Quantile(l, 0.8))
		if height < lampClear*limit {
			continue
		}
		unit = max(unit, height)
		for _, i := range pixels {
			m.Light.V[i] = sign * weak.V[i] / (lampHalf * height)
		}
		m.Widen(weak, pixels, sign/(lampHalf*height))
	}
	deep := f.RimPX()
	m.Judged = func(i int) bool { return f.Surface.Dist.V[i] > deep }
	m.OnMM = func(x, y float64) (float64, float64) { return x * f.MMPX, y * f.MMPX }
	if unit > 0 {
		m.Paint = f.foretold(pic, 1/(lampHalf*unit))
	}
	return m
}

// foretold is what the other picture says of a picture's paint, times k; nil where there is none.
func (f *Face) foretold(pic int, k float32) *part.Plane {
	planes := f.ChannelsOf(pic)
	if len(planes) == 0 || f.Channels[planes[0]].twin == nil {
		return nil
	}
	ch := f.Channels[planes[0]]
	to := ch.paint.slope
	if to == 0 {
		to = ch.paint.ratio
	}
	out := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, v := range ch.twin.Light.V {
		out.V[i] = k * to * v
	}
	return out
}
