package main

import (
	"context"
	"io"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

const coachHelp = `coach sets what was found on one operator's units beside the others: findings by
kind per 100 units with intervals, so that chance is not taken for skill; the
trend over the weeks; and the pictures worth talking about.

It is for the trainer and the operator. Operators are named by the initials or
the badge that the records have.

Without --from and --to it is the last twelve weeks.`

const coachExamples = `  inspect coach --operator B17 --record bench.db --out results
  inspect coach --operator B17 --stage wet --from 2026-03-02 --to 2026-05-25 --station station.yaml`

// coachOptions are whose findings are looked at, and of which time.
type coachOptions struct {
	cli.SheetOptions
	records                             cli.Database
	operator, from, to, stage, language string
	lot                                 string
}

// newCoachCommand is 'inspect coach'.
func newCoachCommand() *cobra.Command {
	var o coachOptions
	cmd := &cobra.Command{
		Use:                   "coach --operator BADGE",
		Short:                 "What one operator could be coached in, chance allowed for",
		Long:                  coachHelp,
		Example:               coachExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runCoach(cmd.Context(), o, time.Now(), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.operator, "operator", "", "initials or badge, as in the records")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured; without it all together")
	f.StringVar(&o.lot, "lot", "", "of this lot only")
	f.StringVar(&o.from, "from", "", `from this day on: "2026-03-02"`)
	f.StringVar(&o.to, "to", "", "up to this day")
	f.StringVar(&o.language, "language", "en", "of the sheet: en, zh-Hans")
	f.StringVar(&o.records.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.records.Station, "station", "", "station file that names the database")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// coachSpan is the time that is looked at where none is told.
const coachSpan = 12 * 7 * 24 * time.Hour

// runCoach writes what a person can learn from the findings of some weeks.
func runCoach(ctx context.Context, o coachOptions, now time.Time, stdout io.Writer) error {
	if o.operator == "" {
		return cli.Usagef("say whom: --operator with the initials or badge that the records have")
	}
	var stage part.Stage
	if o.stage != "" {
		var err error
		if stage, err = part.ParseStage(o.stage); err != nil {
			return cli.UsageError{Err: err}
		}
	}
	from, to, err := cli.TimeSpan(o.from, o.to, now, coachSpan)
	if err != nil {
		return err
	}
	l, err := cli.Language(o.language)
	if err != nil {
		return err
	}
	store, err := o.records.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	looks, err := coachLooks(ctx, store, records.Filter{From: from, To: to, Lot: o.lot, Stage: stage})
	if err != nil {
		return err
	}
	p := teach.DefaultCoachParams()
	c, err := teach.Coach(looks, o.operator, p)
	if err != nil {
		return err
	}
	sheet := coachSheet{l: l, c: c, p: p, from: from, to: to, stage: stage, crop: inspection.CropsFrom(ctx, store)}.sheet()
	return o.Write("coach", sheet, c, stdout)
}

// coachLooks are the inspections that hold, with the findings that still stand: a
// call that a person overruled to a pass has none.
func coachLooks(ctx context.Context, store *records.Store, f records.Filter) ([]teach.Look, error) {
	var out []teach.Look
	err := store.Each(ctx, f, func(in records.Inspection) error {
		if !in.Holds() || in.Verdict() == part.NotMeasured {
			return nil
		}
		l := teach.Look{ID: in.ID, Serial: part.UnitName(in.Serial, in.Side), Operator: in.Operator, At: in.Started}
		if in.Verdict() != part.Pass || in.Overruled == nil {
			l.Findings = in.Result.Findings
		}
		out = append(out, l)
		return nil
	})
	return out, err
}
