package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"golang.org/x/text/width"
)

// SheetText writes a sheet for a terminal: the verdict first, tables aligned,
// plots left out. The error is that of the writer.
func SheetText(w io.Writer, s Sheet) error {
	var b bytes.Buffer
	title := s.Title
	if s.Subject != "" {
		title += ", " + s.Subject
	}
	x := wordsOf(s.Lang)
	if s.word() == "" {
		fmt.Fprintf(&b, "%s\n", title)
	} else {
		fmt.Fprintf(&b, "%s: %s\n", title, strings.ToUpper(s.word()))
	}
	fmt.Fprintf(&b, "%s\n", s.Line)
	textFacts(&b, s.Facts)
	textList(&b, x.T("page.why"), s.Reasons)
	textList(&b, x.T("page.warnings"), s.Warnings)
	for _, sec := range s.Sections {
		if len(sec.Text)+len(sec.Bars)+len(sec.Tables) == 0 {
			continue // plots only
		}
		fmt.Fprintf(&b, "\n%s\n", sec.Heading)
		for _, p := range sec.Text {
			fmt.Fprintf(&b, "  %s\n", p)
		}
		x.textBars(&b, sec.Bars)
		for _, t := range sec.Tables {
			x.textTable(&b, t)
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

func textFacts(b *bytes.Buffer, facts []Fact) {
	wide := 0
	for _, f := range facts {
		wide = max(wide, Columns(f.Name))
	}
	for _, f := range facts {
		fmt.Fprintf(b, "  %s  %s\n", padded(f.Name, wide, false), f.Value)
	}
}

func textList(b *bytes.Buffer, heading string, items []string) {
	if len(items) == 0 {
		return
	}
	fmt.Fprintf(b, "%s\n", heading)
	for _, it := range items {
		fmt.Fprintf(b, "  - %s\n", it)
	}
}

// barColumns is how wide a bar is drawn in a terminal, characters.
const barColumns = 40

// textBars writes each bar with its name and value in front and where the value
// lies behind, and below it what to do.
func (x words) textBars(b *bytes.Buffer, bars []SheetBar) {
	name, value := 0, 0
	for _, r := range bars {
		name, value = max(name, Columns(r.Name)), max(value, Columns(r.Value))
	}
	for _, r := range bars {
		fmt.Fprintf(b, "  %s  %s  %s  %s\n", padded(r.Name, name, false), padded(r.Value, value, true), r.Text(barColumns, x.Lang),
			r.state(x))
		if r.Line != "" {
			fmt.Fprintf(b, "    %s\n", r.Line)
		}
	}
}

func (x words) textTable(b *bytes.Buffer, t SheetTable) {
	v := newTableView(t, "*"+strings.TrimPrefix(x.T("sheet.marked"), "▸"))
	wide := make([]int, len(t.Head))
	rows := append([]rowView{{Cells: v.Head}}, v.Rows...)
	for _, r := range rows {
		for i, c := range r.Cells {
			wide[i] = max(wide[i], Columns(c.Text))
		}
	}
	if t.Caption != "" {
		marks := ""
		if v.Marks != "" {
			marks = " (" + v.Marks + ")"
		}
		fmt.Fprintf(b, "  %s%s\n", t.Caption, marks)
	}
	for _, r := range rows {
		mark := "  "
		if r.Marked {
			mark = "* "
		}
		var row []string
		for i, c := range r.Cells {
			row = append(row, padded(c.Text, wide[i], c.Numeric))
		}
		b.WriteString("  " + mark + strings.TrimRight(strings.Join(row, "  "), " ") + "\n")
	}
}

// Columns is how many columns of a terminal a text takes: two for each wide character (Unicode
// Standard Annex 11).
func Columns(s string) int {
	n := 0
	for _, r := range s {
		n++
		if k := width.LookupRune(r).Kind(); k == width.EastAsianWide || k == width.EastAsianFullwidth {
			n++
		}
	}
	return n
}

// padded fills s with spaces to n characters, in front where right is set.
func padded(s string, n int, right bool) string {
	fill := strings.Repeat(" ", max(0, n-Columns(s)))
	if right {
		return fill + s
	}
	return s + fill
}
