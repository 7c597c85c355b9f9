package inspection

import (
	"context"
	"fmt"
	"runtime/debug"
)

// Slots bounds how much runs at once: all units and all their pictures share
// one set, so that --jobs is the number of busy cores whatever there is to do.
type Slots chan struct{}

// NewSlots are n slots, all free.
func NewSlots(n int) Slots { return make(Slots, n) }

// take waits for a slot, or for the end of ctx.
func (s Slots) take(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case s <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s Slots) give() { <-s }

// panicError is a mistake in the program, met while it looked at one unit.
type panicError struct {
	value any
	stack []byte
}

func (e panicError) Error() string { return fmt.Sprintf("a fault in the program: %v", e.value) }

// Guard calls f and turns a panic into an error.
func Guard(f func() error) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = panicError{v, debug.Stack()}
		}
	}()
	return f()
}
