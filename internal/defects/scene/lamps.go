package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// A lamp, a window or the room is mirrored in a glossy surface as in a pane: to
// the light that the paint sends back its image adds the same amount over all
// colours, up to the lamp's own colour (Fresnel's reflection of a clear coat is
// neutral), and the camera's opening is a dark hole in a mirrored dome. The
// image is wide against any defect, and what is mirrored under one light is not
// under another, while paint looks alike in both. So the light that one picture
// has beyond what the other foretells of the paint is a lamp's where it is wide,
// neutral and all of one sign.
//
// lamp is where one picture mirrors something, in search pixels.
type lamp struct {
	core []bool // inside its image: searched, with a base of its own
	edge []bool // around its image's edge: not searched in this picture
	any  bool

	broken bool // the surface is so wavy that the image lies in pieces all over it
}

// Limits of what counts as a lamp's image; lengths in millimetres, light linear
// and of full scale. All are common practice, no source.
const (
	lampWideMM   = 2.0   // an image is at least this long
	lampAreaMM2  = 0.5   // and of this area
	lampLight    = 0.02  // adds, or a hole takes away, at least this much,
	lampNoise    = 8.0   // and so many times the noise of what is left of the paint
	lampNeutral  = 1.9   // its strongest colour is at most this many times its weakest
	lampSoftMM   = 0.06  // smoothing before it is looked for
	pieceAreaMM2 = 0.05  // an image in pieces, each at least of this area,
	pieceLongMM  = 0.4   // and so long, which a flake is not,
	brokenPieces = 12    // so many of them,
	brokenShare  = 0.02  // on this share of the surface: the picture cannot be searched
	lampFoot     = 0.3   // an image reaches out to where it has fallen to this share of its height
	lampHoleMM   = 1.6   // what is smaller inside an image lies on it: a crater, a nib
	lampBlurs    = 3.0   // the edge is left out to so many standard deviations of the blur, to either side
	lampEdgeMM   = 0.05  // and this much more, for the outline's own grain
	lampInsideMM = 0.2   // and this more inside, where a lamp is not as bright at its edge as in its middle
	clippedFrom  = 0.975 // of full scale, averaged over a search pixel
	shadowUnder  = 0.001 // linear light under which 8 bits hold less than four steps
	PaintAtLeast = 0.002 // linear light under which a ratio between two lights says nothing
	paintVaries  = 0.1   // paint has a pattern where its light differs from its level by this share of it,
	paintNoises  = 6.0   // so many times the noise,
	paintReaches = 0.99  // its span is this quantile of it
	paintShare   = 0.01  // on this share of the face
)

// findLamps tells for each picture where it mirrors something. The planes are
// the face's channels with their bases.
func (f *Face) findLamps() ([]lamp, error) {
	out := make([]lamp, len(f.Pictures))
	if f.Params.Lit != nil { // in one light alone pale veins, too, are wide, neutral and of one sign
		out[0] = f.knownLamp()
		return out, nil
	}
	f.weak = make([]*part.Plane, len(f.Pictures))
	any := false
	for pic := range f.Pictures {
		weak, strong, err := f.beyondPaint(pic)
		if err != nil {
			return nil, err
		}
		for _, sign := range []float32{1, -1} {
			if err := f.addLamps(&out[pic], pic, weak, strong, sign); err != nil {
				return nil, err
			}
		}
		f.weak[pic], any = weak, any || out[pic].any
	}
	if any { // the bases are fitted anew without them
		f.weak = nil
	}
	return out, nil
}

// knownLamp is what Lit tells; without an end on the surface there is nothing to heed.
func (f *Face) knownLamp() lamp {
	n := f.Surface.W * f.Surface.H
	l := lamp{core: make([]bool, n), edge: make([]bool, n)}
	half := float64(f.Factor-1) / 2
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			inside, beyond := f.Params.Lit(float64((f.Surface.X0+i%f.Surface.W)*f.Factor)+half,
				float64((f.Surface.Y0+i/f.Surface.W)*f.Factor)+half)
			l.core[i], l.edge[i] = inside && !beyond, beyond
			l.any = l.any || beyond
		}
	}
	if !l.any {
		return lamp{}
	}
	return l
}

// beyondPaint returns by how much a picture's light goes beyond what the other
// pictures foretell of the paint there: the change of the colour that changes
// least and of that which changes most, counted from 0. With one picture alone
// the base foretells it. A lamp adds to its own picture: where that itself lies
// at its base and the other is beyond what the pattern reaches, the other picture's
// lamp was subtracted, and nothing is told.
func (f *Face) beyondPaint(pic int) (weak, strong *part.Plane, err error) {
	w, h := f.Surface.W, f.Surface.H
	weak, strong = part.NewPlane(w, h), part.NewPlane(w, h)
	first := true
	for _, ch := range f.Channels {
		if ch.Pic != pic {
			continue
		}
		other := ch.twin
		d := part.NewPlane(w, h)
		for y := range h {
			x0, x1 := f.InsideRow(y)
			for i := y*w + x0; i < y*w+x1; i++ {
				if f.Surface.Dist.V[i] <= 0 {
					continue
				}
				own := ch.Light.V[i] - ch.Base.V[i]
				v := own
				if other != nil {
					k := ch.paint.slope
					if k == 0 {
						if k = ch.paint.ratio; other.Base.V[i] > PaintAtLeast {
							k = ch.Base.V[i] / other.Base.V[i]
						}
					}
					there := other.Light.V[i] - other.Base.V[i]
					v -= k * there
					if 2*own*v < v*v && raster.Abs(there) > ch.paint.span { // less than half of it is this picture's own
						v = 0
					}
				}
				d.V[i] = v
			}
		}
		soft := part.NewPlane(w, h)
		if err := raster.Gauss(soft, d, lampSoftMM/f.MMPX); err != nil {
			return nil, nil, err
		}
		if first {
			copy(weak.V, soft.V)
			copy(strong.V, soft.V)
			first = false
			continue
		}
		for i, v := range soft.V {
			a, least := raster.Abs(v), weak.V[i]
			if a < raster.Abs(least) {
				least = v
			}
			if a > raster.Abs(strong.V[i]) {
				strong.V[i] = v
			}
			if v*least < 0 { // colours that change to either side are no lamp's
				least = 0
			}
			weak.V[i] = least
		}
	}
	return weak, strong, nil
}

// paint is by how much a channel's paint changes with that of its twin, the same
// colour in another picture: the median ratio of their deviations where the twin's are
// large. A dome's even reflection adds to one picture's base but
// not to its paint, so that the slope is smaller than the bases' ratio, which
// stands in where the face has no pattern (0). span is how far the pattern reaches in
// the twin.
type paint struct{ slope, ratio, span float32 }

// learnPaint tells each channel of its twin, as the bases are now.
func (f *Face) learnPaint() {
	for k := range f.Channels {
		ch := &f.Channels[k]
		ch.twin, ch.paint = f.twinOf(*ch), paint{}
		if ch.twin != nil {
			ch.paint = f.paintOf(*ch, *ch.twin)
		}
	}
}

func (f *Face) paintOf(ch, other Channel) paint {
	dev := make([]float64, 0, len(f.Points))
	own, level := make([]float64, 0, len(f.Points)), make([]float64, 0, len(f.Points))
	for _, i := range f.Points {
		dev = append(dev, float64(other.Light.V[i]-other.Base.V[i]))
		own, level = append(own, float64(ch.Base.V[i])), append(level, float64(other.Base.V[i]))
	}
	ratio, mid := float32(0), raster.Median(level)
	if mid > PaintAtLeast {
		ratio = float32(raster.Median(own) / mid)
	}
	noise, _ := f.ChannelNoise(other)
	far := max(paintVaries*mid, paintNoises*noise)
	var ratios []float64
	for k, i := range f.Points {
		if math.Abs(dev[k]) >= far {
			ratios = append(ratios, float64(ch.Light.V[i]-ch.Base.V[i])/dev[k])
		}
	}
	if float64(len(ratios)) < paintShare*float64(len(f.Points)) {
		return paint{ratio: ratio}
	}
	slope := max(0, min(raster.Median(ratios), float64(ratio)))
	var pattern []float64 // what changes in both pictures as paint does
	for k, i := range f.Points {
		if own := float64(ch.Light.V[i] - ch.Base.V[i]); math.Abs(dev[k]) >= far && math.Abs(own-slope*dev[k]) < slope*math.Abs(dev[k])/2 {
			pattern = append(pattern, math.Abs(dev[k]))
		}
	}
	return paint{float32(slope), ratio, float32(raster.Quantile(pattern, paintReaches))}
}

// twinOf is the same colour, or the nearest, in another picture: nil where there is none.
func (f *Face) twinOf(ch Channel) *Channel {
	for k := range f.Channels {
		o := &f.Channels[k]
		if o.Pic != ch.Pic && (o.Colour == ch.Colour || f.Pictures[o.Pic].Image.C == 1) {
			return o
		}
	}
	return nil
}

// addLamps adds what is wide, neutral and of one sign to a picture's lamp; on a shell also what the seam cuts off.
func (f *Face) addLamps(l *lamp, pic int, weak, strong *part.Plane, sign float32) error {
	w, h := f.Surface.W, f.Surface.H
	limit := float32(max(lampLight, lampNoise*f.Wideness(weak)))
	deep := f.RimPX()
	seed := make([]bool, w*h)
	for i, v := range weak.V {
		if v *= sign; v > limit && f.Surface.Dist.V[i] > deep && raster.Abs(strong.V[i]) < lampNeutral*v+lampLight {
			seed[i] = true
		}
	}
	wide := int(lampWideMM/f.MMPX + 0.5)
	area := lampAreaMM2 / (f.MMPX * f.MMPX)
	pieces, shares := 0, 0.0
	for _, pixels := range raster.Regions(seed, w, h) {
		b := raster.Bounds(pixels, w)
		long := float64(max(b[2]-b[0], b[3]-b[1])+1) * f.MMPX
		if mm2 := float64(len(pixels)) * f.MMPX * f.MMPX; mm2 >= pieceAreaMM2 && long >= pieceLongMM {
			pieces++
			shares += float64(len(pixels)) / f.Surface.Area
		}
		if float64(len(pixels)) < area {
			continue
		}
		v := make([]float64, len(pixels))
		for k, i := range pixels {
			v[k] = float64(weak.V[i] * sign)
		}
		height := float32(raster.Median(v))
		if max(b[2]-b[0], b[3]-b[1])+1 < wide && (sign < 0 || !f.goesOver(pic, pixels, height)) {
			continue
		}
		if l.core == nil {
			l.core, l.edge = make([]bool, w*h), make([]bool, w*h)
		}
		l.any = true
		if err := f.drawLamp(l, pixels, weak, sign, height); err != nil {
			return err
		}
	}
	l.broken = l.broken || pieces >= brokenPieces && shares >= brokenShare
	return nil
}

// drawLamp marks one image: grown from its seed down to its foot, compact holes
// filled, and its edge drawn along.
func (f *Face) drawLamp(l *lamp, seed []int, weak *part.Plane, sign, height float32) error {
	w, h := f.Surface.W, f.Surface.H
	image := make([]bool, w*h)
	stack := slices.Clone(seed)
	for _, i := range seed {
		image[i] = true
	}
	for len(stack) > 0 {
		j := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		x, y := j%w, j/w
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				xx, yy := x+dx, y+dy
				if xx < 0 || yy < 0 || xx >= w || yy >= h {
					continue
				}
				if k := yy*w + xx; !image[k] && f.Surface.Dist.V[k] > 0 && sign*weak.V[k] > lampFoot*height {
					image[k] = true
					stack = append(stack, k)
				}
			}
		}
	}
	reach := lampBlurs*f.BlurPX()*f.ShapeMM()/f.MMPX + lampEdgeMM/f.MMPX
	crop := raster.CropAround(image, w, h, int(reach)+2)
	in := make([]uint8, crop.W*crop.H)
	for i, yes := range raster.Cropped(crop, image) {
		if yes {
			in[i] = 1
		}
	}
	f.fillCompact(in, crop.W, crop.H)
	inner, outer, err := raster.Distances(in, crop.W, crop.H)
	if err != nil {
		return err
	}
	for k := range in {
		switch i := crop.At(k); {
		case f.Surface.Dist.V[i] <= 0:
		case in[k] == 1 && float64(inner.V[k]) > reach+lampInsideMM/f.MMPX:
			l.core[i] = true
		case in[k] == 1 || float64(outer.V[k]) <= reach:
			l.edge[i] = true
		}
	}
	return nil
}

// fillCompact fills the holes of a mask that are smaller than what else may lie
// between two arms of one image.
func (f *Face) fillCompact(in []uint8, w, h int) {
	out := make([]bool, w*h)
	for i, v := range in {
		out[i] = v == 0
	}
	most := lampHoleMM / f.MMPX
	for _, pixels := range raster.Regions(out, w, h) {
		b := raster.Bounds(pixels, w)
		if float64(max(b[2]-b[0], b[3]-b[1])+1) < most {
			for _, i := range pixels {
				in[i] = 1
			}
		}
	}
}

// How a lamp's image is told that goes on over the seam (common practice, no source).
const (
	overFromMM = 0.15 // a lamp's image that goes on is seen on the faceplate's edge from this above the seam
	overToMM   = 0.5  // to this,
	overShare  = 0.3  // this share of its own light at least
)

// goesOver says whether what a picture mirrors beside the seam goes on over it: the faceplate's edge above the same columns is brighter,
// by this picture's light and not by its pattern, than beside them.
func (f *Face) goesOver(pic int, pixels []int, height float32) bool {
	sh := f.Params.Shell
	if sh == nil {
		return false
	}
	w := f.Surface.W
	b := raster.Bounds(pixels, w)
	atSeam := 0
	for x := b[0]; x <= b[2]; x++ { // the columns in which nothing of the region lies above
		if i := b[1]*w + x; f.Surface.Dist.V[i] < float32(overFromMM/f.MMPX) {
			atSeam++
		}
	}
	if 2*atSeam < b[2]-b[0]+1 {
		return false
	}
	wide := b[2] - b[0] + 1
	x0 := b[0] + f.Surface.X0
	dx := (float64(x0)+float64(wide)/2)*float64(f.Factor) - 0.5 - sh.MiddleX
	seamY := sh.SeamY + sh.Roll*dx + sh.Bow*math.Sqrt(max(0, 1-dx*dx/(sh.HalfPX*sh.HalfPX))) // body.View
	y0 := int((seamY - overToMM/f.Params.MMPerPX) / float64(f.Factor))
	h := int((overToMM - overFromMM) / f.MMPX)
	im := f.Pictures[pic].Image
	if y0 < 0 || h < 2 || x0-wide < 0 || (x0+2*wide)*f.Factor >= im.W || (y0+h)*f.Factor >= im.H {
		return false
	}
	light := func(pic int) (in, beside float64) {
		for c := range f.Pictures[pic].Image.C {
			p := f.Pictures[pic].Plane(c, f.Factor, x0-wide, y0, 3*wide, h)
			var on, off []float64
			for i, v := range p.V {
				switch x := i % p.W; {
				case x >= wide && x < 2*wide:
					on = append(on, float64(v))
				case x < wide*3/4 || x >= wide*9/4:
					off = append(off, float64(v))
				}
			}
			in, beside = in+raster.Median(on)/float64(im.C), beside+raster.Median(off)/float64(im.C)
		}
		return in, beside
	}
	in, beside := light(pic)
	foretold := 1.0
	for other := range f.Pictures {
		if other != pic {
			a, b := light(other)
			foretold = (a + PaintAtLeast) / (b + PaintAtLeast)
			break
		}
	}
	return in-foretold*beside > overShare*float64(height)
}
