package compare

import (
	"math"

	"finishbench/internal/part"
)

// Pair is left and right of one serial beside each other. First is left, second
// right.
type Pair struct {
	Worst    Difference  // of the worst steps, um, with their signs
	Mean     Difference  // of the mean steps around the seam, um
	Demerits Difference  // of the scores
	Kinds    []KindCount // findings by kind, in the trade's order
	Colour   ColourDifference
}

// KindCount is how many findings of a kind two inspections have.
type KindCount struct {
	Kind          part.Kind
	First, Second int
}

// ColourDifference is that of two faceplates.
type ColourDifference struct {
	Difference // of CIEDE2000; First and Second are nil. U is not more than the standard uncertainty of Diff
	Colours    [2]*part.Colour
	See        See  // how it looks; "" where it was not measured
	Patterned  bool // the colours are means over a pattern
	White      bool // both against a white reference
	Why        Why  // it was not measured; "" where it was
}

// PatternSpread is the spread (CIEDE2000) from which on a faceplate counts as
// patterned: places that differ more than a close look needs (common practice, no
// source).
const PatternSpread = 2.0

// PairOf compares left and right. Steps are not compared place by place: where
// the zero of the angle lies on a left and on a right shell is not known.
func PairOf(left, right *part.Result, lim part.PairLimits) Pair {
	return Pair{
		Worst:    newDifference(left.Seam.WorstStepUM, worstU(left), right.Seam.WorstStepUM, worstU(right), lim.StepUM),
		Mean:     meanDifference(left, right, lim.MeanUM),
		Demerits: newDifference(left.Score, nil, right.Score, nil, lim.Demerits),
		Kinds:    kindCounts(left.Findings, right.Findings),
		Colour:   colourDifference(left.Faceplate, right.Faceplate, lim.DeltaE),
	}
}

// worstU is the standard uncertainty of the worst step, um; nil where it is not known.
func worstU(r *part.Result) *float64 {
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured && s.StepUM != nil && r.Seam.WorstStepUM != nil && *s.StepUM == *r.Seam.WorstStepUM {
			return s.UUM
		}
	}
	return nil
}

func meanDifference(left, right *part.Result, limit float64) Difference {
	a, ua := meanStep(left.Seam.Stations)
	b, ub := meanStep(right.Seam.Stations)
	return newDifference(a, ua, b, ub, limit)
}

// meanStep is the mean of the steps that were measured, at half of the stations or
// more, with its standard uncertainty; nil else.
func meanStep(stations []part.StepStation) (mean, u *float64) {
	sum, ss, n := 0.0, 0.0, 0
	for _, s := range stations {
		if s.State != part.Measured || s.StepUM == nil {
			continue
		}
		n++
		sum += *s.StepUM
		if s.UUM == nil {
			ss = math.NaN()
		} else {
			ss += *s.UUM * *s.UUM
		}
	}
	if n == 0 || 2*n < len(stations) {
		return nil, nil
	}
	return part.Num(sum / float64(n)), part.Num(math.Sqrt(ss) / float64(n))
}

func kindCounts(first, second []part.Finding) []KindCount {
	var out []KindCount
	for _, k := range part.Kinds {
		c := KindCount{k, countKind(first, k), countKind(second, k)}
		if c.First+c.Second > 0 {
			out = append(out, c)
		}
	}
	return out
}

// countKind counts the findings of a kind; those without severity are within
// limits, and do not count.
func countKind(fs []part.Finding, k part.Kind) int {
	n := 0
	for _, f := range fs {
		if f.Kind == k && f.Severity != part.None {
			n++
		}
	}
	return n
}

// Why is why there is no colour difference, in words' keys.
type Why string

// The reasons.
const (
	WhyNoColour Why = "no_colour" // one of the faceplates has none
	WhyLight    Why = "light"     // they were taken under different light
	WhyWhite    Why = "white"     // one against a white reference, one not
)

func colourDifference(a, b *part.Faceplate, limit float64) ColourDifference {
	d := ColourDifference{Difference: Difference{State: NotMeasured}}
	if a != nil {
		d.Colours[0] = a.Colour
	}
	if b != nil {
		d.Colours[1] = b.Colour
	}
	p, q := d.Colours[0], d.Colours[1]
	switch {
	case p == nil || q == nil:
		d.Why = WhyNoColour
	case a.Light != b.Light:
		d.Why = WhyLight
	case p.White != q.White:
		d.Why = WhyWhite
	default:
		d.measure(*p, *q, limit)
	}
	return d
}

func (d *ColourDifference) measure(p, q part.Colour, limit float64) {
	d.White, d.Patterned = p.White, p.Spread >= PatternSpread || q.Spread >= PatternSpread
	zero := 0.0
	e, u := DeltaEOf(p, q)
	d.Difference = newDifference(&zero, part.Num(u), part.Num(e), &zero, limit)
	d.First, d.Second = nil, nil
	d.See = SeeOf(e)
}

// DeltaEOf is the colour difference of two surfaces, and a bound of its standard
// uncertainty: the difference that one standard uncertainty along L, a and b
// makes at the colour between them, added as squares (JCGM 100:2008, 5.1.2). It is
// a bound because the difference is a distance: what lies across it counts less,
// and near 0 it can only make the difference larger.
func DeltaEOf(p, q part.Colour) (deltaE, u float64) {
	mid := Lab{(p.L + q.L) / 2, (p.A + q.A) / 2, (p.B + q.B) / 2}
	ss := 0.0
	for _, h := range []Lab{{L: math.Hypot(p.UL, q.UL) / 2}, {A: math.Hypot(p.UA, q.UA) / 2}, {B: math.Hypot(p.UB, q.UB) / 2}} {
		e := DeltaE(Lab{mid.L - h.L, mid.A - h.A, mid.B - h.B}, Lab{mid.L + h.L, mid.A + h.A, mid.B + h.B})
		ss += e * e
	}
	return DeltaE(Lab{p.L, p.A, p.B}, Lab{q.L, q.A, q.B}), math.Sqrt(ss)
}
