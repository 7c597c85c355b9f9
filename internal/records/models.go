package records

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"finishbench/internal/part"
)

// KeptModel is a model by which kinds are called, as it was fitted. What its JSON
// means is the caller's business.
type KeptModel struct {
	Name    string          // no other has it
	SHA256  string          // of the model's file
	JSON    json.RawMessage // the same JSON as was kept, maybe written otherwise
	At      time.Time       // when it was kept
	By      string          // a person's id, see [Person]
	InForce bool
	Uses    []ModelUse // when it came into force, and when it was left
}

// ModelUse is a time during which a model was in force.
type ModelUse struct {
	From   time.Time
	By     string // who accepted it, or went back to it
	Until  time.Time
	LeftBy string // "" and a zero Until: it still is
}

const (
	topicModel    = "kind_model"
	modelJournal  = "models"
	modelKept     = "kept"
	modelAccepted = "accepted"
	modelBack     = "back"
)

// modelBody is an entry's body. The model that a way back leads to is written
// down, "" for none, so that the journal can be read by itself.
type modelBody struct {
	Name   string          `json:"name"`
	SHA256 string          `json:"sha256,omitempty"`
	Model  json.RawMessage `json:"model,omitempty"`
}

// KeepModel keeps a model; it is not in force yet.
func (s *Store) KeepModel(ctx context.Context, m KeptModel) error {
	if why := badWord(m.Name, maxWord); why != "" || m.Name == "" || len(m.JSON) == 0 {
		return fmt.Errorf("records: keep a model: %w: its name is empty or too long, or it has no content", ErrInvalid)
	}
	return s.models(ctx, func(t *tx, h *modelHistory) error {
		if h.find(m.Name) != nil {
			return fmt.Errorf("records: keep model %s: %w: there is one of this name", m.Name, ErrInvalid)
		}
		return t.noteModel(ctx, modelKept, m.By, modelBody{m.Name, m.SHA256, m.JSON})
	})
}

// AcceptModel puts a kept model in force.
func (s *Store) AcceptModel(ctx context.Context, name, by string) error {
	return s.models(ctx, func(t *tx, h *modelHistory) error {
		switch m := h.find(name); {
		case m == nil:
			return fmt.Errorf("records: accept model %q: %w: there is none of this name", name, ErrInvalid)
		case m.InForce:
			return fmt.Errorf("records: accept model %s: %w: it is in force already", name, ErrInvalid)
		}
		return t.noteModel(ctx, modelAccepted, by, modelBody{Name: name})
	})
}

// BackModel goes back to what was in force before the model that is, and returns
// its name; "" where that is no model.
func (s *Store) BackModel(ctx context.Context, by string) (to string, err error) {
	err = s.models(ctx, func(t *tx, h *modelHistory) error {
		if len(h.stack) == 0 {
			return fmt.Errorf("records: %w: no model is in force, so there is nothing to go back from", ErrInvalid)
		}
		to = h.before()
		return t.noteModel(ctx, modelBack, by, modelBody{Name: to})
	})
	return to, err
}

// Models returns all models in the order in which they were kept.
func (s *Store) Models(ctx context.Context) ([]KeptModel, error) {
	entries, err := s.Journal(ctx, topicModel, modelJournal)
	if err != nil {
		return nil, err
	}
	h, err := foldModels(entries)
	if err != nil {
		return nil, err
	}
	return h.all, nil
}

// ModelInForce returns the model in force, nil where there is none.
func (s *Store) ModelInForce(ctx context.Context) (*KeptModel, error) {
	all, err := s.Models(ctx)
	if i := slices.IndexFunc(all, func(m KeptModel) bool { return m.InForce }); err == nil && i >= 0 {
		return &all[i], nil
	}
	return nil, err
}

// models writes with f, which sees what has become of all models so far.
func (s *Store) models(ctx context.Context, f func(*tx, *modelHistory) error) error {
	return s.write(ctx, func(t *tx) error {
		entries, err := t.journal(ctx, "j.topic = ? AND j.name = ? ORDER BY j.seq", topicModel, modelJournal)
		if err != nil {
			return err
		}
		h, err := foldModels(entries)
		if err != nil {
			return err
		}
		return f(t, h)
	})
}

func (t *tx) noteModel(ctx context.Context, kind, by string, body modelBody) error {
	return t.noteNext(ctx, part.Entry{Topic: topicModel, Name: modelJournal, Kind: kind, By: by}, body)
}

// modelHistory is what the models' journal amounts to.
type modelHistory struct {
	all   []KeptModel
	stack []string // accepted and not gone back from; the last is in force
}

func (h *modelHistory) find(name string) *KeptModel {
	if i := slices.IndexFunc(h.all, func(m KeptModel) bool { return m.Name == name }); i >= 0 {
		return &h.all[i]
	}
	return nil
}

// before is what was in force before the model that is.
func (h *modelHistory) before() string {
	if len(h.stack) < 2 {
		return ""
	}
	return h.stack[len(h.stack)-2]
}

func foldModels(entries []part.Entry) (*modelHistory, error) {
	h := &modelHistory{}
	for _, e := range entries {
		var b modelBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return nil, fmt.Errorf("records: entry %d of the models' journal cannot be read: %w", e.Seq, err)
		}
		if e.Kind == modelKept {
			h.all = append(h.all, KeptModel{Name: b.Name, SHA256: b.SHA256, JSON: b.Model, At: e.At, By: e.By})
			continue
		}
		if n := len(h.stack); n > 0 {
			m := h.find(h.stack[n-1])
			m.InForce = false
			u := &m.Uses[len(m.Uses)-1]
			u.Until, u.LeftBy = e.At, e.By
			if e.Kind == modelBack {
				h.stack = h.stack[:n-1]
			}
		}
		if e.Kind == modelAccepted {
			h.stack = append(h.stack, b.Name)
		}
		if len(h.stack) == 0 {
			continue
		}
		m := h.find(h.stack[len(h.stack)-1])
		if m == nil || m.Name != b.Name {
			return nil, fmt.Errorf("records: entry %d of the models' journal names a model that is not there: run 'inspect records check'",
				e.Seq)
		}
		m.InForce = true
		m.Uses = append(m.Uses, ModelUse{From: e.At, By: e.By})
	}
	return h, nil
}
