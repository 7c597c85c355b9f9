package charts

import (
	"fmt"
	"math"
	"slices"
)

// Phase is a stretch of a chart with limits of its own, from one change of the
// process that is known to the next. Once its baseline is full its limits stay.
type Phase struct {
	Name     string    // "new nozzle"
	From     int       // its first point, from 0
	Baseline int       // so many of its first points set its limits; 0: all of them, and the limits move with each new one
	Without  []int     // points of the chart, from 0, whose cause was found and removed: drawn and judged, but no part of the limits
	Given    *Standard // not nil: limits from these numbers instead
}

// Standard is a centre and a spread that are given, not estimated.
type Standard struct {
	Centre float64   // of a value, a share (p, np), a rate a unit (u) or a count (c)
	Sigma  float64   // within subgroups; for measured values only
	Rates  []float64 // rate a unit of each class; for demerits only
}

// Options are what charts share.
type Options struct {
	Phases []Phase // in order; nil: one, with limits from all points
	Rules  []Rule  // nil: none is applied
}

// Stretch is a phase as it came out.
type Stretch struct {
	Phase
	To    int  // the first point after it
	Used  int  // points that its limits rest on; 0 where they are given
	Fixed bool // the limits do not move any more: given, or the baseline is full
}

// Chart is a control chart as computed. Value and limits of a point that was
// not measured are NaN, and so are limits where there were too few points.
type Chart struct {
	Kind      Kind
	Values    []float64
	Limits    []Limits // of each point
	Stretches []Stretch
	Signals   []Signal // in order of points
}

// newChart lays out n points in their phases.
func newChart(k Kind, n int, phases []Phase) (Chart, error) {
	c := Chart{Kind: k, Values: make([]float64, n), Limits: make([]Limits, n)}
	for i := range c.Limits {
		c.Values[i], c.Limits[i] = math.NaN(), noLimits()
	}
	if len(phases) == 0 {
		phases = []Phase{{}}
	}
	for i, p := range phases {
		to := n
		if i+1 < len(phases) {
			to = phases[i+1].From
		}
		if p.From < 0 || p.From > n || to <= p.From && n > 0 || i == 0 && p.From != 0 {
			return c, fmt.Errorf("charts: phase %d from point %d of %d: phases begin at point 0, and each after the one before", i+1,
				p.From, n)
		}
		if p.Baseline < 0 {
			return c, fmt.Errorf("charts: phase %d: a baseline of %d points: it can not be below 0", i+1, p.Baseline)
		}
		for _, w := range p.Without {
			if w < p.From || w >= to {
				return c, fmt.Errorf("charts: phase %d: point %d is to be left out of its limits, but lies outside of it (%d to %d)", i+1,
					w, p.From, to-1)
			}
		}
		c.Stretches = append(c.Stretches, Stretch{Phase: p, To: to})
	}
	return c, nil
}

func noLimits() Limits { return Limits{math.NaN(), math.NaN(), math.NaN(), math.NaN()} }

// baseline are the points that set a stretch's limits: its first ones that have
// a value and are not left out.
func (c *Chart) baseline(s *Stretch) []int {
	out := make([]int, 0, s.To-s.From)
	end := s.To
	if s.Baseline > 0 {
		end = min(end, s.From+s.Baseline)
	}
	for i := s.From; i < end; i++ {
		if !math.IsNaN(c.Values[i]) && !slices.Contains(s.Without, i) {
			out = append(out, i)
		}
	}
	s.Used, s.Fixed = len(out), s.Baseline > 0 && s.To-s.From >= s.Baseline
	return out
}

// judge applies rules; runs do not go on from one phase to the next.
func (c *Chart) judge(rules []Rule) {
	if len(rules) == 0 {
		return
	}
	z := make([]float64, len(c.Values))
	for i, v := range c.Values {
		z[i] = distance(v, c.Limits[i])
	}
	for _, s := range c.Stretches {
		c.Signals = append(c.Signals, applyZ(z[s.From:s.To], s.From, rules)...)
	}
}
