package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/report"
)

// SheetOptions are the flags of the commands that make one sheet.
type SheetOptions struct {
	Out      string
	JSON     bool
	Language string // of page and text; see [Language]
}

// Write writes a sheet: its page to OUT/<name>.html where there is an OUT, and
// its text, or the numbers as JSON, to stdout.
func (o SheetOptions) Write(name string, s report.Sheet, numbers any, stdout io.Writer) error {
	page := ""
	if o.Out != "" {
		dir, err := OpenOut(o.Out)
		if err != nil {
			return err
		}
		if err := WriteSheetPage(dir, name+".html", s); err != nil {
			return err
		}
		page = filepath.Join(o.Out, name+".html")
	}
	if o.JSON {
		return WriteJSON(stdout, numbers)
	}
	if err := report.SheetText(stdout, s); err != nil {
		return err
	}
	if page != "" {
		x := s.Lang
		if x == nil {
			x = lang.English()
		}
		_, err := fmt.Fprintf(stdout, "\n%s\n", x.T("sheet.with_plots", "page", page))
		return err
	}
	return nil
}

// SheetPage is a sheet as a page, with the program's version and the time.
func SheetPage(s report.Sheet) ([]byte, error) {
	s.Version, s.Generated = Version, time.Now().Format("2006-01-02 15:04")
	var b bytes.Buffer
	err := report.SheetPage(&b, s)
	return b.Bytes(), err
}

// WriteSheetPage writes a sheet's page into a folder.
func WriteSheetPage(dir *OutDir, name string, s report.Sheet) error {
	page, err := SheetPage(s)
	if err != nil {
		return err
	}
	return dir.ReplaceFile(name, page)
}

// WriteJSON writes v indented. Numbers that were not measured must be nil
// pointers by now.
func WriteJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// Columns writes rows in columns, as a terminal counts them.
func Columns(w io.Writer, indent string, rows [][]string) {
	var wide []int
	for _, r := range rows {
		for i, c := range r {
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], report.Columns(c))
		}
	}
	for _, r := range rows {
		var b strings.Builder
		for i, c := range r {
			b.WriteString(c + strings.Repeat(" ", wide[i]-report.Columns(c)+2))
		}
		fmt.Fprintln(w, indent+strings.TrimRight(b.String(), " "))
	}
}
