package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/assign"
)

// Fate is what became of a finding.
type Fate string

// The fates, in the order in which they are told.
const (
	StillThere Fate = "there"
	Larger     Fate = "larger"
	Smaller    Fate = "smaller"
	New        Fate = "new"
	Unmeasured Fate = "unmeasured" // where it was, or is, was not fit to be seen the other time
	Gone       Fate = "gone"
)

// Fates lists them in order.
var Fates = []Fate{StillThere, Larger, Smaller, New, Unmeasured, Gone}

// ReworkParams say when two findings are one.
type ReworkParams struct {
	NearMM     float64 // farthest apart of two middles, besides what the outlines' fit leaves and half the finding's length. Default 0.3
	NearLostMM float64 // the same where the outlines are not known, so that the unit is taken to lie as before. Default 1
	TurnDeg    float64 // a unit is put back within so many degrees; other ways to lie must fit the outline better. Default 30
	FitMM      float64 // outlines that lie this close to each other are the same unit's. Default 0.3
	SizeShare  float64 // relative change of size that is one, where the uncertainty is not known. Default 0.2
	StepUM     float64 // change of a step, gap or bead that is one, where the uncertainty is not known. Default 10
}

// DefaultReworkParams are the defaults (common practice, no source).
func DefaultReworkParams() ReworkParams { return ReworkParams{0.3, 1, 30, 0.3, 0.2, 10} }

// Change is what became of one finding.
type Change struct {
	Fate   Fate
	Before *part.Finding // nil: was not there
	After  *part.Finding // nil: is not there
}

// ReworkOf matches what was found on a unit before with what is found now, and tells what
// became of each finding, in the order of fates. The
// unit may lie a little shifted and turned: the faceplate's outlines are laid on
// each other first. Findings are pairs where their places are near, whatever
// their kinds, at most one to one, as many as there can be and of these the
// nearest.
func ReworkOf(before, after *part.Result, prm ReworkParams) []Change {
	var changes []Change
	m := newMatcher(before, after, prm)
	pairs := m.best()
	taken := make([]bool, len(after.Findings))
	for i := range before.Findings {
		f := &before.Findings[i]
		j := pairs[i]
		switch {
		case j >= 0:
			taken[j] = true
			g := &after.Findings[j]
			changes = append(changes, Change{m.sizeFate(f, g), f, g})
		case seen(before, f, after):
			changes = append(changes, Change{Gone, f, nil})
		default:
			changes = append(changes, Change{Unmeasured, f, nil})
		}
	}
	for j := range after.Findings {
		if g := &after.Findings[j]; !taken[j] {
			fate := New
			if !seen(after, g, before) {
				fate = Unmeasured
			}
			changes = append(changes, Change{fate, nil, g})
		}
	}
	slices.SortStableFunc(changes, func(a, b Change) int {
		return cmp.Compare(slices.Index(Fates, a.Fate), slices.Index(Fates, b.Fate))
	})
	return changes
}

// matcher pairs the findings of two inspections of one unit.
type matcher struct {
	before, after *part.Result
	prm           ReworkParams
	fits          []fit
	fit           fit  // the way that was taken
	known         bool // it is from outlines
}

func newMatcher(before, after *part.Result, prm ReworkParams) *matcher {
	m := &matcher{before: before, after: after, prm: prm, fit: fit{rms: math.NaN()}}
	for _, f := range outlineFits(plateMM(before), plateMM(after)) {
		if f.rms <= prm.FitMM {
			m.fits = append(m.fits, f)
		}
	}
	return m
}

// plateMM is the faceplate's outline in millimetres; nil where it or the scale is
// not known.
func plateMM(r *part.Result) []part.Point {
	pts := r.Faceplate.Outline()
	if len(pts) == 0 {
		return nil
	}
	mm := r.ScaleOf(r.Faceplate.Image)
	if !(mm > 0) {
		return nil
	}
	for i, p := range pts {
		pts[i] = part.Point{X: p.X * mm, Y: p.Y * mm}
	}
	return pts
}

// best pairs the findings in the way to lie that pairs most of them. Without a
// known way the unit is taken to lie as before.
func (m *matcher) best() []int {
	if len(m.fits) == 0 {
		return m.pair()
	}
	m.known = true
	var pairs []int
	var taken fit
	bestScore := math.Inf(-1)
	for _, f := range m.fits {
		m.fit = f
		p := m.pair()
		// A pair more is worth 5 mm of rms; a turn beyond the usual costs two: an
		// oval lies as well the other way around.
		score := -f.rms/5 - math.Abs(f.TurnDeg)/1800
		if math.Abs(f.TurnDeg) > m.prm.TurnDeg {
			score -= 2
		}
		for _, j := range p {
			if j >= 0 {
				score++
			}
		}
		if score > bestScore {
			bestScore, pairs, taken = score, p, f
		}
	}
	m.fit = taken
	return pairs
}

// pair gives each finding before its finding after, or -1.
func (m *matcher) pair() []int {
	b, a := m.before.Findings, m.after.Findings
	cost := make([][]float64, len(b))
	for i := range b {
		cost[i] = make([]float64, len(a))
		for j := range a {
			cost[i][j] = m.cost(&b[i], &a[j])
		}
	}
	pairs := assign.Least(cost, len(a))
	for i, j := range pairs {
		if j >= 0 && cost[i][j] >= assign.Unmatched {
			pairs[i] = -1
		}
	}
	return pairs
}

// otherKind is what a change of kind costs, against 1 for the farthest distance:
// a bubble that was pricked is a crater at the same place.
const otherKind = 0.5

func (m *matcher) cost(f, g *part.Finding) float64 {
	if f.Kind.AtSeam() || g.Kind.AtSeam() {
		if f.Kind != g.Kind || f.StepStation != g.StepStation || f.StepStation == "" {
			return assign.Unmatched
		}
		return 0
	}
	near := m.prm.NearLostMM
	d, ok := m.apartOnShell(f, g)
	if !ok {
		pf, ok1 := m.place(m.before, f)
		pg, ok2 := m.place(m.after, g)
		pose := poseOf(m.before, f)
		if !ok1 || !ok2 || pose != poseOf(m.after, g) {
			return assign.Unmatched
		}
		if m.known && pose.View == part.Face {
			pf, near = m.fit.of(pf), m.prm.NearMM+2*m.fit.rms
		}
		d = math.Hypot(pf.X-pg.X, pf.Y-pg.Y)
	}
	near += max(lengthOf(f), lengthOf(g)) / 2
	if d > near {
		return assign.Unmatched
	}
	c := d / near
	if f.Kind != g.Kind {
		c += otherKind
	}
	return c
}

// place is a finding's middle, mm; false where the scale is not known.
func (m *matcher) place(r *part.Result, f *part.Finding) (part.Point, bool) {
	mm := r.ScaleOf(f.Image)
	c := f.Box.Centre()
	return part.Point{X: c.X * mm, Y: c.Y * mm}, mm > 0
}

func lengthOf(f *part.Finding) float64 {
	for _, v := range []*float64{f.LengthMM, f.DiameterMM} {
		if v != nil {
			return *v
		}
	}
	return 0
}

// apartOnShell is how far two findings on the shell are apart over its unrolled surface, mm, in
// whichever turns they show best; false where their places on it are not known.
func (m *matcher) apartOnShell(f, g *part.Finding) (mm float64, ok bool) {
	if f.TurnDeg == nil || g.TurnDeg == nil || f.BelowMM == nil || g.BelowMM == nil || m.before.Shell == nil {
		return 0, false
	}
	radius := m.before.Shell.RadiusAt((*f.BelowMM + *g.BelowMM) / 2)
	around := math.Remainder(*f.TurnDeg-*g.TurnDeg, 360) * math.Pi / 180 * radius
	return math.Hypot(around, *f.BelowMM-*g.BelowMM), radius > 0
}

// poseOf is that of the picture in which a finding shows best.
func poseOf(r *part.Result, f *part.Finding) part.Pose {
	for i := range r.Pictures {
		if r.Pictures[i].File == f.Image {
			return r.Pictures[i].Pose()
		}
	}
	if f.Kind.AtSeam() {
		return part.Pose{View: part.Edge}
	}
	return part.Pose{}
}

// sizeFate says whether a finding that is there both times changed in size: by
// more than twice the uncertainty of the difference, or by more than a set change
// where that is not known. A finding without a size on both sides is there.
func (m *matcher) sizeFate(f, g *part.Finding) Fate {
	a, b, least := m.sizes(f, g)
	if a == nil || b == nil {
		return StillThere
	}
	switch d := math.Abs(*b) - math.Abs(*a); {
	case d < -least:
		return Smaller
	case d > least:
		return Larger
	}
	return StillThere
}

// sizes are the same size of both findings, and the least change that is one.
func (m *matcher) sizes(f, g *part.Finding) (a, b *float64, least float64) {
	var ua, ub *float64
	switch {
	case f.Kind.AtSeam():
		a, b, least = f.ValueUM, g.ValueUM, m.prm.StepUM
		if f.Kind == part.Step {
			ua, ub = stepU(m.before, f), stepU(m.after, g)
		}
	case f.DiameterMM != nil && g.DiameterMM != nil:
		a, b, ua, ub, least = f.DiameterMM, g.DiameterMM, f.UDiamMM, g.UDiamMM, m.prm.SizeShare**f.DiameterMM
	case f.LengthMM != nil && g.LengthMM != nil:
		a, b, ua, ub, least = f.LengthMM, g.LengthMM, f.ULengthMM, g.ULengthMM, m.prm.SizeShare**f.LengthMM
	}
	if ua != nil && ub != nil {
		least = part.CoverageK * math.Hypot(*ua, *ub)
	}
	return a, b, least
}

// stepStationOf is the station of a seam finding ("120 deg, left"); nil where there
// is none.
func stepStationOf(r *part.Result, f *part.Finding) *part.StepStation {
	var angle float64
	var side part.Side
	if n, _ := fmt.Sscanf(f.StepStation, "%g deg, %s", &angle, &side); n != 2 {
		return nil
	}
	for i := range r.Seam.Stations {
		if s := &r.Seam.Stations[i]; s.Side == side && math.Abs(s.AngleDeg-angle) < 0.01 {
			return s
		}
	}
	return nil
}

func stepU(r *part.Result, f *part.Finding) *float64 {
	if s := stepStationOf(r, f); s != nil {
		return s.UUM
	}
	return nil
}

// seen says whether the place of a finding of one inspection could have been seen
// in the other: for the seam its station was measured; for the shell, where that is known, it
// was looked at there in some turn; else a picture of the same pose, under a light in which the
// finding showed, was fit.
func seen(from *part.Result, f *part.Finding, other *part.Result) bool {
	if f.Kind.AtSeam() {
		s := stepStationOf(other, f)
		if s == nil || s.State != part.Measured {
			return false
		}
		value := map[part.Kind]*float64{part.Step: s.StepUM, part.Gap: s.GapUM, part.Bead: s.BeadUM}
		return value[f.Kind] != nil
	}
	if f.TurnDeg != nil && f.BelowMM != nil && other.Shell.Columns() > 0 {
		at := other.Shell.At(*f.TurnDeg, *f.BelowMM)
		return at == '1' || at == '2'
	}
	images := []string{f.Image}
	for _, a := range f.AlsoIn {
		images = append(images, a.Image)
	}
	for _, p := range from.Pictures {
		if !slices.Contains(images, p.File) {
			continue
		}
		for _, q := range other.Pictures {
			if q.Pose() == p.Pose() && q.Light == p.Light && q.State == part.PictureOK && q.LookedAt() {
				return true
			}
		}
	}
	return false
}
