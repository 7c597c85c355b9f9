package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"sync"

	"finishbench/internal/part"
)

// What an inspection's brief form lacks: pictures, the scale files, texts' bytes,
// Corrects and Key; of the result all but unit, stage, verdict, score, worst step,
// findings (their sizes; not box, features, budget, advice) and stations (not
// place in the picture). It is for counting over thousands of units: a result as a whole
// takes a hundred times longer to read.
const briefColumns = "id, serial, side, lot, bench, operator, stage, started, ended, verdict, score, worst_step_um, program, coalesce(faceplate, ''), coalesce(resin, '')"

// briefsPerPage bounds a query's parameters.
const briefsPerPage = 500

// Briefs returns the inspections that a filter chooses, in brief form, by number.
func (s *Store) Briefs(ctx context.Context, f Filter) ([]part.Inspection, error) {
	where, args := f.where()
	where += f.order()
	if f.Limit > 0 {
		where += " LIMIT ?"
		args = append(args, f.Limit)
	}
	var ids []int64
	err := s.snapshot(ctx, func(t *tx) error {
		return t.scanAll(ctx, "SELECT id FROM inspections WHERE "+where, args, func(rows *sql.Rows) error {
			var id int64
			err := rows.Scan(&id)
			ids = append(ids, id)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("records: read inspections: %w", err)
	}
	return s.BriefsOf(ctx, ids)
}

// BriefsOf returns inspections in brief form, in the order of their numbers given.
// The error wraps [ErrNotFound] where one is not there.
func (s *Store) BriefsOf(ctx context.Context, ids []int64) ([]part.Inspection, error) {
	out := make([]part.Inspection, len(ids))
	var pages sync.WaitGroup
	errs := make([]error, (len(ids)+briefsPerPage-1)/briefsPerPage)
	two := make(chan struct{}, 2) // of the pool's four connections
	for p := range errs {
		pages.Go(func() {
			two <- struct{}{}
			defer func() { <-two }()
			from := p * briefsPerPage
			to := min(from+briefsPerPage, len(ids))
			errs[p] = s.snapshot(ctx, func(t *tx) error { return t.briefs(ctx, ids[from:to], out[from:to]) })
		})
	}
	pages.Wait()
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return out, nil
}

// briefs fills out, along ids.
func (t *tx) briefs(ctx context.Context, ids []int64, out []part.Inspection) error {
	by, args := map[int64]*part.Inspection{}, []any{}
	for i, id := range ids {
		by[id] = &out[i]
		args = append(args, id)
	}
	in := "(?" + strings.Repeat(", ?", len(ids)-1) + ")"
	for _, read := range []func(context.Context, string, []any, map[int64]*part.Inspection) error{
		t.briefRows, t.briefFindings, t.briefStepStations, t.briefLimits, t.readNotes, t.readCorrections, t.putNames,
	} {
		if err := read(ctx, in, args, by); err != nil {
			return fmt.Errorf("records: read inspections: %w", err)
		}
	}
	for i, id := range ids {
		if out[i].ID == 0 {
			if by[id].ID == 0 {
				return fmt.Errorf("records: inspection %d: %w", id, ErrNotFound)
			}
			out[i] = *by[id] // named twice
		}
	}
	return nil
}

func (t *tx) briefRows(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	return t.scanAll(ctx, "SELECT "+briefColumns+" FROM inspections WHERE id IN "+in, ids, func(rows *sql.Rows) error {
		var i part.Inspection
		var stage, started, ended, verdict string
		var score, worst *float64
		err := rows.Scan(&i.ID, &i.Serial, &i.Side, &i.Lot, &i.Bench, &i.Operator, &stage, &started, &ended, &verdict, &score, &worst, &i.Program, &i.Faceplate, &i.Resin)
		if err != nil {
			return err
		}
		i.Stage = part.Stage(stage)
		i.Brief = true
		i.Result = part.Result{Unit: i.Name(), Stage: i.Stage, Verdict: part.Verdict(verdict), Score: score, Seam: part.Seam{WorstStepUM: worst}}
		var err1, err2 error
		i.Started, err1 = parseStamp(started)
		i.Ended, err2 = parseStamp(ended)
		*by[i.ID] = i
		return errors.Join(err1, err2)
	})
}

func (t *tx) briefFindings(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	return t.scanAll(ctx, "SELECT "+findingColumns+" FROM findings WHERE inspection IN "+in+" ORDER BY inspection, place", ids, func(rows *sql.Rows) error {
		var id, place int64
		var f part.Finding
		var kind, zone, severity string
		err := rows.Scan(&id, &place, &f.Number, &f.Image, &kind, &zone, &severity, &f.Confidence, &f.DiameterMM, &f.LengthMM, &f.WidthMM, &f.AreaMM2, &f.ValueUM, &f.StepStation)
		if err != nil {
			return err
		}
		f.Kind, f.Zone, f.Severity = part.Kind(kind), part.Zone(zone), part.Severity(severity)
		r := &by[id].Result
		r.Findings = append(r.Findings, f)
		return nil
	})
}

func (t *tx) briefStepStations(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	return t.scanAll(ctx, "SELECT "+stepStationColumns+" FROM stations WHERE inspection IN "+in+" ORDER BY inspection, place", ids, func(rows *sql.Rows) error {
		var id, place int64
		var x part.StepStation
		var side, state string
		err := rows.Scan(&id, &place, &x.Image, &x.AngleDeg, &side, &state, &x.Reason, &x.StepUM, &x.UUM, &x.GapUM, &x.BeadUM)
		if err != nil {
			return err
		}
		x.Side, x.State = part.Side(side), part.State(state)
		s := &by[id].Result.Seam
		s.Stations = append(s.Stations, x)
		return nil
	})
}

func (t *tx) briefLimits(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	q := "SELECT inspection, name, sha256 FROM inspection_texts WHERE inspection IN " + in + " AND role = ?"
	return t.scanAll(ctx, q, append(ids[:len(ids):len(ids)], roleLimits), func(rows *sql.Rows) error {
		var id int64
		var x part.SettingsFile
		err := rows.Scan(&id, &x.Name, &x.SHA256)
		if err == nil {
			by[id].Limits = x
		}
		return err
	})
}
