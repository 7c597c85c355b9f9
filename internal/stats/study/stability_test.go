package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

var monday = time.Date(2026, 3, 2, 6, 10, 0, 0, time.UTC)

// log makes a log of single values, one a day.
func checkLog(values ...float64) []CheckEntry {
	var l []CheckEntry
	for i, v := range values {
		l = append(l, CheckEntry{Time: monday.AddDate(0, 0, i), Value: v, Line: i + 2})
	}
	return l
}

func stability(t *testing.T, l []CheckEntry, change func(*StabilityOptions)) Stability {
	t.Helper()
	o := DefaultStabilityOptions()
	if change != nil {
		change(&o)
	}
	s, err := NewStability(l, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// quiet is a steady piece: n checks about 12 with standard deviation 0.3,
// invented.
func quiet(n int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	v := make([]float64, n)
	for i := range v {
		v[i] = 12 + 0.3*rng.NormFloat64()
	}
	return v
}

// TestFlowRateLog: NIST/SEMATECH e-Handbook 6.3.2.2: mean 50.81, limits 45.8159
// and 55.8041 (with d2 rounded to 1.128), no point out.
func TestFlowRateLog(t *testing.T) {
	s := stability(t, checkLog(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1), func(o *StabilityOptions) { o.Baseline = 10 })
	printed(t, "mean", s.Limits.Level.Centre, "50.81")
	if math.Abs(s.Limits.Level.Upper-55.8041) > 0.002 || math.Abs(s.Limits.Level.Lower-45.8159) > 0.002 {
		t.Errorf("limits %+v", s.Limits.Level)
	}
	if s.State != InControl {
		t.Errorf("state %s", s.State)
	}
	says(t, s.Verdict(), "rest on 10 checks")
}

// TestJump: a piece that jumps blocks the gauge until someone deals with it, and
// again when it jumps again; limits stay those of the first twenty.
func TestJump(t *testing.T) {
	v := quiet(24, 3)
	before := stability(t, checkLog(v...), nil)
	if before.State != InControl {
		t.Fatalf("a steady piece is %s", before.State)
	}
	if why, blocked := before.Blocked(monday); blocked {
		t.Errorf("a steady piece blocks: %s", why)
	}
	l := checkLog(append(v, 14.5)...)
	s := stability(t, l, nil)
	why, blocked := s.Blocked(monday)
	if s.State != OutOfLimits || !blocked || !strings.Contains(said(why), "line 26") {
		t.Fatalf("after a jump: %s, %v, %q", s.State, blocked, why)
	}
	if s.Limits != before.Limits {
		t.Error("the limits moved after the baseline")
	}
	// A good value afterwards does not clear it: someone must.
	later := monday.AddDate(0, 0, 30)
	l = append(l, CheckEntry{Time: later, Value: 12, Line: 27})
	if s := stability(t, l, nil); s.State != OutOfLimits {
		t.Errorf("a later good value clears it: %s", s.State)
	}
	l = append(l, CheckEntry{Time: later, Value: math.NaN(), Event: DealtWith, Note: "finisher 3: lens cleaned", Line: 28})
	s = stability(t, l, nil)
	if why, blocked := s.Blocked(later); blocked || s.State != InControl {
		t.Errorf("after it was dealt with: %s, %s", s.State, why)
	}
	says(t, s.Verdict(), "not measured since")
	l = append(l, CheckEntry{Time: later, Value: 15, Line: 29})
	if s := stability(t, l, nil); s.State != OutOfLimits || s.Checks[s.Since].Line != 29 {
		t.Errorf("a second jump: %s", s.State)
	}
}

// TestLeftOut: a jump among the checks that fix the limits widens them until it
// is dealt with; then the limits are those of the others.
func TestLeftOut(t *testing.T) {
	v := quiet(21, 11)
	v[7] = 20
	l := checkLog(v...)
	wide := stability(t, l, nil)
	if wide.State != OutOfLimits || wide.Checks[wide.Since].Line != 9 {
		t.Fatalf("a jump in the baseline: %s", wide.State)
	}
	dealt := append(append(append([]CheckEntry{}, l[:8]...), CheckEntry{Time: l[7].Time, Value: math.NaN(), Event: DealtWith,
		Note: "a: b"}), l[8:]...)
	s := stability(t, dealt, nil)
	without := append(append([]float64{}, v[:7]...), v[8:]...)
	want := stability(t, checkLog(without...), nil)
	if s.State != InControl || s.Limits != want.Limits || !s.Checks[7].Left || len(s.Checks[7].Signals) == 0 {
		t.Errorf("%s, limits %+v, want %+v", s.State, s.Limits.Level, want.Limits.Level)
	}
	says(t, s.Verdict(), "left out")
}

// TestShiftOfRun: nine checks on one side; an event starts the count afresh.
func TestShiftOfRun(t *testing.T) {
	v := quiet(20, 5)
	s := stability(t, checkLog(v...), nil)
	high := s.Limits.Level.Centre + 0.5*s.Limits.Level.Sigma
	low := s.Limits.Level.Centre - 0.1*s.Limits.Level.Sigma
	v = append(v, low)
	for range 8 {
		v = append(v, high)
	}
	if s := stability(t, checkLog(v...), nil); s.State != InControl {
		t.Fatalf("eight on one side: %s", s.State)
	}
	nine := checkLog(append(v, high)...)
	if s := stability(t, nine, nil); s.State != OutOfLimits {
		t.Fatalf("nine on one side: %s", s.State)
	}
	cut := append([]CheckEntry{}, nine[:25]...)
	cut = append(cut, CheckEntry{Time: nine[24].Time, Value: math.NaN(), Event: DealtWith, Note: "a: b"})
	cut = append(cut, nine[25:]...)
	if s := stability(t, cut, nil); s.State != InControl {
		t.Errorf("a run goes on over an event: %s", s.State)
	}
}

// TestNewBaseline: the old checks are not judged by the new limits, and until
// the piece is measured the gauge is blocked.
func TestNewBaseline(t *testing.T) {
	l := checkLog(quiet(20, 7)...)
	at := l[19].Time
	l = append(l, CheckEntry{Time: at, Value: math.NaN(), Event: NewBaseline, Note: "a: new lens"})
	s := stability(t, l, nil)
	if why, blocked := s.Blocked(at); !blocked || !strings.Contains(said(why), "new baseline") {
		t.Errorf("without a check since: %v %q", blocked, why)
	}
	for i, v := range quiet(21, 8) {
		l = append(l, CheckEntry{Time: at.AddDate(0, 0, i), Value: v + 5, Line: 30 + i})
	}
	s = stability(t, l, nil)
	if s.State != InControl || math.Abs(s.Limits.Level.Centre-17) > 0.3 {
		t.Errorf("after a new baseline: %s about %g", s.State, s.Limits.Level.Centre)
	}
}

// TestFewChecks: no limits below five; provisional ones block a large jump.
func TestFewChecks(t *testing.T) {
	s := stability(t, checkLog(12, 12.2, 11.9), nil)
	if s.State != TooFew || !math.IsNaN(s.Limits.Level.Centre) {
		t.Errorf("three checks: %s, %+v", s.State, s.Limits)
	}
	if _, blocked := s.Blocked(monday); blocked {
		t.Error("three checks block")
	}
	says(t, s.Verdict(), "too few for limits")
	s = stability(t, checkLog(12, 12.2, 11.9, 12.1, 12, 12.1, 30), nil)
	if s.State != OutOfLimits || !s.Provisional {
		t.Errorf("a large jump early: %s", s.State)
	}
	s = stability(t, checkLog(12, 12.2, 14), func(o *StabilityOptions) { o.Centre, o.Sigma = 12, 0.3 })
	if s.State != OutOfLimits {
		t.Errorf("given limits: %s", s.State)
	}
}

func TestNotMeasuredBlocks(t *testing.T) {
	s := stability(t, nil, nil)
	if why, blocked := s.Blocked(monday); !blocked || s.State != NotMeasured || !strings.Contains(said(why), "not measured yet") {
		t.Errorf("an empty log: %v %q %s", blocked, why, s.State)
	}
	s = stability(t, checkLog(12, math.NaN()), nil)
	if why, blocked := s.Blocked(monday); !blocked || !strings.Contains(said(why), "could not be measured") {
		t.Errorf("a failed check: %v %q", blocked, why)
	}
	s = stability(t, checkLog(quiet(20, 2)...), func(o *StabilityOptions) { o.MaxAge = 24 * time.Hour })
	last := s.Checks[19].Time
	if why, blocked := s.Blocked(last.Add(23 * time.Hour)); blocked {
		t.Errorf("23 hours on: %s", why)
	}
	if why, blocked := s.Blocked(last.Add(25 * time.Hour)); !blocked || !strings.Contains(said(why), "24 hours") {
		t.Errorf("25 hours on: %v %q", blocked, why)
	}
}

// TestSubgroups: lines of one time are one check; the spread within a check has
// a chart of its own.
func TestSubgroups(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	var l []CheckEntry
	add := func(day int, v ...float64) {
		for _, x := range v {
			l = append(l, CheckEntry{Time: monday.AddDate(0, 0, day), Value: x, Line: len(l) + 2})
		}
	}
	for d := range 20 {
		add(d, 12+0.3*rng.NormFloat64(), 12+0.3*rng.NormFloat64(), 12+0.3*rng.NormFloat64())
	}
	s := stability(t, l, nil)
	if s.Size != 3 || len(s.Checks) != 20 || s.State != InControl {
		t.Fatalf("%d checks of %d: %s", len(s.Checks), s.Size, s.State)
	}
	if math.Abs(s.Limits.SigmaWithin-0.3) > 0.1 {
		t.Errorf("sigma %g, drawn with 0.3", s.Limits.SigmaWithin)
	}
	add(20, 10.5, 12, 13.5) // mean as ever, spread not
	if s := stability(t, l, nil); s.State != OutOfLimits || !strings.Contains(said(s.Checks[20].Signals[0]), "further apart") {
		t.Errorf("a wide check: %s", s.State)
	}
	l = l[:60]
	add(20, 12, 12)
	if _, err := NewStability(l, DefaultStabilityOptions()); err == nil || !strings.Contains(err.Error(),
		"2 values, those before it have 3") {
		t.Errorf("a check of another size: %v", err)
	}
}

// TestReadCheckLog: what the log's writer makes is read back; what is wrong is
// told by line and column.
func TestReadCheckLog(t *testing.T) {
	want := []CheckEntry{
		{Time: monday, Value: 12.25, Line: 2},
		{Time: monday.Add(time.Hour), Value: math.NaN(), Event: DealtWith, Note: `finisher 3: "lens", cleaned`, Line: 3},
		{Time: monday.Add(2 * time.Hour), Value: math.NaN(), Line: 4},
	}
	text := CheckHeader
	for _, e := range want {
		text += e.Row()
	}
	got, err := ReadCheckLog(strings.NewReader(text), time.UTC)
	if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%v\n%v %v", got, want, err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"no time", "value\n1\n", "no column is called time"},
		{"bad time", "time,value\nsoon,1\n", "line 2, column time"},
		{"backwards", "time,value\n2026-03-02,1\n2026-03-01,1\n", "line 3, column time"},
		{"text", "time,value\n2026-03-02,abc\n", "line 2, column value"},
		{"unknown event", "time,value,event\n2026-03-02,,cleaned\n", "line 2, column event"},
		{"no one", "time,value,event,note\n2026-03-02,,dealt_with,cleaned\n", "line 2, column note"},
		{"event with value", "time,value,event,note\n2026-03-02,3,dealt_with,a: b\n", "line 2: a line with an event has no value"},
	} {
		if _, err := ReadCheckLog(strings.NewReader(c.text), time.UTC); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	o, err := ReadCheckSettings("# the grey piece, no 4\n# baseline: 25\n# rules: nelson\n#max_age_hours: 12\n"+CheckHeader,
		DefaultStabilityOptions())
	if err != nil || o.Baseline != 25 || o.Rules != "nelson" || o.MaxAge != 12*time.Hour || !math.IsNaN(o.Centre) {
		t.Errorf("settings %+v, %v", o, err)
	}
	for _, bad := range []string{"# baseline: many", "# centre: x", "# max_age_hours: -1"} {
		if _, err := ReadCheckSettings(bad, DefaultStabilityOptions()); err == nil || !strings.Contains(err.Error(), "line 1") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	for name, change := range map[string]func(*StabilityOptions){
		"centre alone":  func(o *StabilityOptions) { o.Centre = 1 },
		"sigma 0":       func(o *StabilityOptions) { o.Centre, o.Sigma = 1, 0 },
		"baseline of 1": func(o *StabilityOptions) { o.Baseline = 1 },
		"unknown rule":  func(o *StabilityOptions) { o.Rules = "all" },
	} {
		o := DefaultStabilityOptions()
		change(&o)
		if _, err := NewStability(nil, o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// FuzzCheckLog: any text is a log with a state, or one sentence.
func FuzzCheckLog(f *testing.F) {
	f.Add(CheckHeader + "2026-03-02,1,,\n2026-03-02,2,,\n2026-03-03,,dealt_with,a: b\n2026-03-04,1,,\n")
	f.Add("# baseline: 2\ntime;value\n2026-03-02;1\n2026-03-03;2\n2026-03-04;9\n")
	f.Add("time,value")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ReadCheckLog(strings.NewReader(text), time.UTC)
		if err != nil {
			return
		}
		o, err := ReadCheckSettings(text, DefaultStabilityOptions())
		if err != nil {
			return
		}
		s, err := NewStability(l, o)
		if err != nil {
			return
		}
		if v := s.Verdict(); v.Line.Key == "" {
			t.Error("no sentence")
		}
		if why, blocked := s.Blocked(monday); blocked && why.Key == "" {
			t.Error("blocked without a reason")
		}
	})
}
