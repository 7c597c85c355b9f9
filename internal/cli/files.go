package cli

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"

	"finishbench/internal/files"
)

// OpenTable opens a table named on the command line.
func OpenTable(path string) (*os.File, error) {
	f, err := files.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, Usagef("there is no file %s", path)
	case errors.Is(err, files.ErrFolder):
		return nil, Usagef("%s is a folder: name a table (CSV)", path)
	case err != nil:
		return nil, Usagef("%s cannot be read: %w", path, PlainPath(err))
	}
	return f, nil
}

// PlainPath is what went wrong with a file, without its name.
func PlainPath(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// ReadJSONFile reads a file of JSON. What is wrong with it is wrong usage.
func ReadJSONFile(path string, v any) error {
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return Usagef("%s cannot be read: %w", path, PlainPath(err))
	}
	if err := json.Unmarshal(data, v); err != nil {
		return Usagef("%s is no JSON of the form wanted: %w", path, err)
	}
	return nil
}
