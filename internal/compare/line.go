package compare

import "finishbench/internal/part"

// Line is one thing to say: a key into a language's file, and what goes into its
// sentence. Numbers stay numbers (float64 or int), so that each language writes
// them its own way; words of the trade are part's.
type Line struct {
	Key  string         `json:"key"`
	Args map[string]any `json:"args,omitempty"`
}

// State is what a comparison came to.
type State string

// The states. Nothing that was not measured counts as alike.
const (
	Alike       State = "alike"
	Differ      State = "differ"
	NotMeasured State = "not_measured"
)

// together is what several comparisons come to: one difference makes them
// differ, and nothing that is not measured lets them be alike.
func together(states ...State) State {
	all := Alike
	for _, s := range states {
		switch s {
		case Differ:
			return Differ
		case NotMeasured:
			all = NotMeasured
		}
	}
	return all
}

// Difference is a number on two sides. Diff is second less first (right less
// left, after less before), U its standard uncertainty, k = 1; each is nil where
// it was not measured or not known.
type Difference struct {
	First  *float64 `json:"first,omitempty"`
	Second *float64 `json:"second,omitempty"`
	Diff   *float64 `json:"diff,omitempty"`
	U      *float64 `json:"u,omitempty"`
	Limit  float64  `json:"limit"` // of Diff's size; 0 or less: none, and State is Alike wherever both are there
	State  State    `json:"state"`
}

// newDifference compares two numbers with their standard uncertainties, which
// are taken as independent (JCGM 100:2008, 5.1.2): what both share, such as the
// scale, weighs little on a difference.
func newDifference(a, ua, b, ub *float64, limit float64) Difference {
	d := Difference{First: a, Second: b, Limit: limit, State: NotMeasured}
	if a == nil || b == nil {
		return d
	}
	d.Diff = part.Num(*b - *a)
	if d.Diff == nil {
		return d
	}
	if ua != nil && ub != nil {
		d.U = part.Num(hypot(*ua, *ub))
	}
	d.State = Alike
	if limit > 0 && abs(*d.Diff) > limit {
		d.State = Differ
	}
	return d
}

// Significant says whether the state would be the same within twice the uncertainty;
// false where that is not known.
func (d Difference) Significant() bool {
	return d.Diff != nil && d.U != nil && (d.Limit <= 0 || abs(abs(*d.Diff)-d.Limit) > part.CoverageK**d.U)
}
