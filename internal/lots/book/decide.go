package book

import (
	"context"
	"fmt"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// DecideOptions are the flags of lot decide.
type DecideOptions struct {
	*cli.Database
	By, Why                            string
	Accept, Refuse, Screened, Returned bool
	Out                                []string // serials that a screening took out
	JSON                               bool
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
	v := newLotView(&book.Lot)
	if o.JSON {
		err = cli.WriteJSON(stdout, v.json())
	} else {
		v.text(stdout)
		if s := book.Lot.State(); s == lots.StateRefused {
			fmt.Fprintf(stdout, "next: inspect lot decide %s --screened --taken-out SERIAL,..., or --returned\n", name)
		}
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
		if why := from.changed(p, from.taken[p.Unit.Inspection]); why != "" {
			return fmt.Errorf("%s counts as it was taken, but %s: take it again with 'inspect lot take %s', then decide", p.Name, why,
				l.Name)
		}
	}
	return nil
}
