package records

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
)

//go:embed migrations
var migrationFiles embed.FS

// migration is one numbered step from an empty database to this program's form.
type migration struct {
	number int
	name   string
	sql    string
}

// migrations lists the steps of a dialect, in order. A step that was ever shipped
// is never changed.
func migrations(kind dialect) ([]migration, error) {
	dir := "migrations/sqlite"
	if kind == postgresDB {
		dir = "migrations/postgres"
	}
	entries, err := fs.ReadDir(migrationFiles, dir) // sorted by name
	if err != nil {
		return nil, err
	}
	var ms []migration
	for _, e := range entries {
		digits, _, _ := strings.Cut(e.Name(), "_")
		n, err := strconv.Atoi(digits)
		if err != nil || n != len(ms)+1 {
			// The program's own mistake.
			return nil, fmt.Errorf("records: migration %s/%s: number %d was expected", dir, e.Name(), len(ms)+1)
		}
		text, err := fs.ReadFile(migrationFiles, dir+"/"+e.Name())
		if err != nil {
			return nil, err
		}
		ms = append(ms, migration{n, strings.TrimSuffix(e.Name(), ".sql"), string(text)})
	}
	return ms, nil
}

// Forms that what is read without being migrated may not have yet: the number of
// the step that brought them.
const (
	formKeys    = 2 // inspections.client_key
	formJournal = 3 // journal
	formBuiltIn = 5 // inspections.faceplate, resin
)

// form is the number of the last step that was done.
func (t *tx) form(ctx context.Context) (int, error) {
	var n int
	err := t.row(ctx, "SELECT coalesce(max(number), 0) FROM migrations").Scan(&n)
	return n, err
}

// migrate brings the database to this program's form, each step in a transaction
// of its own that also notes it down.
func (s *Store) migrate(ctx context.Context) error {
	ms, err := migrations(s.kind)
	if err != nil {
		return err
	}
	// The table is looked for first: an up-to-date database needs no lock to be opened.
	if n, err := s.version(ctx); err == nil && n == len(ms) {
		return nil
	}
	if err := s.write(ctx, func(t *tx) error { return t.prepare(ctx) }); err != nil {
		return fmt.Errorf("records: prepare %s: %w", s.where, err)
	}
	for _, m := range ms {
		err := s.write(ctx, func(t *tx) error { return t.step(ctx, m) })
		if err != nil {
			return fmt.Errorf("records: migration %s of %s: %w", m.name, s.where, err)
		}
	}
	n, err := s.version(ctx)
	if err == nil && n > len(ms) {
		err = fmt.Errorf("records: %s was made by a newer program (form %d, this one knows %d): use the newer program", s.where, n, len(ms))
	}
	return err
}

// prepare makes the table of steps and, in the same breath, marks a SQLite file
// as ours: after a crash between the two it would be taken for another's.
func (t *tx) prepare(ctx context.Context) error {
	if t.kind == sqliteDB {
		if err := t.exec(ctx, fmt.Sprintf("PRAGMA application_id = %d", sqliteID)); err != nil {
			return err
		}
	}
	return t.exec(ctx, "CREATE TABLE IF NOT EXISTS migrations (number INTEGER PRIMARY KEY, name TEXT NOT NULL, at TEXT NOT NULL)")
}

// version is the number of the last step that was done.
func (s *Store) version(ctx context.Context) (int, error) {
	var n int
	err := s.w.QueryRowContext(ctx, "SELECT coalesce(max(number), 0) FROM migrations").Scan(&n)
	return n, s.explain(err)
}

// step does one migration, unless it is done.
func (t *tx) step(ctx context.Context, m migration) error {
	var done int
	if err := t.row(ctx, "SELECT count(*) FROM migrations WHERE number = ?", m.number).Scan(&done); err != nil || done > 0 {
		return err
	}
	if _, err := t.ExecContext(ctx, m.sql); err != nil {
		return err
	}
	return t.exec(ctx, "INSERT INTO migrations (number, name, at) VALUES (?, ?, ?)", m.number, m.name, stamp(t.now))
}
