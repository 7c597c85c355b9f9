package optics

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// FindOptions are what [FindSlantedEdges] looks for. Start from
// [DefaultFindOptions].
type FindOptions struct {
	Edge      EdgeOptions
	Most      int     // edges to give back
	Contrast  float64 // least change of light, as a share of the picture's bright parts
	LeastRows int     // length of an edge, px
	MostRows  int     // longer edges are cut into such pieces
	MostHalf  float64 // widest look to each side, px
	BowPX     float64 // an edge that sags more is no straight one
}

// DefaultFindOptions is common practice, no source.
func DefaultFindOptions() FindOptions {
	return FindOptions{Edge: DefaultEdgeOptions(), Most: 24, Contrast: 0.15, LeastRows: 32, MostRows: 120, MostHalf: 48, BowPX: 0.5}
}

// FoundEdge is a piece of a straight edge with its sharpness.
type FoundEdge struct {
	Box part.Box // the piece with the pixels used
	Sharpness
}

// edgeTally counts what was seen and could not be used.
type edgeTally struct{ square, steep, narrow, other int }

// FindSlantedEdges looks a picture in linear light over for straight edges,
// clean on both sides, at 2 to 10 degrees to the pixel grid, and measures each;
// the best come first: those without warnings, then by contrast and length. The
// error says what was seen instead where there are none.
func FindSlantedEdges(p *part.Plane, o FindOptions) ([]FoundEdge, error) {
	if p == nil || p.W < 32 || p.H < 32 || len(p.V) != p.W*p.H {
		return nil, lang.Error(part.Say("camera.err.edge_small"))
	}
	bright := robust.Quantile(sampled(p, 20000), 0.95)
	var tally edgeTally
	var some []edgeCandidate
	for _, upright := range []bool{true, false} {
		f := &edgeFinder{r: edgeRegion{p, upright}, o: o, least: o.Contrast * bright, tally: &tally}
		some = append(some, f.run()...)
	}
	var found []FoundEdge
	clean := 0
	for _, c := range spreadOut(some, p.W, p.H) {
		if e, ok := c.f.measure(c); ok {
			found = append(found, e)
			if len(e.Warnings) == 0 {
				clean++
			}
		}
		if clean == o.Most {
			break
		}
	}
	if len(found) == 0 {
		return nil, tally.error(o.Edge)
	}
	slices.SortStableFunc(found, func(a, b FoundEdge) int {
		return cmp.Or(cmp.Compare(min(len(a.Warnings), 1), min(len(b.Warnings), 1)), -cmp.Compare(a.weight(), b.weight()))
	})
	return found[:min(o.Most, len(found))], nil
}

// edgeCandidate is a straight piece that has not been measured yet.
type edgeCandidate struct {
	f      *edgeFinder
	l      edgeLine
	half   float64
	box    part.Box
	weight float64 // rough contrast times root of rows
}

// spreadOut orders candidates by weight, but takes them from each ninth of the
// picture in turn, so that the ones measured tell of the whole picture.
func spreadOut(all []edgeCandidate, w, h int) []edgeCandidate {
	slices.SortStableFunc(all, func(a, b edgeCandidate) int { return -cmp.Compare(a.weight, b.weight) })
	var zones [9][]edgeCandidate
	for _, c := range all {
		m := c.box.Centre()
		z := min(max(int(3*m.X/float64(w)), 0), 2) + 3*min(max(int(3*m.Y/float64(h)), 0), 2)
		zones[z] = append(zones[z], c)
	}
	out := make([]edgeCandidate, 0, len(all))
	for k := 0; len(out) < len(all); k++ {
		for _, z := range zones {
			if k < len(z) {
				out = append(out, z[k])
			}
		}
	}
	return out
}

func (e *FoundEdge) weight() float64 { return e.Contrast * math.Sqrt(float64(e.Rows)) }

func (t edgeTally) error(o EdgeOptions) error {
	switch {
	case t.square > 0:
		return lang.ErrorBy(ErrNoEdge, part.Say("camera.err.edge_square", "n", strconv.Itoa(t.square), "least_deg",
			fmt.Sprintf("%g", o.LeastDeg)))
	case t.steep > 0:
		return lang.ErrorBy(ErrNoEdge, part.Say("camera.err.edge_steep", "n", strconv.Itoa(t.steep), "most_deg",
			fmt.Sprintf("%g", o.MostDeg)))
	case t.narrow > 0:
		return lang.ErrorBy(ErrNoEdge, part.Say("camera.err.edge_narrow", "n", strconv.Itoa(t.narrow)))
	}
	return ErrNoEdge
}

// sampled is about n of a plane's values, evenly spread.
func sampled(p *part.Plane, n int) []float64 {
	step := max(1, len(p.V)/n)
	v := make([]float64, 0, len(p.V)/step+1)
	for i := 0; i < len(p.V); i += step {
		v = append(v, float64(p.V[i]))
	}
	return v
}

// edgeFinder looks for edges that run down, in the region's own directions.
type edgeFinder struct {
	r     edgeRegion
	o     FindOptions
	least float64 // contrast, linear light
	tally *edgeTally
	seen  map[[2]int]bool // places, by 4 px, where a followed edge runs
}

// seedRows is the distance of the rows at which edges are looked for, px.
const seedRows = 16

func (f *edgeFinder) run() []edgeCandidate {
	f.seen = map[[2]int]bool{}
	nu, nv := f.r.size()
	var found []edgeCandidate
	g := make([]float64, nu)
	for v := seedRows / 2; v < nv-2; v += seedRows {
		f.slopes(v, g)
		for u := 8; u+8 < nu; u++ {
			if math.Abs(g[u]) < f.least/4 || f.seen[[2]int{u / 4, v / 4}] || !topOf(g, u) {
				continue
			}
			found = append(found, f.pieces(f.follow(u, v, g[u]))...)
		}
	}
	return found
}

// slopes is the change of light over about 3 px, by column, averaged over five
// rows.
func (f *edgeFinder) slopes(v int, g []float64) {
	clear(g)
	for k := -2; k <= 2; k++ {
		for u := 2; u+2 < len(g); u++ {
			g[u] += (f.r.at(u+2, v+k) + f.r.at(u+1, v+k) - f.r.at(u-1, v+k) - f.r.at(u-2, v+k)) / 10
		}
	}
}

func topOf(g []float64, u int) bool {
	for k := 1; k <= 5; k++ {
		if math.Abs(g[u-k]) > math.Abs(g[u]) || math.Abs(g[u+k]) >= math.Abs(g[u]) {
			return false
		}
	}
	return true
}

// track is an edge followed from row to row.
type track struct {
	from  int // row of place[0]
	place []float64
}

// follow goes up and down from a seed while the edge goes on as it was.
func (f *edgeFinder) follow(u, v int, slope float64) track {
	up := f.walk(float64(u), v, -1, slope)
	down := f.walk(float64(u), v, 1, slope)
	t := track{from: v - len(up) + 1}
	for i := len(up) - 1; i > 0; i-- {
		t.place = append(t.place, up[i])
	}
	t.place = append(t.place, down...)
	for i, x := range t.place {
		for k := -1; k <= 1; k++ {
			f.seen[[2]int{int(x)/4 + k, (t.from + i) / 4}] = true
		}
	}
	return t
}

// walk follows an edge in steps of one row, up (-1) or down (1).
func (f *edgeFinder) walk(u float64, v, step int, slope float64) []float64 {
	nu, nv := f.r.size()
	var places []float64
	first := 0.0
	for ; v >= 1 && v < nv-1; v += step {
		guess := u
		if n := len(places); n > 12 {
			guess = places[n-1] + (places[n-1]-places[n-12])/11
		}
		if guess < 10 || guess > float64(nu)-11 {
			break
		}
		at, strength := f.centroid(guess, v)
		if len(places) == 0 {
			first = strength
			if first*slope <= 0 || math.Abs(first) < f.least/2 {
				break
			}
		}
		if s := strength / first; !(s > 0.5 && s < 1.8) || math.Abs(at-guess) > 2 {
			break
		}
		u = at
		places = append(places, at)
	}
	return places
}

// centroid is the edge's place near guess and the change of light across it,
// over three rows.
func (f *edgeFinder) centroid(guess float64, v int) (at, strength float64) {
	const half = 7
	var moment float64
	for u := int(math.Ceil(guess - half)); float64(u) <= guess+half; u++ {
		w := 0.54 + 0.46*math.Cos(math.Pi*(float64(u)-guess)/half)
		d := 0.0
		for k := -1; k <= 1; k++ {
			d += (f.r.at(u+1, v+k) - f.r.at(u-1, v+k)) / 6
		}
		strength, moment = strength+w*d, moment+w*d*float64(u)
	}
	return moment / strength, strength
}

// pieces cuts a track into straight pieces, and gives those that may do.
func (f *edgeFinder) pieces(t track) []edgeCandidate {
	const ends = 5 // rows near a corner
	from, to := t.from+ends, t.from+len(t.place)-ends
	n := to - from
	if n < f.o.LeastRows {
		return nil
	}
	count := (n + f.o.MostRows - 1) / f.o.MostRows
	var found []edgeCandidate
	for k := range count {
		if c, ok := f.piece(t, from+n*k/count, from+n*(k+1)/count); ok {
			found = append(found, c)
		}
	}
	return found
}

func (f *edgeFinder) piece(t track, from, to int) (edgeCandidate, bool) {
	var v, u []float64
	for y := from; y < to; y++ {
		v, u = append(v, float64(y)), append(u, t.place[y-t.from])
	}
	bent := lineThrough(edgeLine{from: from, to: to}, v, u, true)
	if bent.rms > 0.5 || bent.bow() > f.o.BowPX {
		f.tally.other++
		return edgeCandidate{}, false
	}
	l := lineThrough(edgeLine{from: from, to: to}, v, u, false)
	deg := math.Atan(math.Abs(l.b)) * 180 / math.Pi
	switch {
	case deg < f.o.Edge.LeastDeg || math.Abs(l.b)*float64(to-from) < 1:
		f.tally.square++
		return edgeCandidate{}, false
	case deg > f.o.Edge.MostDeg:
		f.tally.steep++
		return edgeCandidate{}, false
	}
	half := f.clear(l)
	if half == 0 {
		f.tally.narrow++
		return edgeCandidate{}, false
	}
	e := f.r.esf(l, half, nil)
	low, high := e.ends()
	return edgeCandidate{f: f, l: l, half: half, box: f.box(l, half), weight: math.Abs(high-low) * math.Sqrt(float64(to-from))}, true
}

// measure measures a candidate; false where it will not do after all.
func (f *edgeFinder) measure(c edgeCandidate) (FoundEdge, bool) {
	o := f.o.Edge
	o.HalfPX = c.half
	s, err := f.r.measure(c.l, o)
	if err != nil || s.Contrast < f.least || s.BowPX > f.o.BowPX || s.Slope > 0.25 || s.Rows < f.o.LeastRows/2 {
		f.tally.other++
		return FoundEdge{}, false
	}
	return FoundEdge{c.box, s}, true
}

// clear is how far from the edge, px, the light stays as even on both sides as
// an edge needs; 0: not far enough. The first and the last rows are looked at by
// themselves as well: a corner of the target first shows there.
func (f *edgeFinder) clear(l edgeLine) float64 {
	half := f.r.room(l, f.o.MostHalf)
	if half < 8 {
		return 0
	}
	sigma := f.r.spread(l, min(half, 10))
	minRows := max(4, (l.to-l.from)/8)
	for _, rows := range [][2]int{{l.from, l.to}, {l.from, l.from + minRows}, {l.to - minRows, l.to}} {
		e := f.r.esf(l, half, func(v int) bool { return v < rows[0] || v >= rows[1] })
		// Where there is no even ground at all this is below 0.
		if half = min(half, e.even(sigma)); half < max(8, 6*sigma) {
			return 0
		}
	}
	return half
}

// even is how far from the middle, px, both sides keep the level that they have
// just beyond the blur of the edge, less the blur of the edge that ends it.
func (e *edgeESF) even(sigma float64) float64 {
	near := int(max(2, 2.5*sigma) * perPX)
	m := (len(e.v) - 1) / 2
	level := func(side int) (s float64) {
		for k := range 2 * perPX { // over two pixels
			s += e.v[min(max(m+side*(near+k), 0), len(e.v)-1)] / (2 * perPX)
		}
		return s
	}
	left, right := level(-1), level(1)
	most := 0.08 * math.Abs(right-left)
	half := float64(m) / perPX
	for side, lv := range map[int]float64{-1: left, 1: right} {
		for k := near; k <= m; k++ {
			mean, n := 0.0, 0.0 // over a pixel: noise is no unevenness
			for j := max(0, k-perPX/2); j <= min(m, k+perPX/2); j++ {
				mean, n = mean+e.v[m+side*j]-lv, n+1
			}
			if math.Abs(mean/n) > most {
				half = min(half, float64(k)/perPX-max(2, 3*sigma))
				break
			}
		}
	}
	return half
}

// box is the picture's area that a piece takes.
func (f *edgeFinder) box(l edgeLine, half float64) part.Box {
	a, b := l.at(l.from), l.at(l.to-1)
	u, du := min(a, b)-half, math.Abs(a-b)+2*half
	v, dv := float64(l.from)-0.5, float64(l.to-l.from)
	if f.r.upright {
		return part.Box{u, v, du, dv}
	}
	return part.Box{v, u, dv, du}
}

// SharpnessOf sums found edges up: the median MTF50 and its standard uncertainty,
// cycles a pixel. Edges without warnings are taken alone where there are any. The
// uncertainty is the larger of the single edges' (their median) over root n, and
// the scatter of the edges, 1.2533 SD / root n, the standard error of a median
// of normal values (textbook); one edge has its own. NaN: none.
func SharpnessOf(found []FoundEdge) (mtf50, u float64) {
	var m, us []float64
	for _, e := range CleanEdges(found) {
		m = append(m, e.MTF50CyPX)
		if !math.IsNaN(e.UMTF50CyPX) {
			us = append(us, e.UMTF50CyPX)
		}
	}
	if len(m) == 0 {
		return math.NaN(), math.NaN()
	}
	n := float64(len(m))
	u = math.NaN()
	if len(us) > 0 {
		u = robust.Quantile(us, 0.5) / math.Sqrt(n)
	}
	if len(m) > 1 {
		mean, ss := 0.0, 0.0
		for _, x := range m {
			mean += x / n
		}
		for _, x := range m {
			ss += (x - mean) * (x - mean)
		}
		if scatter := 1.2533 * math.Sqrt(ss/(n-1)/n); !(u >= scatter) {
			u = scatter
		}
	}
	return robust.Quantile(m, 0.5), u
}

// CleanEdges are the edges without warnings; all, where there are none such.
func CleanEdges(found []FoundEdge) []FoundEdge {
	var clean []FoundEdge
	for _, e := range found {
		if len(e.Warnings) == 0 {
			clean = append(clean, e)
		}
	}
	if len(clean) == 0 {
		return found
	}
	return clean
}
