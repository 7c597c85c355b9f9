package shift

import (
	"context"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/compare"
	"finishbench/internal/lang"
	"finishbench/internal/records"
)

// Figures counts the inspections that a filter chooses. Units that were
// looked at before the filter's time have no first look in it.
func Figures(ctx context.Context, store *records.Store, f records.Filter, o compare.ShiftOptions) (compare.Shift, error) {
	briefs, err := store.Briefs(ctx, f)
	if err != nil {
		return compare.Shift{}, err
	}
	if o.Earlier, err = store.Earlier(ctx, f); err != nil {
		return compare.Shift{}, err
	}
	return compare.ShiftOf(briefs, o)
}

// FigureOptions are those of every shift sheet.
func FigureOptions() compare.ShiftOptions {
	return compare.ShiftOptions{Location: time.Local, Pause: 15 * time.Minute, LimitsFrom: 20}
}

// Pages makes the bench's shift sheets.
type Pages struct {
	Store *records.Store
	Bench string // only what came over this bench; "": over all
}

// ShiftSheet is [bench.SheetMaker].
func (m Pages) ShiftSheet(ctx context.Context, l *lang.Lang, from, to time.Time) ([]byte, error) {
	o := FigureOptions()
	s, err := Figures(ctx, m.Store, records.Filter{From: from, To: to, Bench: m.Bench}, o)
	if err != nil {
		return nil, err
	}
	return cli.SheetPage(Page{L: l, s: s, O: o, from: from, to: to, subject: m.Bench}.Sheet())
}

// Options are which shift is told of, and how.
type Options struct {
	cli.SheetOptions
	From, To, Lot, Bench string
}

// Run tells what came over the bench in a shift.
func Run(ctx context.Context, where cli.Database, o Options, stdout io.Writer) error {
	from, to, err := Span(o.From, o.To, time.Now())
	if err != nil {
		return err
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	store, err := where.Open(ctx)
	if err != nil {
		return err
	}
	defer store.Close()
	so := FigureOptions()
	s, err := Figures(ctx, store, records.Filter{From: from, To: to, Lot: o.Lot, Bench: o.Bench}, so)
	if err != nil {
		return err
	}
	subject := o.Bench
	if o.Lot != "" {
		subject = o.Lot
	}
	return o.Write("shift", Page{L: l, s: s, O: so, from: from, to: to, subject: subject}.Sheet(), s, stdout)
}

// Span reads the times of a shift: the last twelve hours where neither is
// given, else from and to, to being now where it is missing.
func Span(from, to string, now time.Time) (a, b time.Time, err error) {
	return cli.TimeSpan(from, to, now, 12*time.Hour)
}
