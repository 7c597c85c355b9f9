package lotreport

import (
	"image/color"
	"time"

	"finishbench/internal/report/palette"
	"finishbench/internal/report/paper"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/vg"
)

// Sizes of a page, mm, and of letters, points.
const (
	pageWide, pageHigh = paper.WideMM, paper.HighMM
	margin             = paper.MarginMM
	footRoom           = 18.0
	wide               = pageWide - 2*margin
	bodySize           = 9.5
	smallSize          = 8.0
	headSize           = 13.0
	lineGap            = 1.38  // of the letters' size
	figureWide         = 132.0 // of a plot of 680 units, whose letters are then as large as the text's
)

// sheet is a PDF under way: what comes next goes to y, over to a new page where it
// needs one.
type sheet struct {
	*fpdf.Fpdf
	speech
	y float64
	// A table's head is drawn again on its next page.
	head func()
}

// newSheet begins a PDF. All that would differ from one run to the next is given.
func newSheet(s speech, title, subject string, stamp time.Time, foot func(page int) string) (*sheet, error) {
	pdf, err := paper.New(title, subject, s.tag, stamp)
	if err != nil {
		return nil, err
	}
	p := &sheet{Fpdf: pdf, speech: s}
	p.AliasNbPages("{pages}")
	p.SetFooterFunc(func() {
		p.line(margin, pageHigh-footRoom+4, margin+wide, pageHigh-footRoom+4, palette.Line, .2)
		p.letters(smallSize, palette.Soft)
		p.Text(margin, pageHigh-footRoom+8.5, paper.Printable(foot(p.PageNo())))
	})
	p.newPage()
	return p, p.Error()
}

func (p *sheet) newPage() {
	p.AddPage()
	p.y = margin
	if p.head != nil {
		p.head()
	}
}

// need makes sure that so much fits on the page.
func (p *sheet) need(high float64) {
	if p.y+high > pageHigh-footRoom {
		p.newPage()
	}
}

func (p *sheet) letters(size float64, c color.NRGBA) { paper.Letters(p.Fpdf, size, c) }

func (p *sheet) bold(size float64, c color.NRGBA, write func()) { paper.Bold(p.Fpdf, size, c, write) }

func (p *sheet) line(x1, y1, x2, y2 float64, c color.NRGBA, w float64) {
	p.SetDrawColor(paper.RGB(c))
	p.SetLineWidth(w)
	p.Line(x1, y1, x2, y2)
}

func (p *sheet) box(x, y, w, h float64, c color.NRGBA) {
	p.SetFillColor(paper.RGB(c))
	p.Rect(x, y, w, h, "F")
}

// high is the height of a line of letters of a size, mm.
func high(size float64) float64 { return size * lineGap * 25.4 / 72 }

// base is where letters stand in a line, from its top.
func base(size float64) float64 { return size * 1.02 * 25.4 / 72 }

// heading begins a part, with room for some lines after it.
func (p *sheet) heading(text string) {
	p.head = nil
	p.y += 4
	p.need(34)
	p.line(margin, p.y, margin+wide, p.y, palette.Ink, .5)
	p.y += 1.8
	p.bold(headSize, palette.Ink, func() { p.Text(margin, p.y+base(headSize), paper.Printable(text)) })
	p.Bookmark(paper.Printable(text), 0, p.y)
	p.y += high(headSize) + 1.2
}

// small is a heading inside a part.
func (p *sheet) small(text string) {
	p.y += 1.5
	p.need(24)
	p.bold(10.5, palette.Ink, func() { p.Text(margin, p.y+base(10.5), paper.Printable(text)) })
	p.y += high(10.5) + .6
}

// para writes a paragraph.
func (p *sheet) para(text string) { p.paraIn(text, bodySize, palette.Ink) }

func (p *sheet) paraIn(text string, size float64, c color.NRGBA) {
	if text == "" {
		return
	}
	p.letters(size, c)
	for _, l := range paper.Wrap(p.Fpdf, paper.Printable(text), wide) {
		p.need(high(size))
		p.letters(size, c)
		p.Text(margin, p.y+base(size), l)
		p.y += high(size)
	}
	p.y += 1.2
}

// list writes sentences with a mark before each.
func (p *sheet) list(mark string, all []string) {
	for _, s := range all {
		if s == "" {
			continue
		}
		p.letters(bodySize, palette.Ink)
		for i, l := range paper.Wrap(p.Fpdf, paper.Printable(s), wide-5) {
			p.need(high(bodySize))
			p.letters(bodySize, palette.Ink)
			if i == 0 {
				p.Text(margin, p.y+base(bodySize), mark)
			}
			p.Text(margin+5, p.y+base(bodySize), l)
			p.y += high(bodySize)
		}
		p.y += .8
	}
}

// fact is a name and what is so.
type fact struct{ name, value string }

// facts are written in two columns.
func (p *sheet) facts(all []fact) {
	var kept []fact
	for _, f := range all {
		if f.value != "" {
			kept = append(kept, f)
		}
	}
	const nameWide, gap = 34.0, 6.0
	col := (wide - gap) / 2
	for i := 0; i < len(kept); i += 2 {
		tall := 0.0
		var cells [2][]string
		var names [2][]string
		for k := 0; k < 2 && i+k < len(kept); k++ {
			p.letters(bodySize, palette.Ink)
			cells[k], names[k] = paper.Wrap(p.Fpdf, paper.Printable(kept[i+k].value), col-nameWide),
				paper.Wrap(p.Fpdf, paper.Printable(kept[i+k].name), nameWide-2)
			tall = max(tall, float64(max(len(cells[k]), len(names[k])))*high(bodySize)+.9)
		}
		p.need(tall)
		for k := range cells {
			x := margin + float64(k)*(col+gap)
			p.letters(bodySize, palette.Soft)
			for j, l := range names[k] {
				p.Text(x, p.y+float64(j)*high(bodySize)+base(bodySize), l)
			}
			p.letters(bodySize, palette.Ink)
			for j, l := range cells[k] {
				p.Text(x+nameWide, p.y+float64(j)*high(bodySize)+base(bodySize), l)
			}
		}
		p.y += tall
	}
	p.y += 1
}

// column of a table. Wide is a share; Right puts numbers at the right.
type column struct {
	name  string
	wide  float64
	right bool
}

// table writes a table, its head again on each page. marked rows are drawn on a
// tint and have a sign before them.
func (p *sheet) table(cols []column, rows [][]string, marked func(i int) bool) {
	sum := 0.0
	for _, c := range cols {
		sum += c.wide
	}
	x := make([]float64, len(cols)+1)
	x[0] = margin
	for i, c := range cols {
		x[i+1] = x[i] + wide*c.wide/sum
	}
	const pad = 1.1
	cells := func(row []string) (lines [][]string, tall float64) {
		for i, text := range row {
			l := paper.Wrap(p.Fpdf, paper.Printable(text), x[i+1]-x[i]-2*pad)
			lines = append(lines, l)
			tall = max(tall, float64(len(l)))
		}
		return lines, tall*high(smallSize) + 2*.7
	}
	put := func(lines [][]string) {
		for i, cell := range lines {
			for j, l := range cell {
				at := x[i] + pad
				if cols[i].right {
					at = x[i+1] - pad - p.GetStringWidth(l)
				}
				p.Text(at, p.y+.7+float64(j)*high(smallSize)+base(smallSize), l)
			}
		}
	}
	names := make([]string, len(cols))
	for i, c := range cols {
		names[i] = c.name
	}
	p.letters(smallSize, palette.Ink)
	headLines, headTall := cells(names)
	head := func() {
		p.box(margin, p.y, wide, headTall, palette.Tint)
		p.bold(smallSize, palette.Ink, func() { put(headLines) })
		p.y += headTall
		p.line(margin, p.y, margin+wide, p.y, palette.Ink, .35)
	}
	p.head = nil
	p.need(headTall + 3*high(smallSize))
	head()
	p.head = head
	for i, row := range rows {
		p.letters(smallSize, palette.Ink)
		lines, tall := cells(row)
		p.need(tall)
		if marked != nil && marked(i) {
			p.box(margin, p.y, wide, tall, palette.Tint)
			p.box(margin-1.6, p.y+.4, 1, tall-.8, palette.Vermilion)
		}
		p.letters(smallSize, palette.Ink)
		put(lines)
		p.y += tall
		p.line(margin, p.y, margin+wide, p.y, palette.Line, .12)
	}
	p.head = nil
	p.y += 2.5
}

// figure draws a plot under its title, kept together.
func (p *sheet) figure(f Figure) error {
	_, err := f.plot(func(w, h float64) vg.Canvas {
		k := min(wide, figureWide*w/680) / w
		p.letters(smallSize, palette.Soft)
		lines := len(paper.Wrap(p.Fpdf, paper.Printable(f.Caption), wide))
		p.need(h*k + high(10.5) + 5 + float64(lines)*high(smallSize))
		p.small(f.Title)
		p.y += h * k
		return paper.NewCanvas(p.Fpdf, margin, p.y, k)
	})
	p.y += 1.5
	p.paraIn(f.Caption, smallSize, palette.Soft)
	return err
}
