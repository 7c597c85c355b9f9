package records

import (
	"errors"
	"time"

	"finishbench/internal/part"
)

// Filter chooses inspections; what is zero does not choose.
type Filter struct {
	From, To                           time.Time // From <= Started < To
	Serial, Side, Lot, Operator, Bench string
	Resin                              string // batch
	Stage                              part.Stage
	After                              int64 // numbers above this one only; below it with NewestFirst
	Limit                              int
	NewestFirst                        bool
}

// What callers tell apart with errors.Is.
var (
	ErrNotFound  = errors.New("no such inspection")
	ErrForgotten = errors.New("only the numbers of this picture were kept")
	ErrWithdrawn = errors.New("the inspection is withdrawn already")
	ErrHolds     = errors.New("the inspection is not withdrawn")
	ErrInvalid   = errors.New("not accepted") // the caller's input
)
