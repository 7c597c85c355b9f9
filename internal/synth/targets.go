package synth

import (
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// TargetParams says how a picture of a flat target is drawn. Start from
// [DefaultTarget].
type TargetParams struct {
	W, H int // the picture, px
	// Map is where the picture has a point of the target, from mm (x right, y
	// down) to px. It must be smooth. [Flat] and [Tilted] make one.
	Map func(xMM, yMM float64) part.Point

	Dark, Light float64 // linear light of print and ground, 0..1
	Negative    bool    // light print on a dark ground
	Gradient    float64 // relative change of the light from left to right

	BlurSigmaPX float64
	NoiseSigma  float64 // in 8-bit levels at mid-grey
	Bits        int     // 8 (also for 0) or 16
	JPEGQuality int     // 0: not through JPEG
	Grey        bool    // one channel
	Seed        uint64
}

// DefaultTarget is a sharp picture of 800x600 with little noise; Map is still
// to be set.
func DefaultTarget() TargetParams {
	return TargetParams{W: 800, H: 600, Dark: 0.03, Light: 0.7, BlurSigmaPX: 0.8, NoiseSigma: 1, Grey: true, Seed: 1}
}

// Flat maps a target held square to the camera: mmPerPX, the target's point
// 0, 0 at the pixel origin, turned by deg clockwise as seen.
func Flat(mmPerPX float64, origin part.Point, deg float64) func(x, y float64) part.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return func(x, y float64) part.Point {
		return part.Point{X: origin.X + (x*cos-y*sin)/mmPerPX, Y: origin.Y + (x*sin+y*cos)/mmPerPX}
	}
}

// Placement is where a target stands before the camera: its point at XMM, YMM lies
// on the axis at DistanceMM, and it is turned there about the picture's x axis,
// then its y axis, then its normal.
type Placement struct {
	XMM, YMM, DistanceMM           float64
	AboutXDeg, AboutYDeg, AboutDeg float64
}

// Tilted maps a target in a pose through a lens.
func Tilted(l optics.Lens, p Placement) func(x, y float64) part.Point {
	sx, cx := math.Sincos(p.AboutXDeg * math.Pi / 180)
	sy, cy := math.Sincos(p.AboutYDeg * math.Pi / 180)
	sz, cz := math.Sincos(p.AboutDeg * math.Pi / 180)
	return func(x, y float64) part.Point {
		x, y = x-p.XMM, y-p.YMM
		x, y = x*cz-y*sz, x*sz+y*cz
		y, z := y*cx, y*sx
		x, z = x*cy+z*sy, -x*sy+z*cy
		z += p.DistanceMM
		return l.DistortPX(part.Point{X: l.FX*x/z + l.CX, Y: l.FY*y/z + l.CY})
	}
}

// Chessboard draws a board of cols x rows inner corners, the first at 0, 0; the
// square that ends there is dark. So are the other squares of its colour.
func Chessboard(p TargetParams, cols, rows int, pitchMM float64) *part.Image {
	t := newTargetCanvas(p)
	for r := -1; r < rows; r++ {
		for c := -1; c < cols; c++ {
			if (r+c)%2 == 0 {
				t.rectangle(float64(c)*pitchMM, float64(r)*pitchMM, pitchMM, pitchMM)
			}
		}
	}
	return t.picture()
}

// Dots draws a dot grid: dots or asymmetric-dots, the first dot's middle at
// 0, 0 (see [DotPlace]). Where leaveOut is not nil and says so, a dot is not
// drawn.
func Dots(p TargetParams, spec optics.Target, leaveOut func(col, row int) bool) *part.Image {
	t := newTargetCanvas(p)
	for r := range spec.Rows {
		for c := range spec.Cols {
			if leaveOut != nil && leaveOut(c, r) {
				continue
			}
			x, y := DotPlace(spec, c, r)
			t.disc(x, y, spec.DiameterMM)
		}
	}
	return t.picture()
}

// DotPlace is where a dot's middle lies on the target, mm: in a plain grid one
// pitch apart; in an asymmetric one PitchMM apart along a row, each odd row half
// a pitch further right, rows half a pitch apart.
func DotPlace(spec optics.Target, col, row int) (x, y float64) {
	if spec.Kind == "asymmetric-dots" {
		return (float64(col) + 0.5*float64(row%2)) * spec.PitchMM, 0.5 * float64(row) * spec.PitchMM
	}
	return float64(col) * spec.PitchMM, float64(row) * spec.PitchMM
}

// Ruler draws n ticks along x, the first one's middle at x = 0, widthMM wide and
// lengthMM long downwards from y = 0; each fifth is 1.4 and each tenth 1.8 times
// as long. Ticks that leaveOut names are not drawn.
func Ruler(p TargetParams, n int, pitchMM, widthMM, lengthMM float64, leaveOut func(i int) bool) *part.Image {
	t := newTargetCanvas(p)
	for i := range n {
		if leaveOut != nil && leaveOut(i) {
			continue
		}
		long := lengthMM
		switch {
		case i%10 == 0:
			long *= 1.8
		case i%5 == 0:
			long *= 1.4
		}
		t.rectangle(float64(i)*pitchMM-widthMM/2, 0, widthMM, long)
	}
	return t.picture()
}

// Disc draws one disc around 0, 0.
func Disc(p TargetParams, diameterMM float64) *part.Image {
	t := newTargetCanvas(p)
	t.disc(0, 0, diameterMM)
	return t.picture()
}

// Bar draws a pin seen from the side: widthMM across x around x = 0, lengthMM
// along y around y = 0.
func Bar(p TargetParams, widthMM, lengthMM float64) *part.Image {
	t := newTargetCanvas(p)
	t.rectangle(-widthMM/2, -lengthMM/2, widthMM, lengthMM)
	return t.picture()
}

// targetCanvas gathers which share of each pixel is print.
type targetCanvas struct {
	p     TargetParams
	share []float32
}

func newTargetCanvas(p TargetParams) *targetCanvas {
	if p.W <= 0 || p.H <= 0 || p.Map == nil {
		panic("synth: a target's picture needs a positive size and a Map")
	}
	return &targetCanvas{p: p, share: make([]float32, p.W*p.H)}
}

// Points along a side and around a disc. A side bent by a lens is off by the
// square of one part of it; the disc's polygon has the disc's area.
const (
	sideSteps = 24
	discSteps = 360
)

func (t *targetCanvas) rectangle(x, y, w, h float64) {
	var out []part.Point
	corners := [4][2]float64{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}
	for i, a := range corners {
		b := corners[(i+1)%4]
		for k := range sideSteps {
			f := float64(k) / sideSteps
			out = append(out, t.p.Map(a[0]+f*(b[0]-a[0]), a[1]+f*(b[1]-a[1])))
		}
	}
	fill(t.share, t.p.W, t.p.H, out)
}

func (t *targetCanvas) disc(x, y, diameter float64) {
	step := 2 * math.Pi / discSteps
	r := diameter / 2 * math.Sqrt(step/math.Sin(step))
	out := make([]part.Point, discSteps)
	for i := range out {
		sin, cos := math.Sincos(float64(i) * step)
		out[i] = t.p.Map(x+r*cos, y+r*sin)
	}
	fill(t.share, t.p.W, t.p.H, out)
}

func (t *targetCanvas) picture() *part.Image {
	p := t.p
	ground, print := p.Light, p.Dark
	if p.Negative {
		ground, print = print, ground
	}
	c := newCanvas(p.W, p.H, p.Grey)
	for _, ch := range c.ch {
		for i := range ch {
			lit := 1 + p.Gradient*(float64(i%p.W)/float64(p.W)-0.5)
			ch[i] = float32(lit * (ground + (print-ground)*float64(min(t.share[i], 1))))
		}
	}
	c.blur(p.BlurSigmaPX, area{0, 0, p.W, p.H})
	im := sensor{exposure: 1, noise: p.NoiseSigma, bits: p.Bits, seed: p.Seed}.picture(c)
	if p.JPEGQuality > 0 {
		im = throughJPEG(im, p.JPEGQuality)
	}
	return im
}
