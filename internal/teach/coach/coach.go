package coach

import (
	"context"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

// Options are whose findings are looked at, and of which time.
type Options struct {
	cli.SheetOptions
	Records                   cli.Database
	Operator, From, To, Stage string
	Lot                       string
}

// coachSpan is the time that is looked at where none is told.
const coachSpan = 12 * 7 * 24 * time.Hour

// Run writes what a person can learn from the findings of some weeks.
func Run(ctx context.Context, o Options, now time.Time, stdout io.Writer) error {
	if o.Operator == "" {
		return cli.Usagef("say whom: --operator with the initials or badge that the records have")
	}
	var stage part.Stage
	if o.Stage != "" {
		var err error
		if stage, err = part.ParseStage(o.Stage); err != nil {
			return cli.UsageError{Err: err}
		}
	}
	from, to, err := cli.TimeSpan(o.From, o.To, now, coachSpan)
	if err != nil {
		return err
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	store, err := o.Records.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	looks, err := coachLooks(ctx, store, records.Filter{From: from, To: to, Lot: o.Lot, Stage: stage})
	if err != nil {
		return err
	}
	p := teach.DefaultCoachParams()
	c, err := teach.Coach(looks, o.Operator, p)
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
	err := store.Each(ctx, f, func(in part.Inspection) error {
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
