package walk

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/gauge/setup"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// setupResult is how the bench stands.
type setupResult struct {
	x        *lang.Lang
	names    []setup.Name
	steps    []setup.Step
	readings []setup.Reading // of each picture; nil where they were watched
}

// first is the first step that is outside, else the first not measured.
func (s setupResult) first() (setup.Step, bool) {
	for _, want := range []setup.State{setup.Outside, setup.NotMeasured} {
		for _, st := range s.steps {
			if st.State() == want {
				return st, true
			}
		}
	}
	return setup.Step{}, false
}

// unclear is the number of pictures that told nothing.
func (s setupResult) unclear() int {
	n := 0
	for _, r := range s.readings {
		if r.Subject == setup.Unclear {
			n++
		}
	}
	return n
}

// state is how the bench stands.
func (s setupResult) state() setup.State {
	if st, ok := s.first(); ok {
		return st.State()
	}
	if s.unclear() > 0 {
		return setup.NotMeasured
	}
	return setup.Inside
}

// stepWord says how a step stands.
func (s setupResult) stepWord(st setup.State) string { return s.x.T("setup.state." + string(st)) }

func (s setupResult) sheet() report.Sheet {
	sh := report.Sheet{Lang: s.x, Title: s.x.T("setup.title"), Rating: report.Good, Word: s.x.T("setup.word.in_order"),
		Line: s.x.T("setup.line.good")}
	if st, ok := s.first(); ok {
		sh.Rating, sh.Word = report.Unrated, s.x.T("not_measured")
		if st.State() == setup.Outside {
			sh.Rating, sh.Word = report.Poor, s.x.T("setup.word.not_in_order")
		}
		sh.Line = s.x.T("setup.line.first", "what", s.firstThing(st))
	} else if n := s.unclear(); n > 0 {
		sh.Rating, sh.Word = report.Unrated, s.x.T("not_measured")
		sh.Line = s.x.T("setup.line.unclear", "n", strconv.Itoa(n), "of", strconv.Itoa(len(s.readings)))
	}
	in := 0
	for _, st := range s.steps {
		if st.State() == setup.Inside {
			in++
		}
		sh.Facts = append(sh.Facts, report.Fact{Name: s.title(st.Name), Value: s.stepWord(st.State())})
	}
	sh.Reasons = append(sh.Reasons, s.x.T("setup.steps_done", "n", strconv.Itoa(in), "of", strconv.Itoa(len(s.steps))))
	for _, st := range s.steps {
		if !st.Applies {
			sh.Reasons = append(sh.Reasons, s.x.T("setup.reason.no_picture", "step", s.title(st.Name)))
			continue
		}
		for _, m := range st.Measures {
			if m.State() != setup.Inside {
				sh.Reasons = append(sh.Reasons, s.x.T("setup.reason", "step", s.title(st.Name), "measured", s.say(setupMeasured(m))))
			}
		}
	}
	for _, r := range s.readings {
		for _, w := range []part.Phrase{r.Trouble, r.Framing} {
			if w.Key != "" {
				sh.Warnings = append(sh.Warnings, s.x.T("scale.about", "file", r.File, "what", s.say(w)))
			}
		}
	}
	sh.Sections = append(sh.Sections, report.SheetSection{Heading: s.x.T("setup.cautions"), Text: SetupCautions(s.x)})
	for i, st := range s.steps {
		sh.Sections = append(sh.Sections, s.stepSection(i+1, st))
	}
	if len(s.readings) > 0 {
		sh.Sections = append(sh.Sections, report.SheetSection{Heading: s.x.T("setup.pictures"), Tables: []report.SheetTable{s.pictures()}})
	}
	return sh
}

// firstThing says what a step wants, in one sentence.
func (s setupResult) firstThing(st setup.Step) string {
	m, ok := st.First()
	if !ok {
		return s.say(st.Name.Asks())
	}
	what := part.Say("setup.first", "step", s.title(st.Name)).With("do", m.Do())
	if st.Applies {
		what = what.With("measured", part.Say("setup.first.measured").With("measured", setupMeasured(m)))
	}
	return setupSentence(s.x, what)
}

func (s setupResult) say(p part.Phrase) string { return s.x.Say(&p) }

func (s setupResult) title(n setup.Name) string { return s.say(n.Title()) }

func (s setupResult) stepSection(n int, st setup.Step) report.SheetSection {
	sec := report.SheetSection{Heading: s.x.T("setup.step_heading", "n", strconv.Itoa(n), "step", s.title(st.Name), "state",
		s.stepWord(st.State()))}
	if !st.Applies {
		sec.Text = append(sec.Text, s.say(st.Name.Asks()))
	}
	if st.Fact.Key != "" {
		sec.Text = append(sec.Text, setupSentence(s.x, st.Fact))
	}
	for _, m := range st.Measures {
		sec.Bars = append(sec.Bars, setupBar(s.x, m))
	}
	return sec
}

// setupBar is a measure's bar. Below it stands what to do, of which picture it
// is, and what is to be known of the zone.
func setupBar(x *lang.Lang, m setup.Measure) report.SheetBar {
	say := func(p part.Phrase) string {
		if p.Key == "" {
			return ""
		}
		return x.Say(&p)
	}
	b := report.SheetBar{Name: say(m.Name), Value: say(m.Value()), V: m.V, Lo: m.Lo, Hi: m.Hi, Min: m.Min, Max: m.Max,
		LoText: setup.Number(m.Lo), HiText: setup.Number(m.Hi), BelowText: say(m.BelowWord), AboveText: say(m.AboveWord)}
	lines := []string{setupSentence(x, m.Do())}
	if w := m.Wanted(); w.Key != "" {
		lines = append(lines, setupSentence(x, part.Say("setup.wanted").With("zone", w)))
	}
	if len(m.Notes) > 0 {
		lines = append(lines, setupSentence(x, part.Say("setup.notes").With("signals", m.Notes...)))
	}
	if m.File != "" {
		lines = append(lines, "("+m.File+")")
	}
	b.Line = strings.Join(strings.Fields(strings.Join(lines, " ")), " ")
	return b
}

func (s setupResult) pictures() report.SheetTable {
	t := report.SheetTable{Caption: s.x.T("setup.pictures.caption"), Head: []string{s.x.T("setup.pictures.picture"),
		s.x.T("setup.pictures.shows")}, Numeric: []bool{false, false}}
	for _, r := range s.readings {
		t.Rows = append(t.Rows, []string{r.File, s.x.T("setup.subject." + string(r.Subject))})
		t.Marked = append(t.Marked, r.Subject == setup.Unclear)
	}
	for _, c := range []struct {
		head     string
		of       func(setup.Reading) float64
		decimals int
	}{
		{s.x.T("setup.pictures.panel"), func(r setup.Reading) float64 { return 100 * r.PanelLevel }, 0},
		{s.x.T("setup.pictures.clipped"), func(r setup.Reading) float64 { return 100 * r.Clipped }, 2},
		{s.x.T("setup.pictures.edges"), func(r setup.Reading) float64 { return r.EdgeWidthPX }, 2},
		{s.x.T("setup.pictures.mtf50"), func(r setup.Reading) float64 { return r.MTF50CyPX }, 3},
		{s.x.T("setup.pictures.tilt"), func(r setup.Reading) float64 { return r.TiltDeg }, 1},
		{s.x.T("setup.pictures.scale"), func(r setup.Reading) float64 { return r.MMPerPX }, 5},
	} {
		// A column that holds nothing says nothing.
		if !slices.ContainsFunc(s.readings, func(r setup.Reading) bool { return !math.IsNaN(c.of(r)) }) {
			continue
		}
		t.Head, t.Numeric = append(t.Head, c.head), append(t.Numeric, true)
		for i, r := range s.readings {
			t.Rows[i] = append(t.Rows[i], s.x.Shown(c.of(r), c.decimals))
		}
	}
	return t
}

// setupJSON is what --json writes.
type setupJSON struct {
	Schema   int                `json:"schema"` // 1
	State    string             `json:"state"`  // in_zone, outside or not_measured
	First    string             `json:"first,omitempty"`
	Steps    []setupStepJSON    `json:"steps"`
	Pictures []setupPictureJSON `json:"pictures,omitempty"`
}

type setupStepJSON struct {
	Step     string             `json:"step"`
	State    string             `json:"state"`
	Do       string             `json:"do,omitempty"`
	DoPhrase *part.Phrase       `json:"do_phrase,omitempty"` // to be told in any language
	Measures []setupMeasureJSON `json:"measures,omitempty"`
}

type setupMeasureJSON struct {
	Key     string   `json:"key"`
	Name    string   `json:"name"`
	Picture string   `json:"picture,omitempty"`
	Value   *float64 `json:"value,omitempty"` // absent: not measured
	U       *float64 `json:"u,omitempty"`     // k = 1
	Lo      *float64 `json:"lo,omitempty"`    // absent: the zone is open there
	Hi      *float64 `json:"hi,omitempty"`
	Unit    string   `json:"unit"`
	State   string   `json:"state"`
	Do      string   `json:"do,omitempty"`

	NamePhrase part.Phrase  `json:"name_phrase"` // to be told in any language
	DoPhrase   *part.Phrase `json:"do_phrase,omitempty"`
}

type setupPictureJSON struct {
	Picture string `json:"picture"`
	Shows   string `json:"shows"`
	Trouble string `json:"trouble,omitempty"`
	Framing string `json:"framing,omitempty"`
}

func (s setupResult) json() setupJSON {
	j := setupJSON{Schema: 1, State: string(s.state())}
	if st, ok := s.first(); ok {
		j.First = string(st.Name)
	}
	for _, st := range s.steps {
		j.Steps = append(j.Steps, stepJSON(st))
	}
	for _, r := range s.readings {
		j.Pictures = append(j.Pictures, setupPictureJSON{r.File, string(r.Subject), inEnglish(r.Trouble), inEnglish(r.Framing)})
	}
	return j
}

func stepJSON(st setup.Step) setupStepJSON {
	j := setupStepJSON{Step: string(st.Name), State: string(st.State()), Do: inEnglish(st.Do()), DoPhrase: orNil(st.Do())}
	for _, m := range st.Measures {
		j.Measures = append(j.Measures, setupMeasureJSON{m.Key, inEnglish(m.Name), m.File, part.Num(m.V), part.Num(m.U), part.Num(m.Lo),
			part.Num(m.Hi), m.Unit, string(m.State()), inEnglish(m.Do()), m.Name, orNil(m.Do())})
	}
	return j
}

// inEnglish is a phrase in English; empty where it has no key.
func inEnglish(p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	return lang.English().Say(&p)
}

// orNil is nil where a phrase has no key.
func orNil(p part.Phrase) *part.Phrase {
	if p.Key == "" {
		return nil
	}
	return &p
}
