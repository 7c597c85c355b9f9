package bench

import (
	"context"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// Progress is told while a unit is photographed.
type Progress struct {
	Done, Total int
	View        part.View // of the shot under way; "": none
	Light       part.Light
	AngleDeg    float64
	Asking      *part.Phrase // what the operator is to do before pressing; nil: nothing
	Problem     *part.Phrase // what keeps it waiting; nil: nothing
}

// Stopped is how long a unit stands still for its pictures, from the press to the last
// one, as far as it is known beforehand.
type Stopped struct {
	S       float64
	AtLeast bool // what the rest takes is not known
}

// Shooter takes the pictures of a unit.
type Shooter interface {
	// Shoot carries out the plan. kept are shots of the same unit from an
	// attempt that broke off: they are not taken again. Shots that were taken
	// are returned beside an error too. say must not be called after it returns.
	Shoot(ctx context.Context, u part.UnitInfo, kept []part.Photo, say func(Progress)) ([]part.Photo, error)
	// Press is the operator's answer to Progress.Asking.
	Press()
	// Live is the newest picture of a camera as a JPEG file made small, with
	// what it says of the bench. It must not block.
	Live(camera string) (jpeg []byte, aid Aid, err error)
	Cameras() []CameraState
	// Release hands the pixels of shots back.
	Release([]part.Photo)
}

// CameraState says whether a camera delivers.
type CameraState struct {
	Name  string
	Ready bool
	Why   *part.Phrase // why not
}

// Aid tells how a live picture stands: to be moved into the zone Lo to Hi. NaN:
// not measured.
type Aid struct{ Focus, Exposure, Position Gauge }

// Gauge is a value on a scale from 0 to 1, and its zone on the same scale.
type Gauge struct{ V, Lo, Hi float64 }

// Inspector says what the pictures show.
type Inspector interface {
	Inspect(ctx context.Context, u part.UnitInfo, shots []part.Photo) (Outcome, error)
}

// Outcome is a judged unit, with the pictures that the answer shows. What to do, and why, is in
// the result's plan.
type Outcome struct {
	Result   *part.Result
	MainFile string        // the picture in which the worst shows best
	Main     []byte        // the same, annotated, as a JPEG file
	Crops    []report.Crop // magnified findings, worst first
}

// Recorder keeps what was answered. An answer is shown once it is kept.
type Recorder interface {
	Add(ctx context.Context, in part.Inspection) (id int64, err error)
	Withdraw(ctx context.Context, id int64, by, why string) error
	Restore(ctx context.Context, id int64, by, why string) error // takes a withdrawal back
	Overrule(ctx context.Context, id int64, o part.Overrule) error
	History(ctx context.Context, serial string) ([]part.Inspection, error) // both sides, oldest first
	// PictureBytes is a picture as it came; an error where only its numbers were kept.
	PictureBytes(ctx context.Context, sha256 string) (b []byte, mime string, err error)
}

// Notices tells what stands in the way of trusting answers: a scale file near
// its age, a check piece that bars.
type Notices interface {
	Notices(now time.Time) []Notice
}

// Notice is one such thing.
type Notice struct {
	part.Phrase
	Bars bool // no unit passes
}

// SheetMaker writes the shift's sheet, in a language, as a page that stands by
// itself.
type SheetMaker interface {
	ShiftSheet(ctx context.Context, l *lang.Lang, from, to time.Time) ([]byte, error)
}
