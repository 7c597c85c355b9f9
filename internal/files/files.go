// Package files opens files that a person or a file named. What is no plain file
// is refused before it is read: a pipe with nobody at its other end would be
// waited for, a device read without end. And no more is read than was asked for.
// What is written in a file's place is there as a whole or not at all.
package files

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Most are the sizes, in bytes, above which a file is not what it should be: a
// text (a result of a unit has about 100 kB), a picture (50 megapixels of four
// samples of 16 bits, and room for the rest).
const (
	MostText    = 64 << 20
	MostPicture = 8*50_000_000 + 16<<20
)

// What is no plain file. Errors of this package hold these or the system's, in a
// [*fs.PathError].
var (
	ErrFolder  = errors.New("it is a folder: name the file in it")
	ErrNoFile  = errors.New("it is no plain file, but a pipe, a socket or a device")
	errTooLong = errors.New("it is too large")
)

// Open opens a plain file for reading, without waiting for anybody.
func Open(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0) // a pipe would be waited for
	if errors.Is(err, unix.ENXIO) {                             // a socket cannot be opened at all
		return nil, &fs.PathError{Op: "open", Path: path, Err: ErrNoFile}
	}
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	switch {
	case err != nil:
	case info.IsDir():
		err = &fs.PathError{Op: "open", Path: path, Err: ErrFolder}
	case !info.Mode().IsRegular():
		err = &fs.PathError{Op: "open", Path: path, Err: ErrNoFile}
	default:
		return f, nil
	}
	f.Close()
	return nil, err
}

// Replace puts data in a file's place, readable by its owner alone: all of it or nothing, also where the power fails meanwhile.
func Replace(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // 0600
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// Read reads a plain file of at most most bytes.
func Read(path string, most int64) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	tooLong := &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("%w: %d bytes, more than the %d that it may have", errTooLong,
		info.Size(), most)}
	if info.Size() > most {
		return nil, tooLong
	}
	data := make([]byte, info.Size())
	n, err := io.ReadFull(f, data)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) { // cut short meanwhile: its reader tells
		return nil, err
	}
	return data[:n], nil
}
