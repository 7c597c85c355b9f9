package rig

import (
	"context"
	"time"

	"finishbench/internal/part"
)

// Off is the name that switches all lights off.
const Off = "off"

// Rig moves the unit and switches the lights. Its methods are called one after
// the other, State at any time.
type Rig interface {
	// Light switches to one light by its name (diffuse, raking, back) and the others
	// off; [Off] switches all off. Errors: a [LostError] when the line is lost; any
	// other says what the controller answered.
	Light(ctx context.Context, name string) error
	// Turn turns the unit to an angle in degrees and waits until it stands still.
	// A turn whose answer was lost is never sent again blindly: the next call first
	// finds out where the unit stands.
	Turn(ctx context.Context, deg float64) error
	// Home turns the unit to its zero.
	Home(ctx context.Context) error
	State() State
	Close() error
}

// State is how a rig does.
type State struct {
	Ready    bool
	Why      *part.Trouble // nil where it is ready
	Since    time.Time     // of this state
	NextTry  time.Time     // not ready: when it is tried again; zero: it is being tried now
	Light    string        // switched on at the moment; "off"; "": not known
	AngleDeg *float64      // nil: not known
}

// LostError says that the line to the controller is lost at the moment.
type LostError struct {
	Why     *part.Trouble
	NextTry time.Time // zero: it is being tried now
}

func (e *LostError) Error() string { return "lights and turntable: " + e.Why.Error() }
func (e *LostError) Unwrap() error { return e.Why }
