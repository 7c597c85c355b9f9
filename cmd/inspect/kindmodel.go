package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/defects"
	"finishbench/internal/files"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// noModel, given as --kind-model, leaves the kinds to the rules.
const noModel = "none"

// kindModel is a learned model by which kinds are called. A nil one: the rules
// alone.
type kindModel struct {
	model *learn.Model
	name  string
	sum   string
}

func newKindModel(m *learn.Model) (*kindModel, error) {
	sum, err := m.Sum()
	if err != nil {
		return nil, err
	}
	return &kindModel{m, m.Name(sum), sum}, nil
}

// caller is what defects asks; nil for the rules alone.
func (k *kindModel) caller() defects.Caller {
	if k == nil {
		return nil
	}
	return func(features map[string]float64, rule part.Kind, _ float64) (part.Kind, float64, bool) {
		c := k.model.Call(features, rule)
		return c.Kind, c.Sure, c.Known
	}
}

// use is what a result says of it.
func (k *kindModel) use() *part.ModelUse {
	if k == nil {
		return nil
	}
	return &part.ModelUse{Name: k.name, SHA256: k.sum, Made: k.model.Made.UTC().Format(time.DateOnly), Labels: k.model.Labels}
}

// readKindModel reads a model's file.
func readKindModel(path string) (*kindModel, error) {
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
	return newKindModel(m)
}

// keptKindModel is a model of the records, which must still be what it was kept
// as; nil for nil.
func keptKindModel(kept *records.KeptModel) (*kindModel, error) {
	if kept == nil {
		return nil, nil
	}
	m, err := learn.Decode(kept.JSON)
	if err != nil {
		return nil, fmt.Errorf("model %s of the records: %w; 'inspect learn back' goes back to what was before it", kept.Name, err)
	}
	k, err := newKindModel(m)
	if err == nil && k.sum != kept.SHA256 {
		err = fmt.Errorf("model %s of the records is not what was accepted: its hash is another; run 'inspect records check'", kept.Name)
	}
	return k, err
}

// chooseKindModel finds the model in force: the one told, else that of the
// records; store may be nil.
func chooseKindModel(ctx context.Context, told string, store *records.Store) (*kindModel, error) {
	switch {
	case told == noModel:
		return nil, nil
	case told != "":
		return readKindModel(told)
	case store == nil:
		return nil, nil
	}
	kept, err := store.ModelInForce(ctx)
	if err != nil {
		return nil, err
	}
	return keptKindModel(kept)
}
