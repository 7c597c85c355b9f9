package capture

import (
	"math"
	"slices"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// degradation spoils a picture in one known way.
type degradation struct {
	name string
	view part.View  // only for pictures of this view; empty: for all
	want string     // the problem's name, or "" for none
	warn bool       // a warning will do
	not  part.Light // not for pictures under this light
	do   func(*part.Image) *part.Image
	shot func(*part.Shot) // renames
}

var degradations = []degradation{
	{name: "as it is", do: func(im *part.Image) *part.Image { return im }},
	{name: "blur 1", do: blurred(1, 1, 0)},
	{name: "blur 3.5", want: OutOfFocus, do: blurred(3.5, 3.5, 0)},
	{name: "blur 7", want: OutOfFocus, do: blurred(7, 7, 0)},
	{name: "moved 12 px across", want: Moved, do: moved(12, 0)},
	{name: "moved 10 px at 60 deg", want: Moved, do: moved(10, 60)},
	{name: "moved 14 px up", want: Moved, do: moved(14, 90)},
	{name: "light x 8", want: TooBright, warn: true, do: light(8), not: part.Raking},
	{name: "light x 40", want: TooBright, do: light(40)},
	{name: "light / 60", want: TooDark, do: light(1. / 60)},
	{name: "no light", want: TooDark, do: light(0)},
	{name: "cut at the left", want: CutOff, do: crop(0.4, 0, 0.6, 1)},
	{name: "cut at the right", want: CutOff, do: crop(0, 0, 0.6, 1)},
	{name: "cut at the top", want: CutOff, do: crop(0, 0.45, 1, 0.55)},
	{name: "two units", want: SeveralUnit, do: twice},
	{name: "named face", view: part.Edge, want: WrongView, do: same,
		shot: func(s *part.Shot) { s.View, s.Light = part.Face, part.Diffuse }},
	{name: "named edge", view: part.Face, want: WrongView, do: same,
		shot: func(s *part.Shot) { s.View, s.Light = part.Edge, part.NoLight }},
	{name: "panel fades to a quarter", view: part.Edge, want: PanelUneven, do: field(func(x, y float64) float64 { return 1 - 0.75*x })},
	{name: "panel fades by 10 %", view: part.Edge, do: field(func(x, y float64) float64 { return 1 - 0.1*x })},
	{name: "blotches on the panel", view: part.Edge, want: PanelDirty, warn: true, do: field(blotches)},
	{name: "turned upside down", do: turned(3)},
	{name: "turned on its side", view: part.Face, do: turned(6)},
	{name: "grey", do: grey},
	{name: "half the size", do: halved},
}

func same(im *part.Image) *part.Image { return im }

// inLight applies f to each channel in linear light.
func inLight(im *part.Image, f func(p *part.Plane) *part.Plane) *part.Image {
	var out *part.Image
	for c := range im.C {
		p, err := optics.Linear(im, c)
		if err != nil {
			panic(err)
		}
		q := f(p)
		if out == nil {
			out = &part.Image{W: q.W, H: q.H, C: im.C, Pix8: make([]uint8, q.W*q.H*im.C)}
		}
		for i, v := range q.V {
			out.Pix8[i*im.C+c] = encoded(v)
		}
	}
	return out
}

// encodeTable is a quick LinearToSRGB.
var encodeTable = func() (t [4097]uint8) {
	for i := range t {
		t[i] = uint8(math.Round(255 * optics.LinearToSRGB(float64(i)/4096)))
	}
	return t
}()

func encoded(v float32) uint8 {
	if v < 0.02 {
		return uint8(math.Round(255 * optics.LinearToSRGB(math.Max(0, float64(v)))))
	}
	return encodeTable[int(min(v, 1)*4096+0.5)]
}

// blurred blurs by a Gaussian.
func blurred(sx, sy, _ float64) func(*part.Image) *part.Image {
	return func(im *part.Image) *part.Image {
		return inLight(im, func(p *part.Plane) *part.Plane {
			return along(along(p, gauss(sx), 1, 0), gauss(sy), 0, 1)
		})
	}
}

func gauss(s float64) []float32 {
	r := int(math.Ceil(3.5 * s))
	k := make([]float32, 2*r+1)
	sum := 0.0
	for i := range k {
		v := math.Exp(-float64((i-r)*(i-r)) / (2 * s * s))
		k[i] = float32(v)
		sum += v
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

// along folds a plane with a kernel laid along (dx,dy) pixels.
func along(p *part.Plane, k []float32, dx, dy float64) *part.Plane {
	q := part.NewPlane(p.W, p.H)
	r := len(k) / 2
	offX, offY := make([]int, len(k)), make([]int, len(k))
	for i := range k {
		offX[i], offY[i] = int(math.Round(float64(i-r)*dx)), int(math.Round(float64(i-r)*dy))
	}
	for y := range p.H {
		for x := range p.W {
			var v float32
			for i, w := range k {
				v += w * p.V[min(max(y+offY[i], 0), p.H-1)*p.W+min(max(x+offX[i], 0), p.W-1)]
			}
			q.V[y*p.W+x] = v
		}
	}
	return q
}

// moved smears along a line of n pixels.
func moved(n int, deg float64) func(*part.Image) *part.Image {
	k := make([]float32, n)
	for i := range k {
		k[i] = 1 / float32(n)
	}
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return func(im *part.Image) *part.Image {
		return inLight(im, func(p *part.Plane) *part.Plane { return along(p, k, cos, sin) })
	}
}

// light multiplies all light.
func light(f float32) func(*part.Image) *part.Image {
	return field(func(x, y float64) float64 { return float64(f) })
}

// field multiplies the light by a function of place, 0..1 each way.
func field(f func(x, y float64) float64) func(*part.Image) *part.Image {
	return func(im *part.Image) *part.Image {
		return inLight(im, func(p *part.Plane) *part.Plane {
			q := part.NewPlane(p.W, p.H)
			for i, v := range p.V {
				q.V[i] = v * float32(f(float64(i%p.W)/float64(p.W), float64(i/p.W)/float64(p.H)))
			}
			return q
		})
	}
}

// blotches are soft dark spots in the picture's upper corners.
func blotches(x, y float64) float64 {
	v := 1.0
	for _, b := range [3][3]float64{{0.1, 0.1, 0.05}, {0.9, 0.15, 0.03}, {0.95, 0.6, 0.02}} {
		d := math.Hypot(x-b[0], (y-b[1])*0.75)
		v -= 0.35 * math.Exp(-d*d/(2*b[2]*b[2]))
	}
	return v
}

// crop keeps a part of the picture, in shares of its size.
func crop(x, y, w, h float64) func(*part.Image) *part.Image {
	return func(im *part.Image) *part.Image {
		x0, y0 := int(x*float64(im.W)), int(y*float64(im.H))
		out := &part.Image{W: int(w * float64(im.W)), H: int(h * float64(im.H)), C: im.C}
		for j := range out.H {
			at := ((y0+j)*im.W + x0) * im.C
			out.Pix8 = append(out.Pix8, im.Pix8[at:at+out.W*im.C]...)
		}
		return out
	}
}

// twice puts the picture beside itself.
func twice(im *part.Image) *part.Image {
	out := &part.Image{W: 2 * im.W, H: im.H, C: im.C}
	for y := range im.H {
		row := im.Pix8[y*im.W*im.C : (y+1)*im.W*im.C]
		out.Pix8 = append(append(out.Pix8, row...), row...)
	}
	return out
}

func grey(im *part.Image) *part.Image {
	if im.C == 1 {
		return im
	}
	out := &part.Image{W: im.W, H: im.H, C: 1, Pix8: make([]uint8, im.W*im.H)}
	for i := range out.Pix8 {
		p := im.Pix8[3*i : 3*i+3]
		out.Pix8[i] = uint8((77*int(p[0]) + 150*int(p[1]) + 29*int(p[2]) + 128) >> 8)
	}
	return out
}

func halved(im *part.Image) *part.Image {
	return inLight(im, func(p *part.Plane) *part.Plane {
		q := part.NewPlane(p.W/2, p.H/2)
		for y := range q.H {
			for x := range q.W {
				a := 2*y*p.W + 2*x
				q.V[y*q.W+x] = (p.V[a] + p.V[a+1] + p.V[a+p.W] + p.V[a+p.W+1]) / 4
			}
		}
		return q
	})
}

// turned turns as an orientation tag asks; the picture given stays as it is.
func turned(tag int) func(*part.Image) *part.Image {
	return func(im *part.Image) *part.Image {
		c := *im
		c.Pix8 = slices.Clone(im.Pix8)
		return upright(&c, tag)
	}
}
