package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"golang.org/x/sys/unix"
)

// What a unit's folder of results holds. Anything else in it is the user's.
const (
	resultFile   = "result.json"
	reportFile   = "report.html"
	annotatedDir = "annotated"
)

// outDir is OUT, the folder under which each unit gets one of its own.
type outDir struct {
	path    string
	records *recorder // where else results go; nil: nowhere
}

// openOut makes OUT ready for the given units, or says why it cannot be: it is
// a file, may not be written, or holds something of the user's where a unit's
// results would go.
func openOut(path string, jobs []job) (*outDir, error) {
	if err := os.MkdirAll(path, 0o777); err != nil {
		return nil, outError(path, err)
	}
	probe, err := os.CreateTemp(path, ".inspect-*")
	if err != nil {
		return nil, outError(path, err)
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return nil, outError(path, err)
	}
	o := &outDir{path: path}
	for _, u := range jobs {
		if err := o.mayReplace(u); err != nil {
			return nil, err
		}
		if err := os.RemoveAll(o.temporary(u.name)); err != nil {
			return nil, outError(path, err)
		}
	}
	return o, nil
}

// mayReplace refuses to put results where something else lies: the unit's own
// photographs above all.
func (o *outDir) mayReplace(u job) error {
	dst := filepath.Join(o.path, u.name)
	have, err := os.Stat(dst)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return outError(o.path, err)
	}
	if src, err := os.Stat(u.folder.Dir); err == nil && os.SameFile(src, have) {
		return usagef("--out %s would write the results of %s over its photographs: choose another folder", o.path, u.name)
	}
	if !have.IsDir() {
		return usagef("--out %s: %s is a file, results need a folder of that name: choose another --out", o.path, dst)
	}
	if _, err := os.Stat(filepath.Join(dst, resultFile)); err == nil {
		return nil
	}
	entries, err := os.ReadDir(dst)
	if err != nil {
		return outError(o.path, err)
	}
	if len(entries) > 0 {
		return usagef("--out %s: %s holds something that is not a result: choose another --out", o.path, dst)
	}
	return nil
}

// temporary is the name under which a unit's results are written at first. It
// is fixed, so that the next run clears what a killed one left.
func (o *outDir) temporary(unit string) string {
	return filepath.Join(o.path, "."+unit+".unfinished")
}

// unitDir is the folder of one unit's results while it is being written.
type unitDir struct{ out, tmp, dst string }

func (o *outDir) begin(unit string) (*unitDir, error) {
	d := &unitDir{out: o.path, tmp: o.temporary(unit), dst: filepath.Join(o.path, unit)}
	if err := os.RemoveAll(d.tmp); err != nil {
		return nil, outError(o.path, err)
	}
	if err := os.MkdirAll(filepath.Join(d.tmp, annotatedDir), 0o777); err != nil {
		d.drop()
		return nil, outError(o.path, err)
	}
	return d, nil
}

// write puts one file into the folder; name may hold a slash.
func (d *unitDir) write(name string, data []byte) error {
	if err := os.WriteFile(filepath.Join(d.tmp, filepath.FromSlash(name)), data, 0o666); err != nil {
		return outError(d.out, err)
	}
	return nil
}

// drop removes what was written so far.
func (d *unitDir) drop() { _ = os.RemoveAll(d.tmp) }

// commit gives the folder its name, in place of an older result of this unit.
// Files that a person put beside the older result stay.
func (d *unitDir) commit() error {
	err := os.Rename(d.tmp, d.dst)
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrExist) && !errors.Is(err, syscall.ENOTEMPTY) {
		return outError(d.out, err)
	}
	// Linux swaps two folders in one step; where the file system cannot, the
	// older one makes room first.
	err = unix.Renameat2(unix.AT_FDCWD, d.tmp, unix.AT_FDCWD, d.dst, unix.RENAME_EXCHANGE)
	older := d.tmp
	if err != nil {
		older = d.tmp + ".older"
		_ = os.RemoveAll(older)
		if err := os.Rename(d.dst, older); err != nil {
			return outError(d.out, err)
		}
		if err := os.Rename(d.tmp, d.dst); err != nil {
			return outError(d.out, errors.Join(err, os.Rename(older, d.dst)))
		}
	}
	entries, err := os.ReadDir(older)
	if err != nil {
		return outError(d.out, err)
	}
	for _, e := range entries {
		if !slices.Contains([]string{resultFile, reportFile, annotatedDir}, e.Name()) {
			if err := os.Rename(filepath.Join(older, e.Name()), filepath.Join(d.dst, e.Name())); err != nil {
				return outError(d.out, err)
			}
		}
	}
	if err := os.RemoveAll(older); err != nil {
		return outError(d.out, err)
	}
	return nil
}

// replaceFile writes a file directly under OUT: to a temporary name first, then
// renamed.
func (o *outDir) replaceFile(name string, data []byte) error {
	tmp := filepath.Join(o.path, "."+name+".unfinished")
	err := os.WriteFile(tmp, data, 0o666)
	if err == nil {
		err = os.Rename(tmp, filepath.Join(o.path, name))
	}
	if err != nil {
		_ = os.Remove(tmp)
		return outError(o.path, err)
	}
	return nil
}

// outDirError is trouble with OUT itself: the next unit would meet it too.
type outDirError struct {
	out string
	err error
}

// Error says in one line what is wrong with OUT and what to do.
func (e outDirError) Error() string {
	what := e.err.Error()
	switch {
	case errors.Is(e.err, syscall.ENOSPC), errors.Is(e.err, syscall.EDQUOT):
		what = "the disk is full: free some space and run this again"
	case errors.Is(e.err, syscall.EROFS):
		what = "the disk is read-only: choose another folder"
	case errors.Is(e.err, fs.ErrPermission):
		what = "this account may not write there: choose another folder, or ask for the right to write"
	case errors.Is(e.err, syscall.ENOTDIR):
		what = "part of that path is a file, not a folder: choose another folder"
	}
	return fmt.Sprintf("--out %s: %s", e.out, what)
}

func (e outDirError) Unwrap() error { return e.err }

func outError(out string, err error) error { return outDirError{out, err} }
