package stripes

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// Position is a flat mirror in one place before the stripes: the phasor of each direction, by block.
type Position struct {
	w, h, cols, rows int
	z                [2][]complex128
	odd              [2][]float64
	clipped          []bool
}

// NewPosition reads the eight pictures of a flat mirror that lies where the faceplate lies.
func NewPosition(images map[part.Light]*part.Image) (*Position, error) {
	for _, of := range Lights { // a short set will not do: its odd light tells nothing of the screen's curve
		for _, l := range of {
			if images[l] == nil {
				return nil, fmt.Errorf("stripes: the picture %s is missing; a mirror wants all four phases of each direction", l)
			}
		}
	}
	first := images[Lights[0][0]]
	all := []part.Point{{}, {X: float64(first.W)}, {X: float64(first.W), Y: float64(first.H)}, {Y: float64(first.H)}}
	f, err := load(images, all, max(1, max(first.W, first.H)/mirrorBlocks), len(Lights))
	if err != nil {
		return nil, err
	}
	p := &Position{w: first.W, h: first.H, cols: f.w, rows: f.h, clipped: f.clipped}
	for d := range f.by {
		for i, v := range f.by[d].odd.V {
			p.z[d], p.odd[d] = append(p.z[d], f.by[d].z.at(i)), append(p.odd[d], float64(v))
		}
	}
	return p, nil
}

// Gauge is what tilted the mirror.
type Gauge struct {
	ThickUM  float64    // of the feeler gauge
	UThickUM float64    // its standard uncertainty
	SpanMM   [2]float64 // from the gauge to the edge on which the mirror turns, along x and y
	USpanMM  float64    // its standard uncertainty
}

// Tilt is the mirror's, radians.
func (g Gauge) tilt(d int) float64 { return math.Atan(g.ThickUM / 1000 / g.SpanMM[d]) }

// What a mirror is held against (common practice, no source).
const (
	mirrorBlocks   = 64   // along the longer side of the picture
	mirrorLit      = 0.3  // of the best blocks' amplitude: the stripes are seen
	mirrorFewest   = 0.05 // share of the blocks in which they must be
	mirrorMiddle   = 0.5  // and of those of the picture's middle
	mirrorClipped  = 0.2  // share of the blocks that may hold clipped samples
	mirrorOdd      = 0.25 // light that is in no phase, over the amplitude; noise alone makes 0.4
	mirrorOddWarn  = 0.03
	moveMost       = 0.3  // of a period: more, or a gauge twice as thick as told, could be taken for less
	moveLeast      = 0.02 // of a period: less is not measured well enough
	moveGood       = 0.25
	moveOff        = 0.2 // share by which it may differ from what ruler and gauge say
	moveOffWarn    = 0.1
	moveNone       = 0.15 // share of that, under which nothing tilted
	crossMost      = 0.35 // of the other direction's move over the one's own
	crossWarn      = 0.1
	mirrorRough    = 1.0  // root mean square, mrad, that a flat mirror's slopes may differ from a smooth field's
	tiltUnknownDeg = 50.0 // most that the camera may be tilted where it is not told
	tiltUDeg       = 3.0  // standard uncertainty of the camera's tilt as told,
	sineUnknown    = 0.1  // that of its sine where it is not told, and
	middleUMM      = 2.0  // of where on the mirror the picture's middle lies
	notAlike       = 25.0 // neighbouring blocks that share their fault count as one
)

// Sensitivity measures how many radians of phase one radian of slope makes along x and y, from a flat mirror in three
// positions: flat, then with a gauge under the edge that is nearest the screen (the mirror turns about the
// picture's y, its opposite edge), then under its upper or lower edge. told is how the screen stands by ruler and card; its
// period is that which was shown. A mirror turned by a turns the ray by 2 a, and as it turns about its edge, not about the
// place looked at, its middle rises by half the gauge too: with the mirrored line of sight leaning by the tilt, the way from
// edge to screen is longer than the distance from the middle by half the span times the tilt's sine, and by as much the move along x
// is too large, which is taken off. Deflectometry: Knauer, Kaminski & Haeusler 2004, Proc. SPIE 5457, 366; uncertainties are
// combined as in JCGM 100, 5.1.2.
func Sensitivity(flat, alongX, alongY *Position, g Gauge, known Screen) (Mirror, error) {
	switch {
	case !known.Known():
		return Mirror{}, errors.New("stripes: how far the screen stands is not told; hold a ruler along the mirrored line of sight and write distance_mm in the station file: it is the first guess that tells a period from the next")
	case !(g.ThickUM > 0 && g.SpanMM[0] > 0 && g.SpanMM[1] > 0 && g.UThickUM >= 0 && g.USpanMM >= 0):
		return Mirror{}, fmt.Errorf("stripes: a gauge of %v um under a mirror of %v and %v mm tilts nothing; give thickness and spans above 0", g.ThickUM, g.SpanMM[0], g.SpanMM[1])
	}
	var wanted [2]float64 // radians of phase by ruler and gauge
	for d := range wanted {
		wanted[d] = g.tilt(d) / Screen{PeriodMM: known.PeriodMM, DistanceMM: known.DistanceMM, TiltDeg: known.TiltDeg}.slopePerRad()[d]
		if move := wanted[d] / (2 * math.Pi); !(move <= moveMost) {
			return Mirror{}, fmt.Errorf("stripes: a gauge of %.0f um over %.0f mm moves the stripes along %c by %.2f of a period, and over %.2f one could be taken for another; use one of %.0f um or less, or lift an edge that is farther off",
				g.ThickUM, g.SpanMM[d], 'x'+rune(d), move, moveMost, math.Floor(g.ThickUM*moveGood/move))
		} else if move < moveLeast {
			return Mirror{}, fmt.Errorf("stripes: a gauge of %.0f um over %.0f mm moves the stripes along %c by %.3f of a period only; use one of about %.0f um", g.ThickUM, g.SpanMM[d], 'x'+rune(d), move, math.Floor(g.ThickUM*moveGood/move))
		}
	}
	three := [3]*Position{flat, alongX, alongY}
	used, err := seen(three)
	if err != nil {
		return Mirror{}, err
	}
	m := Mirror{Schema: FileSchema, Kind: KindMirror, PeriodMM: known.PeriodMM, StatedDistanceMM: known.DistanceMM, StatedTiltDeg: known.TiltDeg,
		GaugeUM: g.ThickUM, UGaugeUM: g.UThickUM, SpanMM: g.SpanMM, USpanMM: g.USpanMM}
	own, rough := flat.own(used)
	if math.Abs(own[0][1]) > math.Abs(own[0][0]) || math.Abs(own[1][0]) > math.Abs(own[1][1]) {
		return Mirror{}, errors.New("stripes: the stripes along x run along the picture's height; turn the screen by a quarter, or name its pictures anew, so that x is the picture's width")
	}
	var moves [2][2]move // by position, by direction
	for k, p := range three[1:] {
		for d := range moves[k] {
			moves[k][d] = flat.moved(p, d, used)
		}
	}
	if err := inOrder(moves, wanted, known.TiltDeg != 0); err != nil {
		return Mirror{}, err
	}
	m.fill(moves, g, known, rough)
	m.look(three, moves, wanted, used, known)
	return m, nil
}

// seen are the blocks in which all positions show stripes.
func seen(three [3]*Position) ([]bool, error) {
	f := three[0]
	used := slices.Repeat([]bool{true}, len(f.clipped))
	var odd [3][2]float64
	for k, p := range three {
		if p.w != f.w || p.h != f.h {
			return nil, errOtherSize
		}
		for d := range p.z {
			amp, share := make([]float64, len(p.z[d])), []float64{}
			for i, z := range p.z[d] {
				amp[i] = cmplx.Abs(z)
			}
			best := robust.Quantile(amp, 0.9)
			for i, a := range amp {
				if a < mirrorLit*best || best == 0 {
					used[i] = false
				} else {
					share = append(share, math.Abs(p.odd[d][i])/a)
				}
			}
			odd[k][d] = robust.Quantile(share, 0.5)
		}
	}
	n, middle, lit, all := 0, 0, 0, 0
	for i := range used {
		x, y := i%f.cols, i/f.cols
		central := 3*x >= f.cols && 3*x < 2*f.cols && 3*y >= f.rows && 3*y < 2*f.rows
		if central {
			all++
		}
		if !used[i] {
			continue
		}
		lit++
		if used[i] = !three[0].clipped[i] && !three[1].clipped[i] && !three[2].clipped[i]; used[i] {
			n++
			if central {
				middle++
			}
		}
	}
	if float64(lit-n) > mirrorClipped*float64(lit) {
		return nil, fmt.Errorf("stripes: %.0f %% of what the mirror shows is clipped; expose shorter, or take a plate of black glass, which mirrors as little as lacquer does", 100*float64(lit-n)/float64(lit))
	}
	for k, of := range odd {
		for d, v := range of {
			if !(v < mirrorOdd) {
				return nil, fmt.Errorf("stripes: position %s: the four pictures along %c show no stripes, or are not in order; see that the screen is seen mirrored all over the picture's middle, that its pictures are named by their phase, and that nothing moved", Positions[k], 'x'+rune(d))
			}
		}
	}
	if float64(n) < mirrorFewest*float64(len(used)) || float64(middle) < mirrorMiddle*float64(all) {
		return nil, errors.New("stripes: in the picture's middle, where the faceplate lies, the mirror does not show stripes in all three positions; put it there, the stripes all over it")
	}
	return used, nil
}

// Positions are the three, as their folders are named.
var Positions = [3]string{"flat", "tilted_x", "tilted_y"}

// own is how the flat mirror's phase grows from block to block along the picture's x and y, for each direction, and
// the root mean square, radians, of what is left beside a smooth field of second order.
func (p *Position) own(used []bool) (grows [2][2]float64, rough [2]float64) {
	for d, z := range p.z {
		var sx, sy complex128
		for i, yes := range used {
			if !yes {
				continue
			}
			if j := i + 1; j%p.cols != 0 && used[j] {
				sx += z[j] * cmplx.Conj(z[i])
			}
			if j := i + p.cols; j < len(used) && used[j] {
				sy += z[j] * cmplx.Conj(z[i])
			}
		}
		grows[d] = [2]float64{cmplx.Phase(sx), cmplx.Phase(sy)}
		left := make([]complex128, len(z))
		for i, v := range z {
			x, y := float64(i%p.cols)-float64(p.cols)/2, float64(i/p.cols)-float64(p.rows)/2
			left[i] = v * cmplx.Rect(1, -grows[d][0]*x-grows[d][1]*y)
		}
		rough[d] = p.fit(left, used, 2).rms
	}
	return grows, rough
}

// move is a direction's change of phase between two positions, radians.
type move struct {
	rad, u float64 // in the picture's middle, and its standard uncertainty
	spread float64 // by how much it differs over the mirror, half the range of its plane
	rms    float64 // about that
}

// moved is the move from one position to another.
func (p *Position) moved(to *Position, d int, used []bool) move {
	z := make([]complex128, len(used))
	for i := range z {
		z[i] = to.z[d][i] * cmplx.Conj(p.z[d][i])
	}
	return p.fit(z, used, 1)
}

// fit is a smooth field through the phases of blocks, of some order, in the picture's middle. The phases lie
// around their mean's, nowhere half a period off.
func (p *Position) fit(z []complex128, used []bool, order int) move {
	var mean complex128
	for i, yes := range used {
		if a := cmplx.Abs(z[i]); yes && a > 0 {
			mean += z[i] / complex(a, 0)
		}
	}
	s := &surfacePoly{cx: float64(p.cols-1) / 2, cy: float64(p.rows-1) / 2, half: float64(max(p.cols, p.rows)) / 2, order: order}
	s.a = make([]float64, (order+1)*(order+2)/2)
	var rows [][]float64
	var y []float64
	for i, yes := range used {
		if yes {
			rows, y = append(rows, s.values(float64(i%p.cols), float64(i/p.cols))), append(y, cmplx.Phase(z[i]*cmplx.Conj(mean)))
		}
	}
	f := fitRobust(rows, y, nil, 1, 6, 0)
	ss, lo, hi := 0.0, math.Inf(1), math.Inf(-1)
	for i, row := range rows {
		v := dot(row, f.a)
		ss, lo, hi = ss+(y[i]-v)*(y[i]-v), min(lo, v), max(hi, v)
	}
	m := move{rad: cmplx.Phase(mean * cmplx.Rect(1, f.a[0])), spread: (hi - lo) / 2,
		rms: math.Sqrt(ss / float64(max(1, len(y)-len(f.a)))), u: math.Pi}
	var c mat.Cholesky
	var inv mat.SymDense
	if f.ok && c.Factorize(f.normal) && c.InverseTo(&inv) == nil {
		m.u = m.rms * math.Sqrt(notAlike*inv.At(0, 0))
	}
	return m
}

// inOrder says why three positions are not what they are named.
func inOrder(moves [2][2]move, wanted [2]float64, tiltKnown bool) error {
	x, y := [2]float64{math.Abs(moves[0][0].rad), math.Abs(moves[0][1].rad)}, [2]float64{math.Abs(moves[1][0].rad),
		math.Abs(moves[1][1].rad)}
	for k, m := range [2][2]float64{x, y} {
		if math.Hypot(m[0], m[1]) < moveNone*wanted[k] {
			return fmt.Errorf("stripes: from flat to %s the stripes moved by %.3f of a period, and gauge and ruler say %.2f: the mirror was turned, or not lifted, or one set was given twice; take %s again with the gauge under the mirror's edge",
				Positions[k+1], math.Hypot(m[0], m[1])/(2*math.Pi), wanted[k]/(2*math.Pi), Positions[k+1])
		}
	}
	switch {
	case x[1] > x[0] && y[0] > y[1]:
		return errors.New("stripes: tilted_x moved the stripes along y, and tilted_y those along x: the two folders seem exchanged; name them by the edge that was lifted, or take them again")
	case x[1] > crossMost*x[0] || y[0] > crossMost*y[1]:
		return errors.New("stripes: the mirror did not tilt about the picture's two axes: flat, tilted_x and tilted_y are in another order, or the mirror was turned between them, or the gauge lay under a corner; take the three again, the mirror's edges along the picture's")
	}
	for d, m := range [2]float64{x[0], y[1]} {
		least := 1 / (1 + moveOff)
		if d == 1 && !tiltKnown {
			least *= math.Cos(tiltUnknownDeg * math.Pi / 180)
		}
		if q := m / wanted[d]; !(q > least && q < 1+moveOff) {
			return fmt.Errorf("stripes: the stripes along %c moved by %.3f of a period, and gauge, span and ruler say %.3f; measure the gauge's thickness, the span and the screen's distance again, and see that gauge and edges were clean", 'x'+rune(d), m/(2*math.Pi), wanted[d]/(2*math.Pi))
		}
	}
	return nil
}

// fill tells the sensitivity and what follows from it.
func (m *Mirror) fill(moves [2][2]move, g Gauge, known Screen, rough [2]float64) {
	perMM := 4 * math.Pi / known.PeriodMM
	var raw [2]float64
	for d := range raw {
		raw[d] = math.Abs(moves[d][d].rad) / g.tilt(d)
	}
	// How far the mirrored line of sight leans: as told, else by what the two directions differ.
	lean, uLean := math.Sin(math.Abs(known.TiltDeg)*math.Pi/180), math.Cos(known.TiltDeg*math.Pi/180)*tiltUDeg*math.Pi/180
	if known.TiltDeg == 0 {
		lean, uLean = math.Sqrt(max(0, 1-math.Pow(min(1, raw[1]/raw[0]), 2))), sineUnknown
	}
	longer := [2]float64{g.SpanMM[0] / 2 * lean / known.DistanceMM, 0}
	uLonger := [2]float64{math.Hypot(middleUMM*lean, g.SpanMM[0]/2*uLean) / known.DistanceMM, 0}
	// Along y the middle's rise shifts the stripes along x too, the way that lifting the screen's side did.
	rise := [2]float64{0, math.Copysign(perMM*g.ThickUM/2000*lean, moves[0][0].rad)}
	for d := range raw {
		s := raw[d] / (1 + longer[d])
		cross := (moves[d][1-d].rad - rise[d]) / moves[d][d].rad
		m.RadPerRad[d] = s
		m.Parts[d] = []Share{
			{"thickness of the gauge", g.UThickUM / g.ThickUM},
			{"span", g.USpanMM / g.SpanMM[d]},
			{"phase", math.Hypot(moves[d][d].u, moves[d][d].rms/math.Sqrt(notAlike)) / math.Abs(moves[d][d].rad)},
			{"the middle's rise", uLonger[d]},
			{"axes", cross * cross / 2},
			{"place on the mirror", moves[d][d].spread / math.Sqrt(3) / math.Abs(moves[d][d].rad)}, // JCGM 100, 4.3.7
		}
		u := 0.0
		for _, p := range m.Parts[d] {
			u = math.Hypot(u, p.URel)
		}
		m.URadPerRad[d], m.CrossDeg[d] = u*s, math.Atan(cross)*180/math.Pi
		m.RoughMRad[d] = 1000 * rough[d] / s
	}
	m.DistanceMM = m.RadPerRad[0] / perMM
	m.UDistanceMM = m.DistanceMM * math.Hypot(m.URadPerRad[0]/m.RadPerRad[0], PeriodURel)
	r := m.RadPerRad[1] / m.RadPerRad[0]
	uR := r * math.Hypot(m.own(0), m.own(1))
	if r > 1 { // no square screen does that
		m.TiltDeg, m.UTiltDeg = 0, math.Acos(max(0, 1-(r-1)-uR))*180/math.Pi
		return
	}
	m.TiltDeg = math.Acos(r) * 180 / math.Pi
	m.UTiltDeg = min(uR/math.Sqrt(1-r*r+uR*uR), 1) * 180 / math.Pi
}

// PeriodURel is the relative standard uncertainty of the stripes' period, by a card held to the screen (common practice, no source).
const PeriodURel = 0.005

// own is what a direction's sensitivity does not share with the other's: all but the gauge.
func (m *Mirror) own(d int) float64 {
	u := 0.0
	for _, p := range m.Parts[d][1:] {
		u = math.Hypot(u, p.URel)
	}
	return u
}

// look tells what is remarkable and not enough to refuse it.
func (m *Mirror) look(three [3]*Position, moves [2][2]move, wanted [2]float64, used []bool, known Screen) {
	warn := m.warn
	for d := range wanted {
		if q := math.Abs(moves[d][d].rad) / wanted[d]; (d == 0 || known.TiltDeg != 0) && math.Abs(math.Log(q)) > math.Log(1+moveOffWarn) {
			warn(part.Say("stripes.warn.gauge", "along", fmt.Sprintf("%c", 'x'+rune(d)), "percent", fmt.Sprintf("%.0f", 100*q)))
		}
		if c := math.Tan(m.CrossDeg[d] * math.Pi / 180); math.Abs(c) > crossWarn {
			warn(part.Say("stripes.warn.cross", "position", string(Positions[d+1]), "angle_deg",
				fmt.Sprintf("%.0f", math.Abs(m.CrossDeg[d]))))
		}
		if m.RoughMRad[d] > mirrorRough {
			warn(part.Say("stripes.warn.rough", "along", fmt.Sprintf("%c", 'x'+rune(d)), "mrad", fmt.Sprintf("%.2f", m.RoughMRad[d])))
		}
	}
	if odd := three[0].oddShare(used); odd > mirrorOddWarn {
		warn(part.Say("stripes.warn.odd", "percent", fmt.Sprintf("%.0f", 100*odd)))
	}
	r, c := m.RadPerRad[1]/m.RadPerRad[0], math.Cos(known.TiltDeg*math.Pi/180)
	if u := r * math.Hypot(m.own(0), m.own(1)); known.TiltDeg != 0 && math.Abs(r-c) > surely*u+0.02 {
		warn(part.Say("stripes.warn.tilt", "ratio", fmt.Sprintf("%.2f", r), "tilt_deg", fmt.Sprintf("%.0f", math.Abs(known.TiltDeg)),
			"wanted", fmt.Sprintf("%.2f", c)))
	}
}

// oddShare is the light that is in no phase over the stripes' amplitude, median: half of a second harmonic and more.
func (p *Position) oddShare(used []bool) float64 {
	var v []float64
	for d := range p.z {
		for i, yes := range used {
			if yes {
				v = append(v, math.Abs(p.odd[d][i])/cmplx.Abs(p.z[d][i]))
			}
		}
	}
	return robust.Quantile(v, 0.5)
}
