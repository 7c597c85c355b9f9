package bench

import (
	"slices"
	"sync"
	"testing"
	"time"

	"finishbench/internal/part"
)

// slowKeeper keeps nothing, and takes its time to begin.
type slowKeeper struct {
	shooter *fakeShooter

	mu    sync.Mutex
	early bool // the shooter was at work before it had begun
	calls []string
}

func (k *slowKeeper) note(call string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.calls = append(k.calls, call)
	return nil
}

func (k *slowKeeper) Begin(Underway) error {
	time.Sleep(100 * time.Millisecond)
	k.shooter.mu.Lock()
	k.early = k.early || k.shooter.begun > 0
	k.shooter.mu.Unlock()
	return k.note("begin")
}
func (k *slowKeeper) Answer(Shown) error               { return k.note("answer") }
func (k *slowKeeper) Drop() error                      { return k.note("drop") }
func (k *slowKeeper) Kept() (*Underway, *Shown, error) { return nil, nil, nil }

// TestKeptInOrder: what is kept of a unit has begun before its first picture, which it would throw away else; the verdict is kept before it
// is seen, and the next unit's start lets go of it.
func TestKeptInOrder(t *testing.T) {
	r := rig(t, Options{}, passing())
	k := &slowKeeper{shooter: r.shooter}
	r.Station.Keeper = k
	r.send(t, Press{})
	r.until(t, "the verdict", func(s *Snapshot) bool { return s.Phase == Answered })
	k.mu.Lock()
	if want := []string{"begin", "answer"}; k.early || !slices.Equal(k.calls, want) {
		t.Errorf("%v, want %v; shooting before it: %v", k.calls, want, k.early)
	}
	k.mu.Unlock()
	r.send(t, Press{})
	r.until(t, "the next", func(s *Snapshot) bool { return s.Phase == Ready && s.Unit.Stage == part.Wet })
	k.mu.Lock()
	defer k.mu.Unlock()
	if want := []string{"begin", "answer", "drop"}; !slices.Equal(k.calls, want) {
		t.Errorf("%v, want %v", k.calls, want)
	}
}
