package synth

import (
	"math"
	"math/rand/v2"
	"slices"

	"finishbench/internal/part"
)

// ShellParams says how one turn of a unit is drawn as a telecentric camera sees it from the
// side, faceplate up, under a diffuse and a raking light. Start from [DefaultShell],
// [RoundShell] or [SeeThroughShell].
//
// The shell is R(angle) times a profile of the depth below the seam: a closed outline of
// second and third order about the axis, which narrows towards the bottom as a superellipse.
type ShellParams struct {
	W, H    int
	MMPerPX float64 // scale, > 0
	TurnDeg float64 // the unit is turned so far about its axis: what is seen moves to the right as it grows

	RadiusMM         float64 // the outline's mean radius
	Oval, Third      float64 // the outline's second and third order, relative to it: 0 and 0 is a circle
	DepthMM          float64 // from the seam to the bottom
	Bowl             float64 // the superellipse's exponent: 2 (also for 0) is an ellipsoid, more is squarer
	Straight         bool    // a cylinder instead: the outline stays the same down to DepthMM
	ThicknessMM      float64 // of the faceplate
	StepMM           float64 // the faceplate stands proud by so much
	GlueMM           float64 // width of the visible glue line below the faceplate
	StemMM           float64 // radius of the holder's stem; 0: none
	AxisXPX, SeamYPX float64 // where axis and seam lie in the picture; 0: its middle, a quarter of its height

	Resin    string // opaque (also ""), tinted or clear
	WallMM   float64
	Boxes    int // parts inside a see-through shell
	Wires    int
	ShellRGB [3]float64 // linear light 0..1; a tinted resin's colour through a millimetre
	FaceRGB  [3]float64

	Rig    string // what lights the diffuse picture: dome (also ""), ring, panels or window
	Lamps  int    // lamps of the raking light; 0 counts as 4
	Ground string // dark (also ""), grey or cloth

	PeelSlope float64 // orange peel's rms slope over the whole shell; 0: smooth
	PeelMM    float64 // and its wavelength
	Marks     []ShellMark

	BlurSigmaPX float64
	NoiseSigma  float64 // in 8-bit levels at mid-grey
	Exposure    float64 // 0 counts as 1
	Grey        bool
	Bits        int // 8 (also for 0) or 16
	Seed        uint64
}

// ShellMark is a [Defect] on the shell. XMM and YMM are not used: with the unit turned by
// TurnDeg it lies on the axis' line in the picture, BelowMM below the seam. Sizes are those in
// the plane that touches the shell there; AngleDeg is as seen from outside. Besides Face's kinds:
//
//   - missed place: LengthMM, WidthMM, AngleDeg. No gloss, and an edge of lacquer around it.
//   - haze: DiameterMM, where it has fallen to half. Dull, paler, without an edge.
//   - run: AngleDeg 0 counts as 90, down; the drop lies at the lower end.
type ShellMark struct {
	TurnDeg, BelowMM float64
	Defect
}

// TruthMark is a mark as it shows in one turn.
type TruthMark struct {
	ShellMark          // with the sizes that were drawn
	XPX, YPX  float64  // its middle
	Box       part.Box // of the shape where it shows, before blur; empty where nothing of it does
	AreaMM2   float64  // on the surface, of what shows
	SlopeDeg  float64  // between the surface's normal and the camera: over 90 it lies on the other side
	Visible   bool     // its middle is turned towards the camera and lies in the picture
	// Contrast over noise as in TruthDefect, against the same surface without marks.
	CNRDiffuse, CNRRaking float64
}

// TruthInside is a part inside a see-through shell: nothing to be called.
type TruthInside struct {
	Name string // box or wire
	Box  part.Box
	Seen bool // some of it shows
}

// ShellTruth is what one turn shows. Y runs down the picture.
type ShellTruth struct {
	AxisXPX, SeamYPX float64
	Outline          []part.Point // silhouette of faceplate and shell, closed, without holder
	Marks            []TruthMark  // in the order of ShellParams.Marks, seen or not
	Inside           []TruthInside
	body             *shellBody
}

// DefaultShell is an opaque oval shell without marks, 1000x750 at 27 um a pixel.
func DefaultShell() ShellParams {
	return ShellParams{
		W: 1000, H: 750, MMPerPX: 0.027,
		RadiusMM: 7.6, Oval: 0.06, Third: 0.02, DepthMM: 8.5, Bowl: 2.4, ThicknessMM: 1.2, GlueMM: 0.035, StemMM: 1.6,
		WallMM: 1, ShellRGB: [3]float64{0.43, 0.055, 0.06}, FaceRGB: [3]float64{0.6, 0.6, 0.57}, Ground: "grey",
		BlurSigmaPX: 0.75, NoiseSigma: 1.3, Exposure: 1, Bits: 8, Seed: 1,
	}
}

// RoundShell is a half ball below a disc, for closed forms: a sphere's normals and areas.
func RoundShell() ShellParams {
	p := DefaultShell()
	p.Oval, p.Third, p.Bowl, p.DepthMM = 0, 0, 2, p.RadiusMM
	return p
}

// SeeThroughShell is a clear shell with two boxes and two wires inside.
func SeeThroughShell() ShellParams {
	p := DefaultShell()
	p.Resin, p.Boxes, p.Wires = "clear", 2, 2
	p.ShellRGB = [3]float64{0.97, 0.97, 0.97}
	return p
}

// Shell draws one turn under two lights. The body, the parts inside and what each mark looks
// like follow from Seed alone, so that other turns show the same unit; only the noise differs.
// It panics on what it cannot draw: parameters are written by a programmer.
func Shell(p ShellParams) (diffuse, raking *part.Image, truth ShellTruth) {
	p = checkShell(p)
	s := newShellScene(p)
	rows(0, p.H, s.row)
	truth = s.truth()
	var out [2]*part.Image
	for k, c := range s.light {
		c.blur(p.BlurSigmaPX, area{0, 0, p.W, p.H})
		s.without[k].blur(p.BlurSigmaPX, s.marked)
		turn := uint64(math.Float64bits(p.TurnDeg))
		sen := sensor{exposure: p.Exposure, noise: p.NoiseSigma, bits: p.Bits, seed: (2*p.Seed+uint64(k))*0x9e3779b97f4a7c15 ^ turn}
		for i := range truth.Marks {
			t := &truth.Marks[i]
			cnr := s.contrast(k, sen, t.Box)
			if k == dome {
				t.CNRDiffuse = cnr
			} else {
				t.CNRRaking = cnr
			}
		}
		out[k] = sen.picture(c)
	}
	return out[0], out[1], truth
}

func checkShell(p ShellParams) ShellParams {
	if p.W <= 0 || p.H <= 0 || !(p.MMPerPX > 0) || !(p.RadiusMM > 0) || !(p.DepthMM > 0) {
		panic("synth: a shell picture needs a positive size, scale, radius and depth")
	}
	if !slices.Contains([]string{"", "opaque", "tinted", "clear"}, p.Resin) ||
		!slices.Contains([]string{"", "dome", "ring", "panels", "window"}, p.Rig) ||
		!slices.Contains([]string{"", "dark", "grey", "cloth"}, p.Ground) {
		panic("synth: no such resin, rig or ground: " + p.Resin + ", " + p.Rig + ", " + p.Ground)
	}
	if p.Bowl == 0 {
		p.Bowl = 2
	}
	if p.Exposure == 0 {
		p.Exposure = 1
	}
	if p.AxisXPX == 0 {
		p.AxisXPX = float64(p.W-1) / 2
	}
	if p.SeamYPX == 0 {
		p.SeamYPX = float64(p.H) / 4
	}
	if p.Lamps == 0 {
		p.Lamps = 4
	}
	if p.WallMM == 0 {
		p.WallMM = 1
	}
	return p
}

// RandomMarks scatters marks of each kind over the whole shell that p describes, between 0.8 mm
// below the seam and where the profile has narrowed to half, in common sizes. They do not
// touch each other; one that finds no free place after 2000 tries is left out.
func RandomMarks(p ShellParams, n map[part.Kind]int, seed uint64) []ShellMark {
	p = checkShell(p)
	rng := rand.New(rand.NewPCG(seed, 0x5be11))
	b := newShellBody(p)
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	var out []ShellMark
	for _, kind := range part.Kinds {
		for range n[kind] {
			m := ShellMark{Defect: Defect{Kind: kind, Strength: 1, AngleDeg: 180 * rng.Float64()}}
			switch kind {
			case part.Bubble:
				m.DiameterMM = between(0.1, 0.4)
			case part.Dust:
				m.DiameterMM = between(0.1, 0.35)
				m.Colour = dustColours[rng.IntN(len(dustColours))]
			case part.Fibre:
				m.LengthMM, m.WidthMM = between(0.6, 2.5), between(0.015, 0.03)
				m.Colour = fibreColours[rng.IntN(len(fibreColours))]
			case part.Sanding:
				m.LengthMM, m.WidthMM = between(1.2, 3), between(0.4, 1.3)
				m.Lines = 5 + int(m.WidthMM*between(3, 9))
			case part.Crater:
				m.DiameterMM = between(0.3, 0.9)
			case part.Run:
				m.LengthMM, m.WidthMM, m.AngleDeg = between(1.5, 4), between(0.5, 1), between(80, 100)
			case part.Missed:
				m.LengthMM, m.WidthMM = between(0.9, 2.2), between(0.6, 1.4)
			case part.Haze:
				m.DiameterMM = between(1, 2.5)
			default:
				panic("synth: no way to draw a mark of kind " + string(kind))
			}
			for range 2000 {
				m.TurnDeg, m.BelowMM = 360*rng.Float64(), between(0.8+m.radius(), p.DepthMM)
				if w, _ := b.profile(m.BelowMM); w > 0.5 && m.BelowMM+m.radius() < 0.95*p.DepthMM && b.free(m, out) {
					out = append(out, m)
					break
				}
			}
		}
	}
	return out
}

// free says whether a mark keeps clear of the others.
func (b *shellBody) free(m ShellMark, others []ShellMark) bool {
	at := b.place(m.TurnDeg, m.BelowMM)
	for _, o := range others {
		if d := b.place(o.TurnDeg, o.BelowMM).pos.minus(at.pos); d.length() < m.radius()+o.radius()+0.3 {
			return false
		}
	}
	return true
}
