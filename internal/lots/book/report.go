package book

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/lotreport"
)

// Formats are the formats of a report.
func Formats() []string { return []string{"pdf", "xlsx", "csv", "json"} }

// ReportOptions are the flags of lot report.
type ReportOptions struct {
	*cli.Database
	Out, Language, Study, CheckLog, At string
	Formats                            []string
	JSON                               bool
}

// check says what is wrong with the flags.
func (o *ReportOptions) check() error {
	if o.Out == "" && !o.JSON {
		return cli.Usagef("say where the report goes: --out DIR, or --json")
	}
	for _, f := range o.Formats {
		if !slices.Contains(Formats(), f) {
			return cli.Usagef("--format %s: there are %s", f, strings.Join(Formats(), ", "))
		}
	}
	return nil
}

// RunReport writes a lot's report in the formats asked for.
func RunReport(ctx context.Context, o ReportOptions, name string, stdout io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	at := time.Now()
	if o.At != "" {
		if at, err = cli.ClockTime("--at", o.At); err != nil {
			return err
		}
	}
	m, err := o.reporter()
	if err != nil {
		return err
	}
	defer roomForReport()()
	if m.Store, err = o.Open(ctx); err != nil {
		return err
	}
	defer m.Store.Close()
	r, err := m.Report(ctx, name, at)
	if err != nil {
		return err
	}
	if o.Out != "" {
		files, err := writeLotReport(o.Out, r, l, o.Formats)
		if err != nil {
			return err
		}
		if !o.JSON {
			fmt.Fprintf(stdout, "lot %s: %s\n", name, r.Headline(l))
			for _, f := range files {
				fmt.Fprintf(stdout, "  %s\n", filepath.Join(o.Out, f))
			}
		}
	}
	if o.JSON {
		return r.WriteJSON(stdout)
	}
	return nil
}

// reportRoom is about what the report of a lot of ten thousand units takes, bytes.
const reportRoom = 448 << 20

// roomForReport gives the heap large pages, as inspection.TuneMemory does for pictures: touching
// fresh memory page by page takes longer than what is done with it. Until the
// returned function is called, the heap is cleared up seldom.
func roomForReport() (done func()) {
	room := make([]byte, reportRoom) // its addresses go back to the heap below
	_ = unix.Madvise(room, unix.MADV_HUGEPAGE)
	runtime.KeepAlive(room)
	runtime.GC()
	was := debug.SetGCPercent(200)
	return func() { debug.SetGCPercent(was) }
}

// reporter is what makes reports, without its store.
func (o *ReportOptions) reporter() (*Reporter, error) {
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return nil, cli.UsageError{Err: err}
	}
	m := &Reporter{CheckLog: cli.First(o.CheckLog, st.CheckLog), Shifts: st.Lots.Shifts}
	m.Study, err = readLotStudy(o.Study)
	return m, err
}

// file is a file of a report.
type file struct {
	name  string
	Write func(io.Writer) error
}

// Files are the files of a report in some formats.
func Files(r *lotreport.Report, l *lang.Lang, formats []string) []file {
	base := fileName(r.Lot.Name)
	var out []file
	for _, f := range Formats() {
		if !slices.Contains(formats, f) {
			continue
		}
		switch f {
		case "pdf":
			out = append(out, file{base + ".pdf", func(w io.Writer) error { return r.WritePDF(w, l, l.Tag, time.Local) }})
		case "xlsx":
			out = append(out, file{base + ".xlsx", func(w io.Writer) error { return r.WriteXLSX(w, l, l.Tag, time.Local) }})
		case "json":
			out = append(out, file{base + ".json", r.WriteJSON})
		case "csv":
			for _, n := range lotreport.CSVNames() {
				out = append(out, file{base + "-" + n + ".csv", func(w io.Writer) error { return r.WriteCSV(w, n) }})
			}
		}
	}
	return out
}

// writeLotReport writes a report's files, two at a time, and returns their names.
func writeLotReport(dir string, r *lotreport.Report, l *lang.Lang, formats []string) ([]string, error) {
	out, err := cli.OpenOut(dir)
	if err != nil {
		return nil, err
	}
	files := Files(r, l, formats)
	names := make([]string, len(files))
	var g errgroup.Group
	g.SetLimit(2)
	for i, f := range files {
		names[i] = f.name
		g.Go(func() error {
			return out.ReplaceWith(f.name, f.Write)
		})
	}
	return names, g.Wait()
}

// fileName is a name that is safe as a file's: letters, digits and -_. stay.
func fileName(name string) string {
	s := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_.", r) {
			return r
		}
		return '_'
	}, name)
	return "lot-" + strings.TrimLeft(s, ".")
}
