package sources

import (
	"sync"
	"time"
)

// watchdog calls bite once when it has not been fed in time.
type watchdog struct {
	mu    sync.Mutex
	timer *time.Timer
	wait  time.Duration
	bit   bool
}

func newWatchdog(wait time.Duration, bite func()) *watchdog {
	w := &watchdog{wait: wait}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.timer = time.AfterFunc(wait, func() {
		w.mu.Lock()
		w.bit = true
		w.mu.Unlock()
		bite()
	})
	return w
}

// feed gives it until wait from now.
func (w *watchdog) feed(wait time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.bit {
		w.wait = wait
		w.timer.Reset(wait)
	}
}

func (w *watchdog) stop() { w.timer.Stop() }

func (w *watchdog) fired() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.bit
}

func (w *watchdog) patience() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.wait
}
