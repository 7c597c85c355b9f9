package records

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"finishbench/internal/files"
)

// vacuumInto copies the database while others write: SQLite's VACUUM INTO reads
// as of one moment.
func (s *Store) vacuumInto(ctx context.Context, file string) error {
	abs, err := filepath.Abs(file)
	if err != nil {
		return err
	}
	db, err := openDB("sqlite", sqliteDSN(s.file)) // neither the one writer nor a reader that may not write
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", abs)
	return err
}

// CheckFile checks a SQLite backup without writing to it or beside it.
func CheckFile(ctx context.Context, file string, now func() time.Time) (CheckReport, error) {
	abs, err := sqliteFile(file)
	if err != nil {
		return CheckReport{}, err
	}
	if st, err := os.Stat(abs); err != nil || st.IsDir() {
		return CheckReport{}, fmt.Errorf("records: %s is no file", file)
	}
	// immutable: no log, no lock; a backup is changed by nobody.
	db, err := openDB("sqlite", sqliteDSN(abs, "_pragma=query_only(1)", "immutable=1", "mode=ro"))
	if err != nil {
		return CheckReport{}, err
	}
	s := &Store{where: abs, kind: sqliteDB, file: abs, w: db, r: db, now: now}
	defer s.Close()
	if err := s.ownFile(ctx); err != nil {
		return CheckReport{}, err
	}
	if n, err := s.version(ctx); err != nil || n == 0 {
		return CheckReport{}, fmt.Errorf("records: %s holds no records", file)
	}
	return s.Check(ctx)
}

// restoreSQLite puts a checked backup in the place of target.
func restoreSQLite(ctx context.Context, file, target string, replace bool, now func() time.Time) (kept string, err error) {
	_, err = os.Stat(target)
	there := err == nil
	if there && !replace {
		return "", fmt.Errorf("records: %s is there already: to put the backup in its place, say so (the database is then kept under "+
			"another name)", target)
	}
	same, err := os.Stat(file)
	if old, err2 := os.Stat(target); err == nil && err2 == nil && os.SameFile(same, old) {
		return "", fmt.Errorf("records: %s is the database itself", file)
	}
	tmp := target + ".unfinished"
	if err := copyFile(file, tmp); err != nil {
		_ = os.Remove(tmp)
		return "", fmt.Errorf("records: restore %s: %w", target, err)
	}
	if there {
		if kept, err = setAside(ctx, target, now); err != nil {
			_ = os.Remove(tmp)
			return "", err
		}
	}
	if err := giveName(tmp, target); err != nil {
		return kept, fmt.Errorf("records: restore %s: %w", target, err)
	}
	return kept, nil
}

// setAside gives a database another name. Its log is brought in first, which
// SQLite only does while nobody else has it open. What is no database any more
// goes as it is, with its log.
func setAside(ctx context.Context, target string, now func() time.Time) (string, error) {
	db, err := openDB("sqlite", sqliteDSN(target))
	if err != nil {
		return "", err
	}
	var mode string
	err = errors.Join(db.QueryRowContext(ctx, "PRAGMA journal_mode = DELETE").Scan(&mode), db.Close())
	if isBusy(err) || (err == nil && mode != "delete") {
		return "", fmt.Errorf("records: %s is in use: stop the bench, then restore", target)
	}
	kept := target + ".before-" + now().UTC().Format("20060102-150405")
	for n := 2; notThere(kept) != nil; n++ {
		kept = fmt.Sprintf("%s.before-%s-%d", target, now().UTC().Format("20060102-150405"), n)
	}
	for _, end := range []string{"", "-wal", "-shm"} {
		if err := os.Rename(target+end, kept+end); err != nil && (end == "" || !errors.Is(err, os.ErrNotExist)) {
			return "", fmt.Errorf("records: keep the old database: %w", err)
		}
	}
	return kept, nil
}

func copyFile(from, to string) error {
	r, err := files.Open(from)
	if err != nil {
		return err
	}
	defer r.Close()
	w, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, r)
	return errors.Join(err, w.Close())
}
