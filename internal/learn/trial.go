package learn

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/part"
)

// Trial is how old and new call findings of units that the new was not fitted to.
// Tables count labels: the row is what the label says, the column what is called.
type Trial struct {
	Folds, Labels      int
	Kinds              []part.Kind // of rows and columns
	Old, New           [][]int
	OldRight, NewRight int
	Better, Worse      int // units with more right calls than before, and with fewer
	P                  float64
	Changes            []Change
}

// Change is a finding that new calls otherwise than old.
type Change struct {
	Example    Example
	Old, New   part.Kind
	Confidence float64
	Why        []Part // what speaks for New against Old, weightiest first
}

// Right says whether the change is for the better: 1, the worse: -1, or from one
// wrong call to another: 0.
func (c Change) Right() int {
	switch c.Example.Kind {
	case c.New:
		return 1
	case c.Old:
		return -1
	}
	return 0
}

// Caller calls a finding; see [Model.Call].
type Caller func(features map[string]float64, rule part.Kind, ruleConfidence float64) (part.Kind, float64)

// Rules is the caller that leaves everything to the rules.
func Rules(_ map[string]float64, rule part.Kind, confidence float64) (part.Kind, float64) {
	return rule, confidence
}

// Caller is the model as a caller.
func (m *Model) Caller() Caller {
	return func(f map[string]float64, rule part.Kind, confidence float64) (part.Kind, float64) {
		if c := m.Call(f, rule); c.Known {
			return c.Kind, c.Confidence
		}
		return rule, confidence
	}
}

// crossValidate fits to all but one fold of units and calls the findings of that
// one, for each fold (Stone 1974, J. R. Stat. Soc. B 36, 111, from memory).
// Units are dealt to folds by a seeded shuffle, so that the same labels give the
// same trial. old is what is in force now.
func crossValidate(examples []Example, kinds []part.Kind, p Params, old Caller) (Trial, error) {
	units := unitsOf(examples)
	r := rand.New(rand.NewPCG(foldSeed, 0))
	r.Shuffle(len(units), func(i, j int) { units[i], units[j] = units[j], units[i] })
	folds := min(p.Folds, len(units))
	if folds < 2 {
		return Trial{}, fmt.Errorf("learn: a test needs labels of two units, there are %d", len(units))
	}
	fold := map[string]int{}
	for i, u := range units {
		fold[u] = i % folds
	}
	var c comparison
	for f := range folds {
		var in, out []Example
		for _, e := range examples {
			if fold[e.Unit] == f {
				out = append(out, e)
			} else {
				in = append(in, e)
			}
		}
		m, err := fit(in, kinds, p)
		if err != nil {
			return Trial{}, err
		}
		c.add(out, old, m)
	}
	t := c.trial()
	t.Folds = folds
	return t, nil
}

// foldSeed is any number; it stays, so that a trial can be repeated.
const foldSeed = 6

func unitsOf(examples []Example) []string {
	var units []string
	for _, e := range examples {
		units = append(units, e.Unit)
	}
	slices.Sort(units)
	return slices.Compact(units)
}

// comparison gathers calls.
type comparison struct {
	label, old, new []part.Kind
	gain            map[string]int // by unit: right calls, new less old
	changes         []Change
}

func (c *comparison) add(examples []Example, old Caller, m *Model) {
	if c.gain == nil {
		c.gain = map[string]int{}
	}
	call := m.Caller()
	for _, e := range examples {
		was, _ := old(e.Features, e.Rule, e.RuleConfidence)
		is, confidence := call(e.Features, e.Rule, e.RuleConfidence)
		c.label, c.old, c.new = append(c.label, e.Kind), append(c.old, was), append(c.new, is)
		if was == is {
			continue
		}
		ch := Change{Example: e, Old: was, New: is, Confidence: confidence, Why: m.Why(e.Features, e.Rule, is, was)}
		c.changes = append(c.changes, ch)
		c.gain[e.Unit] += ch.Right()
	}
}

func (c *comparison) trial() Trial {
	t := Trial{Labels: len(c.label), P: 1, Changes: c.changes}
	for _, k := range part.Kinds {
		if slices.Contains(c.label, k) || slices.Contains(c.old, k) || slices.Contains(c.new, k) {
			t.Kinds = append(t.Kinds, k)
		}
	}
	t.Old, t.New = make([][]int, len(t.Kinds)), make([][]int, len(t.Kinds))
	for i := range t.Kinds {
		t.Old[i], t.New[i] = make([]int, len(t.Kinds)), make([]int, len(t.Kinds))
	}
	for i, l := range c.label {
		row := slices.Index(t.Kinds, l)
		t.Old[row][slices.Index(t.Kinds, c.old[i])]++
		t.New[row][slices.Index(t.Kinds, c.new[i])]++
	}
	for i := range t.Kinds {
		t.OldRight += t.Old[i][i]
		t.NewRight += t.New[i][i]
	}
	for _, g := range c.gain {
		switch {
		case g > 0:
			t.Better++
		case g < 0:
			t.Worse++
		}
	}
	t.P = signTest(t.Better, t.Worse)
	return t
}

// signTest is the probability of at least so many better of better + worse by
// chance: one-sided sign test (Dixon and Mood 1946, J. Am. Stat. Assoc. 41, 557,
// from memory). 1 where there is none.
func signTest(better, worse int) float64 {
	n := better + worse
	if n == 0 || better == 0 {
		return 1
	}
	return min(1, 1-distuv.Binomial{N: float64(n), P: 0.5}.CDF(float64(better-1)))
}

// Summary is the trial in numbers.
func (t Trial) Summary() TestSummary {
	return TestSummary{t.Folds, t.Labels, t.OldRight, t.NewRight, t.Better, t.Worse, t.P}
}
