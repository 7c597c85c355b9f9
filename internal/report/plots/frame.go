package plots

import (
	"errors"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ErrNothing is returned where no number is left to draw.
var ErrNothing = errors.New("plots: nothing to draw")

// errTooFar is returned where the numbers span more than can be reckoned with.
var errTooFar = errors.New("plots: the numbers lie too far apart to draw")

// Options are what all plots share. The zero value of a size is the default.
type Options struct {
	X, Y     string  // axis labels, with their units: "step / um"
	WidthMM  float64 // default 180, at least 60
	HeightMM float64 // default 100, at least 40; names of series and lines come on top
	LogX     bool    // a logarithmic x axis; x that is not positive is left out
	Missing  string  // what the legend calls a question mark; "": "not measured"
	Onto     Onto    // nil: the plot is returned as SVG
}

func (o Options) missingName() string {
	if o.Missing == "" {
		return "not measured"
	}
	return o.Missing
}

// Series is a named list of points; X and Y have the same length.
type Series struct {
	Name string
	X, Y []float64
}

// HLine is a horizontal line across a plot, such as a limit.
type HLine struct {
	Name string
	Y    float64
	Dash bool // a limit; else a centre line
}

// Mark is a named vertical line.
type Mark struct {
	Name string
	X    float64
}

// entry is a line of the legend: a name and how its sample is drawn.
type entry struct {
	name   string
	wide   vg.Length // of the sample; 0: as usual
	sample func(c *draw.Canvas)
}

func (e entry) sampleWide() vg.Length {
	if e.wide > 0 {
		return e.wide
	}
	return sampleWidth
}

// room is the width that the entry takes.
func (e entry) room() vg.Length { return e.sampleWide() + 8 + textWidth(e.name, tickSize) + 22 }

// frame is a plot with what stands around it: the y axis' label above, names of
// vertical lines below that, names of horizontal lines at the right, the legend
// under the x axis.
type frame struct {
	*plot.Plot
	o       Options
	entries []entry
	lines   []HLine
	ends    []HLine // names at the right end without a line, for lines that are no level ones
	strips  []strip // rows of ticks between the plot and the names of vertical lines
	marks   []Mark
	any     bool                   // something was drawn
	missing bool                   // something was not, and says so
	above   []func(c *draw.Canvas) // what is drawn over the horizontal lines
	cats    []string               // under the places 0, 1, ...; nil: numbers
	ncats   int
	left    vg.Length // room for slanting names
	perX    vg.Length // the drawing's units a number of a linear x axis; known when the data are drawn
}

func newFrame(o Options) *frame {
	if !(o.WidthMM > 0) {
		o.WidthMM = 180
	}
	if !(o.HeightMM > 0) {
		o.HeightMM = 100
	}
	o.WidthMM, o.HeightMM = min(max(o.WidthMM, 60), 2000), min(max(o.HeightMM, 40), 2000)
	f := &frame{Plot: plot.New(), o: o}
	f.BackgroundColor = nil // the page shows through
	f.X.Label.Text = clean(o.X)
	for _, a := range []*plot.Axis{&f.X, &f.Y} {
		x, y := a.Tick.Label.XAlign, a.Tick.Label.YAlign
		a.Tick.Label, a.Label.TextStyle = textStyle(tickSize), textStyle(textSize)
		a.Tick.Label.XAlign, a.Tick.Label.YAlign = x, y
		a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign = draw.XCenter, draw.YBottom
		a.LineStyle, a.Tick.LineStyle = inkLine(1.3), inkLine(1.3)
		a.Tick.Length, a.Padding, a.Label.Padding = 6, 4, 4
	}
	f.X.Tick.Marker = roundTicks{max(2, int(o.WidthMM*unitsPerMM/85))}
	f.Y.Tick.Marker = roundTicks{max(2, int(o.HeightMM*unitsPerMM/42))}
	if o.LogX {
		f.X.Scale, f.X.Tick.Marker = plot.LogScale{}, logTicks{max(2, int(o.WidthMM*unitsPerMM/70))}
	}
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color, g.Horizontal.Width = nil, gridColour(), 1
	f.Add(g)
	return f
}

// name puts a series into the legend.
func (f *frame) name(name string, sample func(c *draw.Canvas)) {
	if name != "" {
		f.entries = append(f.entries, entry{name: clean(name), sample: sample})
	}
}

// see makes room for a number on an axis.
func (f *frame) see(x, y float64) {
	f.X.Min, f.X.Max = min(f.X.Min, x), max(f.X.Max, x)
	f.Y.Min, f.Y.Max = min(f.Y.Min, y), max(f.Y.Max, y)
}

// points are the pairs of which both numbers can be drawn.
func (f *frame) points(x, y []float64) plotter.XYs {
	var pts plotter.XYs
	for i := range min(len(x), len(y)) {
		if f.drawable(x[i], y[i]) {
			pts = append(pts, plotter.XY{X: x[i], Y: y[i]})
		}
	}
	return pts
}

func (f *frame) drawable(x, y float64) bool {
	return finite(x) && finite(y) && (!f.o.LogX || x > 0)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// hlines adds horizontal lines; they widen the plot.
func (f *frame) hlines(h []HLine) {
	for _, l := range h {
		if finite(l.Y) {
			l.Name = clean(l.Name)
			f.lines = append(f.lines, l)
			f.Y.Min, f.Y.Max = min(f.Y.Min, l.Y), max(f.Y.Max, l.Y)
		}
	}
}

// settle gives both axes a range that can be drawn.
func (f *frame) settle() error {
	if !f.any || f.X.Min > f.X.Max || f.Y.Min > f.Y.Max {
		return ErrNothing
	}
	if f.X.Min == f.X.Max && f.o.LogX {
		f.X.Min, f.X.Max = f.X.Min/2, f.X.Max*2
	}
	for _, a := range []*plot.Axis{&f.X, &f.Y} {
		// Closer together than a number's own digits is one number.
		if size := max(math.Abs(a.Min), math.Abs(a.Max)); a.Max-a.Min <= size*1e-12 {
			room := size * 0.1
			if room == 0 {
				room = 1
			}
			a.Min, a.Max = a.Min-room, a.Max+room
		}
		if !finite((a.Max - a.Min) * 1000) {
			return errTooFar
		}
	}
	return nil
}

// svg draws all.
func (f *frame) svg() ([]byte, error) {
	if err := f.settle(); err != nil {
		return nil, err
	}
	if f.missing {
		f.name(f.o.missingName(), func(c *draw.Canvas) { questionMark(*c, c.Center()) })
	}
	w := vg.Length(f.o.WidthMM * unitsPerMM)
	rows := f.legendRows(w)
	right := max(f.rightRoom(w), f.markRoom(w))
	f.placeCategories(w - right)
	top := vg.Length(0)
	if f.o.Y != "" {
		top += lineHeight + 5
	}
	bottom := vg.Length(len(rows)) * (lineHeight + 3)
	if len(rows) > 0 {
		bottom += 6
	}
	marks, tiers := f.placeMarks(w, right)
	over := f.stripsHeight()
	h := vg.Length(f.o.HeightMM*unitsPerMM) + top + bottom + over + vg.Length(tiers)*lineHeight
	return f.o.Onto.on(w, h, func(canvas vg.Canvas) {
		whole := draw.Crop(draw.NewCanvas(canvas, w, h), 6, -8, 6, -6)
		inner := draw.Crop(whole, f.left, -right, bottom, -top-over-vg.Length(tiers)*lineHeight)
		f.Draw(inner)
		data := f.DataCanvas(inner)
		f.perX = (data.Max.X - data.Min.X) / vg.Length(f.X.Max-f.X.Min)
		f.drawLines(data)
		for _, draw := range f.above {
			draw(&data)
		}
		f.drawStrips(data, inner.Max.Y)
		f.drawMarks(data, inner.Max.Y+over, marks)
		if f.o.Y != "" {
			sty := textStyle(textSize)
			sty.YAlign = draw.YTop
			whole.FillText(sty, vg.Point{X: whole.Min.X, Y: whole.Max.Y}, clean(f.o.Y))
		}
		f.drawLegend(whole, rows, bottom)
	})
}

// rightRoom is the room for the names of horizontal lines.
func (f *frame) rightRoom(w vg.Length) vg.Length {
	room := vg.Length(0)
	for _, lines := range [][]HLine{f.lines, f.ends} {
		for i := range lines {
			lines[i].Name = shortened(lines[i].Name, w*0.3)
			if name := lines[i].Name; name != "" {
				room = max(room, textWidth(name, tickSize)+8)
			}
		}
	}
	for _, s := range f.strips {
		room = max(room, textWidth(s.name, tickSize)+8)
	}
	return room
}

// markRoom is the room at the right that names of vertical lines need beyond
// the plot.
func (f *frame) markRoom(w vg.Length) vg.Length {
	room := vg.Length(0)
	for _, m := range f.marks {
		at := vg.Length(f.X.Norm(m.X)) // of the plot's width, which is w less 74 and the room
		if at > 0 {
			room = max(room, w-74-(w-90-textWidth(m.Name, tickSize))/at)
		}
	}
	return min(room, w*0.35)
}

// drawLines draws the horizontal lines over the data, names at their right.
func (f *frame) drawLines(c draw.Canvas) {
	_, ty := f.Transforms(&c)
	var names []sideName
	for _, l := range f.lines {
		sty := inkLine(1.4)
		if l.Dash {
			sty = inkLine(2, 9, 6)
		}
		y := ty(l.Y)
		c.StrokeLine2(sty, c.Min.X, y, c.Max.X, y)
		if l.Name != "" {
			names = append(names, sideName{l.Name, y, y})
		}
	}
	for _, e := range f.ends {
		names = append(names, sideName{e.Name, ty(e.Y), ty(e.Y)})
	}
	sty := textStyle(tickSize)
	sty.YAlign = draw.YCenter
	for _, n := range spread(names) {
		c.FillText(sty, vg.Point{X: c.Max.X + 8, Y: n.y}, n.text)
		if math.Abs(float64(n.y-n.at)) > 1 { // moved: a short lead to its line
			c.StrokeLine2(inkLine(1), c.Max.X, n.at, c.Max.X+7, n.y)
		}
	}
}

type sideName struct {
	text  string
	at, y vg.Length
}

// placed is a vertical line's name in its row above the plot, 0 the lowest.
type placed struct {
	Mark
	tier int
}

// placeMarks puts the names of vertical lines into as few rows as they need: a
// name stands right of its line, above the names of the lines that cross it.
func (f *frame) placeMarks(w, right vg.Length) ([]placed, int) {
	var out []placed
	var xs []vg.Length
	tiers := 0
	marks := sortedMarks(f.marks)
	for i := len(marks) - 1; i >= 0; i-- {
		// About where the line comes to stand; the axis takes some 60.
		x := 60 + (w-right-70)*vg.Length(f.X.Norm(marks[i].X))
		end, tier := x+textWidth(marks[i].Name, tickSize)+14, 0
		for k, other := range out {
			if xs[k] < end {
				tier = max(tier, other.tier+1)
			}
		}
		out, xs = append(out, placed{marks[i], tier}), append(xs, x)
		tiers = max(tiers, tier+1)
	}
	return out, tiers
}

// drawMarks draws the vertical lines, names in their rows above top.
func (f *frame) drawMarks(c draw.Canvas, top vg.Length, marks []placed) {
	tx, _ := f.Transforms(&c)
	for _, m := range marks {
		x, y := tx(m.X), top+vg.Length(m.tier)*lineHeight
		c.StrokeLine2(inkLine(1.6, 3, 4), x, c.Min.Y, x, y+lineHeight-4)
		sty, at := textStyle(tickSize), x+5
		if at+textWidth(m.Name, tickSize) > vg.Length(f.o.WidthMM*unitsPerMM) {
			sty.XAlign, at = draw.XRight, x-5
		}
		c.FillText(sty, vg.Point{X: at, Y: y + 6}, m.Name)
	}
}

// sampleWidth is the width of a legend's sample.
const sampleWidth = 38

// legendRows breaks the legend into rows that fit.
func (f *frame) legendRows(w vg.Length) [][]entry {
	var rows [][]entry
	used := w
	for _, e := range f.entries {
		e.name = shortened(e.name, w-e.sampleWide()-30)
		if used+e.room() > w && used > 0 {
			rows, used = append(rows, nil), 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], e)
		used += e.room()
	}
	return rows
}

func (f *frame) drawLegend(c draw.Canvas, rows [][]entry, height vg.Length) {
	y := c.Min.Y + height - 6
	sty := textStyle(tickSize)
	sty.YAlign = draw.YCenter
	for _, row := range rows {
		y -= lineHeight + 3
		x := c.Min.X
		for _, e := range row {
			box := draw.Canvas{Canvas: c.Canvas, Rectangle: vg.Rectangle{Min: vg.Point{X: x, Y: y},
				Max: vg.Point{X: x + e.sampleWide(), Y: y + lineHeight - 3}}}
			e.sample(&box)
			c.FillText(sty, vg.Point{X: x + e.sampleWide() + 8, Y: box.Center().Y}, e.name)
			x += e.room()
		}
	}
}

// clean makes a text that XML can hold, on one line.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), r == 0x2028, r == 0x2029:
			return ' '
		case r == 0xfffe, r == 0xffff, r == anchorMiddle, r == anchorEnd:
			return utf8.RuneError
		}
		return r
	}, strings.ToValidUTF8(s, string(utf8.RuneError)))
}

// shortened cuts a text that is wider than w.
func shortened(s string, w vg.Length) string {
	if textWidth(s, tickSize) <= w {
		return s
	}
	for len(s) > 0 && textWidth(s+"…", tickSize) > w {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
	}
	return strings.TrimRight(s, " ") + "…"
}
