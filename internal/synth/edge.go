package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// EdgeParams says how an edge picture is drawn. Lengths end in MM or UM on the
// unit, in PX in the picture. Start from [DefaultEdge] or [SmallEdge].
//
// The unit stands with its axis upright in the picture's middle, faceplate
// above. Left and right are as seen in the picture. The seam's height is where
// the shell's wall starts.
type EdgeParams struct {
	W, H    int     // the picture, in pixels
	MMPerPX float64 // scale, > 0

	StepLeftUM, StepRightUM float64 // + proud: the faceplate stands out beyond the shell
	BeadLeftUM, BeadRightUM float64 // glue bead's height above the walls; 0: none
	BeadSigmaMM             float64 // the bead is a Gaussian bump of this sigma along the wall
	GapMM, GapDepthUM       float64 // groove at the seam, width and depth; 0: none
	BlendMM                 float64 // full width of the smooth ramp between the two walls, middle at the seam

	WidthMM     float64 // of the shell at the seam
	ThicknessMM float64 // of the faceplate
	DepthMM     float64 // of the shell below the seam
	RimMM       float64 // radius of the faceplate's rim
	BulgeSlope  float64 // how much the shell widens per length just below the seam, each side
	FaceSlope   float64 // how much the faceplate narrows per length upwards, each side

	TiltDeg       float64      // turns everything about the picture's middle, clockwise as seen
	BowPX         float64      // the seam's sag in the unit's middle against its ends, towards the shell: half an ellipse
	SeamTiltPX    float64      // the seam's right end lies this much further down the shell than its left end
	OffsetXPX     float64      // unit off the picture's middle
	OffsetYPX     float64      //
	FaceplateDown bool         // the unit stands on its head
	NoUnit        bool         // panel only
	AlsoAt        []part.Point // more units, off the first by so many pixels

	ShellRGB, FaceRGB [3]float64 // linear light, 0..1, where lit best
	SameColour        bool       // the shell has the faceplate's colour
	GlueLine          bool       // a thin dark line along the seam
	Grain             bool       // streaks and grains in the faceplate's wall
	WitnessMarks      int        // fine lines on the shell, level with the seam, 0.5 to 3 mm below it
	Highlights        int        // upright reflections on the faceplate's wall
	Holder            bool       // a dark stem below the shell
	Grazing           float64    // share of the panel's light mirrored at the very limb, 0..1
	Flat              bool       // no shading: the unit is black on an even background

	DarkPanel     bool    // the panel is off: dark background, light from the front
	PanelLevel    float64 // the lit panel's linear light, 0..1
	PanelGradient float64 // relative change of the panel's light from left to right
	PanelDirt     int     // specks on the panel, out of focus
	Vignette      float64 // relative loss of light in the picture's corners

	BlurSigmaPX float64 // lens blur
	MotionPX    float64 // movement during exposure, length
	MotionDeg   float64 // and direction, clockwise from the x axis as seen
	Exposure    float64 // all light is multiplied by it; 0 counts as 1
	NoiseSigma  float64 // read and shot noise together, in 8-bit levels at mid-grey
	Grey        bool    // one channel
	Bits        int     // 8 (also for 0) or 16
	Seed        uint64
}

// DefaultEdge is a clean flush unit on a lit panel, 1600x1200 at 15 um a pixel.
func DefaultEdge() EdgeParams {
	return EdgeParams{
		W: 1600, H: 1200, MMPerPX: 0.015,
		BeadSigmaMM: 0.1, BlendMM: 0.06,
		WidthMM: 15, ThicknessMM: 1.3, DepthMM: 8.5, RimMM: 0.12, BulgeSlope: 0.04,
		ShellRGB: [3]float64{0.43, 0.055, 0.06}, FaceRGB: [3]float64{0.6, 0.6, 0.57},
		GlueLine: true, WitnessMarks: 1, Highlights: 6, Holder: true,
		PanelLevel: 0.88, Vignette: 0.06,
		BlurSigmaPX: 0.8, Exposure: 1, NoiseSigma: 1.5, Bits: 8, Seed: 1,
	}
}

// SmallEdge is DefaultEdge at 800x600 and 25 um a pixel, for quick tests.
func SmallEdge() EdgeParams {
	p := DefaultEdge()
	p.W, p.H, p.MMPerPX = 800, 600, 0.025
	return p
}

// EdgeStation is the truth at one limb.
type EdgeStation struct {
	StepUM   float64 // square to the unit's axis, at the seam's height; + proud
	XPX, YPX float64 // where the seam meets the limb, half-way between the two walls
	BeadUM   float64
	GapUM    float64 // depth of the groove
}

// EdgeTruth is what an edge picture shows.
type EdgeTruth struct {
	Left, Right EdgeStation
	// SeamY is the seam's height in the picture at column x, and NaN beside
	// the unit.
	SeamY       func(x float64) float64
	Seam        []part.Point // the same, 33 points from the left limb to the right
	Outline     []part.Point // the silhouette without holder, closed, about one point a pixel
	BlurSigmaPX float64
}

// Edge draws an edge picture. It panics where the size or scale is not
// positive: parameters are written by a programmer.
func Edge(p EdgeParams) (*part.Image, EdgeTruth) {
	if p.W <= 0 || p.H <= 0 || !(p.MMPerPX > 0) {
		panic("synth: an edge picture needs a positive size and scale")
	}
	if p.SameColour {
		p.ShellRGB = p.FaceRGB
	}
	if p.Exposure == 0 {
		p.Exposure = 1
	}
	c := newCanvas(p.W, p.H, p.Grey)
	drawPanel(c, p)
	s := newEdgeShape(p)
	truth := s.truth()
	if !p.NoUnit {
		drawUnit(c, p, s, 0)
	}
	box := s.extent()
	for i, off := range p.AlsoAt {
		q := p
		q.OffsetXPX += off.X
		q.OffsetYPX += off.Y
		o := newEdgeShape(q)
		drawUnit(c, q, o, uint64(i)+1)
		b := o.extent()
		box = area{min(box.x0, b.x0), min(box.y0, b.y0), max(box.x1, b.x1), max(box.y1, b.y1)}
	}
	// The panel alone is smooth: blur changes it only by what no one can see.
	c.blur(p.BlurSigmaPX, box)
	c.move(p.MotionPX, p.MotionDeg, box)
	sen := sensor{exposure: p.Exposure, noise: p.NoiseSigma, bits: p.Bits, seed: p.Seed}
	return sen.picture(c), truth
}

// drawPanel fills the background.
func drawPanel(c *canvas, p EdgeParams) {
	level := p.PanelLevel
	if p.DarkPanel {
		level = 0.004
	}
	cx, cy := float64(p.W-1)/2, float64(p.H-1)/2
	r2 := cx*cx + cy*cy + 1
	rows(0, p.H, func(y int) {
		dy := float64(y) - cy
		for x := range p.W {
			dx := float64(x) - cx
			v := level
			if !p.Flat {
				v *= (1 - p.Vignette*(dx*dx+dy*dy)/r2) * (1 + p.PanelGradient*dx/float64(p.W))
			}
			for _, ch := range c.ch {
				ch[y*p.W+x] = float32(v)
			}
		}
	})
	rng := rand.New(rand.NewPCG(p.Seed, 0xd127))
	for range p.PanelDirt {
		x, y := rng.Float64()*float64(p.W), rng.Float64()*float64(p.H)
		sigma := (0.05 + 0.2*rng.Float64()) / p.MMPerPX
		depth := 0.02 + 0.1*rng.Float64()
		a := area{int(x - 4*sigma), int(y - 4*sigma), int(x+4*sigma) + 1, int(y+4*sigma) + 1}.clip(p.W, p.H)
		for yy := a.y0; yy < a.y1; yy++ {
			for xx := a.x0; xx < a.x1; xx++ {
				r := (float64(xx)-x)*(float64(xx)-x) + (float64(yy)-y)*(float64(yy)-y)
				f := float32(1 - depth*math.Exp(-r/(2*sigma*sigma)))
				for _, ch := range c.ch {
					ch[yy*p.W+xx] *= f
				}
			}
		}
	}
}
