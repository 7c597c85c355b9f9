package station

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
	"finishbench/internal/lots/lotreport"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// Lots shows the records' lots on the bench's page.
type Lots struct {
	store    *records.Store
	shifts   []string // see book.Reporter
	checkLog string
	study    *lotreport.Study
	now      func() time.Time

	mu   sync.Mutex
	made map[string]madeReport // the last reports by lot: plots of the page, then the files
}

type madeReport struct {
	seq int64
	r   *lotreport.Report
}

// NewLots are the lots of a database; shifts are when these begin.
func NewLots(s *records.Store, checkLog string, shifts []string) *Lots {
	return &Lots{store: s, checkLog: checkLog, shifts: shifts, now: time.Now, made: map[string]madeReport{}}
}

// List is [bench.Lots].
func (b *Lots) List(ctx context.Context) ([]bench.LotLine, error) {
	history, err := book.History(ctx, b.store)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range history {
		if e.Kind == lots.Opened {
			names = append(names, e.Name)
		}
	}
	var out []bench.LotLine
	for _, n := range slices.Backward(names) {
		if len(out) == mostLots {
			break
		}
		l, err := book.Fold(ctx, b.store, n)
		if err != nil {
			return nil, err
		}
		out = append(out, lotLineOf(&l))
	}
	return out, nil
}

// mostLots bounds the page's list.
const mostLots = 100

func lotLineOf(l *lots.Lot) bench.LotLine {
	r := l.Current()
	line := bench.LotLine{Name: l.Name, Product: r.Opening.Product, Size: r.Opening.Size, State: l.State(), Opened: r.Opened.At,
		N: r.Opening.DrawSize()}
	for _, p := range r.Sample {
		if p.Unit != nil {
			line.Taken++
		}
	}
	return line
}

// lot reads a lot that must be there.
func (b *Lots) lot(ctx context.Context, name string) (lots.Lot, error) {
	l, err := book.Fold(ctx, b.store, name)
	if err == nil && l.Current() == nil {
		err = bench.ErrNoLot
	}
	return l, err
}

// nextUnits is how many of the units to look at are listed.
const nextUnits = 12

// Lot is [bench.Lots].
func (b *Lots) Lot(ctx context.Context, name string) (bench.LotState, error) {
	l, err := b.lot(ctx, name)
	if err != nil {
		return bench.LotState{}, err
	}
	r := l.Current()
	s := bench.LotState{LotLine: lotLineOf(&l), Seq: l.Seq, OpenedBy: r.Opened.By, Stage: r.Opening.Stage, Plans: r.Standings(),
		Counting: countingUnits(r), Failing: r.Failing(), Settled: map[string]lots.Settled{}}
	for _, u := range s.Failing {
		s.Disposes = l.MayDispose(u.Name) == nil
		if d := r.Disposition(u.Name); d != nil {
			s.Settled[u.Name] = *d
		}
	}
	if r.Decision == nil {
		pending := r.Pending()
		s.Left, s.Next = len(pending), pending[:min(nextUnits, len(pending))]
	} else {
		s.Decided, s.Note = &r.Decided, r.Decision.Why
	}
	s.Steps = stepsOf(&l)
	return s, nil
}

// countingUnits are the first units that count in a class.
func countingUnits(r *lots.Round) []string {
	var out []string
	for i, p := range r.Sample {
		if len(out) < mostCounting && r.Counts(i) {
			out = append(out, p.Name)
		}
	}
	return out
}

// mostCounting bounds the list of units that count.
const mostCounting = 60

// stepsOf is what may be signed now.
func stepsOf(l *lots.Lot) []string {
	r := l.Current()
	switch l.State() {
	case lots.StateToDecide:
		if r.Call() == lots.Accepts && len(r.Undisposed()) > 0 {
			return []string{"refuse"}
		}
		if r.Call() == lots.Accepts {
			return []string{"accept", "refuse"}
		}
		return []string{"refuse"}
	case lots.StateRefused:
		return []string{"screen", "return"}
	}
	return nil
}

// Decide is [bench.Lots].
func (b *Lots) Decide(ctx context.Context, name string, d bench.LotStep) error {
	l, err := b.lot(ctx, name)
	if err != nil {
		return err
	}
	if d.What == "accept" || d.What == "refuse" {
		if err := book.Unchanged(ctx, b.store, &l); err != nil {
			return lotRefusal(err)
		}
	}
	// Not the step of a book, which tries again: a person saw the lot at d.Seq.
	if l.Seq != d.Seq {
		return bench.ErrLotMoved
	}
	var e part.Entry
	switch d.What {
	case "accept", "refuse":
		accept := d.What == "accept"
		e, err = l.Decide(&accept, d.Note, b.now(), d.By)
	case "screen":
		e, err = l.Dispose(lots.Disposal{How: lots.Screen, Units: d.Out, Why: d.Note}, b.now(), d.By)
	case "return":
		e, err = l.Dispose(lots.Disposal{How: lots.Return, Why: d.Note}, b.now(), d.By)
	case "dispose":
		unit := lots.Disposition{Unit: d.Unit, Route: d.Route, Why: d.Note, Reference: d.Reference}
		if err = book.WithProof(ctx, b.store, &l, &unit); err == nil {
			e, err = l.DisposeUnit(unit, b.now(), d.By)
		}
	default:
		return fmt.Errorf("a lot cannot be %q", d.What)
	}
	if err != nil {
		return lotRefusal(err)
	}
	if err = b.store.Note(ctx, e); errors.Is(err, records.ErrMeanwhile) {
		return bench.ErrLotMoved
	}
	return err
}

// lotRefusal is a refused step for the page.
func lotRefusal(err error) error {
	return &part.Trouble{Phrase: part.Text(cli.Plain(err)), Err: err}
}

// report is the report of a lot as it stands; it is kept while nothing changes.
func (b *Lots) report(ctx context.Context, name string) (*lotreport.Report, error) {
	l, err := b.lot(ctx, name)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock() // one at a time: a report may take a second
	if m, ok := b.made[name]; ok && m.seq == l.Seq {
		return m.r, nil
	}
	r, err := (&book.Reporter{Store: b.store, CheckLog: b.checkLog, Study: b.study, Shifts: b.shifts}).Report(ctx, name, b.now())
	if err != nil {
		return nil, err
	}
	if len(b.made) > 20 {
		clear(b.made)
	}
	b.made[name] = madeReport{l.Seq, r}
	return r, nil
}

// More is [bench.Lots].
func (b *Lots) More(ctx context.Context, l *lang.Lang, name string) (bench.LotMore, error) {
	r, err := b.report(ctx, name)
	if err != nil {
		return bench.LotMore{}, err
	}
	m := bench.LotMore{Lets: r.Protection(l), Notes: r.Say(l, l.Tag, r.Notes), Hints: r.Say(l, l.Tag, r.Hints)}
	figs, err := r.Figures(l, l.Tag, time.Local)
	if err != nil {
		return m, err
	}
	for _, f := range figs {
		m.Figures = append(m.Figures, bench.LotFigure{Title: f.Title, Caption: f.Caption, SVG: f.SVG})
	}
	return m, nil
}

// Report is [bench.Lots].
func (b *Lots) Report(ctx context.Context, l *lang.Lang, name, format string) ([]byte, string, error) {
	r, err := b.report(ctx, name)
	if err != nil {
		return nil, "", err
	}
	mime := map[string]string{"pdf": "application/pdf", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
		"json": "application/json"}[format]
	for _, f := range book.Files(r, l, []string{format}) {
		var out bytes.Buffer
		err := f.Write(&out)
		return out.Bytes(), mime, err
	}
	return nil, "", fmt.Errorf("no report as %q", format)
}
