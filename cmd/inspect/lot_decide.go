package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/records"
)

// lotDecideOptions are the flags of lot decide.
type lotDecideOptions struct {
	*cli.Database
	by, why                            string
	accept, refuse, screened, returned bool
	removed                            int
	json                               bool
}

const lotDecideHelp = `decide accepts or refuses LOT, as its counts say, and signs with the name given. A
decision is made once and stays. A lot may be refused although its counts accept it
(--refuse, with a reason), never the other way round.

Refusal is certain as soon as a count reaches its number, so that it may be decided
before the sample is finished; acceptance needs the whole sample.

A refused lot is screened, every unit of it, or returned: --screened, with the number
of units taken out, or --returned tells which. A screened lot may be presented again:
'inspect lot plan LOT --again'.`

const lotDecideExamples = `  inspect lot decide 31 --by 'inspector 2' --record bench.db
  inspect lot decide 31 --screened --removed 14 --by 'inspector 2' --record bench.db`

func newLotDecideCommand(r *cli.Database) *cobra.Command {
	o := lotDecideOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "decide LOT --by NAME",
		Short:                 "Accept or refuse a lot, signed",
		Long:                  lotDecideHelp + "\n\n" + lotExit,
		Example:               lotDecideExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runLotDecide(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.by, "by", "", "who decides")
	f.StringVar(&o.why, "why", "", "in words, for the records")
	f.BoolVar(&o.accept, "accept", false, "only if the counts accept it")
	f.BoolVar(&o.refuse, "refuse", false, "refuse it, whatever the counts say")
	f.BoolVar(&o.screened, "screened", false, "of a refused lot: every unit was looked at")
	f.BoolVar(&o.returned, "returned", false, "of a refused lot: it went back")
	f.IntVar(&o.removed, "removed", 0, "units taken out by screening and not put back")
	f.BoolVar(&o.json, "json", false, "write the lot's state as JSON")
	f.SortFlags = false
	return cmd
}

// runLotDecide accepts or refuses a lot, signed.
func runLotDecide(ctx context.Context, o lotDecideOptions, name string, stdout io.Writer) error {
	switch {
	case o.accept && o.refuse:
		return cli.Usagef("give --accept or --refuse, not both")
	case o.screened && o.returned:
		return cli.Usagef("give --screened or --returned, not both")
	case (o.screened || o.returned) && (o.accept || o.refuse):
		return cli.Usagef("--screened and --returned are for a lot that was refused before")
	case o.removed != 0 && !o.screened:
		return cli.Usagef("--removed is for --screened")
	case o.by == "":
		return cli.Usagef("say who decides: --by NAME")
	}
	book, err := openLot(ctx, o.Database, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	if !o.screened && !o.returned {
		if err := unchanged(ctx, book.store, &book.lot); err != nil {
			return err
		}
	}
	if err := book.step(ctx, o.step); err != nil {
		return err
	}
	v := newLotView(&book.lot)
	if o.json {
		err = cli.WriteJSON(stdout, v.json())
	} else {
		v.text(stdout)
		if s := book.lot.State(); s == lots.StateRefused {
			fmt.Fprintf(stdout, "next: inspect lot decide %s --screened --removed N, or --returned\n", name)
		}
	}
	if err == nil && !o.screened && !o.returned && book.lot.State() == lots.StateRefused {
		return cli.ExitCode(cli.ExitFails)
	}
	return err
}

func (o *lotDecideOptions) step(l *lots.Lot, now time.Time) (lots.Event, error) {
	switch {
	case o.screened:
		return l.Dispose(lots.Disposal{How: lots.Screen, Removed: o.removed, Why: o.why}, now, o.by)
	case o.returned:
		return l.Dispose(lots.Disposal{How: lots.Return, Why: o.why}, now, o.by)
	case o.accept, o.refuse:
		return l.Decide(&o.accept, o.why, now, o.by)
	}
	return l.Decide(nil, o.why, now, o.by)
}

// unchanged refuses a decision on inspections that were withdrawn, corrected or
// overruled since they were taken.
func unchanged(ctx context.Context, s *records.Store, l *lots.Lot) error {
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
			return fmt.Errorf("%s counts as it was taken, but %s: take it again with 'inspect lot take %s', then decide", p.Name, why, l.Name)
		}
	}
	return nil
}
