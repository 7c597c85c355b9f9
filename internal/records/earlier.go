package records

import (
	"context"
	"database/sql"
	"fmt"

	"finishbench/internal/part"
)

// Earlier returns at which stages the units that a filter chooses were looked at
// before the filter's From, each once, by inspections that hold. Whatever else
// the filter says does not count for those: a unit's first look may have been at
// another bench.
func (s *Store) Earlier(ctx context.Context, f Filter) ([]part.Look, error) {
	if f.From.IsZero() {
		return nil, nil
	}
	where, args := f.where()
	q := "SELECT DISTINCT i.serial, i.side, i.stage FROM inspections i WHERE (i.serial, i.side) IN " +
		"(SELECT serial, side FROM inspections WHERE " + where + ") AND i.started < ?" +
		" AND NOT EXISTS (SELECT 1 FROM inspections c WHERE c.corrects = i.id)" +
		" AND coalesce(" + isWithdrawn("i.id") + ", false) = false" +
		" ORDER BY i.serial, i.side, i.stage"
	var all []part.Look
	err := s.snapshot(ctx, func(t *tx) error {
		return t.scanAll(ctx, q, append(args, stamp(f.From)), func(rows *sql.Rows) error {
			var x part.Look
			var stage string
			err := rows.Scan(&x.Serial, &x.Side, &stage)
			x.Stage = part.Stage(stage)
			all = append(all, x)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("records: read earlier inspections: %w", err)
	}
	return all, nil
}
