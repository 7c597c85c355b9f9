package capture

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"finishbench/internal/part"
)

// WatchOptions say how patiently a folder is watched.
type WatchOptions struct {
	Every     time.Duration // from one look at the folder to the next
	Settled   time.Duration // a file whose size and time have not changed for so long counts as whole
	Patience  time.Duration // a settled file that cannot be decoded is tried again for so long
	MaxPixels int           // larger pictures are refused
}

// DefaultWatchOptions are common practice, no source.
func DefaultWatchOptions() WatchOptions {
	return WatchOptions{Every: 200 * time.Millisecond, Settled: 400 * time.Millisecond, Patience: 4 * time.Second, MaxPixels: MaxPixels}
}

// Watch is a folder in which new pictures appear. What lies there at the start
// is old and never given. Of several new ones the one that came last is given,
// and those before it are passed over. A file that is written again counts as
// new; so does one that is moved in, whatever date it bears. Files without a
// picture's name, hidden ones and those in folders below are left alone.
//
// The folder is looked at again and again rather than waiting to be told by the
// system: a network share does not tell, and a file that is still being
// written needs a second look anyway.
type Watch struct {
	dir   string
	o     WatchOptions
	files map[string]*seenFile
	away  bool
	looks int
	last  time.Time // the last look at which the folder could be read
}

// seenFile is what the last looks said of one file.
type seenFile struct {
	size    int64
	written time.Time // the file's own date
	look    int       // at which it was last found changed: the order of coming
	since   time.Time // when that was
	came    time.Time // it was not there, or not as new, before this moment
	again   time.Time // not to be tried before; zero: not tried yet
	wait    time.Duration
	done    bool // old, given, passed over or refused, until it changes
}

// NewWatch starts watching a folder. The error says that it is missing, no
// folder, or not to be read.
func NewWatch(dir string, o WatchOptions) (*Watch, error) {
	w := &Watch{dir: dir, o: o, files: map[string]*seenFile{}}
	if err := w.look(time.Now()); err != nil {
		return nil, fmt.Errorf("capture: watch folder %s: %w", dir, watchError(dir, err))
	}
	for _, f := range w.files {
		f.done = true
	}
	return w, nil
}

func watchError(dir string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errors.New("there is no such folder; check the path, or make it")
	case errors.Is(err, fs.ErrPermission):
		return errors.New("no permission to read it")
	}
	if st, e := os.Stat(dir); e == nil && !st.IsDir() {
		return errors.New("this is a file; give the folder into which the camera puts its pictures")
	}
	return plainPathError(err)
}

// Close ends the watching. It cannot fail.
func (w *Watch) Close() error { return nil }

// Next waits for the next whole picture. Errors: a [PictureError] for one that could not
// be used, or [ErrAway], once, when the folder cannot be read at the moment: say so and
// call Next again, it waits until that has healed; ctx's error when the caller gave up;
// any other error is the end.
func (w *Watch) Next(ctx context.Context) (Frame, error) {
	for {
		if err := ctx.Err(); err != nil {
			return Frame{}, err
		}
		now := time.Now()
		if err := w.look(now); err != nil {
			if !w.away {
				w.away = true
				return Frame{}, fmt.Errorf("capture: folder %s is %w (%w)", w.dir, ErrAway, plainPathError(err))
			}
		} else {
			w.away = false
			if f, ok, err := w.newest(now); ok || err != nil {
				return f, err
			}
		}
		if err := pause(ctx, w.o.Every); err != nil {
			return Frame{}, err
		}
	}
}

func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// look brings what is known of the files up to date. After an error nothing is
// changed, so that a folder that comes back has its old files still.
func (w *Watch) look(now time.Time) error {
	entries, err := os.ReadDir(w.dir)
	if err != nil {
		return err
	}
	w.looks++
	here := make(map[string]bool, len(entries))
	for _, e := range entries {
		if !IsPicture(e.Name()) || e.IsDir() {
			continue
		}
		// Listed is not forgotten: a folder may vanish between list and look, and
		// its old files must not come back as new ones.
		here[e.Name()] = true
		st, err := w.stat(e)
		if err != nil || !st.Mode().IsRegular() {
			continue // gone since, or no file
		}
		f := w.files[e.Name()]
		if f == nil {
			f = &seenFile{size: -1, came: w.last}
			w.files[e.Name()] = f
		}
		if f.size != st.Size() || !f.written.Equal(st.ModTime()) {
			came := f.came
			if f.done {
				came = w.last
			}
			*f = seenFile{size: st.Size(), written: st.ModTime(), look: w.looks, since: now, came: came}
		}
	}
	w.last = now
	// An empty list may be a share that has just gone; forgetting all files
	// would make each of them new when it is back.
	if len(entries) == 0 {
		return nil
	}
	for name := range w.files {
		if !here[name] {
			delete(w.files, name)
		}
	}
	return nil
}

func (w *Watch) stat(e fs.DirEntry) (fs.FileInfo, error) {
	if e.Type()&fs.ModeSymlink != 0 {
		return os.Stat(filepath.Join(w.dir, e.Name()))
	}
	return e.Info()
}

// newest gives the file that came last of those that are whole. A newer one
// that is still being written keeps its turn.
func (w *Watch) newest(now time.Time) (Frame, bool, error) {
	for _, name := range w.waiting() {
		f := w.files[name]
		if f.size == 0 && now.Sub(f.since) < w.o.Patience || now.Sub(f.since) < w.o.Settled || now.Before(f.again) {
			continue
		}
		path := filepath.Join(w.dir, name)
		im, err := ReadLimited(path, w.o.MaxPixels)
		if err == nil {
			w.passOver(f)
			return w.frame(path, f, im), true, nil
		}
		if _, gone := os.Stat(path); errors.Is(gone, fs.ErrNotExist) {
			continue // the next look forgets it
		}
		if now.Sub(f.since) < w.o.Patience {
			// A camera may set the size first and fill the file later.
			f.wait = max(2*f.wait, w.o.Every)
			f.again = now.Add(f.wait)
			continue
		}
		w.passOver(f)
		return Frame{}, false, PictureError{path, err}
	}
	return Frame{}, false, nil
}

// waiting are the files still to be given, the last one to come first.
func (w *Watch) waiting() []string {
	var names []string
	for name, f := range w.files {
		if !f.done {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		return -w.order(a, b)
	})
	return names
}

// order is by coming, then by date, then by name.
func (w *Watch) order(a, b string) int {
	fa, fb := w.files[a], w.files[b]
	return cmp.Or(cmp.Compare(fa.look, fb.look), fa.written.Compare(fb.written), cmp.Compare(a, b))
}

// passOver marks a file and all that came before it as done.
func (w *Watch) passOver(last *seenFile) {
	for _, f := range w.files {
		if f.look < last.look || f.look == last.look && !f.written.After(last.written) {
			f.done = true
		}
	}
	last.done = true
}

func (w *Watch) frame(path string, f *seenFile, im *part.Image) Frame {
	tags, err := ReadTags(path)
	if err != nil {
		tags = Tags{} // the picture is here; without tags it is only less well known
	}
	return Frame{Image: im, Path: path, Taken: f.written, Came: f.came, Tags: tags}
}
