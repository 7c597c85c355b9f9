package learn

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/part"
)

// Contradiction is labels that cannot both be learned.
type Contradiction struct {
	A, B Example
	Same bool    // the same finding; else two that look alike
	Far  float64 // how far apart they look: root mean square over the features, in standard deviations
}

// alikeSD is how little two findings may differ to be told as looking alike
// (common practice, no source).
const alikeSD = 0.15

// maxCompared bounds the search for findings that look alike, which takes the
// square of it.
const maxCompared = 4000

// agreed leaves one example of each finding: those of which labels differ are
// left out and told.
func agreed(examples []Example) (kept []Example, against []Contradiction) {
	type key struct{ unit, place string }
	first := map[key]int{}
	bad := map[key]bool{}
	var once []Example
	for _, e := range examples {
		k := key{e.Unit, e.Place}
		i, there := first[k]
		switch {
		case e.Place == "" || !there: // without a place nothing can be said of two labels
			first[k] = len(once)
			once = append(once, e)
		case once[i].Kind != e.Kind && !bad[k]:
			bad[k] = true
			against = append(against, Contradiction{A: once[i], B: e, Same: true})
		}
	}
	return slices.DeleteFunc(once, func(e Example) bool { return e.Place != "" && bad[key{e.Unit, e.Place}] }), against
}

// lookalikes lists pairs that look alike and have other labels, nearest first.
func lookalikes(examples []Example) []Contradiction {
	examples = examples[max(0, len(examples)-maxCompared):]
	m := Model{Features: standardise(examples)}
	x := make([][]float64, len(examples))
	for i, e := range examples {
		x[i] = m.standard(e.Features)
	}
	var out []Contradiction
	for i, a := range examples {
		for j := range i {
			if b := examples[j]; a.Kind != b.Kind {
				if d := apart(x[i], x[j]); d < alikeSD {
					out = append(out, Contradiction{A: b, B: a, Far: d})
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Contradiction) int { return cmp.Compare(a.Far, b.Far) })
	return out
}

func apart(a, b []float64) float64 {
	const most = alikeSD * alikeSD
	sum := 0.0
	for i := range a {
		if sum += (a[i] - b[i]) * (a[i] - b[i]); sum > most*float64(len(a)) {
			return math.Inf(1)
		}
	}
	return math.Sqrt(sum / float64(len(a)))
}

// count tells how many labels there are of each kind, in the kinds' order, and
// which are enough.
func count(examples []Example, p Params) []KindCount {
	var out []KindCount
	for _, k := range Kinds() {
		units := map[string]bool{}
		n := 0
		for _, e := range examples {
			if e.Kind == k {
				n++
				units[e.Unit] = true
			}
		}
		if n > 0 {
			out = append(out, KindCount{k, n, len(units), n >= p.MinPerKind && len(units) >= p.MinUnitsPerKind})
		}
	}
	return out
}

// Missing says what a kind lacks to be learned: "7 more labels, from 2 more units".
// Without a key where it lacks nothing.
func (c KindCount) Missing(p Params) part.Phrase {
	labels, units := max(0, p.MinPerKind-c.Labels), max(0, p.MinUnitsPerKind-c.Units)
	labels = max(labels, units) // each further unit comes with a label
	if labels == 0 {
		return part.Phrase{}
	}
	more := part.Say("learn.missing", "n", strconv.Itoa(labels))
	if units == 0 {
		return more
	}
	return part.Say("learn.missing_from").With("labels", more).With("units", part.Say("learn.missing_units", "n", strconv.Itoa(units)))
}

// tooLittle says why nothing can be learned, a sentence each; empty where
// something can.
func tooLittle(examples []Example, counts []KindCount, p Params) []part.Phrase {
	var why []part.Phrase
	if n := p.MinLabels - len(examples); n > 0 {
		why = append(why, part.Say("learn.need.labels", "n", strconv.Itoa(len(examples)), "least", strconv.Itoa(p.MinLabels), "more",
			strconv.Itoa(n)))
	}
	if units := len(unitsOf(examples)); units < p.MinUnits {
		why = append(why, part.Say("learn.need.units", "n", strconv.Itoa(units), "least", strconv.Itoa(p.MinUnits)))
	}
	learnt := 0
	var lacking []part.Phrase
	for _, c := range counts {
		if c.Learnt {
			learnt++
		} else {
			lacking = append(lacking, part.Say("learn.need.kind", "kind", noun(c.Kind)).With("missing", c.Missing(p)))
		}
	}
	if learnt >= 2 {
		return why
	}
	least := []string{"least", strconv.Itoa(p.MinPerKind), "units", strconv.Itoa(p.MinUnitsPerKind)}
	switch len(counts) {
	case 0:
		why = append(why, part.Say("learn.need.no_kind", least...))
	case 1:
		why = append(why, part.Say("learn.need.one_kind", append(least, "kind", noun(counts[0].Kind))...))
	}
	return append(why, lacking...)
}

// noun is the key of a kind's name.
func noun(k part.Kind) string { return "@noun." + string(k) }

func learntKinds(counts []KindCount) []part.Kind {
	var out []part.Kind
	for _, c := range counts {
		if c.Learnt {
			out = append(out, c.Kind)
		}
	}
	return out
}
