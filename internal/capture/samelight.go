package capture

import (
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// When two pictures show one light. Two lights differ at the rim, in their shading
// and in what they mirror: on 30 ray-traced units by .23 of the light and more; one
// light taken twice, or written twice, by .01. Common practice, no source.
const (
	sameRest  = 0.03  // what is left of one picture when the other, made as bright, is taken off: share of its light
	sameLevel = 0.1   // as bright, to this share
	sameClip  = 0.975 // of full scale: a block with a brighter pixel is clipped, and shows no ratio
	sameCopy  = 0.002 // rms difference of a copy, of full scale: half a level of 8 bits
)

// RefuseCopies refuses pictures of a surface without outline (a flat test panel) that
// are copies of one before them. [SharePose] does it for a unit's.
func RefuseCopies(reports []*part.PictureReport, images []*part.Image) {
	refuseSame(reports, images, copied)
}

// refuseSame refuses pictures of a pose that show the same as one before them: one
// light under two names tells no more than one. Where they differ in brightness
// alone neither is believed: the light may have been the same, or the plate is like
// a mirror and shows nothing but the room.
func refuseSame(reports []*part.PictureReport, images []*part.Image, same func(a, b *part.Image) (ratio float64, yes bool)) {
	refuse := func(r *part.PictureReport, format string, of *part.PictureReport) {
		c := checker{r: r}
		c.add(SameLight, none, none, "", false, format, of.File)
	}
	for i, r := range reports {
		for j, o := range reports[:i] {
			if r.State != part.PictureOK || images[j] == nil || o.State != part.PictureOK && !has(o, SameLight) {
				continue
			}
			ratio, yes := same(images[i], images[j])
			switch {
			case !yes:
			case math.Abs(ratio-1) <= sameLevel:
				refuse(r, "it shows the same as %s: photograph the pose under a second light", o)
			default:
				const but = "it shows the same as %s but for its brightness: one light taken twice, or a plate like a mirror that shows nothing but the room; photograph each light by itself, and look at a mirror by eye"
				refuse(r, but, o)
				if o.State == part.PictureOK {
					refuse(o, but, r)
				}
			}
		}
	}
}

// samePose says whether two pictures of a unit differ in brightness alone, and by
// which ratio.
func samePose(a, b *part.Image) (ratio float64, yes bool) {
	if a.W != b.W || a.H != b.H || a.C != b.C {
		return 0, false
	}
	const n = 8 // noise is averaged over blocks of so many pixels
	var own, other []float64
	var ab, bb, aa float64
	for y := a.H / 8; y+n <= a.H*7/8; y += n {
		for x := a.W / 8; x+n <= a.W*7/8; x += n {
			u, clipped := blockLight(a, x, y, n)
			v, alsoClipped := blockLight(b, x, y, n)
			if clipped || alsoClipped {
				continue
			}
			own, other = append(own, u), append(other, v)
			aa, ab, bb = aa+u*u, ab+u*v, bb+v*v
		}
	}
	ratio = ab / bb
	rest := 0.0
	for i, u := range own {
		rest += math.Pow(u-ratio*other[i], 2)
	}
	return ratio, rest < sameRest*sameRest*aa
}

// copied says whether one picture is a copy of the other, for pictures that are
// surface all over: a plain one looks alike under any light, but for its noise.
func copied(a, b *part.Image) (ratio float64, yes bool) {
	if a.W != b.W || a.H != b.H || a.C != b.C {
		return 0, false
	}
	square, n := 0.0, 0.0
	for y := 0; y < a.H; y += 5 {
		for x := 0; x < a.W; x += 5 {
			d := levelAt(a, x, y) - levelAt(b, x, y)
			square, n = square+d*d, n+1
		}
	}
	return 1, square < sameCopy*sameCopy*n
}

// blockLight is the mean linear light, green or grey, of every other pixel of a
// block of n x n, and whether one of them is clipped.
func blockLight(im *part.Image, x, y, n int) (mean float64, clipped bool) {
	k := 0
	for j := y; j < y+n; j += 2 {
		for i := x; i < x+n; i += 2 {
			at := (j*im.W+i)*im.C + im.C/2
			var v float32
			if im.Pix16 != nil {
				v = optics.Linear16()[im.Pix16[at]]
			} else {
				v = optics.Linear8()[im.Pix8[at]]
			}
			mean += float64(v)
			clipped = clipped || v > sameClip
			k++
		}
	}
	return mean / float64(k), clipped
}
