package walk

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"golang.org/x/term"

	"finishbench/internal/gauge/setup"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// newSetupScreen redraws in place where stdout is a terminal, else writes a line
// a picture.
func newSetupScreen(x *lang.Lang, w *setup.Walk, names []setup.Name, asJSON bool, stdout io.Writer) setupScreen {
	if asJSON {
		return jsonScreen{w, names, json.NewEncoder(stdout)}
	}
	f, ok := stdout.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return &lineScreen{x, stdout}
	}
	return &liveScreen{x: x, to: stdout, walk: w, names: names, width: func() int {
		if wide, _, err := term.GetSize(int(f.Fd())); err == nil && wide > 0 {
			return wide
		}
		return 80
	}}
}

// lineScreen writes a line for each picture.
type lineScreen struct {
	x  *lang.Lang
	to io.Writer
}

func (s *lineScreen) begin(where string) {
	for _, c := range SetupCautions(s.x) {
		fmt.Fprintln(s.to, c)
	}
	fmt.Fprintln(s.to, s.x.T("setup.waiting", "folder", where))
}

func (s *lineScreen) view(v setup.View) {
	for _, n := range v.Notice {
		fmt.Fprintln(s.to, printed(v.File+": "+s.x.Say(&n)+s.x.T("page.full_stop")))
	}
	if v.Finished {
		fmt.Fprintln(s.to, s.x.T("setup.all_done"))
		return
	}
	fmt.Fprintln(s.to, printed(v.File+": "+setupLine(s.x, v)))
}

func (s *lineScreen) note(text string) { fmt.Fprintln(s.to, printed("  "+text)) }

// setupLine is a view on one line.
func setupLine(x *lang.Lang, v setup.View) string {
	say := func(p part.Phrase) string { return x.Say(&p) }
	title := strings.ToLower(say(v.Step.Name.Title()))
	m, ok := v.Step.First()
	if !ok {
		return x.T("setup.line_in", "step", title, "measured", measuredAll(x, v.Step))
	}
	words := []string{say(setupMeasured(m))}
	if state := setupBar(x, m).State(x); m.State() != setup.NotMeasured { // the value says it
		words = append(words, state)
	}
	for _, p := range []part.Phrase{v.Trend, v.Do} {
		if p.Key != "" {
			words = append(words, say(p))
		}
	}
	return x.T("scale.about", "file", title, "what", strings.Join(words, x.T("join.signals")))
}

func measuredAll(x *lang.Lang, st setup.Step) string {
	var all []string
	for _, m := range st.Measures {
		v := m.Value()
		all = append(all, x.Say(&m.Name)+" "+x.Say(&v))
	}
	return strings.Join(all, x.T("looked.comma"))
}

// liveScreen draws the same place of a terminal anew for each picture. Signs and
// words carry everything; there is no colour.
type liveScreen struct {
	x     *lang.Lang
	to    io.Writer
	walk  *setup.Walk
	names []setup.Name
	width func() int
	drawn int // lines on the screen that are to be replaced
	last  []string
	where string
}

func (s *liveScreen) begin(where string) {
	s.where = where
	for _, c := range SetupCautions(s.x) {
		for _, l := range wrapped(c, s.width()-1) {
			fmt.Fprintln(s.to, l)
		}
	}
	fmt.Fprintln(s.to)
	n, _ := s.walk.Current()
	s.draw([]string{s.steps(), "", s.say(n.Asks()), s.x.T("setup.waiting", "folder", where) + s.x.T("setup.ctrl_c")})
}

// steps is the row of steps: done, worked at, still to come.
func (s *liveScreen) steps() string {
	current, _ := s.walk.Current()
	var words []string
	for _, n := range s.names {
		sign := "[ ]"
		switch {
		case s.walk.Done(n):
			sign = "[x]"
		case n == current:
			sign = "[>]"
		}
		words = append(words, sign+" "+s.say(n.Title()))
	}
	return strings.Join(words, "  ")
}

func (s *liveScreen) say(p part.Phrase) string { return s.x.Say(&p) }

// barMost keeps a bar readable on a wide terminal.
const barMost = 60

func (s *liveScreen) view(v setup.View) {
	lines := []string{s.steps()}
	for _, n := range v.Notice {
		lines = append(lines, s.say(n)+s.x.T("page.full_stop"))
	}
	if v.Finished {
		s.draw(append(lines, "", s.x.T("setup.all_done")))
		return
	}
	wide := max(20, min(s.width()-26, barMost)) // the state stands behind it
	lines = append(lines, "", s.x.T("setup.step_file", "step", s.say(v.Step.Name.Title()), "file", v.File))
	for _, m := range v.Step.Measures {
		b := setupBar(s.x, m)
		lines = append(lines, "  "+s.say(setupMeasured(m)), "  "+b.Text(wide, s.x)+"  "+b.State(s.x))
	}
	if v.Step.Fact.Key != "" {
		lines = append(lines, "  "+setupSentence(s.x, v.Step.Fact))
	}
	lines = append(lines, "")
	if v.Trend.Key != "" {
		lines = append(lines, setupSentence(s.x, v.Trend))
	}
	switch {
	case v.Again:
		lines = append(lines, s.x.T("setup.once_more"))
	case v.Do.Key != "":
		lines = append(lines, s.x.T("setup.do_this", "do", setupSentence(s.x, v.Do)))
	}
	s.draw(lines)
}

func (s *liveScreen) note(text string) { s.draw(append(s.last, s.x.T("setup.note", "note", text))) }

// draw replaces what was drawn last. Lines are folded here, so that the terminal
// folds none and the count holds.
func (s *liveScreen) draw(lines []string) {
	s.last = lines
	var b strings.Builder
	if s.drawn > 0 {
		fmt.Fprintf(&b, "\x1b[%dA\r\x1b[J", s.drawn)
	}
	s.drawn = 0
	for _, l := range lines {
		for _, piece := range wrapped(printed(l), max(20, s.width()-1)) {
			b.WriteString(piece + "\n")
			s.drawn++
		}
	}
	_, _ = io.WriteString(s.to, b.String())
}

// printed leaves out what would move the cursor: a file may bear any name.
func printed(line string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, line)
}

// wrapped folds a line at spaces, or beside a wide character, so that no piece is wider than n columns,
// but for words that are; pieces after the first are indented like it.
func wrapped(line string, n int) []string {
	if report.Columns(line) <= n {
		return []string{line}
	}
	indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
	var pieces []string
	now, space := indent, ""
	for _, w := range words(line) {
		if now != indent && report.Columns(now+space+w) > n {
			pieces = append(pieces, now)
			now, space = indent, ""
		}
		if w == " " {
			space = " "
			continue
		}
		if now != indent {
			now += space
		}
		now, space = now+w, ""
	}
	return append(pieces, now)
}

// words are the pieces between which a line may be folded, with the spaces between them.
func words(line string) (all []string) {
	for i, f := range strings.Fields(line) {
		if i > 0 {
			all = append(all, " ")
		}
		word := ""
		for _, r := range f {
			if report.Columns(string(r)) > 1 {
				if word != "" {
					all, word = append(all, word), ""
				}
				all = append(all, string(r))
				continue
			}
			word += string(r)
		}
		if word != "" {
			all = append(all, word)
		}
	}
	return all
}
