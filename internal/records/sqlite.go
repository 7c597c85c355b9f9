package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// sqliteID marks a SQLite file as one of records ("FBrc"), so that no other
// program's file is taken for one.
const sqliteID = 0x46427263

// sqliteFile is the path in "sqlite:FILE" or a plain path.
func sqliteFile(where string) (string, error) {
	file, ok := strings.CutPrefix(where, "sqlite:")
	if !ok && strings.Contains(where, "://") {
		scheme, _, _ := strings.Cut(where, "://")
		return "", fmt.Errorf("records: %s: is no kind of database that is known here: use sqlite:FILE or postgres://USER@HOST/DATABASE",
			scheme)
	}
	if file == "" || strings.HasPrefix(file, ":memory:") || strings.HasSuffix(file, "/") {
		return "", fmt.Errorf("records: %q names no file: use sqlite:FILE or postgres://USER@HOST/DATABASE", where)
	}
	abs, err := filepath.Abs(file)
	if err != nil {
		return "", fmt.Errorf("records: %s: %w", file, err)
	}
	return abs, nil
}

// sqliteDSN puts what each connection of a pool needs into its name. What is
// answered must outlast a pulled plug: synchronous FULL.
func sqliteDSN(file string, more ...string) string {
	q := url.Values{"_pragma": {"busy_timeout(5000)", "foreign_keys(1)", "recursive_triggers(1)"}}
	for _, m := range more {
		k, v, _ := strings.Cut(m, "=")
		q.Add(k, v)
	}
	u := url.URL{Scheme: "file", Path: file, RawQuery: q.Encode()}
	return u.String()
}

func sqliteWriter(file string) string {
	return sqliteDSN(file, "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)", "_pragma=journal_size_limit(67108864)",
		"_txlock=immediate")
}

func sqliteReader(file string) string { return sqliteDSN(file, "_pragma=query_only(1)") }

func openSQLite(ctx context.Context, file string, now func() time.Time) (*Store, error) {
	s := &Store{where: "sqlite:" + file, kind: sqliteDB, file: file, now: now}
	if st, err := os.Stat(file); err == nil && st.IsDir() {
		return nil, fmt.Errorf("records: %s is a folder: name a file in it", file)
	} else if _, err := os.Stat(filepath.Dir(file)); err != nil {
		return nil, fmt.Errorf("records: %s: the folder %s is not there: make it first", file, filepath.Dir(file))
	}
	var err error
	if s.w, err = openDB("sqlite", sqliteWriter(file)); err != nil {
		return nil, err
	}
	s.w.SetMaxOpenConns(1)
	s.w.SetMaxIdleConns(1)
	if s.r, err = openDB("sqlite", sqliteReader(file)); err != nil {
		return nil, errors.Join(err, s.w.Close())
	}
	s.r.SetMaxOpenConns(4)
	if err := s.ownFile(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func openDB(driver, dsn string) (*sql.DB, error) {
	db, err := sql.Open(driver, dsn)
	if err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	db.SetConnMaxLifetime(0)
	return db, nil
}

// ownFile refuses a SQLite file that another program made. The first connection
// turns the write-ahead log on, which SQLite does not wait for when another
// process does the same: hence the few tries.
func (s *Store) ownFile(ctx context.Context) error {
	var id, tables int
	err := s.w.QueryRowContext(ctx,
		"SELECT (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_master)").Scan(&id, &tables)
	for try := 0; isBusy(err) && try < 50; try++ {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
		err = s.w.QueryRowContext(ctx,
			"SELECT (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_master)").Scan(&id, &tables)
	}
	if err != nil {
		return s.explain(err)
	}
	if id != sqliteID && (id != 0 || tables > 0) {
		return fmt.Errorf("records: %s is another program's database: name a different file", s.file)
	}
	return nil
}

func sqliteCode(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code() & 0xff // without the extended part
}

func isBusy(err error) bool {
	c := sqliteCode(err)
	return c == lib.SQLITE_BUSY || c == lib.SQLITE_LOCKED
}

// explainSQLite says what a code means to the person; "" for codes that should
// not happen.
func explainSQLite(err error) string {
	switch sqliteCode(err) {
	case lib.SQLITE_FULL:
		return "the disk is full, nothing of this was recorded: free some space and try again"
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return "another program kept the database busy for too long: try again"
	case lib.SQLITE_READONLY:
		return "the file or its folder may not be written: ask for the right to write there"
	case lib.SQLITE_CANTOPEN:
		return "the file cannot be opened: look at its path and its rights"
	case lib.SQLITE_NOTADB:
		return "the file is not a database: name a different file"
	case lib.SQLITE_CORRUPT:
		return "the file is damaged: restore a backup with 'inspect records restore'"
	case lib.SQLITE_IOERR:
		return "the disk answers with errors: look at the disk, then restore a backup if need be"
	}
	return ""
}
