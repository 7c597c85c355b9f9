package target

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strconv"
	"sync"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// searchSide is the longest side of the picture in which marks are searched,
// px; they are measured in the full picture.
const searchSide = 1600

// dots finds a dot grid.
func (s *scene) dots() (Found, error) {
	best, second := s.gridAt((max(s.p.W, s.p.H) + searchSide - 1) / searchSide)
	if len(best.seats.nodes) < s.spec.Cols*s.spec.Rows*9/10 && best.shrink > 1 {
		if full, other := s.gridAt(1); len(full.seats.nodes) > len(best.seats.nodes) {
			best, second = full, other
		}
	}
	if best.seats.nodes == nil {
		return Found{}, s.problem(part.Say("target.no_dots"), part.Say("target.do.grid"))
	}
	if other, yes := s.otherKind(best); yes {
		return Found{}, s.problem(part.Say("target.other_grid", "grid", other), part.Say("target.do.kind"))
	}
	f, err := s.measureGrid(best)
	if err != nil {
		return f, err
	}
	if second > len(best.seats.nodes)/2 {
		f.Partial = true
		return f, s.problem(part.Say("target.two_grids", "n", strconv.Itoa(len(best.seats.nodes)), "other", strconv.Itoa(second)),
			part.Say("target.do.one_target"))
	}
	return f, nil
}

// otherKind says whether the dots fill a grid of the other kind, and not one of
// that asked for.
func (s *scene) otherKind(g gridSeen) (string, bool) {
	if g.seats.whole {
		return "", false
	}
	spec, words := s.spec, "@target.asymmetric"
	spec.Kind = optics.AsymmetricDots
	if s.spec.Kind == optics.AsymmetricDots {
		spec.Kind, words = optics.Dots, "@target.plain"
	}
	other := seat(g.lattice, g.all, spec)
	return words, other.fill > 0.95 && len(other.nodes) > len(g.seats.nodes)
}

// gridSeen is the best lattice of one search.
type gridSeen struct {
	shrink int
	all    []blob
	seats  seating
	lattice
}

// gridAt searches the picture shrunk by k, for dark and for light dots. second
// is the size of the next grid.
func (s *scene) gridAt(k int) (best gridSeen, second int) {
	small := shrunk(s.p, k)
	for _, light := range []bool{false, true} {
		all := blobs(small, light)
		// The gaps between dots make grids of the other sign, which are none.
		here, other := s.bestGrid(k, all)
		if betterGrid(here.seats, best.seats) {
			best, second = here, other
		}
	}
	return best, second
}

// bestGrid picks the best of the largest lattices, and tells the size of the
// next that fills a rectangle.
func (s *scene) bestGrid(k int, all []blob) (best gridSeen, second int) {
	for i, l := range lattices(all) {
		if i > 3 {
			break
		}
		g := gridSeen{k, all, seat(l, all, s.spec), l}
		if betterGrid(g.seats, best.seats) {
			best, g = g, best
		}
		if g.seats.fill > 0.8 && min(g.seats.cols, g.seats.rows) > 2 {
			second = max(second, len(g.seats.nodes))
		}
	}
	return best, second
}

// betterGrid prefers a whole grid, then more dots.
func betterGrid(a, b seating) bool {
	if (a.whole && a.fill > leastFill) != (b.whole && b.fill > leastFill) {
		return a.whole && a.fill > leastFill
	}
	return len(a.nodes) > len(b.nodes)
}

// leastFill is the least share of a grid's dots that must be seen. Common
// practice, no source.
const leastFill = 0.75

// dot is one dot under measurement.
type dot struct {
	node
	mm, px part.Point
	e      Ellipse
	rough  oval
	cut    bool
	bad    bool
}

// measureGrid measures the seats' dots in the full picture.
func (s *scene) measureGrid(g gridSeen) (Found, error) {
	f := Found{View: optics.View{Name: s.name, W: s.p.W, H: s.p.H}, Expected: s.spec.Cols * s.spec.Rows, BlurPX: math.NaN(),
		DiameterPX: math.NaN(), UDiameterPX: math.NaN()}
	slices.SortFunc(g.seats.nodes, func(a, b node) int { return (a.row-b.row)*mostMarks*4 + a.col - b.col })
	all := make([]dot, len(g.seats.nodes))
	for i, n := range g.seats.nodes {
		b := &g.all[n.blob]
		o := b.oval()
		o.x, o.y, o.p, o.q, o.r = unshrink(o.x, g.shrink), unshrink(o.y,
			g.shrink), o.p*float64(g.shrink), o.q*float64(g.shrink), o.r*float64(g.shrink)
		x, y := dotPlace(s.spec, n.col, n.row)
		all[i] = dot{node: n, mm: part.Point{X: x, Y: y}, px: part.Point{X: o.x, Y: o.y}, rough: o, cut: b.cut}
	}
	pitch := s.fitRims(all)
	if pitch < leastPitch {
		f.Partial = true
		return f, s.problem(part.Say("target.close_dots", "pitch_px", fmt.Sprintf("%.1f", pitch)), part.Say("target.do.larger_pitch"))
	}
	hidden := s.dropOdd(all)
	s.centre(all)
	var blur []float64
	border := 0
	for i := range all {
		d := &all[i]
		switch {
		case d.cut:
			border++
		case !d.bad:
			f.View.Marks = append(f.View.Marks, optics.Mark{Col: d.col, Row: d.row, XMM: d.mm.X, YMM: d.mm.Y, XPX: d.px.X, YPX: d.px.Y,
				UPX: d.e.UPX})
			f.Ellipses = append(f.Ellipses, d.e)
			blur = append(blur, d.e.BlurPX)
		}
	}
	f.BlurPX = robust.Quantile(blur, 0.5)
	if border > 0 {
		f.Notes = append(f.Notes, part.Say("target.cut_dots", "n", strconv.Itoa(border)))
	}
	if hidden > 0 {
		f.Notes = append(f.Notes, part.Say("target.hidden_dots", "n", strconv.Itoa(hidden)))
	}
	return f, s.judgeGrid(&f, g.seats)
}

// judgeGrid says what is wrong with the grid as a whole.
func (s *scene) judgeGrid(f *Found, seats seating) error {
	f.Partial = len(f.View.Marks) < f.Expected
	if missing := f.Expected - len(seats.nodes); seats.whole && missing > 0 {
		f.Notes = append(f.Notes, part.Say("target.unseen_dots", "n", strconv.Itoa(missing), "of", strconv.Itoa(f.Expected)))
	}
	seen := part.Say("target.dots", "n", strconv.Itoa(len(seats.nodes)), "cols", strconv.Itoa(seats.cols), "rows", strconv.Itoa(seats.rows))
	inPart := func(seen, do part.Phrase) error {
		f.Partial = true
		p := s.problem(seen, do)
		p.Part = true
		return p
	}
	switch {
	case seats.fill < leastFill && !seats.whole:
		return inPart(part.Say("target.gaps").With("seen", seen), part.Say("target.do.grid_kind"))
	case seats.whole && seats.mirrored:
		return s.problem(part.Say("target.mirrored"), part.Say("target.do.no_mirror"))
	case seats.cols > s.spec.Cols || seats.rows > s.spec.Rows:
		return s.problem(part.Say("target.too_many").With("seen", seen), part.Say("target.do.numbers_hint"))
	case !seats.whole:
		do := part.Say("target.do.numbers")
		if s.nearBorder(f) {
			do = part.Say("target.do.cut")
		}
		return inPart(part.Say("target.part_of", "cols", strconv.Itoa(s.spec.Cols), "rows", strconv.Itoa(s.spec.Rows)).With("seen", seen),
			do)
	case len(f.View.Marks) < int(math.Ceil(leastFill*float64(f.Expected))):
		return inPart(part.Say("target.part_dots", "n", strconv.Itoa(len(f.View.Marks)), "of", strconv.Itoa(f.Expected)),
			part.Say("target.do.whole_grid"))
	}
	return nil
}

// nearBorder says whether a mark is so near the border that the next would be
// outside.
func (s *scene) nearBorder(f *Found) bool {
	m := f.View.Marks
	for i := 1; i < len(m); i++ {
		step := math.Hypot(m[i].XPX-m[i-1].XPX, m[i].YPX-m[i-1].YPX) / math.Max(1, math.Abs(float64(m[i].Col-m[i-1].Col)))
		if m[i].Row != m[i-1].Row {
			continue
		}
		for _, q := range m[i-1 : i+1] {
			if min(q.XPX, q.YPX, float64(s.p.W-1)-q.XPX, float64(s.p.H-1)-q.YPX) < 1.6*step {
				return true
			}
		}
	}
	return false
}

// dotPlace is where a dot's middle lies on the target, mm: in a plain grid one
// pitch apart; in an asymmetric one the pitch is that along a row, odd rows are
// half of it further right, and rows half of it apart.
func dotPlace(spec optics.Target, col, row int) (x, y float64) {
	if spec.Kind == optics.AsymmetricDots {
		return (float64(col) + 0.5*float64(row%2)) * spec.PitchMM, 0.5 * float64(row) * spec.PitchMM
	}
	return float64(col) * spec.PitchMM, float64(row) * spec.PitchMM
}

// fitRims fits each dot's boundary and returns the median distance from a dot to
// its nearest neighbour, px.
func (s *scene) fitRims(all []dot) float64 {
	near := newPlaces(64)
	for i := range all {
		near.add(all[i].px.X, all[i].px.Y)
	}
	pitches := make([]float64, len(all))
	parallel(len(all), func(i int) {
		d := &all[i]
		gap, pitch := gapAround(all, near, i)
		pitches[i] = pitch
		if d.cut {
			return
		}
		e, misfit, ok := rim(s.p, d.rough, max(1.2, gap/2), dotSamples)
		if !ok || misfit > mostMisfit || s.outside(e) {
			d.bad = true
			return
		}
		d.e, d.px = e, part.Point{X: e.XPX, Y: e.YPX}
	})
	return robust.Quantile(pitches, 0.5)
}

// mostMisfit is the largest scatter about a dot's edge model, as a share of its
// contrast. Common practice, no source.
const mostMisfit = 0.12

// outside says whether the ellipse reaches the picture's border.
func (s *scene) outside(e Ellipse) bool {
	for _, q := range e.Boundary(16) {
		if q.X < 0.5 || q.Y < 0.5 || q.X > float64(s.p.W)-1.5 || q.Y > float64(s.p.H)-1.5 {
			return true
		}
	}
	return false
}

// gapAround is the least free space between a dot's boundary and the next
// dot's, and the distance to the nearest dot's middle, px.
func gapAround(all []dot, near *places, i int) (gap, pitch float64) {
	gap, pitch = math.Inf(1), math.Inf(1)
	d := &all[i]
	a, _, _ := d.rough.axes()
	for r := 4 * a; r < 30*a && math.IsInf(pitch, 1); r *= 2 {
		near.within(d.px.X, d.px.Y, r, func(k int, dist float64) {
			if k == i || dist == 0 {
				return
			}
			pitch = min(pitch, dist)
			x, y := (all[k].rough.x-d.rough.x)/dist, (all[k].rough.y-d.rough.y)/dist
			gap = min(gap, dist-d.rough.towards(x, y)-all[k].rough.towards(x, y))
		})
	}
	return gap, pitch
}

// towards is the oval's radius in a direction.
func (o oval) towards(x, y float64) float64 {
	det := o.det()
	return 1 / math.Hypot((o.r*x-o.q*y)/det, (-o.q*x+o.p*y)/det)
}

// parallel runs f for 0 <= i < n on all processors. f must not depend on the
// order.
func parallel(n int, f func(i int)) {
	var wg sync.WaitGroup
	jobs := runtime.GOMAXPROCS(0)
	for k := range jobs {
		wg.Go(func() {
			for i := k; i < n; i += jobs {
				f(i)
			}
		})
	}
	wg.Wait()
}

// Limits for dots that do not go with the others; common practice, no source.
const (
	oddArea  = 0.12 // off the expected area by this share
	oddPlace = 0.04 // off the expected place by this share of the pitch
)

// dropOdd leaves out dots whose size or place does not go with the dots around
// them: partly hidden, or no dots. It returns how many.
func (s *scene) dropOdd(all []dot) int {
	for range 3 {
		mm, px := used(all)
		h, ok := newHomography(mm, px)
		if !ok {
			break
		}
		reach := 2.2 * s.spec.PitchMM
		ratio := make([]float64, len(all))
		miss := make([]float64, len(all))
		var ratios, misses []float64
		for i := range all {
			ratio[i] = math.NaN()
			if d := &all[i]; !d.cut && !d.bad {
				w := newWarp(&h, mm, px, d.mm, reach)
				q := w.at(d.mm)
				unit := w.areaPerMM2(d.mm, s.spec.PitchMM/4)
				ratio[i] = d.e.SemiMajorPX * d.e.SemiMinorPX / unit
				miss[i] = math.Hypot(q.X-d.px.X, q.Y-d.px.Y) / (s.spec.PitchMM * math.Sqrt(unit))
				ratios, misses = append(ratios, ratio[i]), append(misses, miss[i])
			}
		}
		mid := robust.Quantile(ratios, 0.5)
		usual := robust.Quantile(misses, 0.5)
		changed := false
		for i := range all {
			if math.IsNaN(ratio[i]) {
				continue
			}
			// Small dots' areas are known less well.
			slack := max(oddArea, 12*all[i].e.UDiameterPX/all[i].e.DiameterPX())
			if math.Abs(ratio[i]/mid-1) > slack || miss[i] > max(oddPlace, 8*usual) {
				all[i].bad, changed = true, true
			}
		}
		if !changed {
			break
		}
	}
	n := 0
	for i := range all {
		if all[i].bad && !all[i].cut {
			n++
		}
	}
	return n
}

// areaPerMM2 is the picture's area, px, of 1 mm2 of the target at a place.
func (w *warp) areaPerMM2(p part.Point, step float64) float64 {
	a, b := w.at(part.Point{X: p.X + step, Y: p.Y}), w.at(part.Point{X: p.X - step, Y: p.Y})
	c, d := w.at(part.Point{X: p.X, Y: p.Y + step}), w.at(part.Point{X: p.X, Y: p.Y - step})
	return math.Abs((a.X-b.X)*(c.Y-d.Y)-(a.Y-b.Y)*(c.X-d.X)) / (4 * step * step)
}

func used(all []dot) (mm, px []part.Point) {
	for i := range all {
		if d := &all[i]; !d.cut && !d.bad {
			mm, px = append(mm, d.mm), append(px, d.px)
		}
	}
	return mm, px
}

// centre moves each dot's place from the middle of its ellipse to the picture
// of its own middle.
func (s *scene) centre(all []dot) {
	mm, px := used(all)
	h, ok := newHomography(mm, px)
	if !ok {
		return
	}
	parallel(len(all), func(i int) {
		d := &all[i]
		if d.cut || d.bad {
			return
		}
		w := newWarp(&h, mm, px, d.mm, 2.2*s.spec.PitchMM)
		// The radius as pictured: print and exposure make dots larger or smaller.
		radius := math.Sqrt(d.e.SemiMajorPX * d.e.SemiMinorPX / w.areaPerMM2(d.mm, s.spec.PitchMM/4))
		if off, ok := w.offCentre(d.mm, radius); ok {
			d.px.X -= off.X
			d.px.Y -= off.Y
		}
	})
}
