package records

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"finishbench/internal/part"
)

// Get returns one inspection, with the bytes of its settings files. The error
// wraps [ErrNotFound] where there is none of this number.
func (s *Store) Get(ctx context.Context, id int64) (part.Inspection, error) {
	var in part.Inspection
	err := s.snapshot(ctx, func(t *tx) error {
		ins, err := t.page(ctx, "id = ?", []any{id}, 1)
		if err != nil {
			return err
		}
		if len(ins) == 0 {
			return fmt.Errorf("records: inspection %d: %w", id, ErrNotFound)
		}
		in = ins[0]
		for _, x := range textsOf(&in) {
			if err := t.row(ctx, "SELECT bytes FROM texts WHERE sha256 = ?", x.SHA256).Scan(&x.Bytes); err != nil {
				return fmt.Errorf("records: read %s: %w", x.Name, err)
			}
		}
		return nil
	})
	return in, err
}

// texts lists the settings files that were used.
func textsOf(in *part.Inspection) []*part.SettingsFile {
	var all []*part.SettingsFile
	for _, x := range []*part.SettingsFile{&in.Limits, &in.Station} {
		if x.SHA256 != "" {
			all = append(all, x)
		}
	}
	for i := range in.Scales {
		all = append(all, &in.Scales[i])
	}
	return all
}

// History returns all inspections of a unit, oldest first: those that were
// withdrawn or corrected too. An empty side means all sides.
func (s *Store) History(ctx context.Context, serial, side string) ([]part.Inspection, error) {
	return s.Find(ctx, Filter{Serial: serial, Side: side})
}

// Find returns the inspections that a filter chooses, by number.
func (s *Store) Find(ctx context.Context, f Filter) ([]part.Inspection, error) {
	var all []part.Inspection
	err := s.Each(ctx, f, func(in part.Inspection) error {
		all = append(all, in)
		return nil
	})
	return all, err
}

// inspectionsPerPage bounds what is in memory: a result is 10 to 100 KB.
const inspectionsPerPage = 100

// Each calls f for the inspections that a filter chooses, by number, with few in
// memory at a time. An error of f ends it and is returned.
func (s *Store) Each(ctx context.Context, f Filter, do func(part.Inspection) error) error {
	for n := 0; ; {
		most := inspectionsPerPage
		if f.Limit > 0 {
			most = min(most, f.Limit-n)
		}
		if most <= 0 {
			return nil
		}
		where, args := f.where()
		var page []part.Inspection
		err := s.snapshot(ctx, func(t *tx) (err error) {
			page, err = t.page(ctx, where+f.order(), args, most)
			return err
		})
		if err != nil {
			return err
		}
		for _, in := range page {
			if err := do(in); err != nil {
				return err
			}
			f.After = in.ID
		}
		n += len(page)
		if len(page) < most {
			return nil
		}
	}
}

// where is the filter as SQL.
func (f Filter) where() (string, []any) {
	terms, args := []string{"1 = 1"}, []any{}
	add := func(term string, arg any) { terms, args = append(terms, term), append(args, arg) }
	for _, w := range []struct{ column, value string }{{"serial", f.Serial}, {"side", f.Side}, {"lot", f.Lot}, {"bench", f.Bench},
		{"stage", string(f.Stage)}, {"resin", f.Resin}} {
		if w.value != "" {
			add(w.column+" = ?", w.value)
		}
	}
	if f.Operator != "" {
		terms, args = append(terms, operatorIs), append(args, f.Operator, f.Operator, f.Operator)
	}
	if !f.From.IsZero() {
		add("started >= ?", stamp(f.From))
	}
	if !f.To.IsZero() {
		add("started < ?", stamp(f.To))
	}
	switch {
	case f.After > 0 && f.NewestFirst:
		add("id < ?", f.After)
	case f.After > 0:
		add("id > ?", f.After)
	}
	return strings.Join(terms, " AND "), args
}

// order is the order of what the filter chooses, by number.
func (f Filter) order() string {
	if f.NewestFirst {
		return " ORDER BY id DESC"
	}
	return " ORDER BY id"
}

// page reads the first inspections of a choice, with what belongs to them.
func (t *tx) page(ctx context.Context, where string, args []any, most int) ([]part.Inspection, error) {
	ins, err := t.inspections(ctx, "SELECT "+inspectionColumns+" FROM inspections WHERE "+where+" LIMIT ?", append(args, most))
	if err != nil || len(ins) == 0 {
		return nil, err
	}
	by, ids := map[int64]*part.Inspection{}, []any{}
	for i := range ins {
		by[ins[i].ID] = &ins[i]
		ids = append(ids, ins[i].ID)
	}
	in := "(?" + strings.Repeat(", ?", len(ids)-1) + ")"
	for _, read := range []func(context.Context, string, []any, map[int64]*part.Inspection) error{t.readPictures, t.readTexts, t.readNotes,
		t.readCorrections, t.putNames} {
		if err := read(ctx, in, ids, by); err != nil {
			return nil, fmt.Errorf("records: read inspections: %w", err)
		}
	}
	return ins, nil
}

func (t *tx) inspections(ctx context.Context, query string, args []any) ([]part.Inspection, error) {
	rows, err := t.query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("records: read inspections: %w", err)
	}
	defer rows.Close()
	var ins []part.Inspection
	for rows.Next() {
		in, err := scanInspection(rows)
		if err != nil {
			return nil, err
		}
		ins = append(ins, in)
	}
	return ins, rows.Err()
}

func scanInspection(rows *sql.Rows) (part.Inspection, error) {
	var in part.Inspection
	var stage, started, ended, verdict, result, sum string
	var score, worst sql.NullFloat64
	var corrects sql.NullInt64
	var key, faceplate, resin sql.NullString
	err := rows.Scan(&in.ID, &in.Serial, &in.Side, &in.Lot, &in.Bench, &in.Operator, &stage, &started, &ended, &verdict, &score, &worst,
		&in.Program, &in.Libraries, &result, &sum, &corrects, &key, &faceplate, &resin)
	if err != nil {
		return in, fmt.Errorf("records: read an inspection: %w", err)
	}
	in.Stage, in.Corrects, in.Key, in.Faceplate, in.Resin = part.Stage(stage), corrects.Int64, key.String, faceplate.String, resin.String
	var err1, err2 error
	in.Started, err1 = parseStamp(started)
	in.Ended, err2 = parseStamp(ended)
	if err := errors.Join(err1, err2, json.Unmarshal([]byte(result), &in.Result)); err != nil {
		return in, fmt.Errorf("records: inspection %d is damaged: run 'inspect records check': %w", in.ID, err)
	}
	return in, nil
}

// scanAll calls f for each row of a query that names a list of numbers.
func (t *tx) scanAll(ctx context.Context, query string, args []any, f func(*sql.Rows) error) error {
	rows, err := t.query(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (t *tx) readPictures(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	q := "SELECT i.inspection, i.file, i.view, i.light, i.angle_deg, i.sha256, p.mime FROM inspection_pictures i JOIN pictures p ON " +
		"p.sha256 = i.sha256 WHERE i.inspection IN " + in + " ORDER BY i.inspection, i.place"
	return t.scanAll(ctx, q, ids, func(rows *sql.Rows) error {
		var id int64
		var p part.StoredPicture
		var view, light string
		if err := rows.Scan(&id, &p.File, &view, &light, &p.AngleDeg, &p.SHA256, &p.MIME); err != nil {
			return err
		}
		p.View, p.Light = part.View(view), part.Light(light)
		by[id].Pictures = append(by[id].Pictures, p)
		return nil
	})
}

func (t *tx) readTexts(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	q := "SELECT inspection, role, name, sha256 FROM inspection_texts WHERE inspection IN " + in + " ORDER BY inspection, place"
	return t.scanAll(ctx, q, ids, func(rows *sql.Rows) error {
		var id int64
		var role string
		var x part.SettingsFile
		if err := rows.Scan(&id, &role, &x.Name, &x.SHA256); err != nil {
			return err
		}
		switch role {
		case roleLimits:
			by[id].Limits = x
		case roleStation:
			by[id].Station = x
		case roleScale:
			by[id].Scales = append(by[id].Scales, x)
		}
		return nil
	})
}

// readNotes fills in what was said later, the last word last.
func (t *tx) readNotes(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	q := "SELECT inspection, content FROM events WHERE inspection IN " + in + " AND kind <> ? ORDER BY seq"
	return t.scanAll(ctx, q, append(ids[:len(ids):len(ids)], eventRecorded), func(rows *sql.Rows) error {
		var id int64
		var content string
		if err := rows.Scan(&id, &content); err != nil {
			return err
		}
		var e event
		if err := json.Unmarshal([]byte(content), &e); err != nil {
			return fmt.Errorf("an event of inspection %d: %w", id, err)
		}
		return e.tell(by[id])
	})
}

func (e *event) tell(in *part.Inspection) error {
	if w := e.Withdrawn; w != nil {
		at, err := parseStamp(w.At)
		in.Withdrawn = &part.Note{At: at, By: w.By, Why: w.Why}
		return err
	}
	if e.Restored != nil {
		in.Withdrawn = nil
		return nil
	}
	if o := e.Overruled; o != nil {
		at, err := parseStamp(o.At)
		in.Overruled = &part.Overrule{At: at, By: o.By, Verdict: part.Verdict(o.Verdict), Reason: o.Reason, Note: o.Note}
		return err
	}
	return nil
}

func (t *tx) readCorrections(ctx context.Context, in string, ids []any, by map[int64]*part.Inspection) error {
	return t.scanAll(ctx, "SELECT corrects, id FROM inspections WHERE corrects IN "+in, ids, func(rows *sql.Rows) error {
		var id, later int64
		if err := rows.Scan(&id, &later); err != nil {
			return err
		}
		by[id].CorrectedBy = later
		return nil
	})
}

// PictureBytes returns a picture's file. The error wraps [ErrForgotten] where
// only its numbers were kept, and [ErrNotFound] where there never was one.
func (s *Store) PictureBytes(ctx context.Context, sha256 string) (b []byte, mime string, err error) {
	err = s.snapshot(ctx, func(t *tx) error {
		return t.row(ctx, "SELECT bytes, mime FROM pictures WHERE sha256 = ?", sha256).Scan(&b, &mime)
	})
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, "", fmt.Errorf("records: picture %.12s: %w", sha256, ErrNotFound)
	case err != nil:
		return nil, "", fmt.Errorf("records: picture %.12s: %w", sha256, err)
	case b == nil:
		return nil, "", fmt.Errorf("records: picture %.12s: %w", sha256, ErrForgotten)
	}
	return b, mime, nil
}
