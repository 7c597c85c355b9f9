package synth

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"

	"finishbench/internal/part"
)

// The two lights, in the order of the pictures.
const (
	dome = iota
	rake
)

// How strongly each light falls on a matt surface, and what the lacquer's gloss
// mirrors of it. The dome is mirrored everywhere (about 4 % of it, the
// reflectance of an acrylate of index 1.5 at right angles: Fresnel); lamps at
// a low angle mirror away from the camera. Levels are common practice, no
// source.
var (
	matt  = [2]float64{0.46, 0.13}
	gloss = [2]float64{0.038, 0.0005}
)

// scene is one pose being drawn.
type scene struct {
	p     FaceParams
	egg   *egg // nil for a panel
	px    float64
	cx    float64 // the surface's middle
	cy    float64
	light [2]*canvas
	base  [3]float64
	shell [3]float64
	peel  *waves
}

func newScene(p FaceParams, e *egg) *scene {
	if p.Exposure == 0 {
		p.Exposure = 1
	}
	sc := &scene{p: p, egg: e, px: 1 / p.MMPerPX, cx: float64(p.W-1)/2 + p.OffsetXPX, cy: float64(p.H-1)/2 + p.OffsetYPX}
	for k := range sc.light {
		sc.light[k] = newCanvas(p.W, p.H, p.Grey)
	}
	sc.peel = newWaves(p.Seed, p.PeelSlope, p.PeelMM)
	sc.base, sc.shell = sc.light[0].colour(p.BaseRGB), sc.light[0].colour(p.ShellRGB)
	return sc
}

func (sc *scene) sensor(k uint64) sensor {
	p := sc.p
	return sensor{exposure: p.Exposure, noise: p.NoiseSigma, bits: p.Bits, seed: 2*p.Seed + k}
}

// lit is the light at a place of the surface: what a matt white would send to
// the camera under each light, and what is added whatever the pigment.
type lit struct {
	matt, add [2]float64
}

// litAt gives the light at distance d (pixels) inside the edge and angle about
// the middle.
func (sc *scene) litAt(x, y, d, angle float64) lit {
	var l lit
	w, h := float64(sc.p.W), float64(sc.p.H)
	rx, ry := (x-(w-1)/2)/w*2, (y-(h-1)/2)/h*2
	v := 1 - sc.p.Vignette*(rx*rx+ry*ry)/2
	l.matt = [2]float64{matt[dome] * v, matt[rake] * v}
	l.add = [2]float64{gloss[dome] * v, gloss[rake] * v}
	l.add[dome] += sc.mirroredLamp(x, y) * v
	rim := sc.p.RimMM * sc.px
	if sc.egg == nil || rim <= 0 || d > 2*rim {
		return l
	}
	d = max(d, 0)
	dark := math.Exp(-d / (0.3 * rim))
	l.matt[dome] *= 1 - 0.6*dark
	l.add[dome] *= 1 - 0.7*dark
	l.matt[rake] *= 1 - 0.25*dark
	if sc.p.Glare {
		// The rounded rim leans towards the lamps.
		l.add[rake] += 0.03 * v * smooth((0.6*rim-d)/(0.25*rim))
		q := (d - 0.35*rim) / (0.1 * rim)
		if math.Abs(q) < 4 {
			// Four lamps, each mirrored along a stretch of the rim.
			off := math.Abs(math.Mod(angle+4*math.Pi, math.Pi/2) - math.Pi/4)
			l.add[rake] += 0.2 * v * math.Exp(-q*q/2) * clamp01((0.32-off)/0.02)
		}
	}
	return l
}

// lampLight is what a lacquer mirrors of a lamp four times as bright as a white sheet in its light
// (4 %, see gloss). Common practice, no source.
const lampLight = 0.16

// mirroredLamp is the light of a lamp's image at a pixel.
func (sc *scene) mirroredLamp(x, y float64) float64 {
	b := sc.p.LampMM
	if b[2] <= 0 {
		return 0
	}
	bend := sc.p.BendMM
	if bend == 0 {
		bend = 30
	}
	u, v := (x-sc.cx)/sc.px, (y-sc.cy)/sc.px
	soft := 1 / sc.px // what a pixel sees of the lamp
	if sc.peel != nil {
		g := sc.peel.gradient(vec{u, 0, v})
		u, v = u+bend*g[0], v+bend*g[2]
		soft *= 1 + bend*sc.p.PeelSlope*2*math.Pi/sc.p.PeelMM
	}
	in := min(u-b[0], b[0]+b[2]-u, v-b[1], b[1]+b[3]-v)
	return lampLight * smooth(in/soft+0.5)
}

// place is what the surface is at a pixel: its distance inside the edge and
// angle about the middle. Far from the edge, and for a panel, only the sign counts.
func (sc *scene) place(x, y float64) (d, nx, ny, angle float64) {
	if sc.egg == nil {
		return 1e6, 1, 0, 0
	}
	dx, dy := x-sc.cx, y-sc.cy
	r2 := dx*dx + dy*dy
	if r := sc.egg.least - 3*sc.p.RimMM*sc.px - 4; r > 0 && r2 < r*r {
		return 1e6, 1, 0, 0
	}
	if r := sc.egg.most + 2*sc.p.RingMM*sc.px + 4; r2 > r*r {
		return -1e6, 1, 0, 0
	}
	return sc.egg.distance(x, y)
}

// background draws everything but the defects.
func (sc *scene) background() {
	p := sc.p
	n := len(sc.light[0].ch)
	around := [2]float64{0.003, 0.0006}
	if p.Background == "bright" {
		around = [2]float64{0.75, 0.6}
	}
	pig := newPaint(p, sc.base, sc.light[0])
	ring := p.RingMM * sc.px
	rows(0, p.H, func(y int) {
		fy := float64(y)
		for x := range p.W {
			i, fx := y*p.W+x, float64(x)
			d, nx, ny, angle := sc.place(fx, fy)
			in, ringed := 1.0, 0.0
			if d < 1 {
				in = halfPlaneArea(d, nx, ny, 1)
				if in < 1 && ring > 0 {
					ringed = halfPlaneArea(d+ring, nx, ny, 1) - in
				}
			}
			var a [3]float64
			var sparkle float64
			var l lit
			if in > 0 {
				a, sparkle = pig.at((fx-sc.cx)/sc.px, (fy-sc.cy)/sc.px)
				l = sc.litAt(fx, fy, d, angle)
			}
			for k, c := range sc.light {
				f := 1.0
				if k == rake {
					f = 1 + sparkle
				}
				for j := range n {
					v := (1 - in - ringed) * around[k]
					if in > 0 {
						v += in * (l.matt[k]*a[j]*f + l.add[k])
					}
					if ringed > 0 {
						v += ringed * (0.2*matt[k]*sc.shell[j] + 0.3*gloss[k])
					}
					c.ch[j][i] = float32(v)
				}
			}
		}
	})
}

// throughJPEG encodes and decodes a picture with the standard library's JPEG,
// which halves the colours' resolution both ways.
func throughJPEG(im *part.Image, quality int) *part.Image {
	at := func(i int) uint8 {
		if im.Pix16 != nil {
			return uint8(im.Pix16[i] >> 8)
		}
		return im.Pix8[i]
	}
	r := image.Rect(0, 0, im.W, im.H)
	var src image.Image
	if im.C == 1 {
		g := image.NewGray(r)
		for i := range g.Pix {
			g.Pix[i] = at(i)
		}
		src = g
	} else {
		c := image.NewRGBA(r)
		for i := range im.W * im.H {
			c.Pix[4*i], c.Pix[4*i+1], c.Pix[4*i+2], c.Pix[4*i+3] = at(3*i), at(3*i+1), at(3*i+2), 255
		}
		src = c
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, src, &jpeg.Options{Quality: quality}); err != nil {
		panic("synth: " + err.Error()) // a buffer does not fail; the size may be over 65535
	}
	back, err := jpeg.Decode(&buf)
	if err != nil {
		panic("synth: " + err.Error())
	}
	return fromJPEG(back)
}

// fromJPEG copies a picture that the standard library decoded.
func fromJPEG(src image.Image) *part.Image {
	out := &part.Image{W: src.Bounds().Dx(), H: src.Bounds().Dy(), C: 3}
	switch b := src.(type) {
	case *image.Gray:
		out.C, out.Pix8 = 1, make([]uint8, out.W*out.H)
		for y := range out.H {
			copy(out.Pix8[y*out.W:(y+1)*out.W], b.Pix[y*b.Stride:])
		}
	case *image.YCbCr:
		out.Pix8 = make([]uint8, 3*out.W*out.H)
		rows(0, out.H, func(y int) {
			for x := range out.W {
				k := b.COffset(x, y)
				o := out.Pix8[(y*out.W+x)*3:]
				o[0], o[1], o[2] = color.YCbCrToRGB(b.Y[b.YOffset(x, y)], b.Cb[k], b.Cr[k])
			}
		})
	default:
		panic("synth: JPEG came back as something else")
	}
	return out
}
