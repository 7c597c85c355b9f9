package synth

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Conditions names what [Alter] can do to a pose.
//
//   - shift, rotate, scale: the raking picture moved by 4 px, turned by 0.5
//     degrees, scaled by 1 %: the camera, or the unit, between two pictures.
//   - sharpen: both pictures sharpened, as telephones do.
//   - logo: an opaque print under the lacquer; no defect is covered, and in half
//     of the poses its strokes run right past one.
//   - fingerprint: a faint smear on the lacquer, in the raking picture only.
//   - wood, cloth: what lies around the unit, where it was black.
//   - sparkle: flakes all over the plate, each bright in one light only.
var Conditions = []string{"shift", "rotate", "scale", "sharpen", "logo", "fingerprint", "wood", "cloth", "sparkle"}

// Photographed is one pose of a faceplate as it was photographed under two lights, 8-bit
// colour, on dark ground.
type Photographed struct {
	Diffuse, Raking *part.Image
	MMPerPX         float64
	Outline         []part.Point // the faceplate's edge, closed
	Defects         []part.Box   // in the diffuse picture
	Opaque          []bool       // of each defect: hides what lies under it
}

// What the ray-traced units' camera and lens are: full well and read noise in
// electrons, blur in pixels (middle of the range that was drawn from).
const (
	fullWell    = 9000
	readNoise   = 9
	poseBlurPX  = 0.75
	darkGround  = 0.02 // linear light; brighter ground cannot be told from the unit here
	clearPX     = 4    // a print keeps this far from a defect's box
	aloofPX     = 40   // and this far, where it is not to run past one
	ridgesMM    = 0.45 // a fingerprint's ridges. Common practice, no source
	fingerMM    = 6
	sharpenPX   = 1.5
	shiftPX     = 4
	rotateDeg   = 0.5
	scaleFactor = 0.01
)

// Alter makes an altered copy of both pictures. Only the raking picture ever
// moves, so that boxes in the diffuse picture stay right. What is painted has the
// noise of the light that it sends. The same pose, condition and seed give the
// same pictures.
func Alter(p Photographed, condition string, seed uint64) (diffuse, raking *part.Image, err error) {
	for _, im := range []*part.Image{p.Diffuse, p.Raking} {
		if err := im.Validate(); err != nil {
			return nil, nil, err
		}
		if im.Pix8 == nil || im.C != 3 || im.W != p.Diffuse.W || im.H != p.Diffuse.H {
			return nil, nil, errors.New("synth: altering wants two 8-bit colour pictures of one size")
		}
	}
	if !(p.MMPerPX > 0) || len(p.Outline) < 3 || len(p.Opaque) != len(p.Defects) {
		return nil, nil, errors.New("synth: altering wants a scale, an outline, and for each defect whether it is opaque")
	}
	a := &altering{Photographed: p, seed: seed, px: 1 / p.MMPerPX, w: p.Diffuse.W, h: p.Diffuse.H,
		light: [2]*canvas{linearCanvas(p.Diffuse), linearCanvas(p.Raking)},
		rng:   rand.New(rand.NewPCG(seed, 0xa17e7))}
	for _, q := range p.Outline {
		a.mid.X += q.X / float64(len(p.Outline))
		a.mid.Y += q.Y / float64(len(p.Outline))
	}
	sign := float64(1 - 2*a.rng.IntN(2))
	switch condition {
	case "shift":
		sin, cos := math.Sincos(2 * math.Pi * a.rng.Float64())
		a.warp(1, 0, shiftPX*cos, shiftPX*sin)
	case "rotate":
		a.warp(1, sign*rotateDeg, 0, 0)
	case "scale":
		a.warp(1+sign*scaleFactor, 0, 0, 0)
	case "sharpen":
		amount := 0.4 + 0.8*a.rng.Float64()
		return sharpen(p.Diffuse, sharpenPX, amount), sharpen(p.Raking, sharpenPX, amount), nil
	case "logo":
		a.logo()
	case "fingerprint":
		a.fingerprint()
	case "wood", "cloth":
		err = a.ground(condition)
	case "sparkle":
		a.sparkle()
	default:
		err = fmt.Errorf("synth: no condition %q; there are %v", condition, Conditions)
	}
	if err != nil {
		return nil, nil, err
	}
	s := sensor{exposure: 1, bits: 8}
	return s.picture(a.light[dome]), s.picture(a.light[rake]), nil
}

// altering is a pose being altered.
type altering struct {
	Photographed
	seed  uint64
	rng   *rand.Rand
	px    float64 // pixels a millimetre
	w, h  int
	mid   part.Point
	light [2]*canvas
}

func linearCanvas(im *part.Image) *canvas {
	c := newCanvas(im.W, im.H, false)
	t := optics.Linear8()
	for i := range im.W * im.H {
		for j := range c.ch {
			c.ch[j][i] = t[im.Pix8[3*i+j]]
		}
	}
	return c
}

func onePlane(w, h int) *canvas { return newCanvas(w, h, true) }

// lightVariance is the noise's variance at a light.
func lightVariance(light float64) float64 {
	return max(light, 0)/fullWell + float64(readNoise*readNoise)/(fullWell*fullWell)
}

// paint makes each pixel's light mul times what it was plus add, and gives the
// new light the noise that it would have had.
func (a *altering) paint(k int, at func(x, y int) (mul float64, add [3]float64)) {
	c := a.light[k]
	rows(0, a.h, func(y int) {
		rng := rand.New(rand.NewPCG(a.seed, uint64(2*y+k)+0x9a17))
		for x := range a.w {
			mul, add := at(x, y)
			if mul == 1 && add == ([3]float64{}) {
				continue
			}
			i := y*a.w + x
			for j := range c.ch {
				old := float64(c.ch[j][i])
				v := mul*old + add[j]
				if more := lightVariance(v) - mul*mul*lightVariance(old); more > 0 {
					v += math.Sqrt(more) * rng.NormFloat64()
				}
				c.ch[j][i] = float32(v)
			}
		}
	})
}

// warp moves the raking picture: scaled and turned about the picture's middle,
// then moved. Cubic convolution (Keys 1981, a = -0.5); beyond its border the
// picture goes on as if mirrored. The noise that the mixing of pixels takes away
// is given back.
func (a *altering) warp(scale, deg, dx, dy float64) {
	src := a.light[rake]
	dst := newCanvas(a.w, a.h, false)
	cx, cy := float64(a.w-1)/2, float64(a.h-1)/2
	sin, cos := math.Sincos(deg * math.Pi / 180)
	rows(0, a.h, func(y int) {
		rng := rand.New(rand.NewPCG(a.seed, uint64(y)+0x3a49))
		for x := range a.w {
			u, v := (float64(x)-cx-dx)/scale, (float64(y)-cy-dy)/scale
			sx, sy := cos*u+sin*v+cx, -sin*u+cos*v+cy
			x0, y0 := math.Floor(sx), math.Floor(sy)
			wx, wy := keys(sx-x0), keys(sy-y0)
			kept := 0.0
			var sum [3]float64
			for m := range 4 {
				row := mirrored(int(y0)+m-1, a.h) * a.w
				for n := range 4 {
					w := wy[m] * wx[n]
					kept += w * w
					i := row + mirrored(int(x0)+n-1, a.w)
					for j := range sum {
						sum[j] += w * float64(src.ch[j][i])
					}
				}
			}
			for j := range sum {
				lost := math.Sqrt(lightVariance(sum[j]) * max(0, 1-kept))
				dst.ch[j][y*a.w+x] = float32(sum[j] + lost*rng.NormFloat64())
			}
		}
	})
	a.light[rake] = dst
}

// keys gives the weights of the four samples around a place t past the second.
func keys(t float64) [4]float64 {
	near := func(d float64) float64 { return (1.5*d-2.5)*d*d + 1 }
	far := func(d float64) float64 { return ((-0.5*d+2.5)*d-4)*d + 2 }
	return [4]float64{far(1 + t), near(t), near(1 - t), far(2 - t)}
}

func mirrored(i, n int) int {
	for i < 0 || i >= n {
		if i < 0 {
			i = -1 - i
		} else {
			i = 2*n - 1 - i
		}
	}
	return i
}

// sharpen adds amount times the difference to a blurred copy, on the encoded
// samples, clipped.
func sharpen(im *part.Image, sigmaPX, amount float64) *part.Image {
	c := newCanvas(im.W, im.H, false)
	for i, v := range im.Pix8 {
		c.ch[i%3][i/3] = float32(v)
	}
	c.blur(sigmaPX, area{0, 0, im.W, im.H})
	out := &part.Image{W: im.W, H: im.H, C: 3, Pix8: make([]uint8, len(im.Pix8))}
	for i, v := range im.Pix8 {
		s := float64(v) + amount*(float64(v)-float64(c.ch[i%3][i/3]))
		out.Pix8[i] = uint8(min(255, max(0, math.Round(s))))
	}
	return out
}

// toward is the outline, coarsely, drawn in about its middle: 1 is the edge
// itself.
func (a *altering) toward(f float64) (out []part.Point) {
	step := max(1, len(a.Outline)/60)
	for i := 0; i < len(a.Outline); i += step {
		q := a.Outline[i]
		out = append(out, part.Point{X: a.mid.X + f*(q.X-a.mid.X), Y: a.mid.Y + f*(q.Y-a.mid.Y)})
	}
	return out
}

// plateLight is the light of the plate's middle, by channel: the median over the
// inner half.
func (a *altering) plateLight(k int) (rgb [3]float64) {
	in := a.toward(0.5)
	var v [3][]float32
	for y := 0; y < a.h; y += 4 {
		for x := 0; x < a.w; x += 4 {
			if (part.Point{X: float64(x), Y: float64(y)}).Inside(in) {
				for j := range v {
					v[j] = append(v[j], a.light[k].ch[j][y*a.w+x])
				}
			}
		}
	}
	for j := range v {
		if len(v[j]) > 0 {
			slices.Sort(v[j])
			rgb[j] = float64(v[j][len(v[j])/2])
		}
	}
	return rgb
}

// sparkle strews flakes: 3 to 8 a square millimetre, 0.04 to 0.15 mm across, 0.2
// to 3 times as bright again as the plate, each in one light.
func (a *altering) sparkle() {
	var planes [2]*canvas
	for k := range planes {
		planes[k] = onePlane(a.w, a.h)
	}
	in := a.toward(0.97)
	perPX := (3 + 5*a.rng.Float64()) / (a.px * a.px)
	one := make([]float32, a.w*a.h)
	for range int(perPX * float64(a.w*a.h)) {
		at := part.Point{X: float64(a.w) * a.rng.Float64(), Y: float64(a.h) * a.rng.Float64()}
		r := (0.04 + 0.11*a.rng.Float64()) / 2 * a.px
		gain := 0.2 * math.Pow(15, a.rng.Float64())
		k := a.rng.IntN(2)
		var poly []part.Point
		n, turn := 4+a.rng.IntN(3), 2*math.Pi*a.rng.Float64()
		for i := range n {
			sin, cos := math.Sincos(turn + 2*math.Pi*(float64(i)+0.5*a.rng.Float64())/float64(n))
			poly = append(poly, part.Point{X: at.X + r*cos, Y: at.Y + r*sin})
		}
		if !at.Inside(in) || a.underOpaque(at, r) {
			continue
		}
		fill(one, a.w, a.h, poly)
		reach := int(r) + 2
		for y := max(0, int(at.Y)-reach); y <= min(a.h-1, int(at.Y)+reach); y++ {
			for x := max(0, int(at.X)-reach); x <= min(a.w-1, int(at.X)+reach); x++ {
				i := y*a.w + x
				planes[k].ch[0][i] += float32(gain) * one[i]
				one[i] = 0
			}
		}
	}
	for k, plane := range planes {
		plane.blur(poseBlurPX, area{0, 0, a.w, a.h})
		plate := a.plateLight(k)
		grey := (plate[0] + plate[1] + plate[2]) / 3
		a.paint(k, func(x, y int) (float64, [3]float64) {
			f := float64(plane.ch[0][y*a.w+x])
			if f < 1e-4 {
				return 1, [3]float64{}
			}
			return 1, mix([3]float64{}, mix(plate, [3]float64{grey, grey, grey}, 0.5), f)
		})
	}
}

func (a *altering) underOpaque(at part.Point, r float64) bool {
	for i, b := range a.Defects {
		if a.Opaque[i] && b.Meets(part.Box{at.X - r, at.Y - r, 2 * r, 2 * r}) {
			return true
		}
	}
	return false
}

// fingerprint lays ridges on the lacquer: loops round a core, broken here and
// there, faint towards the edge. The contrast is 1 to 2 % of the picture's samples,
// which is 2.2 times that of the light (sRGB's exponent, about): less would not
// outlive JPEG.
func (a *altering) fingerprint() {
	contrast := 2.2 * (0.01 + 0.01*a.rng.Float64())
	// Anywhere with its middle well on the plate.
	turn, out := 2*math.Pi*a.rng.Float64(), 0.5*math.Sqrt(a.rng.Float64())
	at := a.Outline[int(turn/(2*math.Pi)*float64(len(a.Outline)))%len(a.Outline)]
	cx, cy := a.mid.X+out*(at.X-a.mid.X), a.mid.Y+out*(at.Y-a.mid.Y)
	sin, cos := math.Sincos(math.Pi * a.rng.Float64())
	edge := a.toward(1)
	bend, breaks := newField(a.seed+71, 2.2, 2.2, 2), newField(a.seed+72, 0.9, 0.35, 2)
	a.paint(rake, func(x, y int) (float64, [3]float64) {
		dx, dy := (float64(x)-cx)/a.px, (float64(y)-cy)/a.px
		u, v := cos*dx+sin*dy, -sin*dx+cos*dy
		// The finger's pad: an oval, firmer in its middle.
		pad := smooth((1 - math.Hypot(u/(0.5*fingerMM), v/(0.42*fingerMM)) + 0.2*bend.at(u+9, v)) / 0.5)
		if pad == 0 || !(part.Point{X: float64(x), Y: float64(y)}).Inside(edge) {
			return 1, [3]float64{}
		}
		r := math.Hypot(u, 1.25*v+0.5) + 0.35*bend.at(u, v)
		ridge := math.Sin(2 * math.Pi * r / ridgesMM)
		return 1 + contrast*pad*clamp01(0.75+breaks.at(u, v))*ridge, [3]float64{}
	})
}
