package capture

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"finishbench/internal/part"
)

// Frame is a picture with what is known of its taking. Hand Image back with
// [Release].
type Frame struct {
	Image *part.Image
	Path  string
	Taken time.Time // when the file was last written, by the clock of who wrote it
	Came  time.Time // it was not in the folder before this moment, by this machine's clock
	Tags  Tags
}

// ErrAway says that a folder cannot be reached at the moment.
var ErrAway = errors.New("out of reach")

// PictureError is a picture that came and could not be used.
type PictureError struct {
	Path string
	Err  error // one line, as of [Read]
}

func (e PictureError) Error() string { return e.Err.Error() }
func (e PictureError) Unwrap() error { return e.Err }

// Pictures lists the files in a folder that have a picture's name, in order.
// The error says that it is missing, no folder, or not to be read.
func Pictures(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("capture: pictures in %s: %w", dir, watchError(dir, err))
	}
	var paths []string
	for _, e := range entries {
		if !e.IsDir() && IsPicture(e.Name()) {
			paths = append(paths, filepath.Join(dir, e.Name()))
		}
	}
	return paths, nil
}

// ShotByName tells a picture's view, light and angle from its file's name, as
// [Scan] does; false where the name does not tell them.
func ShotByName(file string) (part.Shot, bool) {
	shot, ok, err := shotByName(file)
	return shot, ok && err == nil
}
