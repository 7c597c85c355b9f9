package book

import (
	"context"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// DisposeOptions are the flags of lot dispose.
type DisposeOptions struct {
	*cli.Database
	Answer
	Unit, By, Why, Reference       string
	Reworked, Scrapped, Concession bool
}

// RunDispose says what becomes of a unit of a lot's sample that does not pass.
func RunDispose(ctx context.Context, o DisposeOptions, name string, stdout io.Writer) error {
	switch {
	case o.Unit == "":
		return cli.Usagef("say which unit: --unit SERIAL, as 'inspect lot show %s' has it", name)
	case o.By == "":
		return cli.Usagef("say who decides: --by NAME")
	}
	d := lots.Disposition{Unit: o.Unit, Why: o.Why, Reference: o.Reference}
	for _, r := range []struct {
		given bool
		route lots.Route
	}{{o.Reworked, lots.Reworked}, {o.Scrapped, lots.Scrapped}, {o.Concession, lots.Concession}} {
		switch {
		case r.given && d.Route != "":
			return cli.Usagef("give one of --reworked, --scrapped and --concession, not two")
		case r.given:
			d.Route = r.route
		}
	}
	if d.Route == "" {
		return cli.Usagef("say what becomes of %s: --reworked, --scrapped or --concession", o.Unit)
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
	if err := WithProof(ctx, book.store, &book.Lot, &d); err != nil {
		return err
	}
	err = book.Step(ctx, func(l *lots.Lot, now time.Time) (part.Entry, error) { return l.DisposeUnit(d, now, o.By) })
	if err != nil {
		return err
	}
	return o.tell(x, &book.Lot, stdout)
}

// WithProof adds the inspection that a reworked unit passed: the latest one of the lot's
// stage that holds, by the lot's limits. Where there is none, d stays without, and the
// lot refuses it.
func WithProof(ctx context.Context, s *records.Store, l *lots.Lot, d *lots.Disposition) error {
	r := l.Current()
	if d.Route != lots.Reworked || r == nil {
		return nil
	}
	from, err := newLotSource(ctx, s, l)
	if err != nil {
		return err
	}
	in, err := from.latest(ctx, d.Unit)
	if err == nil && in != nil && in.Verdict() == part.Pass && in.Limits.SHA256 == r.Opening.Limits {
		d.Inspection, d.Seen = in.ID, in.Ended
	}
	return err
}
