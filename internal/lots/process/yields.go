package process

import (
	"fmt"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// StageYield is how many units a stage passes.
type StageYield struct {
	Stage       part.Stage
	First       study.Share // passed at the first look, out of those that were measured
	Last        study.Share // passed at the last look: after rework
	NotMeasured int         // first looks that came to no call: in neither
}

// Yields are those of all stages.
type Yields struct {
	Stages []StageYield // of the stages at which anything was looked at
	// Rolled is the product of the stages' first-pass yields: what goes through all
	// without rework if stages have nothing to do with each other. Its bounds are the
	// products of exact bounds (Clopper and Pearson) of which each holds so much more
	// surely that all hold together (Bonferroni): rather too wide.
	Rolled Index
	// PassedAll is that share as it was: units looked at at every stage that passed
	// each at the first look.
	PassedAll study.Share
}

// YieldsOf counts units in the order of stages: trim, wet, cured.
func YieldsOf(units []Unit, confidence float64) (Yields, error) {
	if confidence == 0 {
		confidence = 0.95
	}
	first, last := FirstLooks(units), LastLooks(units)
	y := Yields{Rolled: noIndex()}
	for _, stage := range part.Stages {
		s := StageYield{Stage: stage}
		passed, of, looked := countPassed(first, stage)
		if looked == 0 {
			continue
		}
		s.NotMeasured = looked - of
		endPassed, endOf, _ := countPassed(last, stage)
		var err error
		if s.First, err = study.NewShare(passed, of, confidence, study.WilsonScore); err != nil {
			return y, fmt.Errorf("process: yield: %w", err)
		}
		if s.Last, err = study.NewShare(endPassed, endOf, confidence, study.WilsonScore); err != nil {
			return y, fmt.Errorf("process: yield: %w", err)
		}
		y.Stages = append(y.Stages, s)
	}
	if len(y.Stages) == 0 {
		return y, nil
	}
	y.Rolled = Index{1, study.Bounds{Lower: 1, Upper: 1}}
	for _, s := range y.Stages {
		y.Rolled.Value *= s.First.Value()
		if s.First.Of == 0 {
			y.Rolled = noIndex()
			break
		}
		b, err := study.ClopperPearson(s.First.Count, s.First.Of, 1-(1-confidence)/float64(len(y.Stages)))
		if err != nil {
			return y, fmt.Errorf("process: yield: %w", err)
		}
		y.Rolled.Bounds.Lower *= b.Lower
		y.Rolled.Bounds.Upper *= b.Upper
	}
	return y, y.countPassedAll(first, confidence)
}

func countPassed(looks []Unit, stage part.Stage) (passed, measured, looked int) {
	for i := range looks {
		if looks[i].Stage != stage {
			continue
		}
		looked++
		if looks[i].Measured() {
			measured++
		}
		if looks[i].Verdict == part.Pass {
			passed++
		}
	}
	return passed, measured, looked
}

func (y *Yields) countPassedAll(first []Unit, confidence float64) error {
	type unit struct{ serial, side string }
	measured, passed := map[unit]int{}, map[unit]int{}
	for i := range first {
		k := unit{first[i].Serial, first[i].Side}
		if first[i].Measured() {
			measured[k]++
		}
		if first[i].Verdict == part.Pass {
			passed[k]++
		}
	}
	n, ok := 0, 0
	for k, m := range measured {
		if m == len(y.Stages) {
			n++
			if passed[k] == m {
				ok++
			}
		}
	}
	var err error
	y.PassedAll, err = study.NewShare(ok, n, confidence, study.WilsonScore)
	return err
}
