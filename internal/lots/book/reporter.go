package book

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/lots/lotreport"
	"finishbench/internal/lots/process"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/stats/study"
)

// Reporter makes reports of lots out of the records.
type Reporter struct {
	Store    *records.Store
	CheckLog string           // "": none
	Study    *lotreport.Study // nil: none named
	Shifts   []string         // times at which shifts begin; empty: they are not told apart
}

// How much a report reads of what takes long: results as a whole, for outlines and
// scale files; inspections at the lot's other stages, for yields.
const (
	ReadInFull  = 80
	readForAll  = 3000
	lotsOnChart = 25
)

// Report makes the report of a lot, stamped with a time.
func (m *Reporter) Report(ctx context.Context, name string, at time.Time) (*lotreport.Report, error) {
	l, ins, err := Load(ctx, m.Store, name)
	if err != nil {
		return nil, err
	}
	history, err := History(ctx, m.Store)
	if err != nil {
		return nil, err
	}
	r, err := lotreport.FromLot(&l, history, at, cli.Version)
	if err != nil {
		return nil, err
	}
	if r.Decision != nil {
		if r.Decision.Hash, err = m.Store.LastHash(ctx, lots.Topic, name, lots.Decided); err != nil {
			return nil, err
		}
	}
	full, err := m.inFull(ctx, ins)
	if err != nil {
		return nil, err
	}
	fill(ins, full)
	units := process.UnitsOf(ins)
	if err := process.NameShifts(units, m.Shifts, time.Local); err != nil {
		return nil, err
	}
	// What follows is worked out side by side: each part fills fields of its own.
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return r.AddProcess(units, stepLimits(full, l.Current().Opening.Stage)) })
	g.Go(func() error {
		r.AddInspections(ins)
		r.AddScales(full)
		r.AddShapes(full)
		if err := r.AddMap(process.UnitsOf(full), len(r.Units)); err != nil {
			return err
		}
		return m.yields(ctx, r, &l, ins)
	})
	g.Go(func() error {
		former, err := m.formerLots(ctx, &l, history)
		if err != nil {
			return err
		}
		if r.Charts, err = lotCharts(former); err != nil {
			return err
		}
		c, err := unitsChart(units)
		if c != nil {
			r.Charts = append(r.Charts, *c)
		}
		return err
	})
	if err := g.Wait(); err != nil {
		return nil, err
	}
	r.Gauge.Study, r.Gauge.Check = m.Study, m.check(at)
	return r, nil
}

// inFull reads results as a whole: all of a small sample, else of units with findings
// and the first and the last.
func (m *Reporter) inFull(ctx context.Context, ins []part.Inspection) ([]part.Inspection, error) {
	var ids []int64
	for i := range ins {
		if len(ins) <= ReadInFull || i == 0 || i == len(ins)-1 || len(ins[i].Result.Findings) > 0 {
			ids = append(ids, ins[i].ID)
		}
	}
	// Of many, some from all along the sample.
	if n := len(ids); n > ReadInFull {
		some := make([]int64, ReadInFull)
		for i := range some {
			some[i] = ids[i*(n-1)/(ReadInFull-1)]
		}
		ids = some
	}
	out := make([]part.Inspection, len(ids))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2)
	for i, id := range ids {
		g.Go(func() (err error) {
			out[i], err = m.Store.Get(ctx, id)
			return err
		})
	}
	return out, g.Wait()
}

// fill puts inspections that were read as a whole in place of the brief ones, which do not
// have where findings lie.
func fill(ins, full []part.Inspection) {
	at := map[int64]int{}
	for i := range full {
		at[full[i].ID] = i
	}
	for i := range ins {
		if k, ok := at[ins[i].ID]; ok {
			ins[i] = full[k]
		}
	}
}

// stepLimits are the steps at which a unit of a stage no longer passes, by the limits
// that judged it.
func stepLimits(full []part.Inspection, stage part.Stage) lotreport.StepLimits {
	out := lotreport.StepLimits{Lower: math.NaN(), Upper: math.NaN()}
	if len(full) == 0 {
		return out
	}
	lim, err := config.ParseLimits(full[0].Limits.Name, full[0].Limits.Bytes)
	if err != nil || len(full[0].Limits.Bytes) == 0 {
		return out // of a newer program, or not kept: no capability is told
	}
	proud, recessed := lim.StepLimits(stage)
	out.Upper, out.Lower = part.OrNaN(part.Num(proud)), part.OrNaN(part.Num(-recessed)) // none: NaN
	return out
}

// yields adds first-pass yields over the stages: of all inspections that name the
// lot, or of a large one its sample at its own stage only.
func (m *Reporter) yields(ctx context.Context, r *lotreport.Report, l *lots.Lot, ins []part.Inspection) error {
	all := ins
	if len(ins) <= readForAll {
		named, err := m.Store.Briefs(ctx, records.Filter{Lot: l.Name, Limit: 3 * readForAll})
		if err != nil {
			return err
		}
		have := map[int64]bool{}
		for i := range ins {
			have[ins[i].ID] = true
		}
		all = slices.Clone(ins)
		for i := range named {
			if !have[named[i].ID] && named[i].Holds() {
				all = append(all, named[i])
			}
		}
	}
	if len(all) == 0 {
		return nil
	}
	return r.AddYields(process.UnitsOf(all))
}

// check is how the check piece's log stands; nil: no log is named.
func (m *Reporter) check(at time.Time) *lotreport.Check {
	if m.CheckLog == "" {
		return nil
	}
	why, barred := inspection.CheckGate(m.CheckLog, at)
	c := &lotreport.Check{Log: filepath.Base(m.CheckLog), OK: !barred}
	if barred {
		c.Notes, c.ToldPhrase = lang.English().Say(&why), &why
	}
	if s, err := inspection.ReadStability(m.CheckLog, nil); err == nil && len(s.Checks) > 0 {
		last := s.Checks[len(s.Checks)-1]
		c.Last, c.Value = &last.Time, part.Num(last.Level)
	}
	return c
}

// readLotStudy reads what 'inspect study gauge --json' wrote; nil for no file.
func readLotStudy(path string) (*lotreport.Study, error) {
	if path == "" {
		return nil, nil
	}
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return nil, cli.Usagef("--gauge-study %s cannot be read: %w", path, cli.PlainPath(err))
	}
	var j studies.GaugeJSON
	if err := json.Unmarshal(data, &j); err != nil || len(j.Components) == 0 {
		return nil, cli.Usagef("--gauge-study %s is no gauge study: write one with 'inspect study gauge ... --json > %s'", path, path)
	}
	s := &lotreport.Study{Name: cmp.Or(j.Study, filepath.Base(path)), Grade: string(j.Grade), Categories: j.Categories}
	if st, err := os.Stat(path); err == nil {
		s.Date = st.ModTime().Format(time.DateOnly)
	}
	for _, c := range j.Components {
		if c.Name == study.GaugeRR {
			s.Gauge, s.OfTolerance = c.Study.Value, c.Tolerance.Value
		}
	}
	return s, nil
}

// formerLots are the lots of the same product and stage that were decided before
// this one, and this one, in order of time.
func (m *Reporter) formerLots(ctx context.Context, l *lots.Lot, history []part.Entry) ([]lots.Lot, error) {
	o := &l.Current().Opening
	var names []string
	size := 0
	for i := len(history) - 1; i >= 0 && len(names) < lotsOnChart-1; i-- {
		e := history[i]
		if e.Kind != lots.Decided || e.Name == l.Name || slices.Contains(names, e.Name) ||
			l.Current().Decision != nil && e.At.After(l.Current().Decided.At) {
			continue
		}
		var d lots.Decision
		if err := json.Unmarshal(e.Body, &d); err != nil {
			return nil, fmt.Errorf("lot %s: event %d: %w", e.Name, e.Seq, err)
		}
		for _, c := range d.Results {
			size += c.Looked
		}
		if size > readForAll*3 {
			break // further lots would take long to read
		}
		if d.Product == o.Product {
			names = append(names, e.Name)
		}
	}
	slices.Reverse(names)
	var out []lots.Lot
	for _, n := range names {
		f, err := Fold(ctx, m.Store, n)
		if err != nil {
			return nil, err
		}
		if r := f.Current(); r != nil && r.Opening.Stage == o.Stage {
			out = append(out, f)
		}
	}
	return append(out, *l), nil
}
