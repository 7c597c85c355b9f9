package plots

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Unrolled is a round body laid flat, all of one scale: the plate that closes its top,
// and below it the shell, cut open along turn 0.
type Unrolled struct {
	Plate   [][2]float64 // the plate's closed outline, mm, y down; empty: there is none
	GirthMM float64      // of the shell, the width of one turn; 0: there is none
	DepthMM float64      // of the shell, from its top down
	Looked  []string     // rows of the shell, from the top down, a digit a cell: 2 all looked at, 1 some, 0 none
	Marks   []Placed     // on either, in the order of drawing
	Rings   []Ring       // round places that stand out on the plate, numbered from 1
	OnShell []Ring       // and on the shell, numbered on
	Kinds   []Kind       // for the legend
	Names   UnrolledNames
	Onto    Onto // nil: the body is returned as SVG
}

// UnrolledNames are the words of an unrolled body.
type UnrolledNames struct {
	Plate, Shell string // over each
	Turn, Below  string // axes of the shell
	Some, None   string // what the cells of 1 and 0 are
}

// Placed is a mark: mm from the outline's origin on the plate, or from turn 0 and down
// from the top on the shell.
type Placed struct {
	Shell      bool
	X, Y       float64
	WideMM     float64 // of what it is around; 0: a place
	HighMM     float64
	Outline    Outline
	Label      string // "": none
	Heavy      bool   // stands out
	LabelColor color.Color
}

// Outline is a mark's shape in units of its own around (0,0), x right, y down.
type Outline struct {
	Paths  [][][2]float64
	Closed bool
	Inner  float64 // half the side of its largest clear square around (0,0)
	Colour color.NRGBA
}

// Kind is a mark's shape with its name.
type Kind struct {
	Name    string
	Outline Outline
}

// Ring is a round place.
type Ring struct {
	Name    string
	X, Y, R float64
}

// Sizes of an unrolled body, in the drawing's units.
const (
	unrolledWide = 900.0
	bodyLeft     = 58.0  // room for the shell's axis
	bodyRight    = 26.0  // and for the last turn's name
	mostHigh     = 400.0 // of the plate
	mostRadius   = 40.0  // of a mark: larger ones would hide the others
	manySpots    = 150   // from how many marks on they are small
)

// unrolled is a body being drawn; x and y are in the drawing's units from its upper left corner.
type unrolled struct {
	Unrolled
	c          draw.Canvas
	high       vg.Length
	k          float64 // units a mm
	plateX     float64 // of the outline's origin
	plateY     float64
	shellX     float64 // of turn 0
	shellY     float64 // of the top
	markRadius float64
	taken      [][4]float64 // by marks and labels: x0, y0, x1, y1
}

// Unroll draws the body. It is [ErrNothing] where there is neither plate nor shell.
func Unroll(u Unrolled) ([]byte, error) {
	d := unrolled{Unrolled: u, markRadius: 11}
	if len(u.Marks) > manySpots {
		d.markRadius = 6
	}
	for _, v := range []float64{u.GirthMM, u.DepthMM} {
		if !(v > 0) || !finite(v) {
			d.GirthMM, d.DepthMM, d.Looked = 0, 0, nil
		}
	}
	x0, y0, x1, y1, hasPlate := extent(u.Plate)
	if !hasPlate && d.GirthMM == 0 {
		return nil, ErrNothing
	}
	const inner = unrolledWide - bodyLeft - bodyRight
	d.k = inner / max(d.GirthMM, x1-x0)
	if hasPlate {
		d.k = min(d.k, mostHigh/(y1-y0))
	}
	y := 8.0
	if hasPlate {
		if u.Names.Plate != "" {
			y += lineHeight
		}
		y += 6
		d.plateX, d.plateY = bodyLeft+inner/2-d.k*(x0+x1)/2, y-d.k*y0
		y += d.k*(y1-y0) + 14
	}
	if d.GirthMM > 0 {
		y += lineHeight + 24
		d.shellX, d.shellY = bodyLeft+(inner-d.k*d.GirthMM)/2, y
		y += d.k*d.DepthMM + 2*lineHeight + 22
	}
	f := &frame{}
	for _, k := range u.Kinds {
		f.name(k.Name, func(c *draw.Canvas) { sample(c, k.Outline) })
	}
	d.legendOfCells(f)
	rings := append(slices.Clone(u.Rings), u.OnShell...)
	for i, r := range rings {
		f.name(r.Name, func(c *draw.Canvas) {
			c.StrokeLine2(ringLine(), c.Min.X, c.Center().Y, c.Center().X-8, c.Center().Y)
			plate(c, ground(), strconv.Itoa(i+1), vg.Point{X: c.Max.X - 10, Y: c.Center().Y})
		})
	}
	rows := f.legendRows(unrolledWide - 16)
	legend := vg.Length(len(rows)) * (lineHeight + 3)
	if len(rows) > 0 {
		legend += 10
	}
	d.high = vg.Length(math.Ceil(y)) + legend
	return u.Onto.on(unrolledWide, d.high, func(canvas vg.Canvas) {
		d.c = draw.NewCanvas(canvas, unrolledWide, d.high)
		if d.GirthMM > 0 {
			d.shell()
		}
		if hasPlate {
			d.outline(x1, y1)
		}
		for i := range d.Marks {
			d.take(&d.Marks[i])
		}
		for i := range d.Marks {
			d.mark(&d.Marks[i])
		}
		for i, r := range u.Rings {
			d.ring(strconv.Itoa(i+1), r, false)
		}
		for i, r := range u.OnShell {
			d.ring(strconv.Itoa(len(u.Rings)+i+1), r, true)
		}
		for i := range d.Marks {
			d.label(&d.Marks[i])
		}
		f.drawLegend(draw.Crop(d.c, 8, -8, 4, 0), rows, legend)
	})
}

// extent is the box around an outline; ok is false where it has no area.
func extent(outline [][2]float64) (x0, y0, x1, y1 float64, ok bool) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, q := range outline {
		if !finite(q[0]) || !finite(q[1]) {
			return 0, 0, 0, 0, false
		}
		x0, y0, x1, y1 = min(x0, q[0]), min(y0, q[1]), max(x1, q[0]), max(y1, q[1])
	}
	if len(outline) < 3 || !(x1 > x0 && y1 > y0) {
		return 0, 0, 0, 0, false
	}
	return x0, y0, x1, y1, true
}

// at is a point of the canvas, whose y goes up.
func (d *unrolled) at(x, y float64) vg.Point {
	return vg.Point{X: vg.Length(x), Y: d.high - vg.Length(y)}
}

func (d *unrolled) text(x, y float64, size vg.Length, across draw.XAlignment, s string) {
	sty := textStyle(size)
	sty.XAlign, sty.YAlign = across, draw.YCenter
	s = clean(s)
	d.c.FillText(sty, d.at(x, y), s)
	w := float64(textWidth(s, size))
	x += float64(across) * w
	d.taken = append(d.taken, [4]float64{x, y - float64(size)/2, x + w, y + float64(size)/2})
}

func (d *unrolled) line(sty draw.LineStyle, xy ...float64) {
	pts := make([]vg.Point, len(xy)/2)
	for i := range pts {
		pts[i] = d.at(xy[2*i], xy[2*i+1])
	}
	d.c.StrokeLines(sty, pts)
}

func (d *unrolled) box(clr color.Color, x0, y0, x1, y1 float64) {
	fill(&d.c, clr, d.at(x0, y0), d.at(x1, y0), d.at(x1, y1), d.at(x0, y1))
}

// outline draws the plate and a bar of 5 mm beside it.
func (d *unrolled) outline(x1, y1 float64) {
	var line []vg.Point
	var p []vg.Point
	for _, q := range d.Plate {
		p = append(p, d.at(d.plateX+d.k*q[0], d.plateY+d.k*q[1]))
	}
	fill(&d.c, ground(), p...)
	line = append(p, p[0])
	d.c.StrokeLines(inkLine(2.2), line)
	d.text(bodyLeft+(unrolledWide-bodyLeft-bodyRight)/2, 6+lineHeight/2, textSize, draw.XCenter, d.Names.Plate)
	const barMM = 5
	bx, by := min(d.plateX+d.k*x1+24, unrolledWide-bodyRight-barMM*d.k-50), d.plateY+d.k*y1-6
	d.line(inkLine(2.2), bx, by-6, bx, by, bx+barMM*d.k, by, bx+barMM*d.k, by-6)
	d.text(bx+barMM*d.k+8, by-3, tickSize, draw.XLeft, "5 mm")
}

// How cells that not all, or none, looked at are drawn: a tone, and lines of their own slope and number.
func cellStyle(digit byte) (tone color.NRGBA, sty draw.LineStyle, slope, step float64) {
	if digit == '1' {
		return color.NRGBA{0xf7, 0xf1, 0xe4, 0xff}, draw.LineStyle{Color: color.NRGBA{0xa8, 0xa0, 0x92, 0xff}, Width: 1}, -1, 18
	}
	return color.NRGBA{0xe3, 0xdb, 0xcb, 0xff}, draw.LineStyle{Color: color.NRGBA{0x8a, 0x83, 0x76, 0xff}, Width: 1.3}, 1, 9
}

func (d *unrolled) legendOfCells(f *frame) {
	for _, x := range []struct {
		digit byte
		name  string
	}{{'1', d.Names.Some}, {'0', d.Names.None}} {
		if !slices.ContainsFunc(d.Looked, func(row string) bool { return bytes.IndexByte([]byte(row), x.digit) >= 0 }) {
			continue
		}
		f.name(x.name, func(c *draw.Canvas) {
			tone, sty, slope, step := cellStyle(x.digit)
			x0, y0, x1, y1 := c.Min.X, c.Min.Y, c.Max.X, c.Max.Y
			fill(c, tone, vg.Point{X: x0, Y: y0}, vg.Point{X: x1, Y: y0}, vg.Point{X: x1, Y: y1}, vg.Point{X: x0, Y: y1})
			high, wide := float64(y1-y0), float64(x1-x0)
			for b := -wide; b < high+wide; b += step { // y = slope*x + b, y down
				from, to := (0-b)/slope, (high-b)/slope
				from, to = max(0, min(from, to)), min(wide, max(from, to))
				if from < to {
					c.StrokeLine2(sty, x0+vg.Length(from), y1-vg.Length(slope*from+b), x0+vg.Length(to), y1-vg.Length(slope*to+b))
				}
			}
			c.StrokeLines(inkLine(1), []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}, {X: x0, Y: y0}})
		})
	}
}

// shell draws the shell: what was looked at, its frame and axes.
func (d *unrolled) shell() {
	x0, y0, x1, y1 := d.shellX, d.shellY, d.shellX+d.k*d.GirthMM, d.shellY+d.k*d.DepthMM
	d.box(ground(), x0, y0, x1, y1)
	for _, digit := range []byte{'1', '0'} {
		d.cells(digit)
	}
	grid := draw.LineStyle{Color: gridColour(), Width: 1}
	for deg := 0.0; deg <= 360; deg += 30 {
		x := x0 + d.k*d.GirthMM*deg/360
		tick := 4.0
		if math.Mod(deg, 90) == 0 {
			tick = 8
			d.line(grid, x, y0, x, y1)
			d.text(x, y1+8+lineHeight/2, tickSize, draw.XCenter, fmt.Sprintf("%g°", deg))
		}
		d.line(inkLine(1.3), x, y1, x, y1+tick)
	}
	step := 5.0
	if d.DepthMM < 6 {
		step = 1
	} else if d.DepthMM < 12 {
		step = 2
	}
	for mm := 0.0; mm <= d.DepthMM+1e-9; mm += step {
		y := y0 + d.k*mm
		d.line(inkLine(1.3), x0-6, y, x0, y)
		d.text(x0-10, y, tickSize, draw.XRight, strconv.FormatFloat(mm, 'g', -1, 64))
	}
	d.line(inkLine(1.3), x0, y0, x0, y1, x1, y1, x1, y0)
	d.line(inkLine(2.6), x0, y0, x1, y0)
	d.text(x0-52, y0-lineHeight/2-22, textSize, draw.XLeft, d.Names.Below)
	d.text((x0+x1)/2, y0-lineHeight/2-22, textSize, draw.XCenter, d.Names.Shell)
	d.text((x0+x1)/2, y1+12+1.5*lineHeight, textSize, draw.XCenter, d.Names.Turn)
}

// cells fills the cells of one digit with its tone, in rectangles as high as rows are alike, and draws
// its lines over them.
func (d *unrolled) cells(digit byte) {
	tone, sty, slope, step := cellStyle(digit)
	wide, high := d.k*d.GirthMM, d.k*d.DepthMM
	n := len(d.Looked)
	if n == 0 {
		return
	}
	type run struct{ from, to int }
	open := map[run]int{} // the row in which it began
	closeRun := func(r run, end int) {
		cols := float64(len(d.Looked[end-1]))
		x0, x1 := d.shellX+wide*float64(r.from)/cols, d.shellX+wide*float64(r.to)/cols
		d.box(tone, x0, d.shellY+high*float64(open[r])/float64(n), x1, d.shellY+high*float64(end)/float64(n))
		delete(open, r)
	}
	for j := range n + 1 {
		here := map[run]bool{}
		if j < n {
			row := d.Looked[j]
			for i := 0; i < len(row); i++ {
				if row[i] != digit {
					continue
				}
				r := run{i, i}
				for i < len(row) && row[i] == digit {
					i++
				}
				r.to = i
				here[r] = true
			}
		}
		var ended []run
		for r := range open {
			if !here[r] {
				ended = append(ended, r)
			}
		}
		slices.SortFunc(ended, func(a, b run) int { return cmp.Compare(a.from, b.from) })
		for _, r := range ended {
			closeRun(r, j)
		}
		for r := range here {
			if _, ok := open[r]; !ok {
				open[r] = j
			}
		}
	}
	in := func(x, y float64) bool {
		j := min(int(y/high*float64(n)), n-1)
		row := d.Looked[j]
		i := min(int(x/wide*float64(len(row))), len(row)-1)
		return i >= 0 && row[i] == digit
	}
	for b := -wide; b < high+wide; b += step { // y = slope*x + b from the shell's corner
		from, to := (0-b)/slope, (high-b)/slope
		from, to = max(0, min(from, to)), min(wide, max(from, to))
		if from >= to {
			continue
		}
		ends := []float64{from, to}
		for j := 1; j < n; j++ {
			ends = append(ends, (high*float64(j)/float64(n)-b)/slope)
		}
		for cols, i := len(d.Looked[0]), 1; i < cols; i++ {
			ends = append(ends, wide*float64(i)/float64(cols))
		}
		ends = slices.DeleteFunc(ends, func(x float64) bool { return x < from || x > to })
		slices.Sort(ends)
		start := math.NaN()
		for i := 1; i <= len(ends); i++ {
			lit := false
			if i < len(ends) {
				x := (ends[i-1] + ends[i]) / 2
				lit = in(x, slope*x+b) || ends[i]-ends[i-1] < 1e-6 && !math.IsNaN(start)
			}
			switch {
			case lit && math.IsNaN(start):
				start = ends[i-1]
			case !lit && !math.IsNaN(start):
				end := ends[i-1]
				d.line(sty, d.shellX+start, d.shellY+slope*start+b, d.shellX+end, d.shellY+slope*end+b)
				start = math.NaN()
			}
		}
	}
}

// place is where a mark lies in the drawing, and its semi-axes.
func (d *unrolled) place(m *Placed) (x, y, rx, ry float64) {
	x, y = d.plateX+d.k*m.X, d.plateY+d.k*m.Y
	if m.Shell {
		x, y = d.shellX+d.k*m.X, d.shellY+d.k*m.Y
	}
	const clear = 4
	inner := max(m.Outline.Inner, 0.2)
	axis := func(mm float64) float64 { return min(max((d.k*mm/2+clear)/inner, d.markRadius), mostRadius) }
	rx, ry = axis(m.WideMM), axis(m.HighMM)
	if m.WideMM == 0 && m.HighMM == 0 {
		rx, ry = d.markRadius, d.markRadius
	}
	return x, y, max(rx, 0.45*ry), max(ry, 0.45*rx) // a shape drawn too flat is not known again
}

func (d *unrolled) drawable(m *Placed) bool {
	there := len(d.Plate) > 2
	if m.Shell {
		there = d.GirthMM > 0
	}
	return there && finite(m.X) && finite(m.Y) && finite(m.WideMM) && finite(m.HighMM) && len(m.Outline.Paths) > 0
}

func (d *unrolled) take(m *Placed) {
	if d.drawable(m) {
		x, y, rx, ry := d.reach(m)
		d.taken = append(d.taken, [4]float64{x - rx, y - ry, x + rx, y + ry})
	}
}

// reach is where a mark lies, and how far its lines go from there.
func (d *unrolled) reach(m *Placed) (x, y, far, high float64) {
	x, y, rx, ry := d.place(m)
	for _, p := range m.Outline.Paths {
		for _, q := range p {
			far, high = max(far, rx*math.Abs(q[0])), max(high, ry*math.Abs(q[1]))
		}
	}
	return x, y, far + 2, high + 2
}

// mark draws a shape as the pictures have it: bright within a dark casing.
func (d *unrolled) mark(m *Placed) {
	if !d.drawable(m) {
		return
	}
	x, y, rx, ry := d.place(m)
	half := 1.2 * d.markRadius / 11
	if m.Heavy {
		half *= 1.8
	}
	if !m.Shell {
		shape(&d.c, d.at(x, y), rx, ry, half, m.Outline, nil)
		return
	}
	// What lies beyond turn 0 comes in at the other end.
	ends := &[2]vg.Length{vg.Length(d.shellX), vg.Length(d.shellX + d.k*d.GirthMM)}
	for _, turn := range []float64{-1, 0, 1} {
		if _, _, far, _ := d.reach(m); x+turn*d.k*d.GirthMM+far > d.shellX && x+turn*d.k*d.GirthMM-far < d.shellX+d.k*d.GirthMM {
			shape(&d.c, d.at(x+turn*d.k*d.GirthMM, y), rx, ry, half, m.Outline, ends)
		}
	}
}

// shape draws an outline around a point; of what lies beyond ends, along x, nothing; nil: there are none.
func shape(c *draw.Canvas, at vg.Point, rx, ry, half float64, o Outline, ends *[2]vg.Length) {
	for _, sty := range []draw.LineStyle{{Color: ink(), Width: vg.Length(2*half + 2.6)}, {Color: o.Colour, Width: vg.Length(2 * half)}} {
		for _, path := range o.Paths {
			pts := make([]vg.Point, len(path), len(path)+1)
			within := true
			for i, q := range path {
				pts[i] = vg.Point{X: at.X + vg.Length(rx*q[0]), Y: at.Y - vg.Length(ry*q[1])}
				within = within && (ends == nil || pts[i].X >= ends[0] && pts[i].X <= ends[1])
			}
			if within {
				var p vg.Path
				p.Move(pts[0])
				for _, q := range pts[1:] {
					p.Line(q)
				}
				if o.Closed {
					p.Close()
				}
				c.SetLineStyle(sty)
				c.Stroke(p)
				continue
			}
			if o.Closed {
				pts = append(pts, pts[0])
			}
			parts := between(pts, ends[0], ends[1])
			if n := len(parts); n > 1 && o.Closed && parts[0][0] == parts[n-1][len(parts[n-1])-1] {
				parts[0], parts = append(parts[n-1], parts[0][1:]...), parts[:n-1] // it began amid a part
			}
			for _, part := range parts {
				c.StrokeLines(sty, part)
			}
		}
	}
}

// between are the parts of a line that lie from x0 to x1.
func between(pts []vg.Point, x0, x1 vg.Length) [][]vg.Point {
	var out [][]vg.Point
	var run []vg.Point
	for i := 1; i < len(pts); i++ {
		a, b := pts[i-1], pts[i]
		cut := func(x vg.Length) vg.Point { return vg.Point{X: x, Y: a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)} }
		from, to := a, b
		switch {
		case max(a.X, b.X) < x0 || min(a.X, b.X) > x1:
			run = nil
			continue
		case a.X < x0:
			from = cut(x0)
		case a.X > x1:
			from = cut(x1)
		}
		switch {
		case b.X < x0:
			to = cut(x0)
		case b.X > x1:
			to = cut(x1)
		}
		if len(run) == 0 || from != a {
			out = append(out, []vg.Point{from})
		}
		run = append(out[len(out)-1], to)
		out[len(out)-1] = run
		if to != b {
			run = nil
		}
	}
	return out
}

func sample(c *draw.Canvas, o Outline) {
	far := 0.0
	for _, p := range o.Paths {
		for _, q := range p {
			far = max(far, math.Abs(q[0]), math.Abs(q[1]))
		}
	}
	shape(c, c.Center(), 8/max(far, 0.1), 8/max(far, 0.1), 1.2, o, nil)
}

// label writes a mark's label where it hides least.
func (d *unrolled) label(m *Placed) {
	if m.Label == "" || !d.drawable(m) {
		return
	}
	x, y, rx, ry := d.reach(m)
	w, h := float64(textWidth(clean(m.Label), tickSize))+8, 18.0
	best, least := [4]float64{}, math.Inf(1)
	for ring := range 5 {
		off := 3 + 14*float64(ring)
		for k := range 16 {
			s, c := math.Sincos(float64(k)*math.Pi/8 - math.Pi/4)
			cx, cy := x+max(-1, min(1, 1.3*c))*(rx+off+w/2), y+max(-1, min(1, 1.3*s))*(ry+off+h/2)
			r := [4]float64{cx - w/2, cy - h/2, cx + w/2, cy + h/2}
			cost := 30*float64(ring) + 0.01*float64(k)
			if r[0] < 2 || r[2] > unrolledWide-2 || r[1] < 2 || r[3] > float64(d.high)-2 {
				cost += 1e6
			}
			for _, t := range d.taken {
				cost += max(0, min(r[2], t[2])-max(r[0], t[0])) * max(0, min(r[3], t[3])-max(r[1], t[1]))
			}
			if cost < least {
				best, least = r, cost
			}
		}
		if least < 30*float64(ring+1) {
			break
		}
	}
	d.taken = append(d.taken, best)
	cx, cy := (best[0]+best[2])/2, (best[1]+best[3])/2
	if away := math.Hypot((cx-x)/(rx+w/2), (cy-y)/(ry+h/2)); away > 1.6 { // a lead to its mark
		t := 1 / math.Max(math.Abs(cx-x)/rx, math.Abs(cy-y)/ry)
		d.line(inkLine(1.2), x+t*(cx-x), y+t*(cy-y), cx, cy)
	}
	clr := m.LabelColor
	if clr == nil {
		clr = ground()
	}
	plate(&d.c, clr, m.Label, d.at(cx, cy))
}

func ringLine() draw.LineStyle { return inkLine(2.4, 9, 5) }

// ring draws a round place and its number; on the shell, what lies beyond turn 0 comes in at the other end.
func (d *unrolled) ring(number string, r Ring, shell bool) {
	if !finite(r.X) || !finite(r.Y) || !(r.R > 0) || !finite(r.R) || shell && d.GirthMM == 0 {
		return
	}
	var line []vg.Point
	flush := func() {
		if len(line) > 1 {
			d.c.StrokeLines(draw.LineStyle{Color: ground(), Width: 5}, line) // so that it shows among marks
			d.c.StrokeLines(ringLine(), line)
		}
		line = nil
	}
	last := 0.0
	for k := range 145 {
		s, c := math.Sincos(float64(k) * math.Pi / 72)
		x, y := r.X+r.R*c, r.Y+r.R*s
		if !shell {
			line = append(line, d.at(d.plateX+d.k*x, d.plateY+d.k*y))
			continue
		}
		x = math.Mod(math.Mod(x, d.GirthMM)+d.GirthMM, d.GirthMM)
		if k > 0 && math.Abs(x-last) > d.GirthMM/2 {
			flush()
		}
		last = x
		if y < 0 || y > d.DepthMM {
			flush()
			continue
		}
		line = append(line, d.at(d.shellX+d.k*x, d.shellY+d.k*y))
	}
	flush()
	x, y := d.plateX+d.k*(r.X+0.7071*r.R), d.plateY+d.k*(r.Y-0.7071*r.R)
	if shell {
		x, y = d.shellX+d.k*min(r.X+0.7071*r.R, d.GirthMM), d.shellY+d.k*max(r.Y-0.7071*r.R, 0)
	}
	plate(&d.c, ground(), number, d.at(x+9, y-9))
}

// plate writes a short text on a ground, with an edge.
func plate(c *draw.Canvas, clr color.Color, text string, at vg.Point) {
	half := textWidth(text, tickSize)/2 + 4
	box := []vg.Point{{X: at.X - half, Y: at.Y - 9}, {X: at.X + half, Y: at.Y - 9}, {X: at.X + half, Y: at.Y + 9},
		{X: at.X - half, Y: at.Y + 9}}
	fill(c, clr, box...)
	c.StrokeLines(inkLine(1.3), append(box, box[0]))
	sty := textStyle(tickSize)
	sty.XAlign, sty.YAlign = draw.XCenter, draw.YCenter
	c.FillText(sty, at, clean(text))
}
