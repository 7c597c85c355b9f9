package book

import (
	"context"
	"fmt"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// DecideOptions are the flags of lot decide.
type DecideOptions struct {
	*cli.Database
	Answer
	By, Why                            string
	Accept, Refuse, Screened, Returned bool
	Out                                []string // serials that a screening took out
}

// RunDecide accepts or refuses a lot, signed.
func RunDecide(ctx context.Context, o DecideOptions, name string, stdout io.Writer) error {
	switch {
	case o.Accept && o.Refuse:
		return cli.Usagef("give --accept or --refuse, not both")
	case o.Screened && o.Returned:
		return cli.Usagef("give --screened or --returned, not both")
	case (o.Screened || o.Returned) && (o.Accept || o.Refuse):
		return cli.Usagef("--screened and --returned are for a lot that was refused before")
	case len(o.Out) > 0 && !o.Screened:
		return cli.Usagef("--taken-out is for --screened")
	case o.By == "":
		return cli.Usagef("say who decides: --by NAME")
	}
	x, err := o.words()
	if err != nil {
		return err
	}
	book, err := openFrom(ctx, o.Database, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	if !o.Screened && !o.Returned {
		if err := Unchanged(ctx, book.store, &book.Lot); err != nil {
			return err
		}
	}
	if err := book.Step(ctx, o.step); err != nil {
		return err
	}
	err = o.tell(x, &book.Lot, stdout)
	if book.Lot.State() == lots.StateRefused && !o.JSON {
		fmt.Fprintln(stdout, x.show("next", "lot", name))
	}
	if err == nil && !o.Screened && !o.Returned && book.Lot.State() == lots.StateRefused {
		return cli.ExitCode(cli.ExitFails)
	}
	return err
}

func (o *DecideOptions) step(l *lots.Lot, now time.Time) (part.Entry, error) {
	switch {
	case o.Screened:
		return l.Dispose(lots.Disposal{How: lots.Screen, Units: o.Out, Why: o.Why}, now, o.By)
	case o.Returned:
		return l.Dispose(lots.Disposal{How: lots.Return, Why: o.Why}, now, o.By)
	case o.Accept, o.Refuse:
		return l.Decide(&o.Accept, o.Why, now, o.By)
	}
	return l.Decide(nil, o.Why, now, o.By)
}

// Unchanged refuses a decision on inspections that were withdrawn, corrected or
// overruled since they were taken.
func Unchanged(ctx context.Context, s *records.Store, l *lots.Lot) error {
	r := l.Current()
	if r.Decision != nil {
		return nil // told by the step itself
	}
	from, err := newLotSource(ctx, s, l)
	if err != nil {
		return err
	}
	for i := range r.Sample {
		p := &r.Sample[i]
		if p.Unit == nil || p.Unit.Inspection == 0 {
			continue
		}
		if why := from.changed(p, from.taken[p.Unit.Inspection]); why != nil {
			return lang.Error(part.Say("lot.show.changed", "unit", p.Name, "lot", l.Name).With("why", *why))
		}
	}
	return nil
}
