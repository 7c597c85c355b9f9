package seam

import (
	"math"

	"finishbench/internal/part"
)

// Lengths at a limb, in mm. They are lengths of units, not of pictures; common
// practice, no source, unless told.
const (
	blendMM     = 0.075 // lacquer fillet or edge rounding on either side of the seam
	blendMaxMM  = 0.40  // widest groove or bead that is still left out
	blendStepMM = 0.03
	faceMaxMM   = 1.5  // longest faceplate wall used
	faceStartMM = 0.20 // wall that is taken as straight to begin with
	shellMaxMM  = 1.35 // shell wall taken as gently curved (second order)
	shellStart  = 0.60
	backOffMM   = 0.05 // kept away from where a side ends (rim, notch)
	minSideMM   = 0.12 // shortest side that gives a direction
	minSideRows = 6
	gapFloorUM  = 3.0 // smaller grooves and beads are told as none

	// A compressed picture is coded in blocks of 8 rows (ISO/IEC 10918-1): from one to
	// the next an upright wall jumps by about this, in pixels. Common practice, no source.
	jumpPX = 0.2
)

// limb is one limb of a picture in its own frame.
type limb struct {
	l        *light
	sil      *silhouette
	mirrored bool
	mm       float64 // mm per pixel
	dir      float64 // +1: faceplate up
	rows     []limbRow
	y0       int // row of rows[0]
	reach    int // samples kept on either side of the outline
	level    int // samples from the outline to where a level is taken

	undistort func(part.Point) part.Point // see Params; nil: none
	cos, sin  float64                     // direction of the seam's chord: what is measured is measured along it
	anchor    part.Point                  // of the straightened outline, see anchorAt
}

func (b *limb) x(u float64) float64 {
	if b.mirrored {
		return float64(b.l.w-1) - u
	}
	return u
}

// trace reads the rows from y0 to y1 and finds each one's half-height
// crossing; where single rows are too noisy, in means of five. It returns why
// not, where it finds too few.
func (b *limb) trace(y0, y1 int) part.Phrase {
	reason, share := b.traceRows(y0, y1, 0)
	if share < 0.9 {
		if r, s := b.traceRows(y0, y1, 2); s > share {
			reason = r
		}
	}
	return reason
}

// traceRows does so with 2*around+1 rows averaged for the crossing. share is
// that of the rows in which it was found.
func (b *limb) traceRows(y0, y1, around int) (reason part.Phrase, share float64) {
	y0, y1 = max(0, y0), min(b.l.h-1, y1)
	b.level = max(5, int(0.06/b.mm+0.5))
	b.reach = 2*b.level + 4
	b.y0 = y0
	b.rows = make([]limbRow, 0, max(0, y1-y0+1))
	margin := 2*b.sil.s + b.reach + 2
	buf := make([]float64, 2*margin+1)
	found, cut, none := 0, 0, 0
	for y := y0; y <= y1; y++ {
		r := limbRow{y: float64(y), half: math.NaN(), fine: math.NaN()}
		guess := b.sil.limbCell(float64(y), b.l.w, b.mirrored)
		switch {
		case math.IsNaN(guess):
			none++
		case int(guess) < b.sil.s+2:
			cut++
		default:
			u0 := max(0, int(guess)-margin)
			v := buf[:min(len(buf), b.l.w-u0)]
			if b.l.row(v, y, u0, b.mirrored) {
				r.half = b.crossing(b.meanRow(v, y, u0, around), int(guess)-u0)
				if !math.IsNaN(r.half) {
					c := int(r.half + 0.5)
					lo, hi := max(0, c-b.reach), min(len(v), c+b.reach+1)
					r.light = append([]float64(nil), v[lo:hi]...)
					r.u0 = u0 + lo
					r.half += float64(u0)
					found++
				}
			}
		}
		b.rows = append(b.rows, r)
	}
	switch {
	case cut > len(b.rows)/2:
		reason = part.Say("seam.why.cut_off")
	case none > len(b.rows)/2:
		reason = part.Say("seam.why.no_outline")
	case found < len(b.rows)/2:
		reason = part.Say("seam.why.faint")
	}
	return reason, float64(found) / float64(max(1, len(b.rows)))
}

// meanRow is row y, whose samples from u0 on are v, averaged with its
// neighbours.
func (b *limb) meanRow(v []float64, y, u0, around int) []float64 {
	if around == 0 {
		return v
	}
	sum, one, n := append([]float64(nil), v...), make([]float64, len(v)), 1.0
	for d := -around; d <= around; d++ {
		if d != 0 && b.l.row(one, y+d, u0, b.mirrored) {
			for i := range sum {
				sum[i] += one[i]
			}
			n++
		}
	}
	for i := range sum {
		sum[i] /= n
	}
	return sum
}

// minStep is the smallest change of linear light from panel to unit that is
// taken for an outline: on a dark panel a gloss wall grows dim at the limb.
const minStep = 0.004

// crossing finds, in samples that begin in the panel, where the level is half
// way to the unit's, near the rough place guess; NaN where it is not.
func (b *limb) crossing(v []float64, guess int) float64 {
	s, n := b.sil.s, len(v)
	mean := func(lo, hi int) float64 {
		lo, hi = max(0, lo), min(n, hi)
		if lo >= hi {
			return math.NaN()
		}
		t := 0.0
		for _, x := range v[lo:hi] {
			t += x
		}
		return t / float64(hi-lo)
	}
	panel := mean(0, max(2, guess-s-b.level-2))
	unit := mean(guess+2, guess+s+b.level)
	at := math.NaN()
	for round := 0; round < 3; round++ {
		if !(math.Abs(unit-panel) > minStep) {
			return math.NaN()
		}
		half, sign := (unit+panel)/2, 1.0
		if unit < panel {
			sign = -1
		}
		at = math.NaN()
		for i := 1; i < n; i++ {
			v0, v1 := sign*(v[i-1]-half), sign*(v[i]-half)
			if v0 < 0 && v1 >= 0 {
				at = float64(i-1) + v0/(v0-v1)
				break
			}
		}
		if math.IsNaN(at) {
			return at
		}
		c := int(at + 0.5)
		panel = mean(c-2*b.level, c-b.level+1)
		unit = mean(c+b.level, c+2*b.level)
	}
	return at
}

// side is one side of the seam at a limb: the faceplate's wall or the shell's.
type side struct {
	name    string
	sign    float64 // t*sign > 0 on this side; t grows from faceplate to shell
	degree  int
	curved  bool // the next degree may be needed
	startMM float64
	maxMM   float64
	lo, hi  float64 // used rows: lo <= t*sign <= hi, in pixels along y
	rows    []limbRow
	shape   edgeShape
	fit     polyFit // outline u against y, around the seam's row
	used    int
	offset  float64 // fine minus half, median
}

// pick collects the side's rows between lo and hi.
func (b *limb) pick(s *side, seamY float64) {
	s.rows = s.rows[:0]
	for _, r := range b.rows {
		t := b.dir * (r.y - seamY) * s.sign
		if t >= s.lo && t <= s.hi && !math.IsNaN(r.half) {
			s.rows = append(s.rows, r)
		}
	}
}

// columnsOf returns the rows' places and half-height or fine crossings.
func columnsOf(rows []limbRow, fine bool) (y, u []float64) {
	y, u = make([]float64, 0, len(rows)), make([]float64, 0, len(rows))
	for _, r := range rows {
		v := r.half
		if fine {
			v = r.fine
		}
		y, u = append(y, r.y), append(u, v)
	}
	return y, u
}

// extend finds how far from the seam the side is one smooth curve: it starts
// with a short stretch and goes on while the rows follow the fit.
func (b *limb) extend(s *side, seamY float64) bool {
	px := func(mm float64) float64 { return mm / b.mm }
	limit := s.lo + px(s.maxMM)
	s.hi = s.lo + max(px(s.startMM), minSideRows+2)
	var p polyFit
	for {
		b.pick(s, seamY)
		y, u := columnsOf(s.rows, false)
		f, _, ok := fitRobust(y, u, seamY, s.degree, 0.1)
		if !ok {
			return false
		}
		p = f
		if s.hi >= limit {
			s.hi = limit
			return true
		}
		// the next stretch, in threes
		next := min(limit, s.hi+max(5, px(0.06)))
		bad := 0
		run := make([]float64, 0, 3)
		end := next
		for _, r := range b.beyond(s, seamY, s.hi, next) {
			t := b.dir * (r.y - seamY) * s.sign
			d := math.NaN()
			if !math.IsNaN(r.half) {
				d = r.half - p.at(r.y)
			}
			if len(run) == 3 {
				run = append(run[:0], run[1:]...)
			}
			run = append(run, d)
			m := 0.0
			for _, v := range run {
				m += v / float64(len(run))
			}
			if !(math.Abs(m) <= max(jumpPX, 3*math.Hypot(p.sd, p.uAt(r.y)))) {
				bad++
				if bad == 3 {
					end = t - 3
					break
				}
			} else {
				bad = 0
			}
		}
		if end < next {
			s.hi = max(s.lo+minSideRows, end-px(backOffMM)-2)
			return true
		}
		s.hi = next
	}
}

// beyond returns the rows with from < t <= to, nearest first.
func (b *limb) beyond(s *side, seamY, from, to float64) []limbRow {
	var out []limbRow
	step := int(b.dir * s.sign)
	for i := int(math.Round(seamY)) - b.y0; i >= 0 && i < len(b.rows); i += step {
		t := b.dir * (b.rows[i].y - seamY) * s.sign
		if t > to {
			break
		}
		if t > from {
			out = append(out, b.rows[i])
		}
	}
	return out
}

// extent finds which rows belong to a side: from beyond the blend, a groove
// or a bead as far as the outline is smooth. It returns the reason where there
// are too few.
func (b *limb) extent(s *side, seamY float64) part.Phrase {
	s.lo = blendMM/b.mm + 3
	for {
		if !b.extend(s, seamY) {
			return s.why("broken")
		}
		near := max(3, blendStepMM/b.mm)
		if !b.disturbed(s, seamY, near) || (s.lo+near)*b.mm > blendMaxMM {
			break
		}
		s.lo += near
	}
	b.pick(s, seamY)
	y, u := columnsOf(s.rows, false)
	f, _, ok := fitRobust(y, u, seamY, s.degree, 0.15)
	if !ok {
		return s.why("broken")
	}
	s.fit = f
	return part.Phrase{}
}

// why is why a side cannot be measured.
func (s *side) why(what string) part.Phrase {
	return part.Say("seam.why."+what, "side", "@seam.side."+s.name)
}

// measure fits a side's edge shape. It returns the reason where it cannot.
func (b *limb) measure(s *side, seamY float64) part.Phrase {
	b.pick(s, seamY)
	if len(s.rows) < minSideRows || (s.hi-s.lo)*b.mm < minSideMM*0.5 {
		return s.why("short")
	}
	y, u := columnsOf(s.rows, false)
	f, use, ok := fitRobust(y, u, seamY, s.degree, 0.15)
	if !ok {
		return s.why("broken")
	}
	kept := s.rows[:0]
	for i, r := range s.rows {
		if use[i] {
			kept = append(kept, r)
		}
	}
	s.rows = kept
	b.unmix(s)
	some := spread(s.rows, maxShapeRows)
	start := b.startShape(some, f.poly)
	shape, ok := fitShape(some, f.poly, start, true)
	if !ok {
		return s.why("unclean")
	}
	s.shape = shape
	s.fit = f
	return part.Phrase{}
}

// maxShapeRows is how many rows of a side tell its edge's shape; more would
// tell it no better.
const maxShapeRows = 45

// spread returns at most n rows, evenly spread.
func spread(rows []limbRow, n int) []limbRow {
	if len(rows) <= n {
		return rows
	}
	out := make([]limbRow, n)
	for i := range out {
		out[i] = rows[i*len(rows)/n]
	}
	return out
}

// anchorAt makes the outline at row y, column u of the limb the place that
// straight leaves where it is.
func (b *limb) anchorAt(y, u float64) { b.anchor = part.Point{X: b.x(u), Y: y} }

// straight takes the lens's distortion and the seam's roll off a place of the
// outline: row y, column u of the limb. What is left is its place about the anchor,
// so that rows and columns near the seam keep their numbers.
func (b *limb) straight(y, u float64) (float64, float64) {
	if math.IsNaN(u) || b.undistort == nil && b.sin == 0 {
		return y, u
	}
	p, a := part.Point{X: b.x(u), Y: y}, b.anchor
	if b.undistort != nil {
		p, a = b.undistort(p), b.undistort(a)
	}
	dx, dy := p.X-a.X, p.Y-a.Y
	return b.anchor.Y + dy*b.cos - dx*b.sin, b.x(b.anchor.X + dx*b.cos + dy*b.sin)
}

// bent is the inverse of straight, as a place of the picture, for drawing.
func (b *limb) bent(y, u float64) part.Point {
	y0, u0 := y, u
	for range 12 { // distortion and roll are slight: each round leaves a few hundredths of them, a fifth at most
		ys, us := b.straight(y0, u0)
		y0, u0 = y0+y-ys, u0+u-us
	}
	return part.Point{X: b.x(u0), Y: y0}
}

// finish finds the rows' fine places with the common blur and fits the side.
func (b *limb) finish(s *side, seamY float64) part.Phrase {
	fitRows(s.rows, s.fit.poly, s.shape)
	y, u := columnsOf(s.rows, true)
	for i := range y {
		y[i], u[i] = b.straight(y[i], u[i])
	}
	off := make([]float64, 0, len(s.rows))
	for _, r := range s.rows {
		if !math.IsNaN(r.fine) {
			off = append(off, r.fine-r.half)
		}
	}
	s.offset = median(off)
	f, use, ok := fitRobust(y, u, seamY, s.degree, 0.1)
	if !ok || count(use) < minSideRows {
		return s.why("broken")
	}
	s.fit, s.used = f, count(use)
	if s.curved {
		kept, at := y[:0], u[:0]
		for i := range y {
			if use[i] {
				kept, at = append(kept, y[i]), append(at, u[i])
			}
		}
		s.fit, _ = fitCurved(kept, at, seamY, s.degree)
	}
	return part.Phrase{}
}

// disturbed reports whether the rows next to the left-out zone leave the curve
// of the rows beyond them: a wide groove, a bead, a broad fillet.
func (b *limb) disturbed(s *side, seamY, near float64) bool {
	var y, u []float64
	var yn, un []float64
	for _, r := range b.rows {
		t := b.dir * (r.y - seamY) * s.sign
		if t < s.lo || t > s.hi || math.IsNaN(r.half) {
			continue
		}
		if t < s.lo+near {
			yn, un = append(yn, r.y), append(un, r.half)
		} else {
			y, u = append(y, r.y), append(u, r.half)
		}
	}
	f, _, ok := fitRobust(y, u, seamY, s.degree, 0.1)
	if !ok || len(yn) == 0 {
		return false
	}
	m := 0.0
	for i := range yn {
		m += (un[i] - f.at(yn[i])) / float64(len(yn))
	}
	se := math.Hypot(f.u(), f.sd*math.Sqrt(f.infl/float64(len(yn))))
	return math.Abs(m) > max(3*se, 0.1)
}

// startShape makes a first edge shape from the levels beside the outline.
func (b *limb) startShape(rows []limbRow, p poly) edgeShape {
	var panel, unit float64
	var np, nu int
	for _, r := range rows {
		at := p.at(r.y)
		for k, v := range r.light {
			d := float64(r.u0+k) - at
			switch {
			case d < -float64(b.level)+0.5:
				panel += v
				np++
			case d > float64(b.level)-1.5 && d < float64(b.level)+2.5:
				unit += v
				nu++
			}
		}
	}
	e := edgeShape{sigma: 0.9, gloss: glossMM / b.mm}
	if np > 0 && nu > 0 {
		e.panel, e.unit = panel/float64(np), unit/float64(nu)
	}
	// the blur from the slope at the outline: contrast / (sigma sqrt(2 pi))
	steep := make([]float64, 0, len(rows))
	for _, r := range rows {
		best := 0.0
		for k := 1; k < len(r.light); k++ {
			if math.Abs(float64(r.u0+k)-0.5-p.at(r.y)) < 3 {
				best = max(best, math.Abs(r.light[k]-r.light[k-1]))
			}
		}
		steep = append(steep, best)
	}
	if m := median(steep); m > 0 {
		e.sigma = min(6, max(0.5, math.Abs(e.panel-e.unit)/m/2.5066))
	}
	return e
}
