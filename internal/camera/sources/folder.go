package sources

import (
	"context"
	"errors"
	"sync"
	"time"

	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// Arrivals gives the files that come into a folder: the newest whole one, and
// never one that was there before. Next returns [ErrAway] when the folder cannot
// be reached, and waits inside the next call until that has healed; a
// *part.Trouble for a file that cannot be used; ctx's error; any other error is
// the end.
type Arrivals interface {
	Next(ctx context.Context) (Frame, error)
	Close() error
}

// ErrAway says that a folder cannot be reached at the moment.
var ErrAway = errors.New("out of reach")

// Folder is a camera that drops its pictures into a folder.
type Folder struct {
	name  string
	in    Arrivals
	stop  context.CancelFunc
	ended chan struct{}

	mu     sync.Mutex
	state  State
	newest *Frame
	bad    *part.Trouble // the latest file, where it could not be used
	badAt  time.Time
	came   chan struct{}
	drop   func(*part.Image)
}

// NewFolder follows a folder. release gets pictures that nobody took; it may be
// nil.
func NewFolder(name string, in Arrivals, release func(*part.Image)) *Folder {
	ctx, stop := context.WithCancel(context.Background())
	if release == nil {
		release = func(*part.Image) {}
	}
	f := &Folder{name: name, in: in, stop: stop, ended: make(chan struct{}), came: make(chan struct{}), drop: release}
	f.state = State{Ready: true, Since: time.Now()}
	go func() {
		defer close(f.ended)
		f.follow(ctx)
	}()
	return f
}

// Drops marks the folder as one whose pictures come when a person wants.
func (f *Folder) Drops() {}

// Name is the camera's name.
func (f *Folder) Name() string { return f.name }

// Close ends the following.
func (f *Folder) Close() error {
	f.stop()
	<-f.ended
	return f.in.Close()
}

// State says whether the folder can be reached.
func (f *Folder) State() State {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.state
}

func (f *Folder) follow(ctx context.Context) {
	for {
		frame, err := f.in.Next(ctx)
		var bad *part.Trouble
		switch {
		case ctx.Err() != nil:
			return
		case err == nil:
			f.put(frame)
		case errors.Is(err, ErrAway):
			f.change(false, trouble.New(trouble.Away, "its folder cannot be reached", "detail", err.Error()))
		case errors.As(err, &bad):
			f.refuse(bad)
		default:
			f.change(false, trouble.Newf(trouble.Other, "%v", err))
			return
		}
	}
}

func (f *Folder) put(frame Frame) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.state.Frames++
	if f.newest != nil {
		f.drop(f.newest.Image)
	}
	frame.Seq = f.state.Frames
	f.newest = &frame
	f.ready(true, nil)
	f.wake()
}

func (f *Folder) refuse(bad *part.Trouble) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.bad, f.badAt = bad, time.Now()
	f.ready(true, nil)
	f.wake()
}

func (f *Folder) change(ready bool, why *part.Trouble) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.ready(ready, why)
	f.wake()
}

// ready notes a change of state; mu is held.
func (f *Folder) ready(ready bool, why *part.Trouble) {
	if f.state.Ready != ready {
		f.state.Since = time.Now()
	}
	f.state.Ready, f.state.Why = ready, why
}

func (f *Folder) wake() {
	close(f.came)
	f.came = make(chan struct{})
}

// Newest waits for a file that came after the given moment; see [Camera]. A file
// is given once.
func (f *Folder) Newest(ctx context.Context, after time.Time) (Frame, error) {
	for {
		frame, came, err := f.take(after)
		if err != nil || frame.Image != nil {
			return frame, err
		}
		select {
		case <-ctx.Done():
			return Frame{}, ctx.Err()
		case <-f.ended:
			return Frame{}, &LostError{Name: f.name, Why: trouble.New(trouble.Other, "it has been closed")}
		case <-came:
		}
	}
}

func (f *Folder) take(after time.Time) (Frame, <-chan struct{}, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.bad != nil {
		bad := f.bad
		f.bad = nil
		if !f.badAt.Before(after) {
			return Frame{}, nil, bad
		}
	}
	switch {
	case !f.state.Ready:
		return Frame{}, nil, &LostError{Name: f.name, Why: f.state.Why}
	case f.newest == nil:
		return Frame{}, f.came, nil
	case f.newest.Taken.Before(after):
		f.drop(f.newest.Image)
		f.newest = nil
		return Frame{}, f.came, nil
	}
	frame := *f.newest
	f.newest = nil
	return frame, nil, nil
}
