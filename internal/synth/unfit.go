package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// UnfitSets names sets of face pictures that the search of a pose cannot judge, or
// only in part. See [Unfit].
//
//   - lamp: a lamp covers the whole plate in diffuse light, clipped in part.
//   - cropped: the plate is larger than the picture.
//   - mirror: a plate of polished metal that shows a bright window.
//   - white: a white plate on white paper.
//   - twice: one light's picture under two names, byte for byte.
//   - almost_twice: the same, encoded once more.
//   - three_lights: a third light, from behind; nothing is wrong with the others.
var UnfitSets = []string{"lamp", "cropped", "mirror", "white", "twice", "almost_twice", "three_lights"}

// Unfit draws such a set of the plate that p describes: pictures by the names of
// their files, less the ending. Where p.Defects is nil, eight are scattered over it.
// It panics on a name that there is not.
func Unfit(name string, p FaceParams) map[string]*part.Image {
	seed := p.Seed
	if name == "cropped" {
		p.SizeMM = 2 * float64(p.W) * p.MMPerPX
	}
	if name == "white" {
		p.BaseRGB = [3]float64{0.82, 0.82, 0.81}
	}
	if p.Defects == nil && name != "cropped" {
		p.Defects = RandomDefects(p, map[part.Kind]int{part.Dust: 4, part.Bubble: 3, part.Fibre: 1}, seed)
	}
	d, r, truth := Face(p)
	if name == "cropped" || name == "twice" {
		if name == "twice" {
			r = d
		}
		return map[string]*part.Image{"face_diffuse": d, "face_raking": r}
	}
	a := &altering{Photographed: Photographed{Diffuse: d, Raking: r, MMPerPX: p.MMPerPX, Outline: truth.Outline}, seed: seed,
		px: 1 / p.MMPerPX, w: p.W, h: p.H, light: [2]*canvas{linearCanvas(d), linearCanvas(r)}, rng: rand.New(rand.NewPCG(seed, 0xbad))}
	e := newEgg(p)
	inside := onePlane(p.W, p.H)
	fill(inside.ch[0], p.W, p.H, truth.Outline)
	inside.blur(p.BlurSigmaPX, area{0, 0, p.W, p.H})
	in := func(x, y int) float64 { return float64(inside.ch[0][y*p.W+x]) }
	grey := func(v float64) [3]float64 { return [3]float64{v, v, v} }
	// From the middle, in halves of the plate's size.
	place := func(x, y int) (u, v float64) { return (float64(x) - e.cx) / e.r0, (float64(y) - e.cy) / e.r0 }

	out := map[string]*part.Image{}
	s := sensor{exposure: 1, bits: 8}
	switch name {
	case "lamp":
		a.paint(dome, func(x, y int) (float64, [3]float64) {
			u, v := place(x, y)
			return 1, grey(in(x, y) * (0.42 + 0.38*math.Exp(-((u-0.2)*(u-0.2)+(v+0.1)*(v+0.1))/0.5)))
		})
	case "mirror":
		for k, bright := range []float64{1, 0.35} {
			a.paint(k, func(x, y int) (float64, [3]float64) {
				u, v := place(x, y)
				light := 0.25 + 0.15*u - 0.1*v
				soft := 1.0 / e.r0 // edges of a pixel
				edge := func(t, half float64) float64 { return clamp01((half-math.Abs(t))/soft + 0.5) }
				window := edge(u+0.25, 0.3) * edge(v+0.2, 0.35) * (1 - edge(u+0.25, 0.02)) * (1 - edge(v+0.2, 0.02))
				c := in(x, y)
				return 1 - c, grey(c * bright * (light + window*(0.9-light)))
			})
		}
	case "white":
		for k := range a.light {
			a.paint(k, func(x, y int) (float64, [3]float64) {
				c := 1 - in(x, y)
				return 1 - c, grey(c * (matt[k]*0.83 + gloss[k]))
			})
		}
	case "almost_twice":
		out["face_diffuse"], out["face_raking"] = d, throughJPEG(d, 85)
		return out
	case "three_lights":
		back := newCanvas(p.W, p.H, false)
		b := *a
		b.light = [2]*canvas{back, nil}
		b.paint(0, func(x, y int) (float64, [3]float64) { return 0, grey(0.75 - 0.73*in(x, y)) })
		out["face_back"] = s.picture(back)
	default:
		panic("synth: no unfit set " + name)
	}
	out["face_diffuse"], out["face_raking"] = s.picture(a.light[dome]), s.picture(a.light[rake])
	return out
}
