package main

import (
	"context"
	"io"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/compare"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// shiftFigures counts the inspections that a filter chooses. Units that were
// looked at before the filter's time have no first look in it.
func shiftFigures(ctx context.Context, store *records.Store, f records.Filter, o compare.ShiftOptions) (compare.Shift, error) {
	briefs, err := store.Briefs(ctx, f)
	if err != nil {
		return compare.Shift{}, err
	}
	all := make([]compare.Inspected, len(briefs))
	for i := range briefs {
		all[i] = inspected(&briefs[i])
	}
	earlier, err := store.Earlier(ctx, f)
	if err != nil {
		return compare.Shift{}, err
	}
	o.Earlier = map[compare.Look]bool{}
	for _, x := range earlier {
		o.Earlier[compare.Look{Serial: x.Serial, Side: x.Side, Stage: x.Stage}] = true
	}
	return compare.ShiftOf(all, o)
}

// inspected is what the figures need of an inspection.
func inspected(in *records.Inspection) compare.Inspected {
	out := compare.Inspected{
		ID: in.ID, Serial: in.Serial, Side: in.Side, Lot: in.Lot, Operator: in.Operator, Stage: in.Stage, Started: in.Started, Ended: in.Ended,
		Verdict: in.Result.Verdict, WorstStepUM: in.Result.Seam.WorstStepUM, Void: !in.Holds(),
	}
	for _, f := range in.Result.Findings {
		out.Findings = append(out.Findings, part.Finding{Kind: f.Kind, Severity: f.Severity})
	}
	if in.Overruled != nil {
		out.Overruled, out.Reason = in.Overruled.Verdict, in.Overruled.Reason
	}
	return out
}

// shiftOptions are those of every shift sheet.
func shiftOptions() compare.ShiftOptions {
	return compare.ShiftOptions{Location: time.Local, Pause: 15 * time.Minute, LimitsFrom: 20}
}

// shiftSheets makes the bench's shift sheets.
type shiftSheets struct {
	store *records.Store
	bench string // only what came over this bench; "": over all
}

// ShiftSheet is [bench.SheetMaker].
func (m shiftSheets) ShiftSheet(ctx context.Context, l *lang.Lang, from, to time.Time) ([]byte, error) {
	o := shiftOptions()
	s, err := shiftFigures(ctx, m.store, records.Filter{From: from, To: to, Bench: m.bench}, o)
	if err != nil {
		return nil, err
	}
	return cli.SheetPage(shiftSheet{l: l, s: s, o: o, from: from, to: to, subject: m.bench}.sheet())
}

const shiftHelp = `shift prints what came over the bench in a shift: units, how many passed at
their first look, findings by kind, the trend of the step, units an hour, calls
overruled. With --out a page to print, A4, with its plots.

Times are this machine's. Without --from and --to it is the last twelve hours.`

const shiftExamples = `  inspect records shift --record bench.db --from "2026-03-02 06:00" --to "2026-03-02 14:00" --out results
  inspect records shift --station station.yaml --lot 4711 --language zh-Hans --out results`

// recordsShiftOptions are which shift is told of, and how.
type recordsShiftOptions struct {
	cli.SheetOptions
	from, to             string
	lot, bench, language string
}

// newRecordsShiftCommand is a command under 'inspect records'.
func newRecordsShiftCommand(where *cli.Database) *cobra.Command {
	var o recordsShiftOptions
	cmd := &cobra.Command{
		Use:                   "shift",
		Short:                 "A shift in figures, to print",
		Long:                  shiftHelp,
		Example:               shiftExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runRecordsShift(cmd.Context(), *where, o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.from, "from", "", `from this time on: "2026-03-02 06:00" or "2026-03-02"`)
	f.StringVar(&o.to, "to", "", "up to this time")
	f.StringVar(&o.lot, "lot", "", "of this lot only")
	f.StringVar(&o.bench, "bench", "", "of this bench only")
	f.StringVar(&o.language, "language", "en", "of the sheet: en, zh-Hans")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// runRecordsShift tells what came over the bench in a shift.
func runRecordsShift(ctx context.Context, where cli.Database, o recordsShiftOptions, stdout io.Writer) error {
	from, to, err := shiftSpan(o.from, o.to, time.Now())
	if err != nil {
		return err
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	store, err := where.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	so := shiftOptions()
	s, err := shiftFigures(ctx, store, records.Filter{From: from, To: to, Lot: o.lot, Bench: o.bench}, so)
	if err != nil {
		return err
	}
	subject := o.bench
	if o.lot != "" {
		subject = o.lot
	}
	return o.Write("shift", shiftSheet{l: l, s: s, o: so, from: from, to: to, subject: subject}.sheet(), s, stdout)
}

// shiftSpan reads the times of a shift: the last twelve hours where neither is
// given, else from and to, to being now where it is missing.
func shiftSpan(from, to string, now time.Time) (a, b time.Time, err error) {
	return cli.TimeSpan(from, to, now, 12*time.Hour)
}
