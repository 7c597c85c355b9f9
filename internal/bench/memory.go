package bench

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"sync"

	"finishbench/internal/part"
)

// Memory keeps answers until the program ends, the latest ones only: for
// trying the bench out. The page says so.
type Memory struct {
	mu       sync.Mutex
	n        int64
	all      []part.Inspection
	pictures map[string]part.StoredPicture
}

// memoryMost bounds what is kept: inspections, without and with pictures.
const (
	memoryMost         = 500
	memoryWithPictures = 20
)

// Add is [Recorder].
func (m *Memory) Add(_ context.Context, in part.Inspection) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.pictures == nil {
		m.pictures = map[string]part.StoredPicture{}
	}
	m.n++
	in.ID, in.Pictures = m.n, slices.Clone(in.Pictures)
	for i := range in.Pictures {
		p := &in.Pictures[i]
		sum := sha256.Sum256(p.Bytes)
		p.SHA256 = hex.EncodeToString(sum[:])
		m.pictures[p.SHA256] = *p
		p.Bytes = nil
	}
	m.all = append(m.all, in)
	if n := len(m.all); n > memoryMost {
		m.all = slices.Clone(m.all[n-memoryMost:])
	}
	m.forget()
	return in.ID, nil
}

// forget drops the pictures of all but the latest inspections.
func (m *Memory) forget() {
	if len(m.all) <= memoryWithPictures {
		return
	}
	old := &m.all[len(m.all)-memoryWithPictures-1]
	for _, p := range old.Pictures {
		if !m.used(p.SHA256) {
			delete(m.pictures, p.SHA256)
		}
	}
	old.Pictures = nil
}

func (m *Memory) used(sum string) bool {
	for i := max(0, len(m.all)-memoryWithPictures); i < len(m.all); i++ {
		for _, p := range m.all[i].Pictures {
			if p.SHA256 == sum {
				return true
			}
		}
	}
	return false
}

func (m *Memory) change(id int64, f func(*part.Inspection)) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.all {
		if m.all[i].ID == id {
			f(&m.all[i])
			return nil
		}
	}
	return fmt.Errorf("there is no inspection %d any more", id)
}

// Withdraw is [Recorder].
func (m *Memory) Withdraw(_ context.Context, id int64, by, why string) error {
	return m.change(id, func(in *part.Inspection) { in.Withdrawn = &part.Note{By: by, Why: why} })
}

// Restore is [Recorder].
func (m *Memory) Restore(_ context.Context, id int64, _, _ string) error {
	return m.change(id, func(in *part.Inspection) { in.Withdrawn = nil })
}

// Overrule is [Recorder].
func (m *Memory) Overrule(_ context.Context, id int64, o part.Overrule) error {
	return m.change(id, func(in *part.Inspection) { in.Overruled = &o })
}

// History is [Recorder].
func (m *Memory) History(_ context.Context, serial string) ([]part.Inspection, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []part.Inspection
	for _, in := range m.all {
		if in.Serial == serial {
			out = append(out, in)
		}
	}
	return out, nil
}

// PictureBytes is [Recorder].
func (m *Memory) PictureBytes(_ context.Context, sum string) ([]byte, string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if p, ok := m.pictures[sum]; ok {
		return p.Bytes, p.MIME, nil
	}
	return nil, "", errors.New("the picture is not kept any more")
}
