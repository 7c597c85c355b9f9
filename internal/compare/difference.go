package compare

import (
	"math"

	"finishbench/internal/part"
)

// State is what a comparison came to.
type State string

// The states. Nothing that was not measured counts as alike.
const (
	Alike       State = "alike"
	Differ      State = "differ"
	NotMeasured State = "not_measured"
)

// Difference is a number on two sides. Diff is second less first (right less
// left), U its standard uncertainty, k = 1; each is nil where it was not measured
// or not known.
type Difference struct {
	First, Second, Diff, U *float64
	State                  State
}

// newDifference compares two numbers with their standard uncertainties, which
// are taken as independent (JCGM 100:2008, 5.1.2): what both share, such as the
// scale, weighs little on a difference. They differ where the difference is larger
// than the limit; with a limit of 0 or less, nowhere.
func newDifference(a, ua, b, ub *float64, limit float64) Difference {
	d := Difference{First: a, Second: b, State: NotMeasured}
	if a == nil || b == nil {
		return d
	}
	d.Diff = part.Num(*b - *a)
	if d.Diff == nil {
		return d
	}
	if ua != nil && ub != nil {
		d.U = part.Num(math.Hypot(*ua, *ub))
	}
	d.State = Alike
	if limit > 0 && math.Abs(*d.Diff) > limit {
		d.State = Differ
	}
	return d
}
