package stripes

import (
	"math"
	"math/cmplx"
	"slices"
	"sync"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Sanding marks that telegraph through the lacquer are fine waves that all run one way. What is held
// against a part of the face before it is called so (common practice, no source).
const (
	grooveCutMM     = 0.8  // what waves longer is taken off (Gaussian filter of ISO 16610-21)
	grooveFineMM    = 0.02 // what is finer is averaged, standard deviation
	grooveCellMM    = 0.4  // side of the cells of which windows are made
	grooveFull      = 0.6  // of a cell mirrors
	grooveWrapRad   = 2.5  // phase that may be one that comes back from the other side,
	grooveWraps     = 0.03 // and share of a cell's pixels with such
	grooveOver      = 6.0  // standard deviations of the noise
	grooveAlong     = 0.75 // share of the slopes' variance that runs one way, at least, and by chance
	grooveFilled    = 0.75 // of a window's cells run that way,
	grooveClip      = 3.0  // and none counts more than so many times their median,
	grooveEven      = 0.75 // which leaves so much: in one ridge most is in few cells
	grooveMostMM    = 0.65 // main wavelength, at most
	grooveTurnDeg   = 25.0 // a cell is of a patch within this angle,
	grooveEnds      = 0.25 // and where its variance along is so much of the patch's: half of the slope
	grooveLeastMM2  = 1.0  // area of a patch
	grooveLeastMRad = 0.5  // slope across it,
	grooveLeastRad  = 0.17 // or phase, where the screen's place is not known
	// Independent waves that a square wavelength holds; 1.7 to 2.1 in drawn fields, fewer where a few waves are most of it.
	grooveModes = 0.5
	groovePeaks = 4.0  // times their root mean square, grooves are at their steepest
	grooveDim   = 0.08 // share of single pixels' light that they take no more than
	groovePeel  = 0.4  // share of the waviness from which on it is sanding, no orange peel
)

// grooveWindows are the sides of the windows in which one way is sought, cells.
var grooveWindows = []int{3, 5, 8}

// grooveCell is the slopes' variance in one cell, noise taken off. A slope s has s^2 for its
// variance and (sx + i sy)^2 for its direction, twice the angle: they average to nothing where
// slopes go every way, and add up where they go one way.
type grooveCell struct {
	ok       bool
	variance float64
	way      complex128
	bends    float64    // variance of the slopes' change over a millimetre,
	bendsWay complex128 // and the way in which they change
	noise    float64    // that was taken off the variance
}

// groovePatch is a set of cells that run one way.
type groovePatch struct {
	cells    []int
	variance float64 // means over the cells
	way      complex128
	bends    float64
	bendsWay complex128
	over     float64 // noise's standard deviations
	even     float64 // share of the variance that is left where no cell counts much more than others
}

func (g *groovePatch) share() float64 { return cmplx.Abs(g.way) / max(g.variance, 1e-12) }
func (g *groovePatch) waveMM() float64 {
	return 2 * math.Pi * math.Sqrt(g.variance/max(g.bends, 1e-12))
}
func (g *groovePatch) acrossRad() float64 { return cmplx.Phase(g.way) / 2 } // the way of the slopes, radians

// oriented adds what is sanded, and takes off what its grooves were called before: places whose slopes
// are no steeper than the grooves' own, and orange peel of which they are the most part.
func (m *Maps) oriented(out *Result, p Params) {
	if m.Waving() || out.Waves.AtLeast { // phases come back from the other side
		return
	}
	g := m.grooves(p)
	if g == nil {
		return
	}
	k, waviness := 1.0, out.Waves.RMSRad
	if p.Screen.Known() {
		s := p.Screen.slopePerRad()
		k, waviness = 1000*(s[0]+s[1])/2, out.Waves.SlopeMRad
	}
	whole, sanded := 0.0, 0.0
	for _, c := range g.cells {
		if c.ok {
			whole++
		}
	}
	var found []part.Finding
	for _, patch := range g.patches(p) {
		f, slope, ok := m.sanding(g, patch, p)
		if !ok {
			continue
		}
		found = append(found, f)
		sanded += slope * slope * float64(len(patch.cells)) / whole
		out.Findings = slices.DeleteFunc(out.Findings, func(o part.Finding) bool {
			return m.ofGrooves(o, g, patch, f, slope/k)
		})
	}
	if len(found) > 0 && sanded >= groovePeel*waviness*waviness && out.Waves.LostShare < peelLost {
		out.Findings = slices.DeleteFunc(out.Findings, func(o part.Finding) bool { return o.Kind == part.OrangePeel })
	}
	out.Findings = append(out.Findings, found...)
}

// ofGrooves says whether a place is a patch's grooves: it lies in the patch, slopes no more than they
// do at their steepest, and is long along them, keeps its gloss, or loses it to slopes that single
// pixels follow. rms is theirs, radians of phase.
func (m *Maps) ofGrooves(o part.Finding, g *grooves, patch groovePatch, sanding part.Finding, rms float64) bool {
	if o.Kind == part.OrangePeel || o.Kind == part.Haze || o.LengthMM == nil || o.AngleDeg == nil ||
		o.Features["phase_rad"] > groovePeaks*rms {
		return false
	}
	q := o.Box.Centre()
	x, y := int((q.X-float64(m.X0))/float64(m.Bin))/g.side, int((q.Y-float64(m.Y0))/float64(m.Bin))/g.side
	near := func(c int) bool { return max(c%g.cols-x, x-c%g.cols, c/g.cols-y, y-c/g.cols) <= 1 } // steep cells are not in it
	if !slices.ContainsFunc(patch.cells, near) {
		return false
	}
	turned := math.Abs(math.Mod(*o.AngleDeg-*sanding.AngleDeg+270, 180) - 90)
	return *o.LengthMM >= 1.5**o.WidthMM && turned < grooveTurnDeg || o.Features["gloss_lost_most"] < followLoss ||
		o.Features["light_lost"] < grooveDim
}

// grooves are the fine slopes of a face, in cells.
type grooves struct {
	cells      []grooveCell
	cols, side int     // cells in a row, and a cell's side in pixels
	deviation  float64 // of a part of a cell's way that is noise, over the noise
	mmPX       float64
}

// grooves takes the fine slopes' variance cell by cell; nil where the stripes' ways are not known.
func (m *Maps) grooves(p Params) *grooves {
	det := m.along[0][0]*m.along[1][1] - m.along[0][1]*m.along[1][0]
	if math.Abs(det) < 0.5 {
		return nil
	}
	k := [2]float64{1, 1}
	if p.Screen.Known() {
		k = p.Screen.slopePerRad()
		k[0], k[1] = 1000*k[0], 1000*k[1]
	}
	w, h := m.Depth.W, m.Depth.H
	ok := make([]bool, w*h)
	for i, yes := range m.looked {
		ok[i] = yes && !m.atRim[i] && float64(m.Gloss.V[i]) >= lostGloss*m.best
	}
	share := part.NewPlane(w, h)
	for i, yes := range ok {
		if yes {
			share.V[i] = 1
		}
	}
	fine, wide := gauss(share, grooveFineMM/m.MMPX), gauss(share, gaussOfCut*grooveCutMM/m.MMPX)
	var signal, noise slopes
	var both sync.WaitGroup
	both.Go(func() { signal = m.slopeBand(m.fine, ok, fine, wide, k, det) })
	noise = m.slopeBand(m.odd, ok, fine, wide, k, det)
	both.Wait()
	g := &grooves{side: max(4, int(grooveCellMM/m.MMPX+0.5)), mmPX: m.MMPX}
	g.cols = w / g.side
	var noiseWays []complex128
	for cy := range h / g.side {
		for cx := range g.cols {
			x0, y0 := cx*g.side, cy*g.side
			s, n := signal.cell(ok, x0, y0, g.side, w), noise.cell(ok, x0, y0, g.side, w)
			c := grooveCell{ok: s.ok && !m.wraps(x0, y0, g.side)}
			c.noise = m.phaseNoise * n.variance
			c.variance, c.way = s.variance-c.noise, s.way-complex(m.phaseNoise, 0)*n.way
			c.bends, c.bendsWay = (s.bends-m.phaseNoise*n.bends)/(m.MMPX*m.MMPX), (s.bendsWay-complex(m.phaseNoise,
				0)*n.bendsWay)/complex(m.MMPX*m.MMPX, 0)
			g.cells = append(g.cells, c)
			if c.ok && n.variance > 0 {
				noiseWays = append(noiseWays, n.way/complex(n.variance, 0))
			}
		}
	}
	if len(noiseWays) < grooveWindows[0]*grooveWindows[0] {
		return nil
	}
	mean, ss := complex(0, 0), 0.0
	for _, v := range noiseWays {
		mean += v / complex(float64(len(noiseWays)), 0)
	}
	for _, v := range noiseWays {
		ss += real((v - mean) * cmplx.Conj(v-mean))
	}
	g.deviation = math.Sqrt(2 * ss / 2 / float64(len(noiseWays))) // the phase's own, and that of the noise taken off
	return g
}

// wraps says whether slopes in a cell are so steep that phases come back from the other side, which
// makes fine waves out of a single steep place.
func (m *Maps) wraps(x0, y0, side int) bool {
	n := 0
	for k := range side * side {
		i := (y0+k/side)*m.Depth.W + x0 + k%side
		if m.looked[i] && max(math.Abs(float64(m.fine[0].V[i])), math.Abs(float64(m.fine[1].V[i]))) > grooveWrapRad {
			n++
		}
	}
	return float64(n) > grooveWraps*float64(side*side)
}

// slopes are a vector in each pixel, along the picture's x and y.
type slopes struct{ x, y *part.Plane }

// slopeBand turns two directions' phases into slopes, and keeps the fine of them; ofFine and ofWide are
// how much of what the filters see is ok.
func (m *Maps) slopeBand(phase [2]*part.Plane, ok []bool, ofFine, ofWide *part.Plane, k [2]float64, det float64) slopes {
	w, h := m.Depth.W, m.Depth.H
	s := slopes{part.NewPlane(w, h), part.NewPlane(w, h)}
	for i, yes := range ok {
		if yes {
			u, v := k[0]*float64(phase[0].V[i]), k[1]*float64(phase[1].V[i])
			s.x.V[i] = float32((m.along[1][1]*u - m.along[0][1]*v) / det)
			s.y.V[i] = float32((m.along[0][0]*v - m.along[1][0]*u) / det)
		}
	}
	fine, wide := grooveFineMM/m.MMPX, gaussOfCut*grooveCutMM/m.MMPX
	for _, p := range []*part.Plane{s.x, s.y} {
		a, b := gauss(p, fine), gauss(p, wide)
		for i, yes := range ok {
			if yes {
				p.V[i] = a.V[i]/ofFine.V[i] - b.V[i]/ofWide.V[i]
			}
		}
	}
	return s
}

// cell is the variance of slopes in one cell; bends are over a pixel.
func (s slopes) cell(ok []bool, x0, y0, side, w int) grooveCell {
	var c grooveCell
	n, pairs := 0.0, 0.0
	for k := range side * side {
		i := (y0+k/side)*w + x0 + k%side
		if !ok[i] {
			continue
		}
		n++
		v := complex(float64(s.x.V[i]), float64(s.y.V[i]))
		c.variance += real(v * cmplx.Conj(v))
		c.way += v * v
		if i+w >= len(ok) || !ok[i+1] || !ok[i+w] {
			continue
		}
		pairs++
		for _, p := range [2]*part.Plane{s.x, s.y} {
			d := complex(float64(p.V[i+1]-p.V[i]), float64(p.V[i+w]-p.V[i]))
			c.bends += real(d * cmplx.Conj(d))
			c.bendsWay += d * d
		}
	}
	c.ok = n >= grooveFull*float64(side*side) && pairs > 0
	n, pairs = max(n, 1), max(pairs, 1)
	c.variance, c.way = c.variance/n, c.way/complex(n, 0)
	c.bends, c.bendsWay = c.bends/pairs, c.bendsWay/complex(pairs, 0)
	return c
}

// patch sums up cells, none of which counts more than some times their median; ok is false
// where there is next to nothing.
func (g *grooves) patch(cells []int) (out groovePatch, ok bool) {
	if len(cells) == 0 {
		return out, false
	}
	v := make([]float64, len(cells))
	for i, c := range cells {
		v[i] = g.cells[c].variance
	}
	most := grooveClip * robust.Quantile(v, 0.5)
	if !(most > 0) {
		return out, false
	}
	n, noise, all := float64(len(cells)), 0.0, 0.0
	for _, i := range cells {
		c := g.cells[i]
		q := 1.0
		if c.variance > most {
			q = most / c.variance
		}
		all += c.variance / n
		out.variance += q * c.variance / n
		out.way += complex(q/n, 0) * c.way
		out.bends += q * c.bends / n
		out.bendsWay += complex(q/n, 0) * c.bendsWay
		noise += q * q * g.deviation * g.deviation * c.noise * c.noise
	}
	out.cells, out.over, out.even = cells, cmplx.Abs(out.way)*n/max(math.Sqrt(noise), 1e-12), out.variance/max(all, 1e-12)
	return out, out.variance > 0 && out.bends > 0
}

// runs says whether a cell's slopes go a patch's way.
func (g *grooves) runs(i int, p *groovePatch, least float64) bool {
	way := p.way / complex(cmplx.Abs(p.way), 0)
	return real(g.cells[i].way*cmplx.Conj(way)) > least
}

// patches are the sets of neighbouring cells that run one way. Slopes that go every way share one
// by chance, the more so the fewer waves a window holds: the share's square follows an exponential law,
// its mean one over the number of independent waves (Rayleigh 1880), and all windows of all sizes
// together are to exceed what is asked for in the share FalseFace of faces.
func (g *grooves) patches(p Params) []groovePatch {
	rows := len(g.cells) / g.cols
	whole, windows := 0, 0.0
	for _, c := range g.cells {
		if c.ok {
			whole++
		}
	}
	for _, n := range grooveWindows {
		windows += float64(whole) / float64(n*n)
	}
	chance := math.Log(windows / p.FalseFace)
	best := make([]*groovePatch, len(g.cells))
	for _, n := range grooveWindows {
		for y := range max(0, rows-n+1) {
			for x := range max(0, g.cols-n+1) {
				var cells []int
				for k := range n * n {
					if i := (y+k/n)*g.cols + x + k%n; g.cells[i].ok {
						cells = append(cells, i)
					}
				}
				if float64(len(cells)) < grooveFilled*float64(n*n) {
					continue
				}
				w, ok := g.patch(cells)
				if !ok || w.over < grooveOver || !w.oneWay() || w.even < grooveEven || w.waveMM() > grooveMostMM {
					continue
				}
				across := math.Sqrt(float64(len(cells))) * float64(g.side) * g.mmPX / w.waveMM()
				if w.share() < max(grooveAlong, math.Sqrt(chance/(grooveModes*across*across))) {
					continue
				}
				var same []int
				for _, i := range cells {
					if g.runs(i, &w, 0.3*cmplx.Abs(w.way)) {
						same = append(same, i)
					}
				}
				if float64(len(same)) < grooveFilled*float64(len(cells)) {
					continue
				}
				for _, i := range same {
					if best[i] == nil || w.share() > best[i].share() {
						best[i] = &w
					}
				}
			}
		}
	}
	var out []groovePatch
	done := make([]bool, len(g.cells))
	for i, w := range best {
		if w == nil || done[i] {
			continue
		}
		cells := g.grown(i, best, done)
		patch, ok := g.patch(cells)
		if ok {
			cells = slices.DeleteFunc(cells, func(i int) bool { return !g.runs(i, &patch, grooveEnds*cmplx.Abs(patch.way)) })
			patch, ok = g.patch(cells)
		}
		if ok && patch.oneWay() && patch.share() >= grooveAlong {
			out = append(out, patch)
		}
	}
	return out
}

// oneWay says whether slopes change the way in which they go, as those of a surface do; light that is
// no surface's, such as bands, need not.
func (g *groovePatch) oneWay() bool {
	return cmplx.Abs(g.bendsWay) >= grooveAlong*g.bends && turnedDeg(g.way, g.bendsWay) < grooveTurnDeg
}

// turnedDeg is the angle between two ways, degrees, 0..90.
func turnedDeg(a, b complex128) float64 {
	return math.Abs(cmplx.Phase(a*cmplx.Conj(b))) / 2 * 180 / math.Pi
}

// grown is the cells around one that run its way, from neighbour to neighbour.
func (g *grooves) grown(first int, best []*groovePatch, done []bool) []int {
	out := []int{first}
	done[first] = true
	for k := 0; k < len(out); k++ {
		x, y := out[k]%g.cols, out[k]/g.cols
		for j := range 9 {
			u, v := x+j%3-1, y+j/3-1
			if u < 0 || v < 0 || u >= g.cols || v >= len(g.cells)/g.cols {
				continue
			}
			i := v*g.cols + u
			if !done[i] && best[i] != nil && turnedDeg(best[i].way, best[out[k]].way) < grooveTurnDeg {
				done[i] = true
				out = append(out, i)
			}
		}
	}
	slices.Sort(out)
	return out
}

// sanding turns a patch into a finding.
func (m *Maps) sanding(g *grooves, patch groovePatch, p Params) (f part.Finding, slope float64, ok bool) {
	side := float64(g.side) * m.MMPX
	area := float64(len(patch.cells)) * side * side
	slope, u := g.slope(patch, m, p)
	least := grooveLeastRad
	if p.Screen.Known() {
		least = grooveLeastMRad
	}
	if area < grooveLeastMM2 || slope < least {
		return f, slope, false
	}
	var pixels []int
	sin, cos := math.Sincos(patch.acrossRad())
	lo, hi, lo2, hi2 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, c := range patch.cells {
		for k := range g.side * g.side {
			x, y := c%g.cols*g.side+k%g.side, c/g.cols*g.side+k/g.side
			pixels = append(pixels, y*m.Depth.W+x)
			a, b := float64(x)*cos+float64(y)*sin, float64(y)*cos-float64(x)*sin
			lo, hi, lo2, hi2 = min(lo, a), max(hi, a), min(lo2, b), max(hi2, b)
		}
	}
	round := func(v float64) *float64 { return part.Num(math.Round(1000*v) / 1000) }
	angle := math.Mod(-(patch.acrossRad()*180/math.Pi+90)+540, 180)
	f = part.Finding{Kind: part.Sanding, Box: m.box(boundsOf(pixels, m.Depth.W)), Zone: part.ZoneFace, Confidence: 0.9,
		LengthMM: round((hi2 - lo2 + 1) * m.MMPX), WidthMM: round((hi - lo + 1) * m.MMPX), ULengthMM: round(side), UWidthMM: round(side),
		AreaMM2: part.Num(math.Round(100*area) / 100), AngleDeg: part.Num(math.Round(10*angle) / 10),
		Features: map[string]float64{"one_way": *round(patch.share()), "main_wave_mm": *round(patch.waveMM()),
			"over_noise": math.Round(10*patch.over) / 10},
	}
	name := "phase_rad"
	if p.Screen.Known() {
		name = "slope_mrad"
	}
	f.Features[name], f.Features["u_"+name] = *round(slope), *round(u)
	return f, slope, true
}

// slope is the root mean square slope across a patch's grooves, and its standard uncertainty. What
// lens, pixels and filters take is made up for at its main wavelength; it is known to a quarter, for
// not all waves are of that length.
func (g *grooves) slope(patch groovePatch, m *Maps, p Params) (slope, u float64) {
	f := 1 / patch.waveMM()
	sin, cos := math.Sincos(patch.acrossRad())
	pass := func(sigma float64) float64 { return math.Exp(-2 * math.Pi * math.Pi * sigma * sigma * f * f) }
	kept := math.Sqrt(max(m.passes(f*cos, f*sin, p), leastPass)) * (pass(grooveFineMM) - pass(gaussOfCut*grooveCutMM))
	way := patch.way / complex(cmplx.Abs(patch.way), 0)
	n := float64(len(patch.cells))
	mean, ss := 0.0, 0.0
	for _, i := range patch.cells {
		mean += real(g.cells[i].way*cmplx.Conj(way)) / n
	}
	for _, i := range patch.cells {
		d := real(g.cells[i].way*cmplx.Conj(way)) - mean
		ss += d * d
	}
	slope, u = part.RootOf(mean, math.Sqrt(ss/max(1, n-1)/n)+0.02*mean)
	slope, u = slope/kept, u/kept
	return slope, math.Sqrt(u*u + math.Pow((1-kept)*slope/4, 2) + math.Pow(p.Screen.URel*slope, 2))
}
