package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// FaceParams says how a pose of a faceplate is drawn under a dome and under
// raking light. Start from [DefaultFace], [SmallFace] or [DefaultPanel].
type FaceParams struct {
	W, H    int
	MMPerPX float64 // scale, > 0

	SizeMM               float64 // the faceplate's mean diameter
	Stretch              float64 // how much longer than high: 0.08 is 17 % (Face only)
	OffsetXPX, OffsetYPX float64 // the faceplate's middle off the picture's
	RimMM                float64 // width of the rounded rim's shading
	RingMM               float64 // the shell seen around the faceplate; 0: none

	Pattern  string     // plain (also ""), flake, granite, marble, wood, logo
	BaseRGB  [3]float64 // the faceplate's colour, linear light 0..1
	ShellRGB [3]float64
	Defects  []Defect
	Glare    bool // raking: lighter rim and four mirrored lamps along it

	LampMM            part.Box // a lamp's image in the dome's picture, mm from the faceplate's middle, were it smooth; 0: none
	BendMM            float64  // the faceplate's radius: a slope moves what is mirrored by it times so much; 0 counts as 30
	PeelSlope, PeelMM float64  // orange peel's rms slope and wavelength; 0: smooth

	Background  string  // dark (also "") or bright
	Vignette    float64 // relative loss of light in the picture's corners
	BlurSigmaPX float64
	NoiseSigma  float64 // read and shot noise, in 8-bit levels at mid-grey
	Exposure    float64 // 0 counts as 1
	Grey        bool    // one channel
	Bits        int     // 8 (also for 0) or 16
	JPEGQuality int     // 1..100: through JPEG and back (4:2:0 for colour; 8 bits then); 0: none
	Seed        uint64
}

// Defect is one defect to draw. XMM and YMM run right and down from the
// faceplate's middle (for a panel: the picture's). What a kind does not need
// is ignored; what it needs and is 0 gets a common value.
//
//   - bubble, crater: DiameterMM.
//   - dust: DiameterMM of the circle of the same area; Colour.
//   - fibre: LengthMM along the curve, WidthMM, AngleDeg of the chord, Colour.
//   - sanding: LengthMM, WidthMM of the patch, AngleDeg of its lines, Lines.
//   - run: LengthMM, WidthMM, AngleDeg.
//   - haze (Face, Shell): DiameterMM, where it has fallen to half.
//   - missed place (Face, Shell): LengthMM, WidthMM, AngleDeg.
//   - chip (Face): DiameterMM of the bite; its place is moved onto the faceplate's edge.
//
// AngleDeg is counter-clockwise from the picture's x axis. Strength 1 (also
// for 0) is common; less is fainter.
type Defect struct {
	Kind              part.Kind
	XMM, YMM          float64
	DiameterMM        float64
	LengthMM, WidthMM float64
	AngleDeg          float64
	Lines             int
	Colour            [3]float64 // linear light 0..1
	Strength          float64
}

// TruthDefect is a defect as drawn. Sizes are those of the shape before blur.
type TruthDefect struct {
	Kind              part.Kind
	XPX, YPX          float64  // where Defect put it
	Box               part.Box // of the shape, before blur
	DiameterMM        float64  // bubble, crater, dust, haze, chip; else 0
	LengthMM, WidthMM float64  // fibre, sanding, run, missed place; else 0
	AngleDeg          float64  // fibre, sanding, run, missed place: 0..180
	Lines             int      // sanding
	// Contrast over noise in each picture: the largest 3x3 mean of the blurred
	// difference that the defect makes, over the noise of a 3x3 mean there.
	// +Inf without noise. JPEG is left out.
	CNRDiffuse, CNRRaking float64
}

// FaceTruth is what a pose shows.
type FaceTruth struct {
	Outline []part.Point // the faceplate's edge, closed, 720 points; a panel's is the picture
	Defects []TruthDefect
}

// DefaultFace is a plain pale faceplate without defects, 1600x1200 at 15 um a
// pixel.
func DefaultFace() FaceParams {
	return FaceParams{
		W: 1600, H: 1200, MMPerPX: 0.015,
		SizeMM: 15, Stretch: 0.07, RimMM: 0.4, RingMM: 0.06,
		Pattern: "plain", BaseRGB: [3]float64{0.6, 0.6, 0.57}, ShellRGB: [3]float64{0.43, 0.055, 0.06},
		Glare: true, Vignette: 0.05, BlurSigmaPX: 0.75, NoiseSigma: 1.3, Exposure: 1, Bits: 8, Seed: 1,
	}
}

// SmallFace is a small faceplate, 800x600 at 15 um a pixel, for quick tests.
func SmallFace() FaceParams {
	p := DefaultFace()
	p.W, p.H, p.SizeMM = 800, 600, 7.6
	return p
}

// DefaultPanel is a flat panel, 1024x768 at 15 um a pixel, for [Panel].
func DefaultPanel() FaceParams {
	p := DefaultFace()
	p.W, p.H, p.Glare, p.RingMM, p.SizeMM = 1024, 768, false, 0, 10.5
	return p
}

// Face draws one pose of a faceplate under two lights. It panics on a size,
// scale, pattern or kind of defect that it cannot draw: parameters are written
// by a programmer.
func Face(p FaceParams) (diffuse, raking *part.Image, truth FaceTruth) {
	checkFace(p)
	return drawScene(newScene(p, newEgg(p)))
}

// Panel draws a flat lacquered panel: the surface fills the whole picture.
func Panel(p FaceParams) (diffuse, raking *part.Image, truth FaceTruth) {
	checkFace(p)
	return drawScene(newScene(p, nil))
}

func checkFace(p FaceParams) {
	if p.W <= 0 || p.H <= 0 || !(p.MMPerPX > 0) {
		panic("synth: a face picture needs a positive size and scale")
	}
	for _, d := range p.Defects {
		switch d.Kind {
		case part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run, part.Haze, part.Missed, part.Chip:
		default:
			panic("synth: no way to draw a defect of kind " + string(d.Kind))
		}
	}
}

func drawScene(sc *scene) (diffuse, raking *part.Image, truth FaceTruth) {
	p := sc.p
	sc.background()
	for i, d := range p.Defects {
		truth.Defects = append(truth.Defects, sc.defect(d, rand.New(rand.NewPCG(p.Seed, 0xdefec7+uint64(i)))))
	}
	if sc.egg != nil {
		truth.Outline = sc.egg.outline()
	} else {
		x, y := float64(p.W)-0.5, float64(p.H)-0.5
		truth.Outline = []part.Point{{X: -0.5, Y: -0.5}, {X: x, Y: -0.5}, {X: x, Y: y}, {X: -0.5, Y: y}}
	}
	var out [2]*part.Image
	for k, c := range sc.light {
		c.blur(p.BlurSigmaPX, area{0, 0, p.W, p.H})
		im := sc.sensor(uint64(k)).picture(c)
		if p.JPEGQuality > 0 {
			im = throughJPEG(im, p.JPEGQuality)
		}
		out[k] = im
	}
	return out[0], out[1], truth
}

// egg is the faceplate's outline in polar form about its middle, in pixels.
type egg struct {
	cx, cy float64
	r0     float64
	amp    [5]float64
	phase  [5]float64
	least  float64   // smallest radius
	most   float64   // largest radius
	table  []float64 // radius by angle
	slope  []float64 // and its derivative
}

const eggSteps = 4096

// newEgg superposes low harmonics on a circle, by the seed.
func newEgg(p FaceParams) *egg {
	rng := rand.New(rand.NewPCG(p.Seed, 0xe66))
	e := &egg{
		cx: float64(p.W-1)/2 + p.OffsetXPX, cy: float64(p.H-1)/2 + p.OffsetYPX,
		r0:    p.SizeMM / 2 / p.MMPerPX,
		amp:   [5]float64{0, 0.04, p.Stretch, 0.02, 0.008},
		least: math.Inf(1),
	}
	for k := range e.phase {
		e.phase[k] = 2 * math.Pi * rng.Float64()
	}
	e.phase[2] = 0.3 * (rng.Float64() - 0.5)
	e.table, e.slope = make([]float64, eggSteps+1), make([]float64, eggSteps+1)
	for i := range e.table {
		a := 2 * math.Pi * float64(i) / eggSteps
		r, dr := 1.0, 0.0
		for k := 1; k < 5; k++ {
			sin, cos := math.Sincos(float64(k)*a - e.phase[k])
			r += e.amp[k] * cos
			dr -= e.amp[k] * float64(k) * sin
		}
		e.table[i], e.slope[i] = e.r0*r, e.r0*dr
		e.least, e.most = min(e.least, e.r0*r), max(e.most, e.r0*r)
	}
	return e
}

// distance is the distance from the edge to a place in the picture, inside
// positive, with the normal that points inside and the angle about the middle.
func (e *egg) distance(x, y float64) (d, nx, ny, angle float64) {
	dx, dy := x-e.cx, y-e.cy
	r := math.Hypot(dx, dy)
	if r == 0 {
		return e.least, 1, 0, 0
	}
	angle = math.Atan2(dy, dx)
	t := angle / (2 * math.Pi) * eggSteps
	if t < 0 {
		t += eggSteps
	}
	i := min(int(t), eggSteps-1)
	f := t - float64(i)
	edge := e.table[i] + f*(e.table[i+1]-e.table[i])
	slope := (e.slope[i] + f*(e.slope[i+1]-e.slope[i])) / max(r, e.least/2)
	g := math.Sqrt(1 + slope*slope)
	// gradient of edge(angle) - r: -1 along r, slope across
	ur, vr := dx/r, dy/r
	nx, ny = (-ur-slope*vr)/g, (-vr+slope*ur)/g
	return (edge - r) / g, nx, ny, angle
}

func (e *egg) outline() []part.Point {
	var out []part.Point
	for i := range 720 {
		a := 2 * math.Pi * float64(i) / 720
		sin, cos := math.Sincos(a)
		t := float64(i) / 720 * eggSteps
		k := min(int(t), eggSteps-1)
		r := e.table[k] + (t-float64(k))*(e.table[k+1]-e.table[k])
		out = append(out, part.Point{X: e.cx + r*cos, Y: e.cy + r*sin})
	}
	return out
}
