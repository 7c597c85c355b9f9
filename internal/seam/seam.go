package seam

import (
	"fmt"
	"math"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Params says what must be known to measure an edge picture.
type Params struct {
	MMPerPX              float64 // scale, mm per pixel (> 0)
	URelScale            float64 // relative standard uncertainty of the scale (>= 0)
	FaceplateThicknessMM float64 // 0: unknown; used only where the seam cannot be seen
	Linear               bool    // samples are linear light, not sRGB-encoded

	// Undistort gives where a lens without distortion would have a place of the
	// picture; nil: no distortion is taken off. MMPerPX is then the scale of such
	// a lens. Only the outline's points are moved, never the picture.
	Undistort func(part.Point) part.Point

	Camera Camera // where the lens stands; the zero value: not known
}

// DefaultParams are the parameters for a scale alone: 0.2 % uncertainty of the
// scale (common practice for a scale taken from a ruled target, no source),
// faceplate thickness unknown, sRGB-encoded samples.
func DefaultParams(mmPerPX float64) Params {
	return Params{MMPerPX: mmPerPX, URelScale: 0.002}
}

// Measurement is what an edge picture says about the seam.
type Measurement struct {
	Stations    [2]part.StepStation // left, then right; also where not measured
	SeamLine    []part.Point        // followed seam from limb to limb, for drawing; empty where not found
	Outline     [][]part.Point      // fitted limbs beside the seam, for drawing
	EdgeWidthPX float64             // 10-90 % width of the limbs' edge in pixels, along the normal; NaN if not measured
	Stance      Stance              // how the unit stands before the camera
}

// Scales for which the lengths in mm above span enough pixels and fit a frame.
const (
	minMMPerPX = 0.001
	maxMMPerPX = 0.1
)

// Measure finds the seam in an edge picture and measures the step at both
// limbs. It never fails: what could not be measured is a station in the state
// not_measured with a reason, its numbers nil.
//
// StepUM is the distance of the faceplate's and the shell's outline, both
// carried to the seam's height, along the outline's normal; positive where the
// faceplate stands out. UUM is its standard uncertainty (k = 1) by JCGM
// 100:2008 (GUM), 5.1.2: the parts are taken as independent and added as
// squares. XPX, YPX is where the seam meets the shell's outline.
func Measure(im *part.Image, shot part.Shot, p Params) Measurement {
	m := Measurement{EdgeWidthPX: math.NaN(), Stance: noStance()}
	for i, s := range [2]part.Side{part.Left, part.Right} {
		m.Stations[i] = part.StepStation{Image: shot.File, AngleDeg: shot.AngleDeg, Side: s, State: part.Unmeasured}
	}
	refuse := func(reason part.Phrase) Measurement {
		for i := range m.Stations {
			unmeasured(&m.Stations[i], reason)
		}
		return m
	}
	if err := im.Validate(); err != nil {
		return refuse(part.Say("seam.why.damaged"))
	}
	if !(p.MMPerPX >= minMMPerPX && p.MMPerPX <= maxMMPerPX) {
		return refuse(part.Say("seam.why.scale", "mm_per_px", fmt.Sprintf("%g", p.MMPerPX), "least_mm_per_px",
			fmt.Sprintf("%g", minMMPerPX),
			"most_mm_per_px", fmt.Sprintf("%g", maxMMPerPX)))
	}
	if !(p.URelScale >= 0 && p.URelScale < 1) {
		return refuse(part.Say("seam.why.u_scale"))
	}
	l := newLight(im, p.Linear)
	sil, reason := findSilhouette(l, p.MMPerPX)
	if reason.Key != "" {
		return refuse(reason)
	}
	seam, reason := findSeam(l, &sil, p)
	if reason.Key != "" {
		return refuse(reason)
	}
	var widths []float64
	var ends, off [2]float64
	var limbs [2]*limb
	var cannot [2]part.Phrase
	for i := range limbs {
		limbs[i], cannot[i] = openLimb(l, &sil, &seam, i == 1, p)
	}
	if cannot[0].Key == "" && cannot[1].Key == "" {
		seam.refine(l, limbs, p)
	}
	if seam.closed != nil {
		m.Stance = seam.closed.stance(im.W, im.H, p)
	}
	for i := range m.Stations {
		r := limbResult{reason: cannot[i]}
		if r.reason.Key == "" {
			r = limbs[i].measureStep(&seam, p)
		}
		if r.reason.Key != "" {
			unmeasured(&m.Stations[i], r.reason)
			ends[i] = float64(sil.x0)
			if i == 1 {
				ends[i] = float64(sil.x1)
			}
			continue
		}
		if d := m.Stance.doubt(r.budget.CombinedUM, r.levelUM); d.Key != "" {
			r.warnings = append(r.warnings, d)
		}
		r.fill(&m.Stations[i], &seam)
		m.Outline = append(m.Outline, r.outline...)
		widths = append(widths, widthPerSigma*r.sigma)
		ends[i], off[i] = r.x, r.y-seam.at(r.x)
	}
	m.EdgeWidthPX = mean(widths)
	m.SeamLine = seam.line(ends, off)
	return m
}

// unmeasured says why a station was not measured.
func unmeasured(s *part.StepStation, why part.Phrase) {
	s.Reason, s.ReasonPhrase = lang.English().Say(&why), &why
}

// widthPerSigma is the 10-90 % width of an edge blurred by a Gaussian, in
// standard deviations: 2 * 1.2816.
const widthPerSigma = 2.5631

func mean(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

// findSeam looks for the seam from the straighter end of the silhouette and,
// where that end is not plainly the faceplate's, from the other one too.
func findSeam(l *light, sil *silhouette, p Params) (seamCurve, part.Phrase) {
	type end struct {
		e   outlineEnd
		dir float64
	}
	ends := []end{{sil.top, 1}, {sil.bot, -1}}
	if sil.bot.straight > sil.top.straight {
		ends[0], ends[1] = ends[1], ends[0]
	}
	const plain = 0.25 // by this share of columns the one end is straighter
	n := 1
	if ends[0].e.straight-ends[1].e.straight < plain {
		n = 2
	}
	var best seamCurve
	found := false
	for _, e := range ends[:n] {
		if s, ok := follow(l, sil, e.e, e.dir, p.MMPerPX); ok && (!found || s.score > best.score) {
			best, found = s, true
		}
	}
	if found {
		return best, part.Phrase{}
	}
	return hiddenSeam(l, sil, ends[0].e, ends[0].dir, p)
}

// line returns the seam's points between two columns for drawing. The limbs
// tell the seam's height on their own too: off is by how much they lie lower
// than the curve.
func (s *seamCurve) line(ends, off [2]float64) []part.Point {
	const n = 33
	pts := make([]part.Point, n)
	for i := range pts {
		f := float64(i) / (n - 1)
		x := ends[0] + (ends[1]-ends[0])*f
		pts[i] = part.Point{X: x, Y: s.at(x) + off[0]*(1-f) + off[1]*f}
	}
	return pts
}

// limbResult is what one limb gave.
type limbResult struct {
	reason   part.Phrase // no key: measured
	step     float64     // um
	gap      float64     // um
	bead     float64     // um
	x, y     float64     // pixels
	sigma    float64     // pixels
	outline  [][]part.Point
	warnings []part.Phrase
	budget   part.Budget
	levelUM  float64 // what the step's standard uncertainty would be if the seam were seen edge on
}

func (r *limbResult) fill(s *part.StepStation, seam *seamCurve) {
	s.State = part.Measured
	s.StepUM, s.UUM = part.Num(r.step), part.Num(r.budget.CombinedUM)
	s.GapUM, s.BeadUM = part.Num(r.gap), part.Num(r.bead)
	s.XPX, s.YPX = part.Num(r.x), part.Num(r.y)
	s.SeamFrom, s.WarningPhrases, s.Warnings = seam.from, r.warnings, lang.English().SayAll(r.warnings)
	s.Budget = named(r.budget, s)
}

// openLimb traces a limb around the seam and finds where the two meet. It returns
// the reason where it cannot.
func openLimb(l *light, sil *silhouette, seam *seamCurve, mirrored bool, p Params) (*limb, part.Phrase) {
	b := &limb{l: l, sil: sil, mirrored: mirrored, mm: p.MMPerPX, dir: seam.dir, undistort: p.Undistort, cos: 1}
	x, i := float64(sil.x0), 0
	if mirrored {
		x, i = float64(sil.x1), 1
	}
	y := seam.at(x)
	if !(y > 0 && y < float64(l.h-1)) {
		return b, part.Say("seam.why.outside")
	}
	faceReach := (faceMaxMM + blendMaxMM) / p.MMPerPX
	if end := sil.top; seam.dir < 0 {
		end = sil.bot
		faceReach = min(faceReach, end.y(x)-y)
	} else {
		faceReach = min(faceReach, y-end.y(x))
	}
	shellReach := (shellMaxMM + blendMaxMM) / p.MMPerPX
	y0, y1 := y-faceReach, y+shellReach
	if seam.dir < 0 {
		y0, y1 = y-shellReach, y+faceReach
	}
	if reason := b.trace(int(y0)-1, int(y1)+1); reason.Key != "" {
		return b, reason
	}
	seam.row[i], seam.uRow[i] = b.seamAt(seam, y), math.Hypot(seam.u, unfittedShare*seam.sag())
	return b, part.Phrase{}
}

// halfMM is half the unit's width at the seam.
func (s *seamCurve) halfMM(mmPerPX float64) float64 {
	if s.closed != nil {
		return s.closed.half * mmPerPX
	}
	return (s.x1 - s.x0) / 2 * mmPerPX
}

// unfittedShare is how far a seam that bows may lie off at a limb, as a share of its
// sag, where the bow is carried on as a parabola: a half ellipse and the parabola through its
// middle 90 % differ by so much (reckoned).
const unfittedShare = 0.35

// sag is by how much the followed curve bows, in pixels.
func (s *seamCurve) sag() float64 {
	return s.curve.at((s.x0+s.x1)/2) - (s.curve.at(s.x0)+s.curve.at(s.x1))/2
}

// measureStep measures the step at a limb.
func (b *limb) measureStep(seam *seamCurve, p Params) (r limbResult) {
	i := 0
	if b.mirrored {
		i = 1
	}
	y, uY := seam.row[i], seam.uRow[i]
	if k := seam.closed; k != nil {
		b.cos, b.sin = k.cos, k.sin
	}
	face := side{name: "faceplate", sign: -1, degree: 1, startMM: faceStartMM, maxMM: faceMaxMM}
	shell := side{name: "shell", sign: 1, degree: 2, curved: true, startMM: shellStart, maxMM: shellMaxMM}
	for _, s := range [2]*side{&face, &shell} {
		if r.reason = b.extent(s, y); r.reason.Key != "" {
			return r
		}
	}
	if ny, uNotch, ok := b.notch(&face, &shell, y); ok {
		y, uY = weighted(y, uY, ny, uNotch)
		for _, s := range [2]*side{&face, &shell} {
			if r.reason = b.extent(s, y); r.reason.Key != "" {
				return r
			}
		}
	}
	for _, s := range [2]*side{&face, &shell} {
		if r.reason = b.measure(s, y); r.reason.Key != "" {
			return r
		}
	}
	b.anchorAt(y, (face.fit.at(y)+shell.fit.at(y))/2)
	sigma := commonBlur(face.shape, shell.shape)
	for _, s := range [2]*side{&face, &shell} {
		if r.reason = b.finish(s, y); r.reason.Key != "" {
			return r
		}
	}
	r.combine(b, &face, &shell, uY, sigma, seam, p)
	switch {
	case !(r.budget.CombinedUM <= maxUM):
		r.reason = part.Say("seam.why.unclear", "u_um", fmt.Sprintf("%.0f", r.budget.CombinedUM))
	case math.Abs(r.step) > maxStepMM*1000:
		r.reason = part.Say("seam.why.no_step")
	}
	return r
}

// Limits beyond which a number would not be a measurement. Common practice, no
// source.
const (
	maxUM     = 20.0 // standard uncertainty in um
	maxStepMM = 0.6  // a larger step is another thing
)

// commonBlur is both sides' blur, weighted by how well each is known.
func commonBlur(a, b edgeShape) float64 {
	wa, wb := 1/(a.uSigma*a.uSigma+1e-6), 1/(b.uSigma*b.uSigma+1e-6)
	if math.IsNaN(wa) {
		wa = 0
	}
	if math.IsNaN(wb) {
		wb = 0
	}
	if wa+wb == 0 {
		return (a.sigma + b.sigma) / 2
	}
	return (wa*a.sigma + wb*b.sigma) / (wa + wb)
}

// seamAt returns the seam's row at the limb itself: where the curve meets the
// outline near row y.
func (b *limb) seamAt(seam *seamCurve, y float64) float64 {
	for i := 0; i < 3; i++ {
		u := b.halfNear(y)
		if math.IsNaN(u) {
			return y
		}
		y = seam.at(b.x(u))
	}
	return y
}

// halfNear is the median half-height crossing of the rows around y.
func (b *limb) halfNear(y float64) float64 {
	v := make([]float64, 0, 9)
	c := int(math.Round(y)) - b.y0
	for i := max(0, c-4); i <= min(len(b.rows)-1, c+4); i++ {
		if !math.IsNaN(b.rows[i].half) {
			v = append(v, b.rows[i].half)
		}
	}
	return median(v)
}

// combine makes the step, its uncertainty and what is drawn.
func (r *limbResult) combine(b *limb, face, shell *side, uY, sigma float64, seam *seamCurve, p Params) {
	scale, uScale := p.Camera.limbScale(seam.halfMM(p.MMPerPX))
	um := p.MMPerPX * 1000 * scale
	f := joinSides(face.fit, shell.fit)
	// u grows inwards: the shell further in (larger u) means the faceplate stands out
	r.step = f.Normal * um
	cos := f.Normal / f.Vertical
	if f.Vertical == 0 {
		cos = 1
	}
	r.sigma = sigma
	uFlat := seam.uFlat(uY)
	r.levelUM = stepBudget(r.step, face, shell, f, cos, uFlat, sigma, scale, uScale, p).CombinedUM
	r.budget = stepBudget(r.step, face, shell, f, cos, uY, sigma, scale, uScale, p)
	at := b.bent(shell.fit.x0, shell.fit.c[0])
	r.x, r.y = at.X, at.Y
	r.groove(b, face, shell, um)
	r.draw(b, face, shell)
}

// What no averaging of rows lowers of a side's outline, standard uncertainties: the blur's shape is
// not quite Gaussian, as a share of the blur (both sides' is nearly alike); JPEG quantises the edge alike in row
// after row, in pixels. Common practice for edges placed to a fraction of a pixel, no source.
const (
	uSharpness = 0.015
	uCodedPX   = 0.028
)

// groove finds how deep the outline dips below both fitted sides between the
// rows that were left out, and how high it stands above both.
func (r *limbResult) groove(b *limb, face, shell *side, um float64) {
	y0 := shell.fit.x0
	deep, high := 0.0, 0.0
	var last []float64
	for i := range b.rows {
		row := &b.rows[i]
		t := b.dir * (row.y - y0)
		if t < -face.lo || t > shell.lo || math.IsNaN(row.half) {
			continue
		}
		y, half := b.straight(row.y, row.half)
		uf, us := face.fit.at(y)-face.offset, shell.fit.at(y)-shell.offset
		dip, rise := half-max(uf, us), min(uf, us)-half
		v := dip
		if rise > 0 {
			v = -rise
		} else if dip < 0 {
			v = 0
		}
		last = append(last, v)
		if len(last) > 3 {
			last = last[1:]
		}
		if len(last) == 3 {
			mid := max(min(last[0], last[1]), min(max(last[0], last[1]), last[2])) // median of three
			deep, high = max(deep, mid), max(high, -mid)
		}
	}
	noise := 3 * math.Hypot(face.fit.sd, shell.fit.sd)
	if deep*um > gapFloorUM && deep > noise {
		r.gap = deep * um
	}
	if high*um > gapFloorUM && high > noise {
		r.bead = high * um
	}
}

// draw makes the fitted outlines.
func (r *limbResult) draw(b *limb, face, shell *side) {
	for _, s := range [2]*side{face, shell} {
		var pts []part.Point
		const n = 13
		for i := 0; i < n; i++ {
			y := s.fit.x0 + b.dir*s.sign*s.hi*float64(i)/(n-1)
			pts = append(pts, b.bent(y, s.fit.at(y)))
		}
		r.outline = append(r.outline, pts)
	}
}
