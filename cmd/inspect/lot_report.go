package main

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

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/lotreport"
)

const lotReportHelp = `report writes what is to be told of LOT: plan, standard and edition, switching,
sample list with its seed, results of each unit, decision, the gauge and its
uncertainty, and what the process behind it shows. The formats:

  pdf    to read and to sign for, with plots; its fonts are inside
  xlsx   a sheet each for plan, units, findings and stations
  csv    the same tables, a file each
  json   all of it

The same lot with the same --at gives the same bytes.`

const lotReportExamples = `  inspect lot report 31 --out reports --record bench.db
  inspect lot report 31 --out reports --format pdf --language zh-Hans --station station.yaml
  inspect lot report 31 --out reports --gauge-study gauge.json --at "2026-03-02 16:30" --record bench.db`

// lotFormats are the formats of a report.
func lotFormats() []string { return []string{"pdf", "xlsx", "csv", "json"} }

// lotReportOptions are the flags of lot report.
type lotReportOptions struct {
	*cli.Database
	out, language, study, checkLog, at string
	formats                            []string
	json                               bool
}

func newLotReportCommand(r *cli.Database) *cobra.Command {
	o := lotReportOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "report LOT --out DIR",
		Short:                 "The report of a lot, as PDF, XLSX, CSV and JSON",
		Long:                  lotReportHelp,
		Example:               lotReportExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runLotReport(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the files; made where it is missing")
	f.StringSliceVar(&o.formats, "format", lotFormats(), "pdf, xlsx, csv, json, or some of them")
	f.StringVar(&o.language, "language", "en", "language of the report: en or zh-Hans")
	f.StringVar(&o.study, "gauge-study", "", "the gauge study in force: what 'inspect study gauge --json' wrote")
	f.StringVar(&o.checkLog, "check-log", "", "the check piece's log (default: the station file's)")
	f.StringVar(&o.at, "at", "", `time stamp of the report, such as "2026-03-02 16:30" (default: now)`)
	f.BoolVar(&o.json, "json", false, "write the report as JSON to standard output")
	f.SortFlags = false
	return cmd
}

// check says what is wrong with the flags.
func (o *lotReportOptions) check() error {
	if o.out == "" && !o.json {
		return cli.Usagef("say where the report goes: --out DIR, or --json")
	}
	for _, f := range o.formats {
		if !slices.Contains(lotFormats(), f) {
			return cli.Usagef("--format %s: there are %s", f, strings.Join(lotFormats(), ", "))
		}
	}
	return nil
}

// runLotReport writes a lot's report in the formats asked for.
func runLotReport(ctx context.Context, o lotReportOptions, name string, stdout io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	at := time.Now()
	if o.at != "" {
		if at, err = cli.ClockTime("--at", o.at); err != nil {
			return err
		}
	}
	m, err := o.reporter()
	if err != nil {
		return err
	}
	defer roomForReport()()
	if m.store, err = o.Open(ctx); err != nil {
		return err
	}
	defer m.store.Close()
	r, err := m.report(ctx, name, at)
	if err != nil {
		return err
	}
	if o.out != "" {
		files, err := writeLotReport(o.out, r, l, o.formats)
		if err != nil {
			return err
		}
		if !o.json {
			fmt.Fprintf(stdout, "lot %s: %s\n", name, r.Headline(l))
			for _, f := range files {
				fmt.Fprintf(stdout, "  %s\n", filepath.Join(o.out, f))
			}
		}
	}
	if o.json {
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
func (o *lotReportOptions) reporter() (*lotReporter, error) {
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return nil, cli.UsageError{Err: err}
	}
	m := &lotReporter{checkLog: cli.First(o.checkLog, st.CheckLog), shifts: st.Lots.Shifts}
	m.study, err = readLotStudy(o.study)
	return m, err
}

// lotFile is a file of a report.
type lotFile struct {
	name  string
	write func(io.Writer) error
}

// lotFiles are the files of a report in some formats.
func lotFiles(r *lotreport.Report, l *lang.Lang, formats []string) []lotFile {
	base := fileName(r.Lot.Name)
	var out []lotFile
	for _, f := range lotFormats() {
		if !slices.Contains(formats, f) {
			continue
		}
		switch f {
		case "pdf":
			out = append(out, lotFile{base + ".pdf", func(w io.Writer) error { return r.WritePDF(w, l, l.Tag, time.Local) }})
		case "xlsx":
			out = append(out, lotFile{base + ".xlsx", func(w io.Writer) error { return r.WriteXLSX(w, l, l.Tag, time.Local) }})
		case "json":
			out = append(out, lotFile{base + ".json", r.WriteJSON})
		case "csv":
			for _, n := range lotreport.CSVNames() {
				out = append(out, lotFile{base + "-" + n + ".csv", func(w io.Writer) error { return r.WriteCSV(w, n) }})
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
	files := lotFiles(r, l, formats)
	names := make([]string, len(files))
	var g errgroup.Group
	g.SetLimit(2)
	for i, f := range files {
		names[i] = f.name
		g.Go(func() error {
			return out.ReplaceWith(f.name, f.write)
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
