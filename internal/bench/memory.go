package bench

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"

	"finishbench/internal/part"
)

// Memory keeps answers until the program ends, the latest ones only: for
// trying the bench out. The page says so.
type Memory struct {
	mu       sync.Mutex
	n        int64
	past     []Past
	pictures map[string]Shot
}

// memoryMost bounds what is kept: inspections, without and with pictures.
const (
	memoryMost         = 500
	memoryWithPictures = 20
)

// Add is [Recorder].
func (m *Memory) Add(_ context.Context, e Entry) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.pictures == nil {
		m.pictures = map[string]Shot{}
	}
	m.n++
	p := Past{ID: m.n, Unit: e.Unit, Ended: e.Ended, Result: *e.Outcome.Result}
	for _, s := range e.Shots {
		if len(s.Raw) == 0 {
			continue
		}
		sum := sha256.Sum256(s.Raw)
		key := hex.EncodeToString(sum[:])
		m.pictures[key] = Shot{Raw: s.Raw, MIME: s.MIME}
		p.Pictures = append(p.Pictures, PastPicture{File: s.File, SHA256: key, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg})
	}
	m.past = append(m.past, p)
	if n := len(m.past); n > memoryMost {
		m.past = append([]Past(nil), m.past[n-memoryMost:]...)
	}
	m.forget()
	return p.ID, nil
}

// forget drops the pictures of all but the latest inspections.
func (m *Memory) forget() {
	if len(m.past) <= memoryWithPictures {
		return
	}
	old := &m.past[len(m.past)-memoryWithPictures-1]
	for _, q := range old.Pictures {
		if !m.used(q.SHA256) {
			delete(m.pictures, q.SHA256)
		}
	}
	old.Pictures = nil
}

func (m *Memory) used(sum string) bool {
	for i := max(0, len(m.past)-memoryWithPictures); i < len(m.past); i++ {
		for _, q := range m.past[i].Pictures {
			if q.SHA256 == sum {
				return true
			}
		}
	}
	return false
}

func (m *Memory) change(id int64, f func(*Past)) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.past {
		if m.past[i].ID == id {
			f(&m.past[i])
			return nil
		}
	}
	return fmt.Errorf("there is no inspection %d any more", id)
}

// Withdraw is [Recorder].
func (m *Memory) Withdraw(_ context.Context, id int64, _, _ string) error {
	return m.change(id, func(p *Past) { p.Withdrawn = true })
}

// Restore is [Recorder].
func (m *Memory) Restore(_ context.Context, id int64, _, _ string) error {
	return m.change(id, func(p *Past) { p.Withdrawn = false })
}

// Overrule is [Recorder].
func (m *Memory) Overrule(_ context.Context, id int64, o part.Overrule) error {
	return m.change(id, func(p *Past) { p.Overruled = &o })
}

// History is [Recorder].
func (m *Memory) History(_ context.Context, serial string) ([]Past, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []Past
	for _, p := range m.past {
		if p.Unit.Serial == serial {
			out = append(out, p)
		}
	}
	return out, nil
}

// PictureBytes is [Recorder].
func (m *Memory) PictureBytes(_ context.Context, sum string) ([]byte, string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if s, ok := m.pictures[sum]; ok {
		return s.Raw, s.MIME, nil
	}
	return nil, "", ErrForgotten
}
