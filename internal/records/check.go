package records

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"time"

	"finishbench/internal/part"
)

// CheckReport says what a check of a database looked at and what is wrong.
type CheckReport struct {
	Where                        string
	Inspections, Events, Texts   int
	Pictures, Forgotten, Numbers int   // all; those whose bytes were let go; those of which only numbers were ever kept
	PictureBytes                 int64 // of those that are there
	Entries                      int   // in journals
	Head                         Head
	Problems                     []string // maxProblems at most
	More                         int      // problems beyond these
}

// Head is the end of a chain: whoever notes it down elsewhere can tell later
// whether anything before it was changed.
type Head struct {
	Seq  int64
	Hash string
	At   time.Time
}

// OK says whether nothing is wrong.
func (r *CheckReport) OK() bool { return len(r.Problems) == 0 }

const maxProblems = 100

func (r *CheckReport) addf(format string, a ...any) {
	if len(r.Problems) == maxProblems {
		r.More++
		return
	}
	r.Problems = append(r.Problems, fmt.Sprintf(format, a...))
}

// Check looks at the whole database, as of one moment: the database's own
// integrity (SQLite's integrity_check and foreign_key_check; of PostgreSQL every
// row is read), the chain of events, each inspection's rows against its event and
// its result, and each picture's and settings file's bytes against their SHA-256.
// What is wrong is in the report; an error means that the check could not be done.
func (s *Store) Check(ctx context.Context) (CheckReport, error) {
	c := &checker{r: CheckReport{Where: s.where}, gone: map[string]bool{}}
	err := s.snapshot(ctx, func(t *tx) (err error) {
		if s.kind == sqliteDB {
			if err := c.integrity(ctx, t); err != nil || !c.r.OK() {
				return err // no sense in walking a damaged file
			}
		}
		if c.form, err = t.form(ctx); err != nil {
			return err
		}
		for _, step := range []func(context.Context, *tx) error{c.families, c.events, c.journal, c.strangers, c.pictures, c.texts} {
			if err := step(ctx, t); err != nil {
				return err
			}
		}
		return nil
	})
	return c.r, err
}

type checker struct {
	form int // the last migration of the database: a backup may be older than the program
	r    CheckReport
	gone map[string]bool // pictures that may lack their bytes: true, forgotten; false, never kept
}

// integrity is SQLite's own check of the file.
func (c *checker) integrity(ctx context.Context, t *tx) error {
	err := t.scanAll(ctx, "PRAGMA integrity_check", nil, func(rows *sql.Rows) error {
		var s string
		err := rows.Scan(&s)
		if err == nil && s != "ok" {
			c.r.addf("the file is damaged: %s", s)
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("records: integrity check: %w", err)
	}
	return nil
}

// families looks for rows whose inspection, picture or settings file is gone.
// PostgreSQL sees to that by itself.
func (c *checker) families(ctx context.Context, t *tx) error {
	if t.kind != sqliteDB {
		return nil
	}
	return t.scanAll(ctx, `SELECT "table", rowid, parent FROM pragma_foreign_key_check`, nil, func(rows *sql.Rows) error {
		var table, parent string
		var row sql.NullInt64
		err := rows.Scan(&table, &row, &parent)
		c.r.addf("row %d of %s belongs to a row of %s that is not there", row.Int64, table, parent)
		return err
	})
}

// events walks the chain, and compares each inspection with its event.
func (c *checker) events(ctx context.Context, t *tx) error {
	var walk chain
	return t.links(ctx, 0, func(l link) error {
		c.r.Events++
		e, err := walk.next(l)
		c.r.Head = Head{Seq: l.seq, Hash: l.hash}
		if err != nil {
			c.r.addf("%v", err)
			return nil
		}
		if c.r.Head.At, err = parseStamp(e.At); err != nil {
			c.r.addf("event %d: %v", l.seq, err)
		}
		if e.Forgotten != nil {
			for _, p := range e.Forgotten.Pictures {
				c.gone[p] = true
			}
		}
		if e.Recorded == nil {
			return c.columns(ctx, t, e)
		}
		for _, p := range e.Recorded.Pictures {
			if _, known := c.gone[p.SHA256]; p.Numbers && !known {
				c.gone[p.SHA256] = false
			}
		}
		c.r.Inspections++
		if err := c.columns(ctx, t, e); err != nil {
			return err
		}
		return c.inspection(ctx, t, e.Inspection, e.Recorded)
	})
}

// columns compares what is searched by with the event's own content.
func (c *checker) columns(ctx context.Context, t *tx, e event) error {
	var at, kind string
	var inspection sql.NullInt64
	if err := t.row(ctx, "SELECT at, kind, inspection FROM events WHERE seq = ?", e.Seq).Scan(&at, &kind, &inspection); err != nil {
		return fmt.Errorf("records: read event %d: %w", e.Seq, err)
	}
	if at != e.At || kind != e.Kind || inspection.Int64 != e.Inspection {
		c.r.addf("event %d: its columns were changed", e.Seq)
	}
	return nil
}

// inspection compares an inspection's rows with its event and its result.
func (c *checker) inspection(ctx context.Context, t *tx, id int64, want *recorded) error {
	columns := inspectionColumns
	if c.form < formKeys {
		columns = strings.Replace(columns, "client_key", "NULL", 1)
	}
	if c.form < formBuiltIn {
		columns = strings.Replace(columns, "faceplate, resin", "NULL, NULL", 1)
	}
	got, err := t.values(ctx, "SELECT "+columns+" FROM inspections WHERE id = ?", id)
	if err != nil {
		return err
	}
	if len(got) == 0 {
		c.r.addf("inspection %d is gone", id)
		return nil
	}
	text, _ := got[0][14].(string)
	if !reflect.DeepEqual(got[0], want.row(id, text)) {
		c.r.addf("inspection %d was changed after it was recorded", id)
	}
	if hashOf([]byte(text)) != want.ResultSHA256 {
		c.r.addf("the result of inspection %d was changed after it was recorded", id)
		return nil // nothing to compare its findings with
	}
	var result part.Result
	if err := json.Unmarshal([]byte(text), &result); err != nil {
		c.r.addf("the result of inspection %d cannot be read: %v", id, err)
		return nil
	}
	for _, p := range []struct {
		what, query string
		want        [][]any
	}{
		{"pictures", "SELECT inspection, place, file, view, light, angle_deg, sha256 FROM inspection_pictures WHERE inspection = ? ORDER BY place", pictureRows(id, want.Pictures)},
		{"settings files", "SELECT inspection, place, role, name, sha256 FROM inspection_texts WHERE inspection = ? ORDER BY place", textRows(id, want.Texts)},
		{"findings", "SELECT " + findingColumns + " FROM findings WHERE inspection = ? ORDER BY place", findingRows(id, result.Findings)},
		{"stations", "SELECT " + stepStationColumns + " FROM stations WHERE inspection = ? ORDER BY place", stepStationRows(id, result.Seam.Stations)},
	} {
		got, err := t.values(ctx, p.query, id)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(got, p.want) {
			c.r.addf("the %s of inspection %d were changed after they were recorded", p.what, id)
		}
	}
	return nil
}

// values reads rows as int64, float64, string and nil.
func (t *tx) values(ctx context.Context, query string, args ...any) ([][]any, error) {
	rows, err := t.query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("records: check: %w", err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	var all [][]any
	for rows.Next() {
		vs, ps := make([]any, len(names)), make([]any, len(names))
		for i := range vs {
			ps[i] = &vs[i]
		}
		if err := rows.Scan(ps...); err != nil {
			return nil, fmt.Errorf("records: check: %w", err)
		}
		all = append(all, vs)
	}
	return all, rows.Err()
}

// strangers looks for inspections that no event tells of.
func (c *checker) strangers(ctx context.Context, t *tx) error {
	return t.scanAll(ctx, "SELECT id FROM inspections WHERE NOT EXISTS (SELECT 1 FROM events WHERE events.inspection = inspections.id AND kind = ?) ORDER BY id", []any{eventRecorded}, func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		c.r.addf("inspection %d was put in from outside: no event tells of it", id)
		return err
	})
}

// pictures compares each picture's bytes with its SHA-256, one at a time.
func (c *checker) pictures(ctx context.Context, t *tx) error {
	return t.keys(ctx, "pictures", func(key string) error {
		c.r.Pictures++
		var b []byte
		var size int64
		if err := t.row(ctx, "SELECT bytes, size FROM pictures WHERE sha256 = ?", key).Scan(&b, &size); err != nil {
			return fmt.Errorf("records: read picture %.12s: %w", key, err)
		}
		if b == nil {
			forgotten, known := c.gone[key]
			switch {
			case !known:
				c.r.addf("picture %.12s is gone, and no event tells why", key)
			case forgotten:
				c.r.Forgotten++
			default:
				c.r.Numbers++
			}
			return nil
		}
		c.r.PictureBytes += int64(len(b))
		if hashOf(b) != key || size != int64(len(b)) {
			c.r.addf("picture %.12s was changed after it was recorded", key)
		}
		return nil
	})
}

func (c *checker) texts(ctx context.Context, t *tx) error {
	return t.keys(ctx, "texts", func(key string) error {
		c.r.Texts++
		var b []byte
		if err := t.row(ctx, "SELECT bytes FROM texts WHERE sha256 = ?", key).Scan(&b); err != nil {
			return fmt.Errorf("records: read settings file %.12s: %w", key, err)
		}
		if hashOf(b) != key {
			c.r.addf("settings file %.12s was changed after it was recorded", key)
		}
		return nil
	})
}

// keys calls f for each sha256 of a table, with few in memory at a time.
func (t *tx) keys(ctx context.Context, table string, f func(string) error) error {
	const page = 500
	for last, n := "", page; n == page; {
		var keys []string
		err := t.scanAll(ctx, "SELECT sha256 FROM "+table+" WHERE sha256 > ? ORDER BY sha256 LIMIT ?", []any{last, page}, func(rows *sql.Rows) error {
			var k string
			err := rows.Scan(&k)
			keys = append(keys, k)
			return err
		})
		if err != nil {
			return fmt.Errorf("records: read %s: %w", table, err)
		}
		for _, k := range keys {
			if err := f(k); err != nil {
				return err
			}
			last = k
		}
		n = len(keys)
	}
	return nil
}
