package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// sheetOptions are the flags of the commands that make one sheet.
type sheetOptions struct {
	out  string
	json bool
}

func (o *sheetOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the page with its plots; made where it is missing")
	f.BoolVar(&o.json, "json", false, "write the numbers to standard output as JSON, in place of the text")
	f.SortFlags = false
}

// write writes a sheet: its page to OUT/<name>.html where there is an OUT, and
// its text, or the numbers as JSON, to stdout.
func (o sheetOptions) write(name string, s report.Sheet, numbers any, stdout io.Writer) error {
	page := ""
	if o.out != "" {
		dir, err := openOut(o.out, nil)
		if err != nil {
			return err
		}
		if err := writeSheetPage(dir, name+".html", s); err != nil {
			return err
		}
		page = filepath.Join(o.out, name+".html")
	}
	if o.json {
		return writeJSON(stdout, numbers)
	}
	if err := report.SheetText(stdout, s); err != nil {
		return err
	}
	if page != "" {
		_, err := fmt.Fprintf(stdout, "\nThe page with its plots: %s\n", page)
		return err
	}
	return nil
}

// sheetPage is a sheet as a page, with the program's version and the time.
func sheetPage(s report.Sheet) ([]byte, error) {
	s.Version, s.Generated = finishbenchVersion, time.Now().Format("2006-01-02 15:04")
	var b bytes.Buffer
	err := report.SheetPage(&b, s)
	return b.Bytes(), err
}

// writeSheetPage writes a sheet's page into a folder.
func writeSheetPage(dir *outDir, name string, s report.Sheet) error {
	page, err := sheetPage(s)
	if err != nil {
		return err
	}
	return dir.replaceFile(name, page)
}

// writeJSON writes v indented. Numbers that were not measured must be nil
// pointers by now.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// openTable opens a table named on the command line.
func openTable(path string) (*os.File, error) {
	f, err := files.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, usagef("there is no file %s", path)
	case errors.Is(err, files.ErrFolder):
		return nil, usagef("%s is a folder: name a table (CSV)", path)
	case err != nil:
		return nil, usagef("%s cannot be read: %w", path, plainPath(err))
	}
	return f, nil
}

// plainPath is what went wrong with a file, without its name.
func plainPath(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// shown is a number with so many decimals, or words where there is none.
func shown(v float64, decimals int) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// shown4 is a number with four significant digits.
func shown4(v float64) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	if v == 0 {
		return "0"
	}
	// Plain digits as far as they stay readable.
	if a := math.Abs(v); a >= 1e-4 && a < 1e7 {
		return fmt.Sprintf("%.*f", max(0, 3-int(math.Floor(math.Log10(a)))), v)
	}
	return fmt.Sprintf("%.4g", v)
}

// shownShare is a share as a percentage.
func shownShare(v float64) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.2f %%", 100*v)
}

// shownP is a probability of chance.
func shownP(p float64) string {
	switch {
	case part.Num(p) == nil:
		return "not measured"
	case p < 0.00005:
		return "< 0.0001"
	}
	return fmt.Sprintf("%.4f", p)
}

// numberOf is a number that may not have been measured; NaN where it was not.
func numberOf(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// counted is a number of things with their name.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
