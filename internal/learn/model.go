package learn

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"finishbench/internal/part"
)

const modelSchema = 1

// Model calls a finding's kind from its features. It starts from the call of the
// rules, to which it adds what was learned: for each kind a sum of weighted
// features, each weight drawn towards 0 as long as labels do not speak for it.
//
//	score(kind) = prior where the rules call it this kind, else 0
//	            + start + the weight of the rules' call + sum of weight x (feature - mean) / sd
//
// and the kind of the highest score is called; its share of all
// exp(score) is the confidence. A call of the rules that is none of the model's
// kinds stands.
type Model struct {
	Schema   int            `json:"schema"` // 1
	Made     time.Time      `json:"made"`
	From     string         `json:"from,omitempty"` // where the labels came from
	Labels   int            `json:"labels"`         // that it was fitted to
	Units    int            `json:"units"`
	Counts   []KindCount    `json:"counts"`
	Prior    float64        `json:"prior"` // how much the rules' call counts, in natural logarithms of odds
	Ridge    float64        `json:"ridge"` // how strongly weights are drawn towards 0
	Features []ModelFeature `json:"features"`
	Kinds    []KindWeights  `json:"kinds"`
	Test     *TestSummary   `json:"test,omitempty"` // on units that it was not fitted to
}

// KindCount is how many labels a kind has, from how many units.
type KindCount struct {
	Kind   part.Kind `json:"kind"`
	Labels int       `json:"labels"`
	Units  int       `json:"units"`
	Learnt bool      `json:"learnt"` // false: too few, it is left to the rules
}

// ModelFeature is a feature with what it is standardised by.
type ModelFeature struct {
	Feature
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"` // > 0
}

// KindWeights are the weights of one kind.
type KindWeights struct {
	Kind    part.Kind             `json:"kind"`
	Start   float64               `json:"start"`
	Rule    map[part.Kind]float64 `json:"rule_calls"` // added where the rules call it so
	Weights map[string]float64    `json:"weights"`    // by the feature's name
}

// TestSummary is what the test before acceptance said.
type TestSummary struct {
	Folds    int     `json:"folds"`
	Labels   int     `json:"labels"`
	OldRight int     `json:"old_right"`
	NewRight int     `json:"new_right"`
	Better   int     `json:"units_better"`
	Worse    int     `json:"units_worse"`
	P        float64 `json:"p"`
}

// Call is what a model says of a finding.
type Call struct {
	Kind       part.Kind
	Confidence float64 // 0..1, should it be a defect at all
	Known      bool    // false: the model does not know the rules' kind, whose call stands
}

// Call says what a finding is, given what the rules call it.
func (m *Model) Call(features map[string]float64, rule part.Kind) Call {
	if !slices.ContainsFunc(m.Kinds, func(k KindWeights) bool { return k.Kind == rule }) {
		return Call{Kind: rule}
	}
	s := m.scores(features, rule)
	best := 0
	for k := range s {
		if s[k] > s[best] {
			best = k
		}
	}
	p := softmax(s)
	return Call{m.Kinds[best].Kind, p[best], true}
}

func (m *Model) scores(features map[string]float64, rule part.Kind) []float64 {
	x := m.standard(features)
	s := make([]float64, len(m.Kinds))
	for k, w := range m.Kinds {
		s[k] = w.Start + w.Rule[rule]
		if w.Kind == rule {
			s[k] += m.Prior
		}
		for i, v := range x {
			s[k] += w.Weights[m.Features[i].Name] * v
		}
	}
	return s
}

// farthest bounds a standardised feature: what lies farther out than anything
// learned from must not decide all by itself (common practice, no source).
const farthest = 4.0

// standard is a finding's features in standard deviations from their means; what
// it has not is at the mean, and weighs nothing.
func (m *Model) standard(features map[string]float64) []float64 {
	x := vector(features)
	for i := range x {
		if x[i] = (x[i] - m.Features[i].Mean) / m.Features[i].SD; math.IsNaN(x[i]) {
			x[i] = 0
		}
		x[i] = math.Max(-farthest, math.Min(farthest, x[i]))
	}
	return x
}

// softmax turns scores into shares.
func softmax(s []float64) []float64 {
	top := slices.Max(s)
	p := make([]float64, len(s))
	sum := 0.0
	for k := range s {
		p[k] = math.Exp(s[k] - top)
		sum += p[k]
	}
	for k := range p {
		p[k] /= sum
	}
	return p
}

// Part is how much one thing adds to the score of a kind over that of another.
type Part struct {
	What part.Phrase
	Adds float64
}

// Why says what speaks for a kind against another one, the weightiest first.
func (m *Model) Why(features map[string]float64, rule, kind, against part.Kind) []Part {
	var a, b *KindWeights
	for i := range m.Kinds {
		switch m.Kinds[i].Kind {
		case kind:
			a = &m.Kinds[i]
		case against:
			b = &m.Kinds[i]
		}
	}
	if a == nil || b == nil {
		return nil
	}
	ruled := a.Rule[rule] - b.Rule[rule]
	if kind == rule {
		ruled += m.Prior
	}
	if against == rule {
		ruled -= m.Prior
	}
	parts := []Part{{part.Say("learn.why.rule", "kind", noun(rule)), ruled}, {part.Say("learn.why.start"), a.Start - b.Start}}
	for i, x := range m.standard(features) {
		name := m.Features[i].Name
		parts = append(parts, Part{part.Say("learn.feature." + name), (a.Weights[name] - b.Weights[name]) * x})
	}
	slices.SortStableFunc(parts, func(p, q Part) int { return cmp.Compare(math.Abs(q.Adds), math.Abs(p.Adds)) })
	return parts
}

// Encode is the model as a file: readable JSON, the same for the same model.
func (m *Model) Encode() ([]byte, error) {
	b, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("learn: write a model: %w", err)
	}
	return append(b, '\n'), nil
}

// Sum is the SHA-256 of the model's file as [Model.Encode] writes it, hexadecimal.
func (m *Model) Sum() (string, error) {
	b, err := m.Encode()
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:]), nil
}

// Name is what a model is called by: its date and the beginning of its sum.
func (m *Model) Name(sum string) string { return m.Made.UTC().Format(time.DateOnly) + "-" + sum[:8] }

// maxModelBytes is far above a model's size, 20 KB.
const maxModelBytes = 4 << 20

// Read reads a model's file, and refuses what this program cannot use.
func Read(r io.Reader) (*Model, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxModelBytes+1))
	if err != nil {
		return nil, fmt.Errorf("learn: read a model: %w", err)
	}
	if len(data) > maxModelBytes {
		return nil, fmt.Errorf("learn: this is no model: it has more than %d MB", maxModelBytes>>20)
	}
	return Decode(data)
}

// Decode is [Read] of bytes.
func Decode(data []byte) (*Model, error) {
	var m Model
	if err := json.Unmarshal(data, &m); err != nil {
		return nil, fmt.Errorf("learn: this is no model: %w", err)
	}
	if err := m.validate(); err != nil {
		return nil, fmt.Errorf("learn: this model cannot be used: %w", err)
	}
	for i := range m.Features {
		m.Features[i].Feature = features[i]
	}
	return &m, nil
}

func (m *Model) validate() error {
	if m.Schema != modelSchema {
		return fmt.Errorf("its form is %d, this program knows %d: use the program that it was made with, or fit anew", m.Schema,
			modelSchema)
	}
	if len(m.Features) != len(features) {
		return fmt.Errorf("it weighs %d features, this program has %d: fit anew", len(m.Features), len(features))
	}
	for i, f := range m.Features {
		if f.Name != features[i].Name || f.Form != features[i].Form {
			return fmt.Errorf("its feature %d is %q (%s), here %q (%s): fit anew", i+1, f.Name, f.Form, features[i].Name, features[i].Form)
		}
		if !finite(f.Mean) || !(f.SD > 0) || !finite(f.SD) {
			return fmt.Errorf("its feature %s has the mean %g and the standard deviation %g", f.Name, f.Mean, f.SD)
		}
	}
	if len(m.Kinds) < 2 {
		return fmt.Errorf("it knows %d kinds: two are the least", len(m.Kinds))
	}
	for i, k := range m.Kinds {
		if !Learnable(k.Kind) || slices.ContainsFunc(m.Kinds[:i], func(o KindWeights) bool { return o.Kind == k.Kind }) {
			return fmt.Errorf("its kind %q is none, or there twice", k.Kind)
		}
		if len(k.Weights) != len(features) {
			return fmt.Errorf("%s has %d weights for %d features", k.Kind, len(k.Weights), len(features))
		}
		for _, f := range features {
			if _, ok := k.Weights[f.Name]; !ok {
				return fmt.Errorf("%s has no weight for %s", k.Kind, f.Name)
			}
		}
	}
	if !finite(m.Prior) {
		return fmt.Errorf("its prior is no number")
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
