package records

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// picturesPerForget bounds a transaction: other benches write between two.
const picturesPerForget = 200

// Forget lets go of the bytes of pictures that no inspection ended at or after
// the given moment uses, and returns how many. Numbers, hashes and file names
// stay; each lot of forgotten pictures is an event of the chain. A SQLite file
// does not shrink: its room is used again.
func (s *Store) Forget(ctx context.Context, before time.Time) (int, error) {
	if !storable(before) {
		return 0, fmt.Errorf("records: forget: %w: say from which day on pictures are kept", ErrInvalid)
	}
	n, last := 0, ""
	for {
		var keys []string
		err := s.write(ctx, func(t *tx) (err error) {
			keys, err = t.forget(ctx, before, last)
			return err
		})
		if err != nil {
			return n, err
		}
		n += len(keys)
		if len(keys) < picturesPerForget {
			return n, nil
		}
		last = keys[len(keys)-1]
	}
}

// forget blanks some pictures whose hash comes after last, and tells so.
func (t *tx) forget(ctx context.Context, before time.Time, last string) ([]string, error) {
	var keys []string
	q := `SELECT sha256 FROM pictures p WHERE sha256 > ? AND bytes IS NOT NULL AND NOT EXISTS
		(SELECT 1 FROM inspection_pictures i JOIN inspections n ON n.id = i.inspection WHERE i.sha256 = p.sha256 AND n.ended >= ?)
		ORDER BY sha256 LIMIT ?`
	err := t.scanAll(ctx, q, []any{last, stamp(before), picturesPerForget}, func(rows *sql.Rows) error {
		var k string
		err := rows.Scan(&k)
		keys = append(keys, k)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("records: look for old pictures: %w", err)
	}
	if len(keys) == 0 {
		return nil, nil
	}
	for _, k := range keys {
		if err := t.exec(ctx, "UPDATE pictures SET bytes = NULL WHERE sha256 = ?", k); err != nil {
			return nil, fmt.Errorf("records: forget picture %.12s: %w", k, err)
		}
	}
	return keys, t.append(ctx, &event{Kind: eventForgotten, Forgotten: &forgotten{stamp(before), keys}})
}
