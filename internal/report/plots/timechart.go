package plots

import (
	"image/color"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// TimeChart is a control chart whose limits may differ from point to point:
// counts from samples of varying size, averages over time, phases.
type TimeChart struct {
	Values               []float64
	Centre, Lower, Upper []float64 // of each point; one for all where there is but one; NaN: none
	Labels               []string  // under the points; nil: their numbers from 1
	Signs                []Sign    // points that stand out, and by which rule
	Phases               []Mark    // where a phase begins: X is the number of its first point, from 0
	Names                *ChartNames
}

// Sign is a rule that a point meets: its number as in the rules' source, and its
// words.
type Sign struct {
	Point  int
	Number string // "N2"
	Text   string
}

// From how many points on a chart has small dots, and none; and how many points
// that stand out bear the numbers of their rules.
const (
	smallDots  = 120
	noDots     = 500
	numberedUp = 30
)

// Times draws such a chart. A point that stands out has a ring and a cross and,
// where there is room, the numbers of the rules it meets; over the plot each rule
// that is met has a row with a tick at every such point. With more points than the
// plot has places, each place shows the first, lowest, highest and last value that
// fall on it, and every point that stands out; only of those that would cover each
// other one is drawn.
func Times(o Options, t TimeChart) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	n := len(t.Values)
	f.lineOf(lineStyle(0), t.Values)
	f.someDots(0, t.Values)
	names := Chart{Names: t.Names}.names()
	f.limitOf(names.Centre, t.Centre, n, inkLine(1.4))
	f.limitOf(names.Upper, t.Upper, n, inkLine(2, 9, 6))
	f.limitOf(names.Lower, t.Lower, n, inkLine(2, 9, 6))
	f.gaps(t.Values)
	f.signs(t.Signs, func(i int) float64 { return t.Values[i] }, n, func(i int) bool { return t.Values[i] >= at(t.Centre, i) })
	f.timeAxis(t.Labels, n)
	for _, p := range t.Phases {
		f.vlines([]Mark{{p.Name, p.X - 0.5}})
	}
	return f.svg()
}

// Sums are the two sums of a CUSUM chart, both from 0 up, and their limit. Low
// ones are drawn downwards.
type Sums struct {
	High, Low []float64
	Limit     float64
	Labels    []string
	Signs     []Sign // of either sum: that which is beyond the limit
	Names     *SumNames
}

// SumNames are the words of such a chart in another language; nil: English.
type SumNames struct{ High, Low, Limit string }

// CUSUM draws the two sums.
func CUSUM(o Options, s Sums) ([]byte, error) {
	o.LogX = false
	f := newFrame(o)
	names := SumNames{"sum above the target", "sum below the target, drawn downwards", "limit"}
	if s.Names != nil {
		names = *s.Names
	}
	down := make([]float64, len(s.Low))
	for i, v := range s.Low {
		down[i] = -v
	}
	for i, v := range [][]float64{s.High, down} {
		f.lineOf(lineStyle(i), v)
		f.someDots(i, v)
		f.name([]string{names.High, names.Low}[i], both(lineSample(lineStyle(i)), dotSample(i)))
	}
	f.gaps(s.High)
	n := min(len(s.High), len(down))
	f.signs(s.Signs, func(i int) float64 {
		if down[i] < -s.Limit && !(s.High[i] > s.Limit) {
			return down[i]
		}
		return s.High[i]
	}, n, func(i int) bool { return s.High[i] > s.Limit })
	f.timeAxis(s.Labels, n)
	f.hlines([]HLine{{"", 0, false}, {limitName(names.Limit, s.Limit), s.Limit, true}, {limitName(names.Limit, -s.Limit), -s.Limit, true}})
	return f.svg()
}

// at is the i-th number, or the one for all; NaN: none.
func at(v []float64, i int) float64 {
	switch {
	case i < len(v):
		return v[i]
	case len(v) == 1:
		return v[0]
	}
	return math.NaN()
}

// lineOf joins neighbours, thinned.
func (f *frame) lineOf(sty draw.LineStyle, v []float64) {
	x, y := f.thinned(v)
	f.lineAlong(sty, x, y)
}

// places is how many points have a place of their own along x.
func (f *frame) places() int { return int(f.o.WidthMM * unitsPerMM) }

// thinned are the points to draw of many: of each place along x the first, the
// lowest, the highest and the last, in their order. A gap stays one.
func (f *frame) thinned(v []float64) (x, y []float64) {
	places := f.places()
	if len(v) <= 2*places {
		for i := range v {
			x = append(x, float64(i))
		}
		return x, v
	}
	for p := range places {
		from, to := p*len(v)/places, (p+1)*len(v)/places
		keep := []int{from, to - 1}
		lo, hi, gap := -1, -1, -1
		for i := from; i < to; i++ {
			switch {
			case !finite(v[i]):
				gap = i
				continue
			case lo < 0 || v[i] < v[lo]:
				lo = i
			}
			if hi < 0 || v[i] > v[hi] {
				hi = i
			}
		}
		for _, i := range []int{lo, hi, gap} {
			if i >= 0 {
				keep = append(keep, i)
			}
		}
		slices.Sort(keep)
		for _, i := range slices.Compact(keep) {
			x, y = append(x, float64(i)), append(y, v[i])
		}
	}
	return x, y
}

// someDots puts a shape on each point where there is room.
func (f *frame) someDots(i int, v []float64) {
	switch {
	case len(v) <= smallDots:
		x := make([]float64, len(v))
		for k := range x {
			x[k] = float64(k)
		}
		f.dotsAt(i, f.points(x, v))
	case len(v) <= noDots:
		f.Add(drawing{plot: func(c *draw.Canvas, x, y func(float64) vg.Length) {
			sty := glyphStyle(i)
			sty.Radius = 2.2
			for k, w := range v {
				if finite(w) {
					c.DrawGlyph(sty, vg.Point{X: x(float64(k)), Y: y(w)})
				}
			}
		}})
	}
}

// limitOf draws a limit: level where it is one number, else in steps, with its
// last number at the right end.
func (f *frame) limitOf(name string, v []float64, n int, sty draw.LineStyle) {
	first, last, same := math.NaN(), math.NaN(), true
	for i := range n {
		w := at(v, i)
		if !finite(w) {
			continue
		}
		if !finite(first) {
			first = w
		}
		last, same = w, same && w == first
	}
	if !finite(last) {
		return
	}
	if same {
		f.hlines([]HLine{{limitName(name, first), first, len(sty.Dashes) > 0}})
		return
	}
	if settled := n >= 2 && at(v, n-1) == at(v, n-2); settled {
		name = limitName(name, last)
	}
	f.ends = append(f.ends, HLine{Name: clean(name), Y: last})
	if n > f.places() {
		f.limitBand(v, n, sty)
		return
	}
	var x, y []float64
	for i := range n {
		x, y = append(x, float64(i)-0.5, float64(i)+0.5), append(y, at(v, i), at(v, i))
	}
	sty.Width = 1.5
	any := f.any
	f.lineAlong(sty, x, y)
	f.any = any // limits alone are no plot
}

// limitBand shades from the lowest to the highest that a limit is at each place
// along x, where its steps are too fine to see.
func (f *frame) limitBand(v []float64, n int, sty draw.LineStyle) {
	places := f.places() / 2
	x, low, high := make([]float64, places), make([]float64, places), make([]float64, places)
	for p := range places {
		x[p] = (float64(p) + 0.5) * float64(n) / float64(places)
		low[p], high[p] = math.NaN(), math.NaN()
		for i := p * n / places; i < (p+1)*n/places; i++ {
			w := at(v, i)
			if finite(w) && !(w >= low[p]) {
				low[p] = w
			}
			if finite(w) && !(w <= high[p]) {
				high[p] = w
			}
		}
	}
	any := f.any
	if len(sty.Dashes) > 0 {
		f.Add(drawing{plot: func(c *draw.Canvas, tx, ty func(float64) vg.Length) {
			for p := range places {
				if finite(low[p]) {
					half := float64(n) / float64(places) / 2
					fill(c, limitGround(), vg.Point{X: tx(x[p] - half), Y: ty(low[p])}, vg.Point{X: tx(x[p] + half), Y: ty(low[p])},
						vg.Point{X: tx(x[p] + half), Y: ty(high[p])}, vg.Point{X: tx(x[p] - half), Y: ty(high[p])})
				}
			}
		}})
	}
	sty.Width = 1.5
	f.lineAlong(sty, x, low)
	f.lineAlong(sty, x, high)
	f.any = any
}

func limitGround() color.NRGBA { return color.NRGBA{0xe8, 0xe4, 0xda, 0xa0} }

// gaps puts question marks where values are missing, one a place.
func (f *frame) gaps(v []float64) {
	var missing []float64
	last := math.Inf(-1)
	least := float64(len(v)) / f.o.WidthMM * 3
	for i, w := range v {
		if x := float64(i); !finite(w) && x-last >= least {
			missing, last = append(missing, x), x
		}
	}
	f.questionMarks(missing, false)
}

// signs rings and crosses the points that stand out, writes their rules' numbers
// beside few, and adds a row a rule.
func (f *frame) signs(signs []Sign, value func(int) float64, n int, up func(int) bool) {
	numbers, words := map[int][]string{}, map[string]string{}
	rows := map[string]int{}
	var points []int
	for _, s := range signs {
		if s.Point < 0 || s.Point >= n || !finite(value(s.Point)) {
			continue
		}
		if numbers[s.Point] == nil {
			points = append(points, s.Point)
		}
		number := clean(s.Number)
		if slices.Contains(numbers[s.Point], number) {
			continue
		}
		numbers[s.Point] = append(numbers[s.Point], number)
		i, ok := rows[number]
		if !ok {
			i, rows[number] = len(f.strips), len(f.strips)
			f.strips = append(f.strips, strip{name: number})
			words[number] = s.Text
		}
		f.strips[i].xs = append(f.strips[i].xs, float64(s.Point))
	}
	if len(points) == 0 {
		return
	}
	slices.SortFunc(f.strips, func(a, b strip) int { return strings.Compare(a.name, b.name) })
	for _, s := range f.strips {
		f.ruleName(s.name, words[s.name])
	}
	slices.Sort(points)
	large := len(points) <= 2*numberedUp
	d := drawing{}
	for _, i := range points {
		f.see(float64(i), value(i))
		r := vg.Length(6)
		if large {
			r = 13
		}
		b := box{float64(i), value(i), r, r, r, r}
		if len(points) <= numberedUp && up(i) {
			b.up_ += 16
		} else if len(points) <= numberedUp {
			b.down += 16
		}
		d.boxes = append(d.boxes, b)
	}
	d.plot = func(c *draw.Canvas, x, y func(float64) vg.Length) {
		drawn := map[[2]int]bool{}
		var taken []vg.Rectangle
		for _, i := range points {
			p := vg.Point{X: x(float64(i)), Y: y(value(i))}
			place := [2]int{int(p.X), int(p.Y)}
			if !large {
				place = [2]int{int(p.X / 3), int(p.Y / 3)}
			}
			if drawn[place] {
				continue // lies on one that is drawn
			}
			drawn[place] = true
			if !large {
				smallOutlier(c, p)
				continue
			}
			outlier(c, p)
			// Of a run of points that meet the same rules the first is numbered.
			if text := strings.Join(numbers[i], " "); len(points) <= numberedUp && strings.Join(numbers[i-1], " ") != text {
				taken = ruleNumbers(c, text, p, up(i), taken)
			}
		}
	}
	f.Add(d)
}

// ruleNumbers writes over or under a point where nothing is written yet.
func ruleNumbers(c *draw.Canvas, text string, p vg.Point, up bool, taken []vg.Rectangle) []vg.Rectangle {
	sty := textStyle(tickSize - 2)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	p.Y -= 19
	if up {
		p.Y += 38
	}
	half := textWidth(text, tickSize-2)/2 + 1
	p.X = max(c.Min.X+half, min(p.X, c.Max.X-half))
	r := vg.Rectangle{Min: vg.Point{X: p.X - half, Y: p.Y - 7}, Max: vg.Point{X: p.X + half, Y: p.Y + 7}}
	for _, t := range taken {
		if r.Min.X < t.Max.X && t.Min.X < r.Max.X && r.Min.Y < t.Max.Y && t.Min.Y < r.Max.Y {
			return taken // told in its row above the plot
		}
	}
	fill(c, ground(), r.Min, vg.Point{X: r.Max.X, Y: r.Min.Y}, r.Max, vg.Point{X: r.Min.X, Y: r.Max.Y})
	c.FillText(sty, p, text)
	return append(taken, r)
}

// smallOutlier is the same where there are many.
func smallOutlier(c *draw.Canvas, at vg.Point) {
	c.DrawGlyph(draw.GlyphStyle{Color: ground(), Radius: 4, Shape: glyph(0)}, at)
	c.DrawGlyph(draw.GlyphStyle{Color: vermilion(), Radius: 4, Shape: ring{}}, at)
	c.DrawGlyph(draw.GlyphStyle{Color: ink(), Radius: 3, Shape: glyph(6)}, at)
}

// ruleName puts a rule into the legend, its number in place of a sample.
func (f *frame) ruleName(number, text string) {
	f.entries = append(f.entries, entry{name: clean(text), sample: func(c *draw.Canvas) {
		sty := textStyle(tickSize)
		sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
		c.FillText(sty, c.Center(), number)
	}})
}

// timeAxis puts labels or numbers under the points, about six of many.
func (f *frame) timeAxis(labels []string, n int) {
	if n <= smallDots || len(labels) == 0 && n <= 2*noDots {
		f.times(labels, n)
		return
	}
	step := max(1, int(math.Ceil(roundStep(float64(n), 6))))
	var ticks []plot.Tick
	for i := 0; i < n; i += step {
		switch {
		case len(labels) == 0 && i > 0:
			ticks = append(ticks, plot.Tick{Value: float64(i - 1), Label: strconv.Itoa(i)})
		case i < len(labels):
			ticks = append(ticks, plot.Tick{Value: float64(i), Label: shortened(clean(labels[i]), 90)})
		}
	}
	f.X.Min, f.X.Max = -0.5, float64(n)-0.5
	f.X.Tick.Marker = plot.ConstantTicks(ticks)
}
