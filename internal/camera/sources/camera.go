package sources

import (
	"context"
	"fmt"
	"time"

	"finishbench/internal/part"
)

// Frame is a picture from a camera. The image belongs to whoever took it.
type Frame struct {
	Image *part.Image
	Raw   []byte    // the file as it came; nil where the picture did not come as a file
	MIME  string    // of Raw: image/jpeg, image/png, image/tiff, image/bmp
	Name  string    // the file's name; "" where there was none
	Taken time.Time // the earliest moment at which it may have been taken, by this machine's clock
	Seq   int64     // counts the camera's frames from 1
}

// Camera gives the newest picture. Its methods may be called at the same time.
type Camera interface {
	// Name is the camera's name in the station file.
	Name() string
	// Newest waits for a frame taken after the given moment and returns the newest
	// there is; the zero time takes any. Errors: a [LostError] at once when the
	// camera does not deliver at the moment (it heals by itself: say so, and ask
	// again); the context's error; any other error is about this one picture.
	Newest(ctx context.Context, after time.Time) (Frame, error)
	// State says whether the camera delivers.
	State() State
	// Close ends it and waits until nothing of it runs any more.
	Close() error
}

// State is how a camera does.
type State struct {
	Ready   bool
	Why     *part.Trouble // nil where it is ready
	Since   time.Time     // of this state
	NextTry time.Time     // not ready: when it is tried again; zero: it is being tried now
	Frames  int64         // delivered so far
	PerS    float64       // frames per second lately; 0: not known
}

// LostError says that a camera does not deliver at the moment.
type LostError struct {
	Name    string
	Why     *part.Trouble
	NextTry time.Time // zero: it is being tried now
}

func (e *LostError) Error() string { return fmt.Sprintf("camera %s: %s", e.Name, e.Why.Error()) }
func (e *LostError) Unwrap() error { return e.Why }

// Follower is a camera that must be told which picture comes next: a replay.
// The unit does not have to be turned for it.
type Follower interface {
	// NextUnit goes on to the next unit and lists its shots. The error says that
	// there is none left, or that its folder has a fault.
	NextUnit() ([]part.Shot, error)
	// Expect says which shot the next Newest is to give; file name and path do not
	// count.
	Expect(part.Shot)
}

// Dropper is a camera whose pictures come when a person presses the camera's own
// release, not when the bench asks: a watched folder.
type Dropper interface{ Drops() }
