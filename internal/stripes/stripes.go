package stripes

import (
	"fmt"
	"math"
	"strconv"
	"sync"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Screen is how the screen stands. Where DistanceMM or PeriodMM is 0 it is not known,
// and slopes are told as phase only.
type Screen struct {
	PeriodMM   float64 // of the stripes, on the screen
	DistanceMM float64 // from the faceplate's middle to the screen, along the mirrored line of sight
	TiltDeg    float64 // between the camera's line of sight and the faceplate's normal, in the plane of the picture's x
	URel       float64 // relative standard uncertainty of period over distance, or of RadPerRad (0..1)

	RadPerRad [2]float64 // of phase, that a radian of slope makes along x and y, where a mirror told it: see [Sensitivity]; else 0
}

// Known says whether slopes can be told.
func (s Screen) Known() bool { return s.PeriodMM > 0 && s.DistanceMM > 0 }

// slopePerRad is the surface's slope, rad, that moves the phase by one radian, along x and
// y: a mirror turned by a turns the ray by 2 a, across the plane of incidence by 2 a
// cos(tilt), and the ray meets the screen that much further off times the distance.
func (s Screen) slopePerRad() [2]float64 {
	if s.RadPerRad[0] > 0 && s.RadPerRad[1] > 0 {
		return [2]float64{1 / s.RadPerRad[0], 1 / s.RadPerRad[1]}
	}
	k := s.PeriodMM / (4 * math.Pi * s.DistanceMM)
	return [2]float64{k, k / math.Cos(s.TiltDeg*math.Pi/180)}
}

// Params says how a set of stripes is looked at. Lengths are on the unit.
type Params struct {
	MMPerPX   float64 // scale of the pictures (> 0)
	PixelMM   float64 // pixels are averaged up to about this size (> 0)
	BlurMM    float64 // the phasor's smoothing, standard deviation (> 0)
	EdgeMM    float64 // the outermost strip that is not looked at (>= 0)
	CellMM    float64 // side of the cells whose extremes set the thresholds (> 0)
	FalseFace float64 // chance of a false place on a face, per map and size (0..1)
	LensMM    float64 // what the lens blurs by, standard deviation (>= 0; 0: not known, nothing is made up for)
	Screen    Screen
	Jobs      int // pieces of work side by side (> 0)
}

// DefaultParams returns the shipped values; all are common practice, no source.
func DefaultParams(mmPerPX float64) Params {
	return Params{MMPerPX: mmPerPX, PixelMM: 0.03, BlurMM: 0.045, EdgeMM: 0.2, CellMM: 0.72, FalseFace: 0.02, Jobs: 2}
}

// Result is what a set of stripes tells.
type Result struct {
	Findings    []part.Finding // no severity, advice or number yet; boxes in full-resolution pixels
	Seen        part.Surface   // shares that were looked at; view and angle are the caller's
	Warnings    []part.Phrase
	Maps        *Maps
	Waves       Waves
	Consistency Consistency
}

// Maps are what the face mirrors, over pixels Bin full-resolution pixels wide, the first at
// X0, Y0. 0 outside the face.
type Maps struct {
	X0, Y0, Bin int
	MMPX        float64        // side of a pixel
	Depth       *part.Plane    // inside the part of the face that mirrors, pixels
	Gloss       *part.Plane    // what is mirrored against what the face mirrors around there: 1, and 0 where nothing is
	Phase       [2]*part.Plane // along the screen's x and y: what the slope is off the faceplate's own, radians of phase, -pi..pi
	Paint       *part.Plane    // mean light, 0..1; outside the face too
	light       *part.Plane    // amplitude of single pixels, whatever their phase, against the face's own: 1
	level       [2]*phasor     // what is mirrored, the face's own shape taken off, before it is smoothed
	sparkles    bool           // flakes, glitter or noise scatter the light that single pixels mirror, and not waves
	scatter     float64        // of the gloss over the face, half the range between its tenth and its ninetieth percent
	amplitude   [2]float64     // middle of the stripes' amplitude, linear light
	screen      Screen
	lens        float64        // its blur, mm
	losses      []*part.Plane  // of gloss, at each of lossScales, and
	usual       []float64      // the face's own unevenness in it, one standard deviation
	along       [2][2]float64  // the way, in the picture, in which a direction's phase grows on the face itself
	radPerMM    [2]float64     // and by how much, in the middle
	best        float64        // gloss where the mirror is undisturbed, against the middle of the face: more than 1 where the face waves
	fine        [2]*part.Plane // the phase as it is before smoothing
	odd         [2]*part.Plane // light that is in no phase, over the stripes' amplitude: noise
	phaseNoise  float64        // noise variance of the phase over the odd light's
	looked      []bool
	atRim       []bool // slopes are the rim's own
}

// Set is a set of pictures that was read: eight, or a short set's six.
type Set struct {
	Plate *Plate // the faceplate's outline where that given holds some of the shell; else nil
	f     *frames
	m     *Maps
	p     Params
	face  []bool  // inside the outline that was given
	share float64 // of it that mirrors the screen
}

// Open reads a set. outline is the faceplate's, in full-resolution pixels. An error says
// that the pictures cannot be measured, and why.
func Open(images map[part.Light]*part.Image, outline []part.Point, p Params) (*Set, error) {
	if !(p.MMPerPX > leastScale && p.MMPerPX < mostScale) {
		return nil, lang.Error(part.Say("stripes.err.scale", "mm_per_px", fmt.Sprint(p.MMPerPX), "least", fmt.Sprint(leastScale), "most",
			fmt.Sprint(mostScale)))
	}
	f, err := load(images, outline, max(1, int(p.PixelMM/p.MMPerPX+0.5)), p.Jobs)
	if err != nil {
		return nil, err
	}
	m := &Maps{X0: f.x0, Y0: f.y0, Bin: f.bin, MMPX: p.MMPerPX * float64(f.bin), lens: p.LensMM, screen: p.Screen,
		phaseNoise: f.phaseNoise()}
	at := make([]part.Point, len(outline))
	for i, q := range outline {
		at[i] = part.Point{X: (q.X+0.5-float64(f.x0))/float64(f.bin) - 0.5, Y: (q.Y+0.5-float64(f.y0))/float64(f.bin) - 0.5}
	}
	s := &Set{f: f, m: m, p: p, face: inside(at, f.w, f.h)}
	m.Depth = depths(s.face, f.w)
	whole := m.deeper(innerMM)
	if n := count(whole); n < minPixels {
		return nil, lang.Error(part.Say("stripes.err.face_small", "n", strconv.Itoa(n), "mm", fmt.Sprintf("%.3f", m.MMPX), "inside_mm",
			fmt.Sprintf("%.1f", innerMM)))
	}
	if err := f.order(whole, m.MMPX); err != nil {
		return nil, err
	}
	mirrors := f.mirrored(m, s.face)
	m.Depth = depths(mirrors, f.w)
	m.Paint = part.NewPlane(f.w, f.h)
	for i := range m.Paint.V {
		m.Paint.V[i] = (f.by[0].mean.V[i] + f.by[1].mean.V[i]) / 2
	}
	within := m.deeper(p.EdgeMM)
	for d := range f.by {
		m.amplitude[d] = f.by[d].amplitude(within)
	}
	s.Plate = m.plate(s.face)
	if s.Plate != nil {
		for i := range s.face {
			s.face[i] = s.face[i] && s.Plate.holds(float64(m.X0)+(float64(i%f.w)+0.5)*float64(f.bin)-0.5,
				float64(m.Y0)+(float64(i/f.w)+0.5)*float64(f.bin)-0.5)
		}
	}
	s.share = float64(count(mirrors)) / float64(count(s.face))
	return s, nil
}

// Lit says of a place, full-resolution pixels, whether the screen is seen mirrored there, and whether it lies beyond the end
// of the screen's image, or so near to it that its paint cannot be searched: that may be the shell's, too.
func (s *Set) Lit(x, y float64) (inside, beyond bool) {
	f := s.f
	u, v := int(x+0.5)-f.x0, int(y+0.5)-f.y0
	if u < 0 || v < 0 || u/f.bin >= f.w || v/f.bin >= f.h {
		return false, false
	}
	i := v/f.bin*f.w + u/f.bin
	return s.m.Depth.V[i] > 0, f.beyond != nil && f.beyond[i]
}

// Measure tells how the face mirrors the stripes; call it once. An error says that the pictures
// cannot be measured, and why.
func (s *Set) Measure() (Result, error) {
	f, m, p := s.f, s.m, s.p
	out := Result{Maps: m, Consistency: f.consistency(m.deeper(innerMM), m.MMPX)}
	if err := out.Consistency.check(); err != nil {
		return Result{}, err
	}
	out.Warnings = out.Consistency.warnings()
	m.looked = m.deeper(p.EdgeMM)
	for i, c := range grown(f.clipped, f.w, clippedBlurs*math.Hypot(p.BlurMM, p.LensMM)/m.MMPX) {
		m.looked[i] = m.looked[i] && !c
	}
	doubtful, edges := f.doubtful(out.Consistency, m.MMPX)
	if err := m.leaveOut(&out, doubtful, edges); err != nil {
		return Result{}, err
	}
	if n := count(m.looked); n < minPixels {
		return Result{}, lang.Error(part.Say("stripes.err.no_mirror", "n", strconv.Itoa(n), "mm", fmt.Sprintf("%.3f", m.MMPX)))
	}
	m.fillFrom(f, p)
	m.looked = m.withoutRim(m.looked)
	m.spread(p)
	if !m.Waving() && m.wrongHand() {
		out.Warnings = append(out.Warnings, part.Say("stripes.warn.wrong_hand"))
	}
	var both sync.WaitGroup
	both.Go(func() { out.Waves = m.waves(p) })
	found := m.find(p)
	both.Wait()
	if m.sparkles && out.Waves.Measured {
		out.Warnings = append(out.Warnings, part.Say("stripes.warn.sparkles", "mm", fmt.Sprintf("%.1f", sparkleWaveMM)))
	}
	out.Findings = found
	if peel, ok := m.peel(out.Waves, p); ok {
		out.Findings = append(out.Findings, peel)
	}
	m.oriented(&out, p)
	if s.share < mirrorsWarn {
		out.Warnings = append(out.Warnings, part.Say("stripes.warn.part", "percent", fmt.Sprintf("%.0f", 100*s.share)))
	}
	m.seen(&out, s.face)
	return out, nil
}

// Measure is [Open] and [Set.Measure].
func Measure(images map[part.Light]*part.Image, outline []part.Point, p Params) (Result, error) {
	s, err := Open(images, outline, p)
	if err != nil {
		return Result{}, err
	}
	return s.Measure()
}

// fillFrom fills gloss, phase and light from both directions.
func (m *Maps) fillFrom(f *frames, p Params) {
	var both sync.WaitGroup
	gloss := [2]*part.Plane{}
	for d := range f.by {
		both.Go(func() {
			gloss[d], m.Phase[d], m.level[d] = m.direction(d, f.by[d].z, p)
			m.fine[d] = m.level[d].phase()
			m.amplitude[d] = f.by[d].amplitude(m.looked)
		})
	}
	energy := part.NewPlane(f.w, f.h)
	for i := range energy.V {
		energy.V[i] = (f.by[0].energy.V[i] + f.by[1].energy.V[i]) / 2
	}
	m.light = m.mirroredLight(energy, p)
	both.Wait()
	m.Gloss = part.NewPlane(f.w, f.h)
	for i := range m.Gloss.V {
		if m.Depth.V[i] > 0 {
			m.Gloss.V[i] = (gloss[0].V[i] + gloss[1].V[i]) / 2
		}
	}
	for d := range m.odd {
		m.odd[d] = part.NewPlane(f.w, f.h)
		for i, v := range f.by[d].odd.V {
			m.odd[d].V[i] = v / max(1e-6, float32(m.amplitude[d])*m.Gloss.V[i])
		}
	}
}

// innerMM is how deep inside the outline the rim's rounding ends (common practice, no
// source); fewer than minPixels are too few to tell anything.
const (
	innerMM   = 0.6
	minPixels = 400
)

// What is next to clipped light is spoilt as far as blurs reach; the scales
// at which a face can be looked at, mm per pixel; and a share of the face that mirrors the screen under which it
// is told (common practice, no source).
const (
	clippedBlurs = 3.0
	leastScale   = 1e-4
	mostScale    = 0.2
	mirrorsWarn  = 0.8
)

// leaveOut does not look where the light is doubtful; an error where that is too much.
func (m *Maps) leaveOut(out *Result, doubtful, edges []bool) error {
	n, all, moved := 0, 0, 0
	for i, yes := range m.looked {
		if yes {
			all++
			if doubtful[i] {
				m.looked[i] = false
				n++
				if edges[i] {
					moved++
				}
			}
		}
	}
	share := float64(n) / float64(max(all, 1))
	if share > placesMost && 2*moved > n {
		return out.Consistency.movedError()
	}
	if share > placesMost {
		return lang.Error(part.Say("stripes.err.bands", "percent", fmt.Sprintf("%.0f", 100*share)))
	}
	if share > placesWarn {
		out.Warnings = append(out.Warnings, part.Say("stripes.warn.bands", "percent", fmt.Sprintf("%.0f", 100*share)))
	}
	return nil
}

// deeper says which pixels lie deeper than mm inside the outline.
func (m *Maps) deeper(mm float64) []bool {
	in := make([]bool, len(m.Depth.V))
	for i, d := range m.Depth.V {
		in[i] = float64(d)*m.MMPX > mm
	}
	return in
}

// inner says which pixels are looked at and lie deeper than the rim.
func (m *Maps) inner() []bool {
	in := m.deeper(innerMM)
	for i := range in {
		in[i] = in[i] && m.looked[i]
	}
	return in
}

// centre is the middle of the part of the face that mirrors, and its area, in pixels.
func (m *Maps) centre() (cx, cy, area float64) {
	w := m.Depth.W
	for i, d := range m.Depth.V {
		if d > 0 {
			cx, cy, area = cx+float64(i%w), cy+float64(i/w), area+1
		}
	}
	return cx / area, cy / area, area
}

func count(in []bool) int {
	n := 0
	for _, v := range in {
		if v {
			n++
		}
	}
	return n
}

// direction turns one direction's phasor into gloss and phase, the face's own taken off.
func (m *Maps) direction(d int, z *phasor, p Params) (gloss, phase *part.Plane, level *phasor) {
	inside := m.inner()
	shape := z.ownShape(inside, max(4, int(0.5/m.MMPX)))
	q := z.turnedBack(shape).levelled(inside, gaussOfCut*cutOffMM/m.MMPX)
	soft := q.blurred(p.BlurMM / m.MMPX)
	gloss = soft.amplitude()
	m.toOwn(gloss, inside, p)
	gx, gy := shape.slopes(shape.cx, shape.cy)
	x, y := dot(gx, shape.a), dot(gy, shape.a)
	m.radPerMM[d] = math.Hypot(x, y) / m.MMPX
	m.along[d] = [2]float64{x / max(math.Hypot(x, y), 1e-12), y / max(math.Hypot(x, y), 1e-12)}
	return gloss, soft.phase(), q
}

// wrongHand says whether y is on the wrong side of x. On the screen as on the pictures y grows
// downwards, and one mirror turns that round, whatever the screen's turn: unless the face is hollow one way and
// not the other. x0 and x2, or x1 and x3, exchanged turn x round, and so do the pictures of
// x and y exchanged; both of it at once cannot be known. Depths are told along the
// way in which the phase really grows, and stay right.
func (m *Maps) wrongHand() bool {
	return m.along[0][0]*m.along[1][1]-m.along[0][1]*m.along[1][0] > 0.5
}

// mirroredLight is how much of the screen's light single pixels mirror, whatever their
// phase: where a face waves, gloss is lost between pixels, and this is kept.
func (m *Maps) mirroredLight(energy *part.Plane, p Params) *part.Plane {
	a := gauss(energy, p.BlurMM/m.MMPX)
	for i, v := range a.V {
		a.V[i] = float32(math.Sqrt(max(0, float64(v))))
	}
	inside := m.inner()
	m.toOwn(a, inside, p)
	return a
}

// toOwn divides a plane by what it is smoothly over the face.
func (m *Maps) toOwn(a *part.Plane, inside []bool, p Params) {
	own := smoothGloss(a, inside, max(6, int(p.CellMM/m.MMPX)))
	for y := range a.H {
		row := own.row(float64(y))
		for x := range a.W {
			a.V[y*a.W+x] /= float32(max(row(float64(x)), 0.1*own.a[0], 1e-6))
		}
	}
}

// spread tells how unevenly the face mirrors, and whether flakes or glitter under the lacquer make it
// so. Each flake mirrors another place of the screen, which is noise; what the lacquer mirrors adds up over many of
// them as it does without, where over waves it cancels.
func (m *Maps) spread(p Params) {
	v := m.some(m.Gloss, 3)
	m.scatter = (robust.Quantile(v, 0.9) - robust.Quantile(v, 0.1)) / 2
	m.best = robust.Quantile(v, 0.97)
	v = m.some(m.light, 3)
	if (robust.Quantile(v, 0.9)-robust.Quantile(v, 0.1))/2 > sparkleScatter {
		wide, fine := robust.Quantile(m.some(m.coherent(coherentMM), 3), 0.5), robust.Quantile(m.some(m.coherent(p.BlurMM), 3), 0.5)
		m.sparkles = wide > sparkleFrom*fine
	}
}

// coherent is the amplitude of what is mirrored, both directions' mean, averaged over some mm of what is looked at.
func (m *Maps) coherent(sigmaMM float64) *part.Plane {
	out := part.NewPlane(m.Depth.W, m.Depth.H)
	for d, z := range m.level {
		re, im := m.within(z.re, sigmaMM/m.MMPX), m.within(z.im, sigmaMM/m.MMPX)
		for i := range out.V {
			out.V[i] += float32(math.Hypot(float64(re.V[i]), float64(im.V[i])) / (2 * m.amplitude[d]))
		}
	}
	return out
}

// phase is the phasor's angle, -pi..pi.
func (p *phasor) phase() *part.Plane {
	out := part.NewPlane(p.w, p.h)
	for i := range out.V {
		out.V[i] = float32(math.Atan2(float64(p.im.V[i]), float64(p.re.V[i])))
	}
	return out
}

// seen tells how much of the face was looked at.
func (m *Maps) seen(out *Result, face []bool) {
	var area, looked float64
	for i, yes := range face {
		if !yes {
			continue
		}
		area++
		if m.looked[i] {
			looked++
		}
	}
	out.Seen = part.Surface{LookedAt: looked / area, NotLookedAt: 1 - looked/area}
}
