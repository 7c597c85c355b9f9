package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"
)

// Store is an open database of inspections. It may be used by several goroutines
// at once, and several processes may have the same database open.
type Store struct {
	where string // without a password, for messages
	kind  dialect
	url   string // PostgreSQL only
	file  string // SQLite only
	w, r  *sql.DB
	now   func() time.Time
}

// dialect is which of the two databases it is.
type dialect int

const (
	sqliteDB dialect = iota
	postgresDB
)

// Open opens the database at url, makes it where it is missing, and brings it to
// this program's form. The url is "sqlite:FILE", a plain path, or
// "postgres://USER@HOST/DATABASE". now is the clock that events are stamped with.
func Open(ctx context.Context, url string, now func() time.Time) (*Store, error) {
	s, err := connect(ctx, url, now)
	if err != nil {
		return nil, err
	}
	if err := s.migrate(ctx); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// connect opens the database as it is.
func connect(ctx context.Context, url string, now func() time.Time) (*Store, error) {
	if isPostgres(url) {
		return openPostgres(ctx, url, now)
	}
	file, err := sqliteFile(url)
	if err != nil {
		return nil, err
	}
	return openSQLite(ctx, file, now)
}

// Where names the database, without a password.
func (s *Store) Where() string { return s.where }

// Close ends all use of the store.
func (s *Store) Close() error {
	err := s.w.Close()
	if s.r != s.w {
		err = errors.Join(err, s.r.Close())
	}
	return err
}

// tx is a transaction that knows its dialect.
type tx struct {
	*sql.Tx
	kind dialect
	now  time.Time // UTC
}

// exec and the two below write ? for parameters in both dialects.
func (t *tx) exec(ctx context.Context, query string, args ...any) error {
	_, err := t.ExecContext(ctx, rebind(t.kind, query), args...)
	return err
}

func (t *tx) query(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	return t.QueryContext(ctx, rebind(t.kind, query), args...)
}

func (t *tx) row(ctx context.Context, query string, args ...any) *sql.Row {
	return t.QueryRowContext(ctx, rebind(t.kind, query), args...)
}

// rebind turns ? into PostgreSQL's $1, $2 ... No query here has a ? in its text.
func rebind(kind dialect, query string) string {
	if kind == sqliteDB {
		return query
	}
	var b strings.Builder
	n := 0
	for _, c := range query {
		if c == '?' {
			n++
			fmt.Fprintf(&b, "$%d", n)
			continue
		}
		b.WriteRune(c)
	}
	return b.String()
}

// write carries out f as a whole or not at all, one at a time over all processes
// that have this database open: the chain of events must not fork.
func (s *Store) write(ctx context.Context, f func(*tx) error) error {
	return s.in(ctx, s.w, nil, func(t *tx) error {
		if s.kind == postgresDB { // SQLite: BEGIN IMMEDIATE, by the connection's settings
			if err := t.exec(ctx, "SELECT pg_advisory_xact_lock(?)", int64(writeLock)); err != nil {
				return err
			}
		}
		return f(t)
	})
}

// writeLock is the key of PostgreSQL's advisory lock: any number that others of
// the same database do not use.
const writeLock = 0x66696e697368

// snapshot reads with f, all from one moment.
func (s *Store) snapshot(ctx context.Context, f func(*tx) error) error {
	o := &sql.TxOptions{ReadOnly: true}
	if s.kind == postgresDB {
		o.Isolation = sql.LevelRepeatableRead
	}
	return s.in(ctx, s.r, o, f)
}

func (s *Store) in(ctx context.Context, db *sql.DB, o *sql.TxOptions, f func(*tx) error) error {
	t, err := db.BeginTx(ctx, o)
	if err != nil {
		return s.explain(err)
	}
	defer t.Rollback() // does nothing after Commit
	if err := f(&tx{Tx: t, kind: s.kind, now: s.now().UTC()}); err != nil {
		return s.explain(err)
	}
	return s.explain(t.Commit())
}

// explain says in plain words what a database's error means, where it is known.
func (s *Store) explain(err error) error {
	if err == nil {
		return err
	}
	why := ""
	switch {
	case s.kind == postgresDB && isConnecting(err): // its own time for connecting counts among deadlines
		why = explainPostgres(err)
	case errors.Is(err, context.Canceled):
	case errors.Is(err, context.DeadlineExceeded):
		why = "the database did not answer in time: look whether it runs, and try again"
	case s.kind == sqliteDB:
		why = explainSQLite(err)
	default:
		why = explainPostgres(err)
	}
	if why == "" {
		return err
	}
	return fmt.Errorf("records: %s: %s (%w)", s.where, why, err)
}

// insert writes rows into a table, some at a time: each round trip to a
// database elsewhere costs.
func (t *tx) insert(ctx context.Context, table, columns string, rows [][]any) error {
	const most = 50 // rows at a time: up to 600 parameters, of SQLite's 32766
	for len(rows) > 0 {
		n := min(len(rows), most)
		one := "(?" + strings.Repeat(", ?", len(rows[0])-1) + ")"
		var args []any
		for _, r := range rows[:n] {
			args = append(args, r...)
		}
		query := "INSERT INTO " + table + " (" + columns + ") VALUES " + one + strings.Repeat(", "+one, n-1)
		if err := t.exec(ctx, query, args...); err != nil {
			return fmt.Errorf("records: write %s: %w", table, err)
		}
		rows = rows[n:]
	}
	return nil
}

// timeForm is how times are stored: of one width, so that they sort as text.
const timeForm = "2006-01-02T15:04:05.000000000Z"

func stamp(t time.Time) string { return t.UTC().Format(timeForm) }

func parseStamp(s string) (time.Time, error) {
	t, err := time.Parse(timeForm, s)
	if err != nil {
		return t, fmt.Errorf("records: %q is no time", s)
	}
	return t, nil
}

// OpenExisting is [Open] for a database that must be there already: a slip in its
// name must not make an empty one.
func OpenExisting(ctx context.Context, url string, now func() time.Time) (*Store, error) {
	if !isPostgres(url) {
		file, err := sqliteFile(url)
		if err != nil {
			return nil, err
		}
		if _, err := os.Stat(file); err != nil {
			return nil, fmt.Errorf("records: there are no records at %s: look at the name", file)
		}
	}
	s, err := connect(ctx, url, now)
	if err != nil {
		return nil, err
	}
	if n, err := s.version(ctx); err != nil || n == 0 {
		return nil, errors.Join(fmt.Errorf("records: %s holds no records: look at the name", s.where), s.Close())
	}
	if err := s.migrate(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}
