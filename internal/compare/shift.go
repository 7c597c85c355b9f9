package compare

import (
	"cmp"
	"math"
	"slices"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/stats/charts"
)

// ShiftOptions say how the figures are made.
type ShiftOptions struct {
	Location *time.Location // of the hours; nil: UTC
	Pause    time.Duration  // a longer time without an answer is a pause, not work. Default 15 min (common practice, no source)
	// Earlier are looks that were taken before the shift began: what comes again is
	// no first look.
	Earlier []part.Look
	// LimitsFrom is how many first looks the step's limits need at least. Default 20
	// (NIST/SEMATECH e-Handbook 6.3.2 has 20 to 25 subgroups; from memory).
	LimitsFrom int
}

// Shift is what came over the bench. A first look is a unit's first inspection
// at a stage.
type Shift struct {
	Inspections int                  // that hold
	Void        int                  // withdrawn or corrected; in no other number
	Units       int                  // different serials and sides
	Calls       map[part.Verdict]int // of the inspections that hold, the last word
	Standing    map[part.Verdict]int // of units at a stage, the latest call
	First       FirstPass
	FirstTool   FirstPass   // by the tool's call alone
	Findings    int         // at first looks
	Kinds       []KindShare // of these, most frequent first
	Steps       StepTrend
	Hours       []Hour // from the first to the last, also those without a unit
	ActiveHours float64
	PerHour     *float64     // inspections in an active hour
	Overrules   []Overruling // most frequent first
}

// FirstPass counts first looks. The yield is Passed out of those that were
// measured; what was not measured is told beside it, and is neither.
type FirstPass struct {
	Passed      int
	Measured    int // pass, rework or reject
	NotMeasured int
	Yield       *float64 // 0..1; nil: none was measured
}

func (f *FirstPass) add(v part.Verdict) {
	switch v {
	case part.Pass:
		f.Passed++
		f.Measured++
	case part.Rework, part.Reject:
		f.Measured++
	default:
		f.NotMeasured++
	}
	f.Yield = part.Num(float64(f.Passed) / float64(f.Measured))
}

// KindShare is one kind's part of the findings.
type KindShare struct {
	Kind       part.Kind
	Count      int
	Units      int     // first looks with at least one
	Share      float64 // of all findings, 0..1
	Cumulative float64 // with all more frequent kinds
}

// StepTrend is the size of the worst step at each first look, in time order, as a
// chart of single values.
type StepTrend struct {
	Points  []StepPoint
	Limits  *charts.Limits // nil: too few
	Missing int            // first looks without a step
}

// StepPoint is one of them.
type StepPoint struct {
	At           time.Time
	Serial, Side string //
	Stage        part.Stage
	SizeUM       float64
	StepUM       float64 // with its sign
	Signals      []string
}

// Hour is one hour of the clock.
type Hour struct {
	From        time.Time
	Inspections int
}

// Overruling is how often a call was changed to another for a reason.
type Overruling struct {
	From, To part.Verdict
	Reason   string
	Count    int
}

// ShiftOf counts a shift's inspections, in whatever order they come. An empty
// shift has zeros, and no yield.
func ShiftOf(all []part.Inspection, o ShiftOptions) (Shift, error) {
	if o.Location == nil {
		o.Location = time.UTC
	}
	if o.Pause <= 0 {
		o.Pause = 15 * time.Minute
	}
	if o.LimitsFrom <= 1 {
		o.LimitsFrom = 20
	}
	s := Shift{Calls: map[part.Verdict]int{}, Standing: map[part.Verdict]int{}}
	var held []*part.Inspection
	for i := range all {
		if !all[i].Holds() {
			s.Void++
		} else {
			held = append(held, &all[i])
		}
	}
	slices.SortStableFunc(held, func(a, b *part.Inspection) int { return cmp.Or(a.Ended.Compare(b.Ended), cmp.Compare(a.ID, b.ID)) })
	firsts := s.count(held, o)
	s.pareto(firsts)
	s.hours(held, o)
	return s, s.trend(firsts, o)
}

// count makes the counts and returns the first looks.
func (s *Shift) count(held []*part.Inspection, o ShiftOptions) (firsts []*part.Inspection) {
	units, latest := map[[2]string]bool{}, map[part.Look]part.Verdict{}
	overruled := map[Overruling]int{}
	earlier := map[part.Look]bool{}
	for _, l := range o.Earlier {
		earlier[l] = true
	}
	for _, in := range held {
		s.Inspections++
		s.Calls[in.Verdict()]++
		units[[2]string{in.Serial, in.Side}] = true
		if _, again := latest[in.Look()]; !again && !earlier[in.Look()] {
			firsts = append(firsts, in)
			s.First.add(in.Verdict())
			s.FirstTool.add(in.Result.Verdict)
		}
		latest[in.Look()] = in.Verdict()
		if o := in.Overruled; o != nil {
			overruled[Overruling{From: in.Result.Verdict, To: o.Verdict, Reason: o.Reason}]++
		}
	}
	s.Units = len(units)
	for _, v := range latest {
		s.Standing[v]++
	}
	for k, n := range overruled {
		k.Count = n
		s.Overrules = append(s.Overrules, k)
	}
	slices.SortFunc(s.Overrules, func(a, b Overruling) int {
		return cmp.Or(b.Count-a.Count, cmp.Compare(a.Reason, b.Reason), cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
	})
	return firsts
}

// pareto puts the findings' kinds in order. Findings without severity are within
// limits, and do not count.
func (s *Shift) pareto(firsts []*part.Inspection) {
	count, units := map[part.Kind]int{}, map[part.Kind]int{}
	for _, in := range firsts {
		has := map[part.Kind]bool{}
		for i := range in.Result.Findings {
			f := &in.Result.Findings[i]
			if f.Severity == part.None {
				continue
			}
			s.Findings++
			count[f.Kind]++
			if !has[f.Kind] {
				has[f.Kind] = true
				units[f.Kind]++
			}
		}
	}
	for k, n := range count {
		s.Kinds = append(s.Kinds, KindShare{Kind: k, Count: n, Units: units[k], Share: float64(n) / float64(s.Findings)})
	}
	slices.SortFunc(s.Kinds, func(a, b KindShare) int { return cmp.Or(b.Count-a.Count, cmp.Compare(a.Kind, b.Kind)) })
	n := 0
	for i := range s.Kinds {
		n += s.Kinds[i].Count
		s.Kinds[i].Cumulative = float64(n) / float64(s.Findings)
	}
}

// maxHours bounds the hours of a list that is no shift.
const maxHours = 24 * 7

// hours counts by the hour of the clock, and the time that was worked: from one
// answer to the next, or, after a pause, from that unit's start.
func (s *Shift) hours(held []*part.Inspection, o ShiftOptions) {
	if len(held) == 0 {
		return
	}
	active := time.Duration(0)
	for i, in := range held {
		own := max(0, in.Ended.Sub(in.Started))
		if i == 0 {
			active += own
		} else if gap := in.Ended.Sub(held[i-1].Ended); gap <= o.Pause {
			active += gap
		} else {
			active += min(own, gap)
		}
	}
	s.ActiveHours = active.Hours()
	s.PerHour = part.Num(float64(len(held)) / s.ActiveHours)
	first, last := hourOf(held[0].Ended, o.Location), hourOf(held[len(held)-1].Ended, o.Location)
	if last.Sub(first) > maxHours*time.Hour {
		return
	}
	for h := first; !h.After(last); h = h.Add(time.Hour) {
		s.Hours = append(s.Hours, Hour{From: h})
	}
	for _, in := range held {
		i := int(hourOf(in.Ended, o.Location).Sub(first) / time.Hour)
		s.Hours[min(i, len(s.Hours)-1)].Inspections++
	}
}

// hourOf is the start of an hour of the clock, also where clocks stand half an
// hour off.
func hourOf(t time.Time, l *time.Location) time.Time {
	t = t.In(l)
	return t.Add(-time.Duration(t.Minute())*time.Minute - time.Duration(t.Second())*time.Second - time.Duration(t.Nanosecond()))
}

// trend makes the chart of the worst steps' sizes, with limits where there are
// enough.
func (s *Shift) trend(firsts []*part.Inspection, o ShiftOptions) error {
	var values []float64
	var groups [][]float64
	for _, in := range firsts {
		if in.Result.Seam.WorstStepUM == nil {
			s.Steps.Missing++
			continue
		}
		v := math.Abs(*in.Result.Seam.WorstStepUM)
		values, groups = append(values, v), append(groups, []float64{v})
		s.Steps.Points = append(s.Steps.Points, StepPoint{At: in.Ended, Serial: in.Serial, Side: in.Side, Stage: in.Stage, SizeUM: v,
			StepUM: *in.Result.Seam.WorstStepUM})
	}
	if len(values) < o.LimitsFrom {
		return nil
	}
	p, err := charts.Estimate(groups, charts.Individuals)
	if err != nil {
		return err
	}
	p.Level.Lower = math.Max(0, p.Level.Lower)
	s.Steps.Limits = &p.Level
	rules, err := charts.Rules("default")
	if err != nil {
		return err
	}
	for _, g := range charts.Apply(values, p.Level, rules) {
		pt := &s.Steps.Points[g.Point]
		pt.Signals = append(pt.Signals, g.Rule.Name)
	}
	return nil
}
