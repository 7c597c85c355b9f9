package records

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Backup writes a copy of the whole database, as of one moment, to a file that is
// not there yet, while others go on writing: a SQLite database that can be used as
// it is, or PostgreSQL's custom dump. A SQLite copy is checked before it gets its
// name; a dump can only be checked by restoring it.
func (s *Store) Backup(ctx context.Context, file string) error {
	if err := notThere(file); err != nil {
		return fmt.Errorf("records: backup: %w", err)
	}
	tmp := file + ".unfinished"
	if err := os.Remove(tmp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("records: backup: %w", err)
	}
	err := s.copyTo(ctx, tmp)
	if err == nil {
		err = giveName(tmp, file)
	}
	if err != nil {
		_ = os.Remove(tmp)
		return fmt.Errorf("records: backup to %s: %w", file, err)
	}
	return nil
}

func (s *Store) copyTo(ctx context.Context, tmp string) error {
	if s.kind == postgresDB {
		return s.dump(ctx, tmp)
	}
	if err := s.vacuumInto(ctx, tmp); err != nil {
		return s.explain(err)
	}
	return isWhole(ctx, tmp, s.now)
}

// isWhole says what is wrong with a SQLite file of records, if anything.
func isWhole(ctx context.Context, file string, now func() time.Time) error {
	r, err := CheckFile(ctx, file, now)
	if err == nil && !r.OK() {
		err = fmt.Errorf("%d things are wrong with it, first: %s", len(r.Problems)+r.More, r.Problems[0])
	}
	return err
}

// Restore makes the database at url anew from a backup, which is checked first. A
// database that is there is left alone, unless replace is set; then it is kept
// under another name, which is returned.
func Restore(ctx context.Context, file, url string, replace bool, now func() time.Time) (kept string, err error) {
	if _, err := os.Stat(file); err != nil {
		return "", fmt.Errorf("records: restore: %w", err)
	}
	if isPostgres(url) {
		return restorePostgres(ctx, file, url, replace, now)
	}
	target, err := sqliteFile(url)
	if err != nil {
		return "", err
	}
	if err := isWhole(ctx, file, now); err != nil {
		return "", fmt.Errorf("records: %s cannot be restored: %w", file, err)
	}
	return restoreSQLite(ctx, file, target, replace, now)
}

func notThere(file string) error {
	_, err := os.Lstat(file)
	if err == nil {
		return fmt.Errorf("%s is there already: choose another name, or move it away", file)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// giveName puts a finished file in its place for good: its content, then its
// name, are on disk when this returns.
func giveName(tmp, file string) error {
	if err := syncPath(tmp); err != nil {
		return err
	}
	// A link, unlike a rename, does not replace what came there meanwhile.
	if err := os.Link(tmp, file); err == nil {
		return errors.Join(os.Remove(tmp), syncPath(filepath.Dir(file)))
	} else if errors.Is(err, fs.ErrExist) {
		return err
	}
	if err := os.Rename(tmp, file); err != nil { // a file system without links
		return err
	}
	return syncPath(filepath.Dir(file))
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
