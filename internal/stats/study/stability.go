package study

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/stats/charts"
)

// StabilityOptions say how a check piece's log is judged.
type StabilityOptions struct {
	Baseline int           // checks that fix the limits, the first ones; 20 (common practice, no source)
	Centre   float64       // given level; NaN: from the baseline
	Sigma    float64       // given standard deviation within a check; NaN: from the baseline. Both or none
	Rules    string        // words of charts.Rules; "": the default set
	MaxAge   time.Duration // a last check older than this blocks; 0: any age will do
}

// DefaultStabilityOptions fix the limits by the first twenty checks.
func DefaultStabilityOptions() StabilityOptions {
	return StabilityOptions{Baseline: enoughBaseline, Centre: math.NaN(), Sigma: math.NaN()}
}

const (
	enoughBaseline = 20 // common practice, no source
	leastBaseline  = 5  // fewer checks say nothing of a spread
)

// State is how the check piece stands.
type State string

// The states.
const (
	InControl   State = "in control"
	OutOfLimits State = "out of limits"
	NotMeasured State = "not measured"   // the last check gave no value, or there is none
	TooFew      State = "too few checks" // fewer checks than the baseline wants; nothing stands out so far
)

// Check is one check of the piece: a subgroup of one or more values.
type Check struct {
	Time    time.Time
	Line    int
	Values  []float64     // none: it could not be measured
	Level   float64       // mean of the values
	Spread  float64       // range or standard deviation; moving range for single values
	Signals []part.Phrase // the rules met here
	Note    string
	Left    bool // out of what fixes the limits: beyond them, and dealt with
	dealt   bool // an event after it cleared it
}

// Stability is what the log says. Limits are those that hold now: since the last
// new baseline.
type Stability struct {
	Options     StabilityOptions
	Kind        charts.Kind
	Size        int // values a check
	Checks      []Check
	Limits      charts.Pair // NaN where there are none yet
	From        int         // the first check that the limits are for
	Provisional bool        // the limits rest on fewer checks than wanted
	Given       bool        // the limits were given
	Actions     []CheckEntry
	State       State
	Since       int // the first check out of limits that nobody dealt with; -1: none
	sinceAction bool
}

// NewStability judges a log. A check that meets a rule stays out of limits until
// an event follows it. After an event runs start afresh; the limits stay, unless
// it was a new baseline.
func NewStability(log []CheckEntry, o StabilityOptions) (Stability, error) {
	nan := math.NaN()
	s := Stability{Options: o, Since: -1, State: NotMeasured, Provisional: true, Limits: charts.Pair{
		Level: charts.Limits{Centre: nan, Lower: nan, Upper: nan, Sigma: nan}, Spread: charts.Limits{Centre: nan, Lower: nan, Upper: nan,
			Sigma: nan}, SigmaWithin: nan}}
	rules, err := charts.Rules(o.Rules)
	if err != nil {
		return s, err
	}
	switch {
	case o.Baseline < 2:
		return s, fmt.Errorf("a baseline of %d checks: give 2 or more", o.Baseline)
	case math.IsNaN(o.Centre) != math.IsNaN(o.Sigma):
		return s, errors.New("give both centre and standard deviation, or none of them")
	case !math.IsNaN(o.Sigma) && (!(o.Sigma > 0) || math.IsInf(o.Sigma, 0) || math.IsInf(o.Centre, 0)):
		return s, fmt.Errorf("limits about %g with standard deviation %g: give numbers, the second above 0", o.Centre, o.Sigma)
	}
	segments, err := s.gather(log)
	if err != nil {
		return s, err
	}
	if s.Size == 0 {
		return s, nil // nothing was measured yet
	}
	s.Kind = charts.KindFor(s.Size)
	s.points()
	// What was beyond the limits and had a cause says nothing of the piece's
	// usual scatter: it is left out, and the limits computed again.
	for again := true; again; {
		if err := s.limits(); err != nil {
			return s, err
		}
		s.apply(segments, rules)
		again = s.leaveOut()
	}
	s.judge()
	return s, nil
}

// gather makes checks of the log's lines, and returns where runs start afresh.
func (s *Stability) gather(log []CheckEntry) (segments []int, err error) {
	segments = []int{0}
	open := false // a further line of the same time belongs to the last check
	for _, e := range log {
		if e.Event != Measurement {
			s.Actions = append(s.Actions, e)
			for i := range s.Checks {
				s.Checks[i].dealt = true
			}
			segments = append(segments, len(s.Checks))
			if e.Event == NewBaseline {
				s.From = len(s.Checks)
			}
			open, s.sinceAction = false, true
			continue
		}
		s.sinceAction = false
		if n := len(s.Checks); open && s.Checks[n-1].Time.Equal(e.Time) {
			if math.IsNaN(e.Value) != (len(s.Checks[n-1].Values) == 0) {
				return nil, fmt.Errorf("line %d: a value of this check could not be measured: leave the whole check without values", e.Line)
			}
			if !math.IsNaN(e.Value) {
				s.Checks[n-1].Values = append(s.Checks[n-1].Values, e.Value)
			}
			continue
		}
		c := Check{Time: e.Time, Line: e.Line, Note: e.Note, Level: math.NaN(), Spread: math.NaN()}
		if !math.IsNaN(e.Value) {
			c.Values = []float64{e.Value}
		}
		s.Checks, open = append(s.Checks, c), true
	}
	for _, c := range s.Checks[s.From:] {
		if n := len(c.Values); n > 0 && s.Size == 0 {
			s.Size = n
		} else if n > 0 && n != s.Size {
			return nil, fmt.Errorf("line %d: this check has %s, those before it have %d: measure the piece the same number of times at each check, or start a new baseline", c.Line, count(n, "value", "values"), s.Size)
		}
	}
	return segments, nil
}

// measured are the places of the checks that the limits are for, without those
// that could not be measured.
func (s *Stability) measured() (at []int) {
	for i := s.From; i < len(s.Checks); i++ {
		if len(s.Checks[i].Values) > 0 {
			at = append(at, i)
		}
	}
	return at
}

// base are the places of the checks that may fix the limits.
func (s *Stability) base() (at []int) {
	for _, i := range s.measured() {
		if !s.Checks[i].Left {
			at = append(at, i)
		}
	}
	return at
}

func (s *Stability) values(at []int) (g [][]float64) {
	for _, i := range at {
		g = append(g, s.Checks[i].Values)
	}
	return g
}

// points are what the charts show.
func (s *Stability) points() {
	for i := range s.Checks[:s.From] {
		s.Checks[i].Level = mean(s.Checks[i].Values)
	}
	at := s.measured()
	g := s.values(at)
	for k, v := range charts.Spreads(g, s.Kind) {
		s.Checks[at[k]].Level, s.Checks[at[k]].Spread = mean(g[k]), v
	}
}

func (s *Stability) limits() error {
	var err error
	if !math.IsNaN(s.Options.Centre) {
		s.Given, s.Provisional = true, false
		s.Limits, err = charts.Given(s.Options.Centre, s.Options.Sigma, s.Size, s.Kind)
		return err
	}
	g := s.values(s.base())
	s.Provisional = len(g) < s.Options.Baseline
	if len(g) < leastBaseline {
		return nil // as they were: none, or those with what was left out since
	}
	s.Limits, err = charts.Estimate(g[:min(len(g), s.Options.Baseline)], s.Kind)
	return err
}

// leaveOut takes checks beyond the limits that were dealt with out of what fixes
// them, and says whether there were any.
func (s *Stability) leaveOut() bool {
	if s.Given {
		return false
	}
	any := false
	for _, i := range s.base() {
		c := &s.Checks[i]
		l := s.Limits.Level
		if c.dealt && (c.Level > l.Upper || c.Level < l.Lower || (s.Kind != charts.Individuals && c.Spread > s.Limits.Spread.Upper)) {
			c.Left, any = true, true
		}
	}
	return any
}

// apply finds the signals, run by run.
func (s *Stability) apply(segments []int, rules []charts.Rule) {
	if math.IsNaN(s.Limits.Level.Centre) {
		return
	}
	segments = append(segments, len(s.Checks))
	beyond, _ := charts.Rules("beyond")
	for i := range s.Checks {
		s.Checks[i].Signals = nil
	}
	for k := range len(segments) - 1 {
		from, to := max(segments[k], s.From), segments[k+1]
		if from >= to {
			continue
		}
		var level, spread []float64
		var at []int
		for i := from; i < to; i++ {
			if len(s.Checks[i].Values) > 0 {
				level, spread, at = append(level, s.Checks[i].Level), append(spread, s.Checks[i].Spread), append(at, i)
			}
		}
		for _, x := range charts.Apply(level, s.Limits.Level, rules) {
			c := &s.Checks[at[x.Point]]
			c.Signals = append(c.Signals, part.Say("rule."+x.Rule.Name))
		}
		if s.Kind == charts.Individuals {
			continue // a jump shows in the values; its moving range would show it twice
		}
		for _, x := range charts.Apply(spread, s.Limits.Spread, beyond) {
			c := &s.Checks[at[x.Point]]
			if c.Spread > s.Limits.Spread.Upper {
				c.Signals = append(c.Signals, part.Say("rule.spread"))
			}
		}
	}
}

func (s *Stability) judge() {
	for i, c := range s.Checks {
		if len(c.Signals) > 0 && !c.dealt && i >= s.From {
			s.Since, s.State = i, OutOfLimits
			return
		}
	}
	switch last := s.last(); {
	case last == nil, len(last.Values) == 0 && !last.dealt:
		s.State = NotMeasured
	case s.Provisional:
		s.State = TooFew
	default:
		s.State = InControl
	}
}

func (s *Stability) last() *Check {
	if len(s.Checks) == 0 {
		return nil
	}
	return &s.Checks[len(s.Checks)-1]
}

// Blocked says whether the gauge must not pass units at a time, and why, in one
// sentence that says what to do.
func (s *Stability) Blocked(now time.Time) (why part.Phrase, blocked bool) {
	say := func(key string, c *Check) part.Phrase {
		return part.Say("check."+key, "at", c.Time.Format("2006-01-02 15:04"), "line", strconv.Itoa(c.Line))
	}
	last := s.last()
	switch {
	case last == nil:
		return part.Say("check.none"), true
	case s.From == len(s.Checks):
		return part.Say("check.baseline"), true
	case s.State == OutOfLimits:
		c := &s.Checks[s.Since]
		return say("out", c).With("signals", c.Signals...), true
	case s.State == NotMeasured:
		return say("not_measured", last), true
	case s.Options.MaxAge > 0 && now.Sub(last.Time) > s.Options.MaxAge:
		return say("old", last).With("age", age(s.Options.MaxAge)), true
	}
	return part.Phrase{}, false
}

func age(d time.Duration) part.Phrase {
	if d >= 48*time.Hour && d%(24*time.Hour) == 0 {
		return part.Say("age.days", "days", fmt.Sprint(int(d/(24*time.Hour))))
	}
	return part.Say("age.hours", "hours", fmt.Sprintf("%g", d.Hours()))
}

// Verdict tells the state in words.
func (s *Stability) Verdict() Verdict {
	v := Verdict{Grade: GoodGauge}
	if n := s.signals(); n > 0 {
		v.Reasons = append(v.Reasons, part.Say("study.check.so_far", "n", strconv.Itoa(n), "of", strconv.Itoa(len(s.Checks))))
	}
	switch s.State {
	case OutOfLimits:
		v.Grade, v.Line = NotGood, s.reason()
	case NotMeasured:
		v.Grade, v.Line = Undecided, s.reason()
	case TooFew:
		v.Grade = Conditional
		v.Line = part.Say("study.check.line.few", "of", strconv.Itoa(len(s.base())), "want", strconv.Itoa(s.Options.Baseline))
	default:
		v.Line = part.Say("study.check.line.good")
	}
	v.Warnings = s.warnings()
	return v
}

// reason is why the state blocks, whatever the age of the last check.
func (s *Stability) reason() part.Phrase {
	why, _ := s.Blocked(time.Time{})
	return part.Say("study.check.line.blocked").With("why", why)
}

func (s *Stability) signals() int {
	n := 0
	for _, c := range s.Checks {
		if len(c.Signals) > 0 {
			n++
		}
	}
	return n
}

func (s *Stability) warnings() []part.Phrase {
	var w []part.Phrase
	at := s.base()
	switch {
	case s.Given:
	case len(at) > 0 && len(at) < leastBaseline:
		w = append(w, part.Say("study.check.too_few", "n", strconv.Itoa(len(at)), "want", strconv.Itoa(s.Options.Baseline)))
	case s.Provisional:
		w = append(w, part.Say("study.check.provisional", "of", strconv.Itoa(len(at)), "want", strconv.Itoa(s.Options.Baseline)))
	case s.Options.Baseline < enoughBaseline:
		w = append(w, part.Say("study.check.short", "of", strconv.Itoa(s.Options.Baseline), "want", strconv.Itoa(enoughBaseline)))
	}
	if !s.Given && !s.Provisional {
		if i := slices.IndexFunc(at[:s.Options.Baseline], func(i int) bool { return len(s.Checks[i].Signals) > 0 }); i >= 0 {
			w = append(w, part.Say("study.check.odd_baseline", "line", strconv.Itoa(s.Checks[at[i]].Line)))
		}
	}
	if n := len(s.measured()) - len(at); n > 0 {
		w = append(w, part.Say("study.check.left_out", "n", strconv.Itoa(n)))
	}
	if s.sinceAction && len(s.Checks) > 0 {
		w = append(w, part.Say("study.check.not_since"))
	}
	if s.Limits.SigmaWithin == 0 {
		w = append(w, part.Say("study.check.coarse"))
	}
	return w
}
