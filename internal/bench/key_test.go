package bench

import (
	"context"
	"errors"
	"sync"
	"testing"

	"finishbench/internal/part"
)

// forgetful records what it is given and then, where lost is set, says that it
// failed: as a network does that loses the answer.
type forgetful struct {
	memory
	mu   sync.Mutex
	lost bool
	keys []string
}

func (f *forgetful) Add(ctx context.Context, in part.Inspection) (int64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.keys = append(f.keys, in.Key)
	id, err := f.memory.Add(ctx, in)
	if f.lost {
		return 0, errors.New("the network is away")
	}
	return id, err
}

func (f *forgetful) set(lost bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.lost = lost
}

// A recording that is tried again has the key of the first try; the next unit,
// and the same one photographed again, have their own.
func TestKeyOfAUnit(t *testing.T) {
	r := rig(t, Options{})
	f := &forgetful{lost: true}
	r.Station.Recorder = f
	r.send(t, Press{})
	if s := r.phase(t, Halted); s.Problem == nil || s.Problem.Key != "problem.record" || len(s.Shots) != 8 {
		t.Fatalf("%+v with %d shots", s.Problem, len(s.Shots))
	}
	f.set(false)
	r.send(t, Press{}) // once more
	r.phase(t, Answered)
	r.send(t, Retry{})
	r.until(t, "a second answer", func(s *Snapshot) bool { return s.Phase == Answered && s.Answer.ID == 3 })
	r.send(t, Press{}, Press{})
	r.until(t, "a third answer", func(s *Snapshot) bool { return s.Phase == Answered && s.Answer.ID == 4 })
	k := f.keys
	if len(k) != 4 || k[0] == "" || k[0] != k[1] || k[2] == k[1] || k[3] == k[2] || k[2] == "" || k[3] == "" {
		t.Errorf("keys %q: the first two are the same, the others their own", k)
	}
}
