package sources

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// ReplayOptions describe units on disk that are played as if a camera took them.
type ReplayOptions struct {
	Name  string
	Units []string // folders, played in this order
	Loop  bool     // from the last on to the first
	Scan  func(dir string) (part.Folder, error)
	Read  func(path string) (Frame, error) // a file as it lies there, and decoded
	Drop  func(*part.Image)                // gets pictures that were read ahead and not wanted; may be nil
}

// Replay plays units: one a call of NextUnit, the picture that Expect names at
// each Newest, dated now. Pictures are read ahead, in the order of the folder.
type Replay struct {
	o ReplayOptions

	mu       sync.Mutex
	next     int // unit
	want     part.Shot
	reported bool
	seq      int64
	ahead    []*reading // of the unit that is played
	closed   bool
	work     sync.WaitGroup
}

// reading is a picture that is being read ahead.
type reading struct {
	shot  part.Shot
	done  chan struct{}
	frame Frame
	err   error
	used  bool // given away; another Newest reads it again
}

// NewReplay returns a replay that stands before its first unit.
func NewReplay(o ReplayOptions) (*Replay, error) {
	if len(o.Units) == 0 {
		return nil, fmt.Errorf("sources: camera %s: no unit to play; name a folder that holds units", o.Name)
	}
	if o.Drop == nil {
		o.Drop = func(*part.Image) {}
	}
	return &Replay{o: o}, nil
}

// Name is the camera's name.
func (r *Replay) Name() string { return r.o.Name }

// State is always ready.
func (r *Replay) State() State {
	r.mu.Lock()
	defer r.mu.Unlock()
	return State{Ready: !r.closed, Frames: r.seq}
}

// NextUnit goes on to the next unit; see [Follower]. At the end it says io.EOF.
func (r *Replay) NextUnit() ([]part.Shot, error) {
	r.mu.Lock()
	if r.next >= len(r.o.Units) && r.o.Loop {
		r.next = 0
	}
	if r.next >= len(r.o.Units) {
		r.mu.Unlock()
		return nil, &endOfReplay{trouble.New(trouble.NoUnit, "the replay has no unit left")}
	}
	dir := r.o.Units[r.next]
	r.next++
	r.reported = false
	old := r.ahead
	r.ahead = nil
	r.mu.Unlock()
	r.forget(old)

	folder, err := r.o.Scan(dir)
	if err != nil {
		return nil, trouble.Newf(trouble.Away, "%v", err)
	}
	var list []*reading
	for _, s := range folder.Shots {
		list = append(list, &reading{shot: s, done: make(chan struct{})})
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return nil, errors.New("sources: the replay has been closed")
	}
	r.ahead = list
	r.work.Go(func() { r.readAhead(list) })
	return folder.Shots, nil
}

// endOfReplay is the trouble, and io.EOF for those who ask.
type endOfReplay struct{ *part.Trouble }

func (e *endOfReplay) Unwrap() []error { return []error{e.Trouble, io.EOF} }

// readAhead decodes while the pictures before are being looked at.
func (r *Replay) readAhead(list []*reading) {
	for _, p := range list {
		r.mu.Lock()
		stop := r.closed || len(r.ahead) == 0 || r.ahead[0] != list[0]
		r.mu.Unlock()
		if stop {
			p.err = errors.New("sources: another unit is played by now")
		} else {
			p.frame, p.err = r.o.Read(p.shot.Path)
		}
		close(p.done)
	}
}

// forget hands back what was read and not wanted.
func (r *Replay) forget(list []*reading) {
	for _, p := range list {
		<-p.done
		if p.err == nil && !p.used {
			r.o.Drop(p.frame.Image)
		}
	}
}

// Expect says which shot is to be given; see [Follower].
func (r *Replay) Expect(s part.Shot) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.want, r.reported = s, true
}

// Newest gives the expected picture, dated now; where nothing was expected, the
// first of the unit, for the live picture.
func (r *Replay) Newest(ctx context.Context, after time.Time) (Frame, error) {
	p, used, err := r.find()
	if err != nil {
		return Frame{}, err
	}
	select {
	case <-ctx.Done():
		return Frame{}, ctx.Err()
	case <-p.done:
	}
	frame, err := p.frame, p.err
	if used {
		frame, err = r.o.Read(p.shot.Path)
	}
	if err != nil {
		return Frame{}, trouble.New(trouble.BadPicture, fmt.Sprintf("%s could not be used: %v", p.shot.File, err), "file", p.shot.File, "detail", err.Error())
	}
	taken := time.Now()
	if d := after.Sub(taken); d > 0 {
		if !retry.Sleep(ctx, d) {
			return Frame{}, ctx.Err()
		}
		taken = after
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.seq++
	frame.Name, frame.Taken, frame.Seq = p.shot.File, taken, r.seq
	return frame, nil
}

// find is the expected picture of the unit that is played, and whether it was
// given before.
func (r *Replay) find() (*reading, bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, p := range r.ahead {
		if !r.reported || asWanted(p.shot, r.want) {
			used := p.used || !r.reported // a live picture takes nothing away
			p.used = p.used || r.reported
			return p, used, nil
		}
	}
	if len(r.ahead) == 0 {
		return nil, false, trouble.New(trouble.NoUnit, "no unit is played at the moment")
	}
	name := fmt.Sprintf("%s %s %g", r.want.View, r.want.Light, r.want.AngleDeg)
	return nil, false, trouble.New(trouble.NoShot, "the unit that is played has no picture "+trouble.Clean(name), "file", trouble.Clean(name))
}

// asWanted says whether a shot is what a plan wants. The light of an edge is not in its
// picture's name.
func asWanted(shot, want part.Shot) bool {
	return shot.View == want.View && (shot.Light == want.Light || shot.View == part.Edge) && shot.AngleDeg == want.AngleDeg
}

// Close ends the reading ahead.
func (r *Replay) Close() error {
	r.mu.Lock()
	r.closed = true
	old := r.ahead
	r.ahead = nil
	r.mu.Unlock()
	r.forget(old)
	r.work.Wait()
	return nil
}
