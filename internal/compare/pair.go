package compare

import (
	"cmp"
	"math"
	"slices"

	"finishbench/internal/part"
)

// PairLimits are how far left and right of one serial may differ. 0: no limit.
type PairLimits struct {
	StepUM   float64 // worst steps, with their signs
	MeanUM   float64 // mean steps around the seam
	DeltaE   float64 // faceplates' colours, CIEDE2000; seen at a glance from 2 on (common practice, no source)
	Demerits float64 // scores
}

// Pair is left and right of one serial beside each other. First is left, second
// right.
type Pair struct {
	Verdicts [2]part.Verdict  `json:"verdicts"`
	Stages   [2]part.Stage    `json:"stages"`
	Worst    Difference       `json:"worst_step_um"`
	Mean     Difference       `json:"mean_step_um"`
	Around   [2][]Place       `json:"around"` // steps around each seam, in the order of their angle
	Demerits Difference       `json:"demerits"`
	Kinds    []KindCount      `json:"kinds"` // findings by kind, in the trade's order
	Colour   ColourDifference `json:"colour"`
	State    State            `json:"state"`
	Lines    []Line           `json:"lines"` // what to say, most important first
}

// Place is a step at one place around the seam.
type Place struct {
	AroundDeg float64   `json:"around_deg"` // about the axis out of the faceplate, 0..360: a picture's angle at its right limb, opposite at its left
	AngleDeg  float64   `json:"angle_deg"`  // of the picture
	Side      part.Side `json:"side"`
	StepUM    *float64  `json:"step_um,omitempty"` // nil: not measured
	UUM       *float64  `json:"u_um,omitempty"`
}

// KindCount is how many findings of a kind two inspections have.
type KindCount struct {
	Kind   part.Kind `json:"kind"`
	First  int       `json:"first"`
	Second int       `json:"second"`
}

// ColourDifference is that of two faceplates.
type ColourDifference struct {
	Difference                 // of CIEDE2000; First and Second are nil. U is not more than the standard uncertainty of Diff
	Colours    [2]*part.Colour `json:"colours"`
	See        See             `json:"see,omitempty"`
	Lighter    *float64        `json:"lighter,omitempty"`  // second less first, L
	Redder     *float64        `json:"redder,omitempty"`   // a; below 0 greener
	Yellower   *float64        `json:"yellower,omitempty"` // b; below 0 bluer
	Patterned  bool            `json:"patterned"`          // the colours are means over a pattern
	White      bool            `json:"white"`              // both against a white reference
	Why        string          `json:"why,omitempty"`      // a key: why it was not measured
}

// PatternSpread is the spread (CIEDE2000) from which on a faceplate counts as
// patterned: places that differ more than a close look needs (common practice, no
// source).
const PatternSpread = 2.0

// PairOf compares left and right. Steps are not compared place by place: where
// the zero of the angle lies on a left and on a right shell is not known.
func PairOf(left, right *part.Result, lim PairLimits) Pair {
	p := Pair{Verdicts: [2]part.Verdict{left.Verdict, right.Verdict}, Stages: [2]part.Stage{left.Stage, right.Stage}}
	p.Around = [2][]Place{Around(left), Around(right)}
	p.Worst = worstDifference(p.Around, lim.StepUM)
	p.Mean = meanDifference(p.Around, lim.MeanUM)
	p.Demerits = newDifference(left.Score, nil, right.Score, nil, lim.Demerits)
	p.Kinds = kindCounts(left.Findings, right.Findings)
	p.Colour = colourDifference(left.Faceplate, right.Faceplate, lim.DeltaE)
	p.State = together(p.Worst.State, p.Mean.State, p.Demerits.State, p.Colour.State, verdictState(p.Verdicts))
	p.Lines = p.say()
	return p
}

// Around are the steps of a unit in the order of their place around the seam.
func Around(r *part.Result) []Place {
	var ps []Place
	for _, s := range r.Seam.Stations {
		p := Place{AroundDeg: s.AroundDeg(), AngleDeg: s.AngleDeg, Side: s.Side}
		if s.State == part.Measured {
			p.StepUM, p.UUM = s.StepUM, s.UUM
		}
		ps = append(ps, p)
	}
	slices.SortStableFunc(ps, func(a, b Place) int { return cmp.Compare(a.AroundDeg, b.AroundDeg) })
	return ps
}

// worstOf is the place with the step of largest size; nil where none was
// measured.
func worstOf(ps []Place) *Place {
	var worst *Place
	for i := range ps {
		if p := &ps[i]; p.StepUM != nil && (worst == nil || math.Abs(*p.StepUM) > math.Abs(*worst.StepUM)) {
			worst = p
		}
	}
	return worst
}

func worstDifference(around [2][]Place, limit float64) Difference {
	a, b := worstOf(around[0]), worstOf(around[1])
	if a == nil || b == nil {
		return Difference{Limit: limit, State: NotMeasured, First: stepOf(a), Second: stepOf(b)}
	}
	return newDifference(a.StepUM, a.UUM, b.StepUM, b.UUM, limit)
}

func stepOf(p *Place) *float64 {
	if p == nil {
		return nil
	}
	return p.StepUM
}

func meanDifference(around [2][]Place, limit float64) Difference {
	var mean, u [2]*float64
	for i, ps := range around {
		mean[i], u[i] = meanStep(ps)
	}
	return newDifference(mean[0], u[0], mean[1], u[1], limit)
}

// meanStep is the mean of the steps that were measured, at half of the places or
// more, with its standard uncertainty; nil else.
func meanStep(ps []Place) (mean, u *float64) {
	sum, ss, n := 0.0, 0.0, 0
	for _, p := range ps {
		if p.StepUM == nil {
			continue
		}
		n++
		sum += *p.StepUM
		if p.UUM == nil {
			ss = math.NaN()
		} else {
			ss += *p.UUM * *p.UUM
		}
	}
	if n == 0 || 2*n < len(ps) {
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

// Why there is no colour difference: keys.
const (
	WhyNoColour = "colour.none"  // one of the faceplates has none
	WhyLight    = "colour.light" // they were taken under different light
	WhyWhite    = "colour.white" // one against a white reference, one not
)

func colourDifference(a, b *part.Faceplate, limit float64) ColourDifference {
	d := ColourDifference{Difference: Difference{Limit: limit, State: NotMeasured}}
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
		d.measure(*p, *q)
	}
	return d
}

func (d *ColourDifference) measure(p, q part.Colour) {
	d.White, d.Patterned = p.White, p.Spread >= PatternSpread || q.Spread >= PatternSpread
	zero := 0.0
	e, u := DeltaEOf(p, q)
	limit := d.Limit
	d.Difference = newDifference(&zero, part.Num(u), part.Num(e), &zero, limit)
	d.First, d.Second = nil, nil
	d.See = SeeOf(e)
	d.Lighter, d.Redder, d.Yellower = part.Num(q.L-p.L), part.Num(q.A-p.A), part.Num(q.B-p.B)
}

// DeltaEOf is the colour difference of two surfaces, and a bound of its standard
// uncertainty: the difference that one standard uncertainty along L, a and b
// makes at the colour between them, added as squares (JCGM 100:2008, 5.1.2). It is
// a bound because the difference is a distance: what lies across it counts less,
// and near 0 it can only make the difference larger.
func DeltaEOf(p, q part.Colour) (deltaE, u float64) {
	mid := Lab{(p.L + q.L) / 2, (p.A + q.A) / 2, (p.B + q.B) / 2}
	ss := 0.0
	for _, h := range []Lab{{L: hypot(p.UL, q.UL) / 2}, {A: hypot(p.UA, q.UA) / 2}, {B: hypot(p.UB, q.UB) / 2}} {
		e := DeltaE(Lab{mid.L - h.L, mid.A - h.A, mid.B - h.B}, Lab{mid.L + h.L, mid.A + h.A, mid.B + h.B})
		ss += e * e
	}
	return DeltaE(Lab{p.L, p.A, p.B}, Lab{q.L, q.A, q.B}), math.Sqrt(ss)
}

func verdictState(v [2]part.Verdict) State {
	switch {
	case v[0] == part.NotMeasured || v[1] == part.NotMeasured:
		return NotMeasured
	case v[0] != v[1]:
		return Differ
	}
	return Alike
}

// say puts the comparison into lines: what it came to, then what differs, then
// what was not measured, then the rest.
func (p Pair) say() []Line {
	lines := []Line{{Key: "pair." + string(p.State)}}
	if p.Stages[0] != p.Stages[1] {
		lines = append(lines, Line{"pair.stages", map[string]any{"left": p.Stages[0], "right": p.Stages[1]}})
	}
	if p.Verdicts[0] != p.Verdicts[1] {
		lines = append(lines, Line{"pair.verdicts", map[string]any{"left": p.Verdicts[0], "right": p.Verdicts[1]}})
	}
	items := []struct {
		name string
		d    Difference
		more map[string]any
	}{
		{"worst", p.Worst, nil},
		{"mean", p.Mean, nil},
		{"colour", p.Colour.Difference, map[string]any{"see": p.Colour.See, "why": p.Colour.Why}},
		{"demerits", p.Demerits, nil},
	}
	for _, s := range []State{Differ, NotMeasured, Alike} {
		for _, it := range items {
			if it.d.State == s {
				lines = append(lines, it.d.line("pair."+it.name, it.more))
			}
		}
	}
	if p.Colour.Patterned {
		lines = append(lines, Line{Key: "pair.colour.patterned"})
	}
	if p.Colour.Diff != nil && !p.Colour.White {
		lines = append(lines, Line{Key: "pair.colour.no_white"})
	}
	return lines
}

// line says a difference: its key with the state, and its numbers as far as they
// are known.
func (d Difference) line(key string, more map[string]any) Line {
	args := map[string]any{}
	for name, v := range map[string]*float64{"left": d.First, "right": d.Second, "diff": d.Diff, "u": d.U} {
		if v != nil {
			args[name] = *v
		}
	}
	if d.Limit > 0 {
		args["limit"] = d.Limit
	}
	if d.Limit > 0 && d.Diff != nil && d.U != nil {
		args["sure"] = d.Significant()
	}
	for k, v := range more {
		args[k] = v
	}
	return Line{key + "." + string(d.State), args}
}
