package people

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"

	"finishbench/internal/files"
)

// FileName is how the list's file is called, beside the station file.
const FileName = "finishbench-people.json"

// mostBytes bounds the file.
const mostBytes = 1 << 20

// written is the file's content.
type written struct {
	Version int  `json:"version"` // 1
	People  List `json:"people"`
}

// Load reads a list. The error is os.ErrNotExist where there is no file.
func Load(path string) (List, error) {
	list, _, err := load(path)
	return list, err
}

func load(path string) (List, os.FileInfo, error) {
	f, err := files.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	is, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	if is.Mode().Perm()&0o077 != 0 {
		return nil, is, fmt.Errorf("others on this machine may read or write it (%v), and it holds hashes of PINs: chmod 600 it",
			is.Mode().Perm())
	}
	data, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err != nil {
		return nil, is, err
	}
	if len(data) > mostBytes {
		return nil, is, fmt.Errorf("it is larger than %d KiB", mostBytes>>10)
	}
	var w written
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&w); err != nil {
		return nil, is, fmt.Errorf("it is no list of people: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, is, errors.New("there is something after the list")
	}
	if w.Version != 1 {
		return nil, is, fmt.Errorf("its version is %d; this program reads 1", w.Version)
	}
	return w.People, is, w.People.Check()
}

// Save writes a list: all of it or nothing, readable by its owner alone.
func Save(path string, list List) error {
	if err := list.Check(); err != nil {
		return err
	}
	data, err := json.MarshalIndent(written{1, list}, "", " ")
	if err != nil {
		return err
	}
	return files.Replace(path, append(data, '\n'))
}

// File is a list that is read again when its file has changed.
type File struct {
	path string
	mu   sync.Mutex
	is   os.FileInfo
	list List
	err  error
}

// Open reads a list's file. The error is os.ErrNotExist where there is none.
func Open(path string) (*File, error) {
	list, is, err := load(path)
	if err != nil {
		return nil, err
	}
	return &File{path: path, is: is, list: list}, nil
}

// List is the people as they are now. Where the file became unreadable those who were in it before
// hold, and the error says what is wrong.
func (f *File) List() (List, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	is, err := os.Stat(f.path)
	if err != nil {
		f.is = nil
		return f.list, err
	}
	if f.is != nil && os.SameFile(is, f.is) && is.ModTime().Equal(f.is.ModTime()) && is.Size() == f.is.Size() && is.Mode() == f.is.Mode() {
		return f.list, f.err
	}
	var list List
	if list, f.is, f.err = load(f.path); f.err == nil {
		f.list = list
	}
	return f.list, f.err
}
