package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"golang.org/x/sys/unix"
)

// What a unit's folder of results holds. Anything else in it is the user's.
const (
	ResultFile   = "result.json"
	ReportFile   = "report.html"
	AnnotatedDir = "annotated"
)

// OutDir is OUT, the folder under which each unit gets one of its own.
type OutDir struct{ Path string }

// OpenOut makes OUT ready, or says why it cannot be: it is a file, or may not be
// written.
func OpenOut(path string) (*OutDir, error) {
	if err := os.MkdirAll(path, 0o777); err != nil {
		return nil, OutError(path, err)
	}
	probe, err := os.CreateTemp(path, ".inspect-*")
	if err != nil {
		return nil, OutError(path, err)
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return nil, OutError(path, err)
	}
	return &OutDir{Path: path}, nil
}

// MakeRoom readies OUT for the results of a unit whose photographs lie in a
// folder, and clears what a killed run left of it. It refuses to put results
// where something else lies: the unit's own photographs above all.
func (o *OutDir) MakeRoom(unit, photographs string) error {
	if err := o.mayReplace(unit, photographs); err != nil {
		return err
	}
	if err := os.RemoveAll(o.temporary(unit)); err != nil {
		return OutError(o.Path, err)
	}
	return nil
}

func (o *OutDir) mayReplace(unit, photographs string) error {
	dst := filepath.Join(o.Path, unit)
	have, err := os.Stat(dst)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return OutError(o.Path, err)
	}
	if src, err := os.Stat(photographs); err == nil && os.SameFile(src, have) {
		return Usagef("--out %s would write the results of %s over its photographs: choose another folder", o.Path, unit)
	}
	if !have.IsDir() {
		return Usagef("--out %s: %s is a file, results need a folder of that name: choose another --out", o.Path, dst)
	}
	if _, err := os.Stat(filepath.Join(dst, ResultFile)); err == nil {
		return nil
	}
	entries, err := os.ReadDir(dst)
	if err != nil {
		return OutError(o.Path, err)
	}
	if len(entries) > 0 {
		return Usagef("--out %s: %s holds something that is not a result: choose another --out", o.Path, dst)
	}
	return nil
}

// temporary is the name under which a unit's results are written at first. It
// is fixed, so that the next run clears what a killed one left.
func (o *OutDir) temporary(unit string) string {
	return filepath.Join(o.Path, "."+unit+".unfinished")
}

// UnitDir is the folder of one unit's results while it is being written.
type UnitDir struct{ out, tmp, dst string }

// Begin makes a unit's folder of results under a temporary name. Call commit or drop.
func (o *OutDir) Begin(unit string) (*UnitDir, error) {
	d := &UnitDir{out: o.Path, tmp: o.temporary(unit), dst: filepath.Join(o.Path, unit)}
	if err := os.RemoveAll(d.tmp); err != nil {
		return nil, OutError(o.Path, err)
	}
	if err := os.MkdirAll(filepath.Join(d.tmp, AnnotatedDir), 0o777); err != nil {
		d.Drop()
		return nil, OutError(o.Path, err)
	}
	return d, nil
}

// Write puts one file into the folder; name may hold a slash.
func (d *UnitDir) Write(name string, data []byte) error {
	if err := os.WriteFile(filepath.Join(d.tmp, filepath.FromSlash(name)), data, 0o666); err != nil {
		return OutError(d.out, err)
	}
	return nil
}

// Drop removes what was written so far.
func (d *UnitDir) Drop() { _ = os.RemoveAll(d.tmp) }

// Commit gives the folder its name, in place of an older result of this unit.
// Files that a person put beside the older result stay.
func (d *UnitDir) Commit() error {
	err := os.Rename(d.tmp, d.dst)
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrExist) && !errors.Is(err, syscall.ENOTEMPTY) {
		return OutError(d.out, err)
	}
	// Linux swaps two folders in one step; where the file system cannot, the
	// older one makes room first.
	err = unix.Renameat2(unix.AT_FDCWD, d.tmp, unix.AT_FDCWD, d.dst, unix.RENAME_EXCHANGE)
	older := d.tmp
	if err != nil {
		older = d.tmp + ".older"
		_ = os.RemoveAll(older)
		if err := os.Rename(d.dst, older); err != nil {
			return OutError(d.out, err)
		}
		if err := os.Rename(d.tmp, d.dst); err != nil {
			return OutError(d.out, errors.Join(err, os.Rename(older, d.dst)))
		}
	}
	entries, err := os.ReadDir(older)
	if err != nil {
		return OutError(d.out, err)
	}
	for _, e := range entries {
		if !slices.Contains([]string{ResultFile, ReportFile, AnnotatedDir}, e.Name()) {
			if err := os.Rename(filepath.Join(older, e.Name()), filepath.Join(d.dst, e.Name())); err != nil {
				return OutError(d.out, err)
			}
		}
	}
	if err := os.RemoveAll(older); err != nil {
		return OutError(d.out, err)
	}
	return nil
}

// ReplaceFile writes a file directly under OUT: to a temporary name first, then
// renamed.
func (o *OutDir) ReplaceFile(name string, data []byte) error {
	tmp := filepath.Join(o.Path, "."+name+".unfinished")
	err := os.WriteFile(tmp, data, 0o666)
	if err == nil {
		err = os.Rename(tmp, filepath.Join(o.Path, name))
	}
	if err != nil {
		_ = os.Remove(tmp)
		return OutError(o.Path, err)
	}
	return nil
}

// OutDirError is trouble with OUT itself: the next unit would meet it too.
type OutDirError struct {
	out string
	err error
}

// Error says in one line what is wrong with OUT and what to do.
func (e OutDirError) Error() string {
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

func (e OutDirError) Unwrap() error { return e.err }

// OutError is trouble with OUT, as one that the next unit would meet too.
func OutError(out string, err error) error { return OutDirError{out, err} }

// ReplaceWith is [OutDir.ReplaceFile] for what is too long to be held in memory.
func (o *OutDir) ReplaceWith(name string, write func(io.Writer) error) error {
	tmp := filepath.Join(o.Path, "."+name+".unfinished")
	f, err := os.Create(tmp)
	if err != nil {
		return OutError(o.Path, err)
	}
	w := bufio.NewWriterSize(f, 256<<10)
	made := write(w)
	if err = errors.Join(w.Flush(), f.Close()); err == nil && made == nil {
		err = os.Rename(tmp, filepath.Join(o.Path, name))
	}
	if made == nil && err == nil {
		return nil
	}
	_ = os.Remove(tmp)
	if err != nil {
		return OutError(o.Path, err)
	}
	return made
}
