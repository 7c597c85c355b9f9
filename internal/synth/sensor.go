package synth

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// canvas is a picture in linear light, 0..1, one plane a channel.
type canvas struct {
	w, h int
	ch   [][]float32
}

func newCanvas(w, h int, grey bool) *canvas {
	n := 3
	if grey {
		n = 1
	}
	c := &canvas{w: w, h: h, ch: make([][]float32, n)}
	for i := range c.ch {
		c.ch[i] = make([]float32, w*h)
	}
	return c
}

// colours gives the colour for each channel of the canvas: itself, or its
// luminance (weights of ITU-R BT.709) for a grey camera.
func (c *canvas) colour(rgb [3]float64) [3]float64 {
	if len(c.ch) == 1 {
		y := 0.2126*rgb[0] + 0.7152*rgb[1] + 0.0722*rgb[2]
		return [3]float64{y, y, y}
	}
	return rgb
}

// area is a half-open block of pixels.
type area struct{ x0, y0, x1, y1 int }

func (a area) clip(w, h int) area {
	return area{max(a.x0, 0), max(a.y0, 0), min(a.x1, w), min(a.y1, h)}
}

func (a area) empty() bool { return a.x0 >= a.x1 || a.y0 >= a.y1 }

// rows runs f for each row y0 <= y < y1, spread over the processors. f must
// not depend on the order.
func rows(y0, y1 int, f func(y int)) {
	n := min(runtime.GOMAXPROCS(0), (y1-y0+63)/64)
	if n <= 1 {
		for y := y0; y < y1; y++ {
			f(y)
		}
		return
	}
	var wg sync.WaitGroup
	for k := range n {
		wg.Go(func() {
			for y := y0 + (y1-y0)*k/n; y < y0+(y1-y0)*(k+1)/n; y++ {
				f(y)
			}
		})
	}
	wg.Wait()
}

// gauss is one half of a sampled Gaussian, from its middle outwards, with sum
// 1 over both halves. Below 0.4 px the samples no longer follow the Gaussian
// well; pictures sharper than that do not occur.
func gauss(sigma float64) []float32 {
	r := int(math.Ceil(4 * sigma))
	v := make([]float64, r+1)
	sum := 0.0
	for i := range v {
		v[i] = math.Exp(-float64(i*i) / (2 * sigma * sigma))
		sum += v[i]
		if i > 0 {
			sum += v[i]
		}
	}
	k := make([]float32, r+1)
	for i := range k {
		k[i] = float32(v[i] / sum)
	}
	return k
}

// blur smooths the canvas inside a by a Gaussian of sigma pixels. Beyond the
// picture's border the border's value goes on; outside a nothing changes.
func (c *canvas) blur(sigma float64, a area) {
	a = a.clip(c.w, c.h)
	if sigma <= 0 || a.empty() {
		return
	}
	k := gauss(sigma)
	r := len(k) - 1
	w, h := c.w, c.h
	aw := a.x1 - a.x0
	ya, yb := max(a.y0-r, 0), min(a.y1+r, h)
	tmp := make([]float32, aw*(yb-ya))
	for _, p := range c.ch {
		rows(ya, yb, func(y int) {
			src, dst := p[y*w:(y+1)*w], tmp[(y-ya)*aw:(y-ya+1)*aw]
			for i := range dst {
				x := i + a.x0
				s := k[0] * src[x]
				if x >= r && x+r < w {
					for j := 1; j <= r; j++ {
						s += k[j] * (src[x-j] + src[x+j])
					}
				} else {
					for j := 1; j <= r; j++ {
						s += k[j] * (src[max(x-j, 0)] + src[min(x+j, w-1)])
					}
				}
				dst[i] = s
			}
		})
		rows(a.y0, a.y1, func(y int) {
			dst := p[y*w+a.x0 : y*w+a.x1]
			line := func(y int) []float32 {
				y = min(max(y, 0), h-1) - ya
				return tmp[y*aw : (y+1)*aw]
			}
			for i, v := range line(y) {
				dst[i] = k[0] * v
			}
			for j := 1; j <= r; j++ {
				up, down, kj := line(y-j), line(y+j), k[j]
				for i := range dst {
					dst[i] += kj * (up[i] + down[i])
				}
			}
		})
	}
}

// move smears the canvas inside a along a straight line of lengthPX pixels,
// deg clockwise from the x axis as seen.
func (c *canvas) move(lengthPX, deg float64, a area) {
	a = a.clip(c.w, c.h)
	if lengthPX <= 0 || a.empty() {
		return
	}
	n := max(3, int(math.Ceil(2*lengthPX))|1)
	sin, cos := math.Sincos(deg * math.Pi / 180)
	for i, p := range c.ch {
		out := append([]float32(nil), p...)
		rows(a.y0, a.y1, func(y int) {
			for x := a.x0; x < a.x1; x++ {
				s := float32(0)
				for j := range n {
					t := lengthPX * ((float64(j)+0.5)/float64(n) - 0.5)
					s += c.at(p, float64(x)+t*cos, float64(y)+t*sin)
				}
				out[y*c.w+x] = s / float32(n)
			}
		})
		c.ch[i] = out
	}
}

// at is the value between pixels, by straight lines.
func (c *canvas) at(p []float32, x, y float64) float32 {
	x = min(max(x, 0), float64(c.w-1))
	y = min(max(y, 0), float64(c.h-1))
	x0, y0 := min(int(x), max(c.w-2, 0)), min(int(y), max(c.h-2, 0))
	x1, y1 := min(x0+1, c.w-1), min(y0+1, c.h-1)
	fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
	top := p[y0*c.w+x0]*(1-fx) + p[y0*c.w+x1]*fx
	bottom := p[y1*c.w+x0]*(1-fx) + p[y1*c.w+x1]*fx
	return top*(1-fy) + bottom*fy
}

// midGrey is the linear light of the 8-bit sample 128.
var midGrey = optics.SRGBToLinear(128.0 / 255)

// sensor is the camera behind the lens.
type sensor struct {
	exposure float64 // all light is multiplied by it; above 1 whites clip
	noise    float64 // standard deviation in 8-bit levels at mid-grey
	bits     int     // 8 or 16
	seed     uint64
}

// Shares of the noise's variance at mid-grey: the rest is read noise.
const shotShare = 0.8

// variance is the noise's variance at no light and what each unit of light
// adds, in linear light.
func (s sensor) variance() (read, shot float64) {
	slope := (optics.LinearToSRGB(midGrey+1e-6) - optics.LinearToSRGB(midGrey-1e-6)) / 2e-6
	sigma := s.noise / 255 / slope
	return sigma * sigma * (1 - shotShare), sigma * sigma * shotShare / midGrey
}

// sigma is the noise's standard deviation at a light.
func (s sensor) sigma(light float64) float64 {
	read, shot := s.variance()
	return math.Sqrt(read + shot*max(light, 0))
}

// picture adds exposure and noise, encodes and quantises. The noise's variance
// grows with the light as v = read + k*L (EMVA 1288's linear model); each row
// has its own stream of random numbers, so that rows can be drawn in parallel.
func (s sensor) picture(c *canvas) *part.Image {
	n := len(c.ch)
	im := &part.Image{W: c.w, H: c.h, C: n}
	if s.bits == 16 {
		im.Pix16 = make([]uint16, c.w*c.h*n)
	} else {
		im.Pix8 = make([]uint8, c.w*c.h*n)
	}
	table := encodeTable()
	r, k := s.variance()
	read, shot := float32(r), float32(k)
	gain := float32(s.exposure)
	rows(0, c.h, func(y int) {
		rng := rand.New(rand.NewPCG(s.seed, uint64(y)+0x5eed))
		for x := range c.w {
			for i := range n {
				v := c.ch[i][y*c.w+x] * gain
				if s.noise > 0 {
					v += float32(math.Sqrt(float64(read+shot*max(v, 0)))) * float32(rng.NormFloat64())
				}
				e := encode(table, v)
				if im.Pix16 != nil {
					im.Pix16[(y*c.w+x)*n+i] = uint16(e*65535 + 0.5)
				} else {
					im.Pix8[(y*c.w+x)*n+i] = uint8(e*255 + 0.5)
				}
			}
		}
	})
	return im
}

const tableSize = 1 << 16

// encodeTable is LinearToSRGB at even steps of linear light, made once and
// only read after. Between steps straight lines are good to 1e-7.
var encodeTable = sync.OnceValue(func() []float32 {
	t := make([]float32, tableSize+1)
	for i := range t {
		t[i] = float32(optics.LinearToSRGB(float64(i) / tableSize))
	}
	return t
})

func encode(t []float32, v float32) float32 {
	if !(v > 0) {
		return 0
	}
	if v >= 1 {
		return 1
	}
	f := v * tableSize
	i := int(f)
	return t[i] + (f-float32(i))*(t[i+1]-t[i])
}
