package bench

import (
	"context"
	"errors"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// Lots shows the lots of the records and takes decisions on them.
type Lots interface {
	// List tells all lots, newest first.
	List(ctx context.Context) ([]LotLine, error)
	// Lot tells how one stands; it is asked once a second while it is shown. The
	// error is [ErrNoLot] where there is none of that name.
	Lot(ctx context.Context, name string) (LotState, error)
	// More tells what takes longer: sentences and plots, in a language.
	More(ctx context.Context, l *lang.Lang, name string) (LotMore, error)
	// Decide takes a signed step. The error is a [part.Trouble] where the lot does
	// not allow it, [ErrLotMoved] where it is no longer at d.Seq.
	Decide(ctx context.Context, name string, d LotStep) error
	// Report writes the report as "pdf", "xlsx" or "json", in a language.
	Report(ctx context.Context, l *lang.Lang, name, format string) (data []byte, mime string, err error)
}

// What Lots returns.
var (
	ErrNoLot    = errors.New("there is no lot of this name")
	ErrLotMoved = errors.New("the lot has moved on")
)

// LotLine is a lot in a list.
type LotLine struct {
	Name, Product string
	Size          int
	State         lots.State
	Opened        time.Time
	Taken, N      int // units of the sample that were looked at, of how many
}

// LotState is how a lot stands.
type LotState struct {
	LotLine
	Seq      int64 // counts its events
	OpenedBy string
	Stage    part.Stage
	Plans    []lots.Standing
	Next     []string                // serials to look at next, some of them
	Left     int                     // how many there still are
	Failing  []lots.Unit             // of the sample
	Settled  map[string]lots.Settled // what becomes of these, by their names
	Counting []string                // serials that count against a plan, in words of the records
	Decided  *lots.Signed            // nil: not yet
	Note     string                  // with which it was decided
	// What may be signed now: "accept", "refuse", "screen", "return".
	Steps []string
	// Whether it may be told now what becomes of a unit.
	Disposes bool
}

// LotStep is what a person signs.
type LotStep struct {
	What string // one of LotState.Steps, or "dispose"
	By   string
	Note string
	Seq  int64    // of the state that the person saw
	Out  []string // serials that a screening took out
	// Of "dispose": the unit, what becomes of it, and the customer's reference.
	Unit      string
	Route     lots.Route
	Reference string
}

// LotMore is what stands under a lot's state.
type LotMore struct {
	Lets    []string // what its plans let through
	Notes   []string // what a reader must know
	Hints   []string // at causes
	Figures []LotFigure
}

// LotFigure is a plot by package plots.
type LotFigure struct {
	Title, Caption string
	SVG            []byte
}
