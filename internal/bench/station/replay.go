package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/bench"
	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// Replay plays the units of a folder as if they were photographed, one
// unit a press, from the first again after the last.
type Replay struct {
	fit   part.FitLimits
	jobs  int
	Units []part.Folder

	mu   sync.Mutex
	next int
	live map[string]livePicture // by unit
}

type livePicture struct {
	jpeg []byte
	aid  bench.Aid
}

// NewReplay lists the units of a folder: the folders in it, or the folder
// itself where it holds pictures.
func NewReplay(dir string, fit part.FitLimits, jobs int) (*Replay, error) {
	s := &Replay{fit: fit, jobs: max(1, jobs), live: map[string]livePicture{}}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, cli.Usagef("--replay %s: %w", dir, cli.PlainPath(err))
	}
	var why error
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		f, err := capture.Scan(filepath.Join(dir, e.Name()))
		if err != nil {
			why = errors.Join(why, err)
			continue
		}
		s.Units = append(s.Units, f)
	}
	if len(s.Units) == 0 {
		f, err := capture.Scan(dir)
		if err != nil {
			return nil, cli.Usagef("--replay %s: it holds no unit: %w", dir, plain(errors.Join(err, why)))
		}
		s.Units = append(s.Units, f)
	}
	return s, nil
}

// plain is the message of an error for a person, in one line.
func plain(err error) error { return errors.New(cli.Plain(err)) }

func (s *Replay) upcoming() part.Folder {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.Units[s.next%len(s.Units)]
}

// Shoot reads the pictures of the next unit, some at once, and checks them.
func (s *Replay) Shoot(ctx context.Context, _ part.UnitInfo, kept []part.Photo, say func(bench.Progress)) ([]part.Photo, error) {
	folder := s.upcoming()
	done := map[string]bool{}
	for _, k := range kept {
		done[k.File] = true
	}
	var todo []part.Shot
	for _, shot := range folder.Shots {
		if !done[shot.File] {
			todo = append(todo, shot)
		}
	}
	got := make([]*part.Photo, len(todo))
	var mu sync.Mutex
	n := len(kept)
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(s.jobs)
	for i, shot := range todo {
		if ctx.Err() != nil {
			break
		}
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			b, err := s.take(shot)
			if err != nil {
				return err
			}
			got[i] = &b
			mu.Lock()
			defer mu.Unlock()
			n++
			say(bench.Progress{Done: n, Total: len(folder.Shots), View: shot.View, Light: shot.Light, AngleDeg: shot.AngleDeg})
			return nil
		})
	}
	err := errors.Join(g.Wait(), ctx.Err())
	shots := append([]part.Photo(nil), kept...)
	for _, b := range got {
		if b != nil {
			shots = append(shots, *b)
		}
	}
	if err != nil && len(shots) < len(folder.Shots) {
		return shots, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.next++
	return shots, nil
}

// take reads one picture. One that cannot be decoded is a shot that is not fit.
func (s *Replay) take(shot part.Shot) (part.Photo, error) {
	raw, err := files.Read(shot.Path, files.MostPicture)
	if err != nil {
		return part.Photo{}, fmt.Errorf("%s: %w", shot.File, cli.PlainPath(err))
	}
	path := shot.Path
	shot.Path = "" // as of a picture that a camera gave
	b := part.Photo{Shot: shot, Raw: raw, MIME: mimeOf(shot.File)}
	if b.Image, err = capture.Read(path); err != nil {
		b.Report = capture.Unreadable(shot, err)
		return b, nil
	}
	b.Report = capture.Check(b.Image, shot, s.fit)
	return b, nil
}

// Press, with nothing to ask, is not needed.
func (s *Replay) Press() {}

func (s *Replay) Cameras() []bench.CameraState {
	return []bench.CameraState{{Name: replayCamera, Ready: true}}
}

const replayCamera = "replay"

// Live is the face of the unit to come.
func (s *Replay) Live(string) ([]byte, bench.Aid, error) {
	f := s.upcoming()
	s.mu.Lock()
	defer s.mu.Unlock()
	if l, ok := s.live[f.Dir]; ok {
		return l.jpeg, l.aid, nil
	}
	shot := f.Shots[len(f.Shots)-1]
	for _, s := range f.Shots {
		if s.Searched() {
			shot = s // the last that is looked at
		}
	}
	im, err := capture.Read(shot.Path)
	if err != nil {
		return nil, bench.Aid{}, err
	}
	defer capture.Release(im)
	jpeg, err := liveJPEG(im)
	if err != nil {
		return nil, bench.Aid{}, err
	}
	l := livePicture{jpeg, aidOf(im, shot, s.fit)}
	if len(s.live) > 200 {
		clear(s.live)
	}
	s.live[f.Dir] = l
	return l.jpeg, l.aid, nil
}

// liveWidth is the width of live pictures, px.
const liveWidth = 640

// liveJPEG makes a picture small for the page.
func liveJPEG(im *part.Image) ([]byte, error) {
	return report.SmallJPEG(im, liveWidth)
}

// Release hands pixels back to capture.
func (s *Replay) Release(shots []part.Photo) { releaseShots(shots) }

func releaseShots(shots []part.Photo) {
	for _, x := range shots {
		if x.Image != nil {
			capture.Release(x.Image)
		}
	}
}

func mimeOf(file string) string {
	switch filepath.Ext(file) {
	case ".png", ".PNG":
		return "image/png"
	case ".tif", ".tiff", ".TIF", ".TIFF":
		return "image/tiff"
	case ".bmp", ".BMP":
		return "image/bmp"
	}
	return "image/jpeg"
}
