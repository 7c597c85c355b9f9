package process

import (
	"cmp"
	"fmt"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// Escape is a unit that passed at one stage and did not at a later one.
type Escape struct {
	Serial, Side string
	Passed       Unit // its last look at the earlier stage
	Found        Unit // its first look at the later one
	// Overlooked are kinds found later that could have been seen, or were there to be
	// seen, at the earlier stage. Without any the fault came after it.
	Overlooked []part.Kind
}

// Escapes are those of two stages.
type Escapes struct {
	From, To part.Stage
	All      []Escape    // in order of time found
	Share    study.Share // of the units that passed and were looked at later
	Real     study.Share // the same, only escapes with something overlooked
	Kinds    []KindCount // what was overlooked, in units, most frequent first
	Waiting  int         // passed, and not yet (or not measured) at the later stage
}

// KindCount is in how many units a kind was found.
type KindCount struct {
	Kind  part.Kind
	Units int
}

// ShowsAt are the kinds of finding that show at a stage: steps, gaps, glue and
// sanding marks before any lacquer, what is in or on the lacquer while it is wet.
// Orange peel and haze come as the lacquer sets (common practice, no source).
func ShowsAt(s part.Stage) []part.Kind {
	switch s {
	case part.Trim:
		return []part.Kind{part.Step, part.Gap, part.Bead, part.Sanding, part.Chip}
	case part.Wet:
		return []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Run, part.Missed, part.Crater, part.Sanding, part.Step, part.Gap,
			part.Bead, part.Chip}
	}
	return part.Kinds
}

// EscapesOf finds the units that passed their last look at one stage and were
// sent to rework or refused at their first look at a later stage after that.
func EscapesOf(units []Unit, from, to part.Stage, confidence float64) (Escapes, error) {
	if confidence == 0 {
		confidence = 0.95
	}
	e := Escapes{From: from, To: to}
	if slices.Index(part.Stages, from) < 0 || slices.Index(part.Stages, from) >= slices.Index(part.Stages, to) {
		return e, fmt.Errorf("process: escapes from stage %q to %q: the stages are trim, wet and cured, and the second comes later", from,
			to)
	}
	type unit struct{ serial, side string }
	later := map[unit][]Unit{}
	for _, u := range InTime(units) {
		if u.Stage == to && u.Measured() {
			k := unit{u.Serial, u.Side}
			later[k] = append(later[k], u)
		}
	}
	shows := ShowsAt(from)
	looked, kinds := 0, map[part.Kind]int{}
	for _, u := range LastLooks(units) {
		if u.Stage != from || u.Verdict != part.Pass {
			continue
		}
		looks := later[unit{u.Serial, u.Side}]
		at := slices.IndexFunc(looks, func(l Unit) bool { return !l.At.Before(u.At) })
		if at < 0 {
			e.Waiting++
			continue
		}
		looked++
		found := looks[at]
		if found.Verdict == part.Pass {
			continue
		}
		x := Escape{Serial: u.Serial, Side: u.Side, Passed: u, Found: found}
		for _, k := range shows {
			if slices.ContainsFunc(found.Findings, func(f Finding) bool { return f.Kind == k && f.Severity.Rank() > 0 }) {
				x.Overlooked = append(x.Overlooked, k)
				kinds[k]++
			}
		}
		e.All = append(e.All, x)
	}
	slices.SortStableFunc(e.All, func(a, b Escape) int { return a.Found.At.Compare(b.Found.At) })
	overlooked := 0
	for _, x := range e.All {
		if len(x.Overlooked) > 0 {
			overlooked++
		}
	}
	for k, n := range kinds {
		e.Kinds = append(e.Kinds, KindCount{k, n})
	}
	slices.SortFunc(e.Kinds, func(a, b KindCount) int {
		return cmp.Or(cmp.Compare(b.Units, a.Units), cmp.Compare(a.Kind, b.Kind))
	})
	var err error
	if e.Share, err = study.NewShare(len(e.All), looked, confidence, study.WilsonScore); err != nil {
		return e, fmt.Errorf("process: escapes: %w", err)
	}
	e.Real, err = study.NewShare(overlooked, looked, confidence, study.WilsonScore)
	return e, err
}
