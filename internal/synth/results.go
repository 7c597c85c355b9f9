package synth

import (
	"fmt"
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// Result is an invented unit as the pipeline hands it to the judge: stations whose steps follow a
// curve that its shape tells, gaps and beads, findings of all kinds, also many along a mirrored
// lamp, pictures of which some are not fit, and surfaces of which some were not looked at. It is
// for tests of what is said of a unit, and no more likely than any other.
func Result(seed uint64) *part.Result {
	rng := rand.New(rand.NewPCG(seed, 0x4e5a17))
	d := resultDrawing{rng: rng, r: &part.Result{Schema: 1, Unit: fmt.Sprintf("p%04d-%s", seed, []string{"L", "R"}[rng.IntN(2)]), Stage: part.Stages[rng.IntN(len(part.Stages))], MMPerPX: 0.015}}
	d.seam()
	if rng.IntN(5) > 0 {
		d.surface(part.Face, 0)
		if rng.IntN(4) > 0 {
			d.r.Faceplate = &part.Faceplate{Image: "face_diffuse.jpg", Light: part.Diffuse, OutlinePX: drawnOutline(rng)}
		}
	}
	if rng.IntN(2) == 0 {
		for _, turn := range []float64{0, 120, 240} {
			d.surface(part.Shell, turn)
		}
		d.r.Shell = drawnMap(rng)
	}
	d.findings()
	return d.r
}

type resultDrawing struct {
	rng *rand.Rand
	r   *part.Result
}

// often is true so often in a hundred.
func (d *resultDrawing) often(percent int) bool { return d.rng.IntN(100) < percent }

// size is between two sizes, any octave as likely.
func (d *resultDrawing) size(least, most float64) float64 {
	return least * math.Pow(most/least, d.rng.Float64())
}

// seam draws the stations: their curve has a mean, an offset and an oval, each often none.
func (d *resultDrawing) seam() {
	turns := []int{0, 1, 2, 6, 6, 6}[d.rng.IntN(6)]
	if turns == 0 {
		return
	}
	term := func(percent int) float64 {
		if !d.often(percent) {
			return 0
		}
		return d.size(15, 400)
	}
	mean, off, oval := term(40)*float64(1-2*d.rng.IntN(2)), term(40), term(20)
	towards, ovalDeg := 360*d.rng.Float64(), 180*d.rng.Float64()
	local, localUM := -1, 0.0
	if d.often(20) {
		local, localUM = d.rng.IntN(2*turns), d.size(40, 300)*float64(1-2*d.rng.IntN(2))
	}
	groove, bead := d.size(5, 400), d.size(5, 300)
	from, wide := 360*d.rng.Float64(), 360*d.rng.Float64()*float64(d.rng.IntN(2))
	at := func(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }
	for i := range turns {
		angle := float64(i) * 180 / float64(turns)
		file := fmt.Sprintf("edge_%03.0f.jpg", angle)
		fit := !d.often(3)
		d.picture(part.PictureReport{File: file, View: part.Edge, AngleDeg: angle}, fit)
		for k, side := range []part.Side{part.Left, part.Right} {
			s := part.StepStation{Image: file, AngleDeg: angle, Side: side, State: part.Unmeasured, Reason: "drawn so"}
			if fit && !d.often(3) {
				a := s.AroundDeg()
				v := mean + off*at(a-towards) + oval*at(2*(a-ovalDeg)) + 2*d.rng.NormFloat64()
				if 2*i+k == local {
					v += localUM
				}
				s.State, s.Reason, s.StepUM, s.GapUM, s.BeadUM = part.Measured, "", part.Num(v), part.Num(0), part.Num(0)
				s.XPX, s.YPX = part.Num(400+800*float64(k)), part.Num(500)
				if !d.often(2) {
					s.UUM = part.Num(2)
				}
				if math.Mod(a-from+720, 360) < wide {
					s.GapUM, s.BeadUM = part.Num(groove*float64(d.rng.IntN(2))), part.Num(bead*float64(d.rng.IntN(2)))
				}
			}
			d.r.Seam.Stations = append(d.r.Seam.Stations, s)
		}
	}
	if d.often(85) {
		d.shape(turns, mean, off, towards, oval, ovalDeg)
		if s := d.r.Seam.Stations; local >= 0 && s[local].State == part.Measured && d.often(70) {
			l := s[local]
			d.r.Seam.Shape.Local = []part.LocalStep{{Image: l.Image, AngleDeg: l.AngleDeg, Side: l.Side, AroundDeg: l.AroundDeg(), UM: localUM, UUM: 2}}
		}
	}
}

// shape is the curve as so many pictures tell it: one of them the offset along its own direction alone.
func (d *resultDrawing) shape(turns int, mean, off, towards, oval, ovalDeg float64) {
	h := &part.SeamShape{Stations: len(d.r.Seam.Stations), MeanUM: part.Num(mean), UMeanUM: part.Num(2)}
	switch along := off * math.Cos(towards*math.Pi/180); {
	case turns == 1:
		h.AlongDeg, h.AlongUM, h.UAlongUM = part.Num(0), part.Num(along), part.Num(2)
	case off > 6:
		h.OffCentreUM, h.UOffCentreUM, h.TowardsDeg = part.Num(off), part.Num(2), part.Num(towards)
	default:
		h.OffCentreMostUM = part.Num(6)
	}
	if turns > 2 && oval > 6 {
		h.OvalUM, h.UOvalUM, h.OvalDeg = part.Num(oval), part.Num(2), part.Num(ovalDeg)
	}
	d.r.Seam.Shape = h
}

func (d *resultDrawing) picture(p part.PictureReport, fit bool) {
	p.State, p.WidthPX, p.HeightPX, p.Problems = part.PictureOK, 1600, 1200, []part.Problem{}
	if !fit {
		p.State = part.PictureNoOK
		p.Problems = append(p.Problems, part.Problem{Name: []string{"out_of_focus", "too_bright", "moved", "no_unit"}[d.rng.IntN(4)], Remedy: "take it again"})
	}
	d.r.Pictures = append(d.r.Pictures, p)
}

// surface draws two pictures of a pose, and how much of it was looked at.
func (d *resultDrawing) surface(v part.View, turn float64) {
	name := string(v)
	if v == part.Shell {
		name = fmt.Sprintf("shell_%03.0f", turn)
	}
	fit := false
	for _, l := range []part.Light{part.Diffuse, part.Raking} {
		if d.often(95) {
			ok := !d.often(3)
			fit = fit || ok
			d.picture(part.PictureReport{File: name + "_" + string(l) + ".jpg", View: v, Light: l, AngleDeg: turn}, ok)
		}
	}
	s := part.UnsearchedSurface(v, turn)
	if fit && !d.often(3) {
		not, one := 0.3*d.rng.Float64()*d.rng.Float64(), 0.1*d.rng.Float64()
		s = part.Surface{View: v, AngleDeg: turn, LookedAt: 1 - not - one, OneLight: one, NotLookedAt: not, Why: map[part.Why]float64{part.Mirrored: 0.8 * not, part.Outermost: 0.2 * not}}
	}
	d.r.Surfaces = append(d.r.Surfaces, s)
}

// findings draws up to 20 anywhere, at times some close together, at times many along a lamp.
func (d *resultDrawing) findings() {
	var seen []part.PictureReport
	for _, p := range d.r.Pictures {
		if p.View != part.Edge && p.State == part.PictureOK {
			seen = append(seen, p)
		}
	}
	if len(seen) == 0 {
		return
	}
	for range d.rng.IntN(3) * d.rng.IntN(10) {
		d.finding(seen[d.rng.IntN(len(seen))], 250+1100*d.rng.Float64(), 200+800*d.rng.Float64())
	}
	if p := seen[d.rng.IntN(len(seen))]; d.often(25) {
		x, y := 400+800*d.rng.Float64(), 300+600*d.rng.Float64()
		for range 3 + d.rng.IntN(6) {
			d.finding(p, x+40*d.rng.NormFloat64(), y+40*d.rng.NormFloat64())
		}
	}
	if p := seen[d.rng.IntN(len(seen))]; d.often(20) {
		for i := range 8 + d.rng.IntN(12) {
			t := 60 * float64(i)
			d.finding(p, 300+t, 400+0.3*t+4*d.rng.NormFloat64())
			d.r.Findings[len(d.r.Findings)-1].AlsoIn = nil
		}
	}
}

// surfaceKinds are the kinds that lie on a surface.
var surfaceKinds = []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run, part.OrangePeel, part.Haze, part.Chip, part.Missed}

func (d *resultDrawing) finding(p part.PictureReport, x, y float64) {
	long := d.size(0.05, 6)
	wide := long * (0.1 + 0.9*d.rng.Float64())
	f := part.Finding{Image: p.File, Kind: surfaceKinds[d.rng.IntN(len(surfaceKinds))], Zone: []part.Zone{part.ZoneFace, part.ZoneFace, part.ZoneRim}[d.rng.IntN(3)], Confidence: 0.6 + 0.4*d.rng.Float64(),
		Box: part.BoxAround(part.Point{X: x, Y: y}, long/0.03, long/0.03), LengthMM: part.Num(long), WidthMM: part.Num(wide), DiameterMM: part.Num(math.Sqrt(long * wide)), AreaMM2: part.Num(0.8 * long * wide)}
	if p.View == part.Shell {
		f.Zone, f.TurnDeg, f.BelowMM = part.ZoneShell, part.Num(360*d.rng.Float64()), part.Num(9*d.rng.Float64())
	}
	if f.Kind == part.Sanding {
		f.Lines = 1 + d.rng.IntN(40)
	}
	switch d.rng.IntN(40) {
	case 0:
		f.Confidence = 0.2
	case 1:
		f.LengthMM, f.WidthMM, f.DiameterMM, f.AreaMM2 = nil, nil, nil, nil
	case 2:
		f.LengthMM, f.WidthMM, f.DiameterMM, f.AreaMM2, f.Box = nil, nil, nil, nil, part.Box{}
	}
	for _, q := range d.r.Pictures {
		if q.Pose() == p.Pose() && q.File != p.File && q.State == part.PictureOK && d.often(60) {
			f.AlsoIn = append(f.AlsoIn, part.Sighting{Image: q.File, Box: f.Box})
		}
	}
	d.r.Findings = append(d.r.Findings, f)
}

// drawnOutline is a faceplate's: an oval about 16 mm wide that is not quite one.
func drawnOutline(rng *rand.Rand) [][2]float64 {
	a, b, lobe, phase := 480+80*rng.Float64(), 330+80*rng.Float64(), 25*rng.Float64(), 2*math.Pi*rng.Float64()
	var out [][2]float64
	for k := range 120 {
		s, c := math.Sincos(float64(k) * math.Pi / 60)
		r := lobe * math.Cos(3*float64(k)*math.Pi/60-phase)
		out = append(out, [2]float64{800 + (a+r)*c, 600 + (b+r)*s})
	}
	return out
}

// drawnMap is a shell's of 10 mm depth, some of it not looked at.
func drawnMap(rng *rand.Rand) *part.ShellMap {
	m := &part.ShellMap{StepDeg: 10, StepMM: 1}
	gap := rng.IntN(36)
	for row := range 10 {
		m.RadiusMM = append(m.RadiusMM, 7-0.3*float64(row))
		cells := make([]byte, 36)
		for i := range cells {
			cells[i] = '2'
			if i > gap && i < gap+5 {
				cells[i] = "01"[rng.IntN(2)]
			}
		}
		m.Rows = append(m.Rows, string(cells))
	}
	m.LookedAt = m.SeenShare()
	return m
}
