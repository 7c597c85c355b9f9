package inspection

import (
	"context"
	"errors"
	"fmt"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/defects/scene"
	"finishbench/internal/files"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// noModel, given as --kind-model, leaves the kinds to the rules.
const noModel = "none"

// KindModel is a learned model by which kinds are called. A nil one: the rules
// alone.
type KindModel struct {
	Model *learn.Model
	Name  string
	Sum   string
}

// NewKindModel is a model ready for use.
func NewKindModel(m *learn.Model) (*KindModel, error) {
	sum, err := m.Sum()
	if err != nil {
		return nil, err
	}
	return &KindModel{m, m.Name(sum), sum}, nil
}

// caller is what defects asks; nil for the rules alone.
func (k *KindModel) caller() scene.Caller {
	if k == nil {
		return nil
	}
	return func(features map[string]float64, rule part.Kind, _ float64) (part.Kind, float64, bool) {
		c := k.Model.Call(features, rule)
		return c.Kind, c.Confidence, c.Known
	}
}

// use is what a result says of it.
func (k *KindModel) use() *part.ModelUse {
	if k == nil {
		return nil
	}
	return &part.ModelUse{Name: k.Name, SHA256: k.Sum, Made: k.Model.Made.UTC().Format(time.DateOnly), Labels: k.Model.Labels}
}

// readKindModel reads a model's file.
func readKindModel(path string) (*KindModel, error) {
	f, err := files.Open(path)
	if errors.Is(err, files.ErrFolder) {
		return nil, cli.Usagef("--kind-model %s is a folder: name a model's file", path)
	}
	if err != nil {
		return nil, cli.Usagef("--kind-model %s cannot be read: %w", path, cli.PlainPath(err))
	}
	defer f.Close()
	m, err := learn.Read(f)
	if err != nil {
		return nil, cli.Usagef("--kind-model %s: %w", path, err)
	}
	return NewKindModel(m)
}

// KeptKindModel is a model of the records, which must still be what it was kept
// as; nil for nil.
func KeptKindModel(kept *records.KeptModel) (*KindModel, error) {
	if kept == nil {
		return nil, nil
	}
	m, err := learn.Decode(kept.JSON)
	if err != nil {
		return nil, fmt.Errorf("model %s of the records: %w; 'inspect learn back' goes back to what was before it", kept.Name, err)
	}
	k, err := NewKindModel(m)
	if err == nil && k.Sum != kept.SHA256 {
		err = fmt.Errorf("model %s of the records is not what was accepted: its hash is another; run 'inspect records check'", kept.Name)
	}
	return k, err
}

// ChooseKindModel finds the model in force: the one told, else that of the
// records; store may be nil.
func ChooseKindModel(ctx context.Context, given string, store *records.Store) (*KindModel, error) {
	switch {
	case given == noModel:
		return nil, nil
	case given != "":
		return readKindModel(given)
	case store == nil:
		return nil, nil
	}
	kept, err := store.ModelInForce(ctx)
	if err != nil {
		return nil, err
	}
	return KeptKindModel(kept)
}
