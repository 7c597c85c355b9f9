package inspection

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// TestPanicStaysInUnit: a fault met in one picture ends that unit, not the
// program, and gives its slot back.
func TestPanicStaysInUnit(t *testing.T) {
	u := &Unit{Inspector: &Inspector{Slots: NewSlots(1)}}
	for range 3 {
		u.pictures = append(u.pictures, &Picture{})
	}
	err := u.each(context.Background(), u.pictures, func(p *Picture) error {
		if p == u.pictures[1] {
			panic("oops")
		}
		return nil
	})
	var fault panicError
	if !errors.As(err, &fault) || !strings.Contains(err.Error(), "oops") {
		t.Errorf("%v, want the panic as an error", err)
	}
	if len(u.Slots) != 0 {
		t.Errorf("%d slots are still taken", len(u.Slots))
	}
}

// TestSlotsEndWithContext: nothing starts once the run is stopped.
func TestSlotsEndWithContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	u := &Unit{Inspector: &Inspector{Slots: NewSlots(2)}, pictures: []*Picture{{}, {}}}
	err := u.each(ctx, u.pictures, func(*Picture) error { t.Error("started"); return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
}
