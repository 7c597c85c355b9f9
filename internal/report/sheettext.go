package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// SheetText writes a sheet for a terminal: the verdict first, tables aligned,
// plots left out. The error is that of the writer.
func SheetText(w io.Writer, s Sheet) error {
	var b bytes.Buffer
	title := s.Title
	if s.Subject != "" {
		title += ", " + s.Subject
	}
	frame := s.frame()
	if s.word() == "" {
		fmt.Fprintf(&b, "%s\n", title)
	} else {
		fmt.Fprintf(&b, "%s: %s\n", title, strings.ToUpper(s.word()))
	}
	fmt.Fprintf(&b, "%s\n", s.Line)
	textFacts(&b, s.Facts)
	textList(&b, frame.Why, s.Reasons)
	textList(&b, frame.Warnings, s.Warnings)
	for _, sec := range s.Sections {
		if len(sec.Text)+len(sec.Bars)+len(sec.Tables) == 0 {
			continue // plots only
		}
		fmt.Fprintf(&b, "\n%s\n", sec.Heading)
		for _, p := range sec.Text {
			fmt.Fprintf(&b, "  %s\n", p)
		}
		textBars(&b, sec.Bars)
		for _, t := range sec.Tables {
			textTable(&b, t)
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

func textFacts(b *bytes.Buffer, facts []Fact) {
	wide := 0
	for _, f := range facts {
		wide = max(wide, utf8.RuneCountInString(f.Name))
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
func textBars(b *bytes.Buffer, bars []SheetBar) {
	name, value := 0, 0
	for _, x := range bars {
		name, value = max(name, utf8.RuneCountInString(x.Name)), max(value, utf8.RuneCountInString(x.Value))
	}
	for _, x := range bars {
		fmt.Fprintf(b, "  %s  %s  %s  %s\n", padded(x.Name, name, false), padded(x.Value, value, true),
			BarText(barColumns, x.V, x.Lo, x.Hi, x.Min, x.Max), x.State())
		if x.Line != "" {
			fmt.Fprintf(b, "    %s\n", x.Line)
		}
	}
}

func textTable(b *bytes.Buffer, t SheetTable) {
	v := newTableView(t, textMarkedText)
	wide := make([]int, len(t.Head))
	rows := append([]rowView{{Cells: v.Head}}, v.Rows...)
	for _, r := range rows {
		for i, c := range r.Cells {
			wide[i] = max(wide[i], utf8.RuneCountInString(c.Text))
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
		var cells []string
		for i, c := range r.Cells {
			cells = append(cells, padded(c.Text, wide[i], c.Numeric))
		}
		b.WriteString("  " + mark + strings.TrimRight(strings.Join(cells, "  "), " ") + "\n")
	}
}

// padded fills s with spaces to n characters, in front where right is set.
func padded(s string, n int, right bool) string {
	fill := strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
	if right {
		return fill + s
	}
	return s + fill
}
