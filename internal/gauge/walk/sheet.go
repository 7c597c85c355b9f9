package walk

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/setup"
)

// setupResult is how the bench stands.
type setupResult struct {
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

// Words for how a step stands.
var stepWords = map[setup.State]string{setup.Inside: "in order", setup.Outside: "out of its zone", setup.NotMeasured: "not measured"}

func (s setupResult) sheet() report.Sheet {
	sh := report.Sheet{Title: "Bench setup", Rating: report.Good, Word: "in order", Line: "Every step is in its zone."}
	if st, ok := s.first(); ok {
		sh.Rating, sh.Word = report.Unrated, "not measured"
		if st.State() == setup.Outside {
			sh.Rating, sh.Word = report.Poor, "not in order"
		}
		sh.Line = "Do this first: " + firstThing(st)
	} else if n := s.unclear(); n > 0 {
		sh.Rating, sh.Word = report.Unrated, "not measured"
		sh.Line = fmt.Sprintf("Every step is in its zone, but %d of %d pictures could not be made out.", n, len(s.readings))
	}
	in := 0
	for _, st := range s.steps {
		if st.State() == setup.Inside {
			in++
		}
		sh.Facts = append(sh.Facts, report.Fact{Name: st.Name.Title(), Value: stepWords[st.State()]})
	}
	sh.Reasons = append(sh.Reasons, fmt.Sprintf("%d of %d steps are in order", in, len(s.steps)))
	for _, st := range s.steps {
		if !st.Applies {
			sh.Reasons = append(sh.Reasons, st.Name.Title()+": no picture tells of it")
			continue
		}
		for _, m := range st.Measures {
			if m.State() != setup.Inside {
				sh.Reasons = append(sh.Reasons, fmt.Sprintf("%s: %s", st.Name.Title(), setupMeasured(m)))
			}
		}
	}
	for _, r := range s.readings {
		for _, w := range []string{r.Trouble, r.Framing} {
			if w != "" {
				sh.Warnings = append(sh.Warnings, r.File+": "+w)
			}
		}
	}
	sh.Sections = append(sh.Sections, report.SheetSection{Heading: "Before you reach in", Text: SetupCautions()})
	for i, st := range s.steps {
		sh.Sections = append(sh.Sections, stepSection(i+1, st))
	}
	if len(s.readings) > 0 {
		sh.Sections = append(sh.Sections, report.SheetSection{Heading: "Pictures", Tables: []report.SheetTable{s.pictures()}})
	}
	return sh
}

// firstThing says what a step wants, in one sentence.
func firstThing(st setup.Step) string {
	m, ok := st.First()
	if !ok {
		return st.Name.Asks()
	}
	what := strings.ToLower(st.Name.Title()) + ": " + m.Do()
	if st.Applies {
		what += " (" + setupMeasured(m) + ")"
	}
	return setupSentence(what)
}

func stepSection(n int, st setup.Step) report.SheetSection {
	sec := report.SheetSection{Heading: fmt.Sprintf("%d. %s: %s", n, st.Name.Title(), stepWords[st.State()])}
	if !st.Applies {
		sec.Text = append(sec.Text, st.Name.Asks())
	}
	if st.Fact != "" {
		sec.Text = append(sec.Text, setupSentence(st.Fact))
	}
	for _, m := range st.Measures {
		sec.Bars = append(sec.Bars, setupBar(m))
	}
	return sec
}

// setupBar is a measure's bar. Below it stands what to do, of which picture it
// is, and what is to be known of the zone.
func setupBar(m setup.Measure) report.SheetBar {
	b := report.SheetBar{Name: m.Name, Value: m.Value(), V: m.V, Lo: m.Lo, Hi: m.Hi, Min: m.Min, Max: m.Max,
		LoText: setup.Number(m.Lo), HiText: setup.Number(m.Hi), BelowText: m.BelowWord, AboveText: m.AboveWord}
	lines := []string{setupSentence(m.Do())}
	if w := m.Wanted(); w != "" {
		lines = append(lines, setupSentence("wanted: "+w))
	}
	lines = append(lines, setupSentence(m.Note))
	if m.File != "" {
		lines = append(lines, "("+m.File+")")
	}
	b.Line = strings.Join(strings.Fields(strings.Join(lines, " ")), " ")
	return b
}

// subjectWords tell what a picture was taken as.
var subjectWords = map[setup.Subject]string{setup.Empty: "empty panel", setup.Unit: "unit", setup.Target: "target", setup.Unclear: "not to be made out"}

func (s setupResult) pictures() report.SheetTable {
	t := report.SheetTable{Caption: "Each picture, and what it shows", Head: []string{"Picture", "Shows"}, Numeric: []bool{false, false}}
	for _, r := range s.readings {
		t.Rows = append(t.Rows, []string{r.File, subjectWords[r.Subject]})
		t.Marked = append(t.Marked, r.Subject == setup.Unclear)
	}
	for _, c := range []struct {
		head     string
		of       func(setup.Reading) float64
		decimals int
	}{
		{"Panel, %", func(r setup.Reading) float64 { return 100 * r.PanelLevel }, 0},
		{"Full scale, %", func(r setup.Reading) float64 { return 100 * r.Clipped }, 2},
		{"Edges, px", func(r setup.Reading) float64 { return r.EdgeWidthPX }, 2},
		{"MTF50, cycles/px", func(r setup.Reading) float64 { return r.MTF50CyPX }, 3},
		{"Tilt, °", func(r setup.Reading) float64 { return r.TiltDeg }, 1},
		{"mm per px", func(r setup.Reading) float64 { return r.MMPerPX }, 5},
	} {
		// A column that holds nothing says nothing.
		if !slices.ContainsFunc(s.readings, func(r setup.Reading) bool { return !math.IsNaN(c.of(r)) }) {
			continue
		}
		t.Head, t.Numeric = append(t.Head, c.head), append(t.Numeric, true)
		for i, r := range s.readings {
			t.Rows[i] = append(t.Rows[i], cli.Shown(c.of(r), c.decimals))
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
		j.Pictures = append(j.Pictures, setupPictureJSON{r.File, string(r.Subject), r.Trouble, r.Framing})
	}
	return j
}

func stepJSON(st setup.Step) setupStepJSON {
	j := setupStepJSON{Step: string(st.Name), State: string(st.State()), Do: st.Do()}
	for _, m := range st.Measures {
		j.Measures = append(j.Measures, setupMeasureJSON{m.Key, m.Name, m.File, part.Num(m.V), part.Num(m.U), part.Num(m.Lo), part.Num(m.Hi), m.Unit, string(m.State()), m.Do()})
	}
	return j
}
