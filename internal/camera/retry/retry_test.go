package retry

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"
)

// The waits double up to the most, and start over after a run that lasted.
func TestKeep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		b := Waits{First: 250 * time.Millisecond, Most: 8 * time.Second, Steady: 5 * time.Second}
		var waits []time.Duration
		runs := 0
		b.Keep(ctx, func(context.Context) error {
			if runs++; runs == 9 {
				time.Sleep(6 * time.Second)
			}
			if runs == 11 {
				cancel()
			}
			return errors.New("away")
		}, func(_ error, next time.Time) { waits = append(waits, time.Until(next)) })
		s := time.Second
		want := []time.Duration{s / 4, s / 2, s, 2 * s, 4 * s, 8 * s, 8 * s, 8 * s, s / 4, s / 2}
		if !slices.Equal(waits, want) {
			t.Errorf("waits %v, want %v", waits, want)
		}
	})
}

// Cancelled while it waits, it returns at once and does not run again.
func TestKeepCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		began, runs := time.Now(), 0
		time.AfterFunc(time.Second, cancel)
		Waits{First: time.Hour, Most: time.Hour, Steady: time.Hour}.Keep(ctx,
			func(context.Context) error { runs++; return nil }, func(error, time.Time) {})
		if d := time.Since(began); d != time.Second || runs != 1 {
			t.Errorf("returned after %v and %d runs, want 1s and one", d, runs)
		}
	})
}
