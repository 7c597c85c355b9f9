package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"finishbench/internal/bench"
	"finishbench/internal/capture"
	"finishbench/internal/files"
	"finishbench/internal/part"
)

// underway is [bench.Keeper] in a folder: unit.json, or verdict.json, and of each picture that was taken NN.json beside its file.
// A picture counts once its JSON is there, which is written last.
type underway struct {
	dir string

	mu sync.Mutex
	n  int // pictures since the unit began
}

const (
	underwayUnit    = "unit.json"
	underwayVerdict = "verdict.json"
)

// Begin is [bench.Keeper].
func (k *underway) Begin(u bench.Underway) error { return k.replace(underwayUnit, u) }

// Answer is [bench.Keeper].
func (k *underway) Answer(s bench.Shown) error { return k.replace(underwayVerdict, s) }

// Drop is [bench.Keeper].
func (k *underway) Drop() error { return k.replace("", nil) }

// replace lets go of all that is kept, and keeps v as a file of a name.
func (k *underway) replace(name string, v any) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.n = 0
	// What says that there is something goes first: what is left of it says nothing.
	for _, f := range []string{underwayUnit, underwayVerdict} {
		if err := os.Remove(filepath.Join(k.dir, f)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if err := os.RemoveAll(k.dir); err != nil || name == "" {
		return err
	}
	if err := os.MkdirAll(k.dir, 0o700); err != nil {
		return err
	}
	return k.write(name, v)
}

// write keeps v as JSON in a file of a name.
func (k *underway) write(name string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return files.Replace(filepath.Join(k.dir, name), data)
}

// keptPhoto is a photo on disk.
type keptPhoto struct {
	part.Photo
	Image, Raw *struct{} `json:",omitempty"` // not written: the picture's file has them
	Picture    string    // that file
}

// add keeps a picture of the unit under way; raw is its file.
func (k *underway) add(x part.Photo, raw []byte) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.n++
	name := fmt.Sprintf("%02d", k.n)
	kept := keptPhoto{Photo: x, Picture: name + filepath.Ext(x.File)}
	if err := files.Replace(filepath.Join(k.dir, kept.Picture), raw); err != nil {
		return err
	}
	return k.write(name+".json", kept)
}

// Kept is [bench.Keeper].
func (k *underway) Kept() (*bench.Underway, *bench.Shown, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var shown bench.Shown
	if ok, err := k.read(underwayVerdict, &shown); ok || err != nil {
		return nil, &shown, err
	}
	var u bench.Underway
	if ok, err := k.read(underwayUnit, &u); !ok || err != nil {
		return nil, nil, err
	}
	names, err := filepath.Glob(filepath.Join(k.dir, "[0-9]*.json"))
	if err != nil {
		return nil, nil, err
	}
	slices.Sort(names)
	for _, name := range names {
		k.n++
		var x keptPhoto
		if _, err := k.read(filepath.Base(name), &x); err != nil {
			return nil, nil, err
		}
		if x.Picture == "" || !filepath.IsLocal(x.Picture) {
			return nil, nil, fmt.Errorf("%s names no picture beside it", name)
		}
		file := filepath.Join(k.dir, x.Picture)
		if x.Photo.Raw, err = files.Read(file, files.MostPicture); err != nil {
			return nil, nil, err
		}
		if x.Photo.Image, err = capture.Read(file); err != nil {
			return nil, nil, err
		}
		x.Photo.MIME = mimeOf(file)
		u.Shots = append(u.Shots, x.Photo)
	}
	return &u, nil, nil
}

// read reads a file of the folder; false: it is not there.
func (k *underway) read(name string, v any) (bool, error) {
	data, err := files.Read(filepath.Join(k.dir, name), files.MostText)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err == nil {
		err = json.Unmarshal(data, v)
	}
	if err != nil {
		return false, fmt.Errorf("%s: %w", filepath.Join(k.dir, name), err)
	}
	return true, nil
}
