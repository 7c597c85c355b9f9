// Package retry tries again what failed, with growing waits.
package retry

import (
	"context"
	"time"
)

// Waits say how long to wait before something that failed is tried again:
// First, then twice as long each time, up to Most. A try that lasted as long as
// Steady counts as healed and starts over. Values of [Default] are common
// practice, no source.
type Waits struct {
	First, Most time.Duration
	Steady      time.Duration
}

// Default tries again after 0.25 s, 0.5 s, ... 8 s.
func Default() Waits {
	return Waits{First: 250 * time.Millisecond, Most: 8 * time.Second, Steady: 5 * time.Second}
}

// Keep calls run again and again until ctx ends, with waits between; before each
// wait it tells why the last run ended and when the next begins.
func (b Waits) Keep(ctx context.Context, run func(context.Context) error, tell func(why error, next time.Time)) {
	wait := b.First
	for ctx.Err() == nil {
		began := time.Now()
		err := run(ctx)
		if ctx.Err() != nil {
			return
		}
		if time.Since(began) >= b.Steady {
			wait = b.First
		}
		tell(err, time.Now().Add(wait))
		if !Sleep(ctx, wait) {
			return
		}
		wait = min(2*wait, b.Most)
	}
}

// Sleep reports whether the time went by before ctx ended.
func Sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}
