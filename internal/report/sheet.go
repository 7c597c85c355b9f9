package report

import (
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Rating is how far a gauge, or a part of it, can be trusted.
type Rating string

// The ratings, best first.
const (
	Good    Rating = "good"
	Fair    Rating = "fair"
	Poor    Rating = "poor"
	Unrated Rating = "not_measured"
	Plain   Rating = "plain" // figures that are not judged: no sign, and Word stands alone
)

// Sheet is a page about the gauge rather than about a unit: a scale, a camera's
// light, a study. The verdict stands first, then why, then figures and tables.
// [SheetPage] writes it for a browser, [SheetText] for a terminal.
type Sheet struct {
	Title    string // what was looked at: "Gauge study: step at the seam"
	Subject  string // of which thing: "camera edge-1", a file's name; may be empty
	Rating   Rating
	Word     string // the verdict in a word or two: "good", "conditional"
	Line     string // the verdict in one sentence
	Facts    []Fact // the few numbers that matter, with their units
	Reasons  []string
	Warnings []string // what a reader must know, though the numbers stand
	Sections []SheetSection

	Version, Generated string // the program's version; when the page was made

	Lang     *lang.Lang // of the whole sheet; nil: English
	Cautions []string   // nil: those of a page about the gauge

	CautionsHead string // empty: that they are cautions
}

// Fact is a number (or word) and what it is, both ready to read.
type Fact struct{ Name, Value string }

// SheetSection is a heading with what belongs to it; any part may be empty.
type SheetSection struct {
	Heading  string
	Text     []string // paragraphs
	Bars     []SheetBar
	Figures  []SheetFigure
	Pictures []SheetPicture
	Small    bool // small pictures, side by side
	Tables   []SheetTable
}

// SheetFigure is a plot. SVG must be made by this program (package plots): it
// is put into the page as it is.
type SheetFigure struct {
	SVG     []byte
	Alt     string // what the plot shows, for those who cannot see it
	Caption string
}

// SheetPicture is a photograph with its marks, made by [EncodeJPEG].
type SheetPicture struct {
	JPEG    []byte
	W, H    int // its pixels
	Alt     string
	Caption string
}

// SheetTable is a table. A row shorter than Head is filled with empty cells.
type SheetTable struct {
	Caption string
	Head    []string
	Numeric []bool // columns that hold numbers, set to the right; nil: none
	Rows    [][]string
	Marked  []bool   // rows that stand out (out of limits); nil: none
	Links   []string // pages to which rows lead, relative to this one; nil: none
}

type sheetView struct {
	CSS   template.CSS
	Title string
	Why   string // headings
	Mind  string
	Class string // of the header
	Skip  string
	Word  string
	Sign  template.HTML
	Sheet
	Lang     string
	Sections []sectionView
	Foot     footView
}

type sectionView struct {
	ID       string
	Heading  string
	Text     []string
	Bars     []barView
	Figures  []figureView
	Pictures []pictureView
	Small    bool
	Tables   []tableView
}

type barView struct {
	Name, Value, Sign, State, Line string
	SVG                            template.HTML
}

type figureView struct {
	SVG          template.HTML
	Alt, Caption string
}

type pictureView struct {
	Src template.URL
	SheetPicture
}

type tableView struct {
	Caption string
	Label   string // its caption, or what else tells it from others
	Marks   string // what a marked row means; empty: none is marked
	Head    []sheetCell
	Rows    []rowView
}

type rowView struct {
	Marked bool
	Link   string
	Cells  []sheetCell
}

type sheetCell struct {
	Text    string
	Numeric bool
}

// verdict is the unit's verdict whose sign and colours a rating shares.
func (r Rating) verdict() part.Verdict {
	switch r {
	case Good:
		return part.Pass
	case Fair:
		return part.Rework
	case Poor:
		return part.Reject
	}
	return part.NotMeasured
}

// word is the verdict in a word, or the rating's own.
func (s Sheet) word() string {
	if s.Word != "" {
		return s.Word
	}
	switch s.Rating {
	case Good, Fair, Poor:
		return wordsOf(s.Lang).T("rating." + string(s.Rating))
	case Plain:
		return ""
	}
	return wordsOf(s.Lang).T("rating.none")
}

// cautions are the sheet's own, or those of a page about the gauge: what its verdict does not say,
// then those of every page.
func (s Sheet) cautions() []string {
	if s.Cautions != nil {
		return s.Cautions
	}
	x := wordsOf(s.Lang)
	return append([]string{x.T("sheet.caution")}, x.cautions()[1:]...)
}

// AllCautions are those of a page about units.
func AllCautions(l *lang.Lang) []string {
	x := wordsOf(l)
	var all []string
	for i := 1; x.Has(fmt.Sprintf("cautions.%d", i)); i++ {
		all = append(all, x.T(fmt.Sprintf("cautions.%d", i)))
	}
	return all
}

// SheetPage writes a sheet as one self-contained HTML page. Nothing is written
// where the page cannot be made.
func SheetPage(w io.Writer, s Sheet) error {
	x := wordsOf(s.Lang)
	v := sheetView{Lang: x.Tag, CSS: css(), Title: s.Title, Why: x.T("page.why"), Mind: x.T("page.warnings"), Class: string(s.Rating),
		Skip: x.T("sheet.skip"), Word: s.word(),
		Sheet: s, Foot: newFoot(orElse(s.CautionsHead, x.T("page.cautions")), s.cautions(), s.Version, s.Generated)}
	if s.Rating != Plain {
		v.Sign = verdictSign(s.Rating.verdict())
	}
	if s.Subject != "" {
		v.Title += " · " + s.Subject
	}
	for i, sec := range s.Sections {
		v.Sections = append(v.Sections, x.section(fmt.Sprintf("s%d", i+1), sec))
	}
	return execute(w, "sheet", v, s.Title)
}

func (x words) section(id string, s SheetSection) sectionView {
	v := sectionView{ID: id, Heading: s.Heading, Text: s.Text, Small: s.Small}
	for _, b := range s.Bars {
		v.Bars = append(v.Bars, barView{b.Name, b.Value, b.sign(), b.state(x), b.Line, b.svg(x)})
	}
	for _, f := range s.Figures {
		v.Figures = append(v.Figures, figureView{inlineSVG(f.SVG, f.Alt), f.Alt, f.Caption})
	}
	for _, p := range s.Pictures {
		v.Pictures = append(v.Pictures, pictureView{dataURL(p.JPEG), p})
	}
	for _, t := range s.Tables {
		v.Tables = append(v.Tables, newTableView(t, x.T("sheet.marked")))
		if k := len(v.Tables) - 1; t.Caption == "" {
			v.Tables[k].Label = orElse(s.Heading, x.T("sheet.table"))
		}
	}
	return v
}

// inlineSVG names a plot for those who cannot see it, and leaves out what only
// a file of its own needs.
func inlineSVG(svg []byte, alt string) template.HTML {
	s := strings.Replace(string(svg), ` xmlns="http://www.w3.org/2000/svg"`, "", 1)
	if !strings.HasPrefix(s, "<svg") {
		return ""
	}
	return template.HTML(`<svg role="img" aria-label="` + template.HTMLEscapeString(alt) + `"` + s[len("<svg"):])
}

func newTableView(t SheetTable, marked string) tableView {
	v := tableView{Caption: t.Caption, Label: t.Caption, Head: t.cells(t.Head)}
	if slices.Contains(t.Marked, true) {
		v.Marks = marked
	}
	for i, r := range t.Rows {
		row := rowView{Marked: i < len(t.Marked) && t.Marked[i], Cells: t.cells(r)}
		if i < len(t.Links) {
			row.Link = t.Links[i]
		}
		v.Rows = append(v.Rows, row)
	}
	return v
}

func (t SheetTable) cells(row []string) []sheetCell {
	cells := make([]sheetCell, len(t.Head))
	for i := range cells {
		cells[i].Numeric = i < len(t.Numeric) && t.Numeric[i]
		if i < len(row) {
			cells[i].Text = row[i]
		}
	}
	return cells
}
