package station

import (
	"context"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/inspection"
	"finishbench/internal/records"
)

// Model is the learned model that the bench calls kinds with. One that is
// accepted, or gone back from, while the bench is on holds from the next unit.
type Model struct {
	store *records.Store // nil: the model stays as it is

	mu   sync.Mutex
	last *inspection.KindModel
	name string // of the model in force when it was looked at last
}

// modelTime bounds the look whether another model is in force: an answer must not
// wait for a database that is away.
const modelTime = 300 * time.Millisecond

// NewModel is the model told, else the one in force of the records, if r keeps any.
func NewModel(ctx context.Context, given string, r bench.Recorder) (*Model, error) {
	m := &Model{}
	if b, ok := r.(*Records); ok && given == "" {
		m.store = b.Store
	}
	var err error
	if m.last, err = inspection.ChooseKindModel(ctx, given, m.store); m.last != nil {
		m.name = m.last.Name
	}
	return m, err
}

// InForce is the model for the next unit. While the records do not answer, or hold
// a model that cannot be used, it is the last one that could.
func (m *Model) InForce(ctx context.Context) *inspection.KindModel {
	if m == nil {
		return nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.store == nil {
		return m.last
	}
	ctx, stop := context.WithTimeout(ctx, modelTime)
	defer stop()
	kept, err := m.store.ModelInForce(ctx)
	switch {
	case err != nil:
	case kept == nil:
		m.last, m.name = nil, ""
	case kept.Name != m.name:
		if k, err := inspection.KeptKindModel(kept); err == nil {
			m.last, m.name = k, kept.Name
		}
	}
	return m.last
}
