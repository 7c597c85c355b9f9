package walk

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"

	"finishbench/internal/report"
	"finishbench/internal/setup"
)

// newSetupScreen redraws in place where stdout is a terminal, else writes a line
// a picture.
func newSetupScreen(w *setup.Walk, names []setup.Name, asJSON bool, stdout io.Writer) setupScreen {
	if asJSON {
		return jsonScreen{w, names, json.NewEncoder(stdout)}
	}
	f, ok := stdout.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return &lineScreen{stdout}
	}
	return &liveScreen{to: stdout, walk: w, names: names, width: func() int {
		if wide, _, err := term.GetSize(int(f.Fd())); err == nil && wide > 0 {
			return wide
		}
		return 80
	}}
}

// lineScreen writes a line for each picture.
type lineScreen struct{ to io.Writer }

func (s *lineScreen) begin(where string) {
	for _, c := range SetupCautions() {
		fmt.Fprintln(s.to, c)
	}
	fmt.Fprintf(s.to, "Waiting for new pictures in %s.\n", where)
}

func (s *lineScreen) view(v setup.View) {
	for _, n := range v.Notice {
		fmt.Fprintln(s.to, printed(v.File+": "+n+"."))
	}
	if v.Finished {
		fmt.Fprintln(s.to, "All steps are in order.")
		return
	}
	fmt.Fprintln(s.to, printed(v.File+": "+setupLine(v)))
}

func (s *lineScreen) note(text string) { fmt.Fprintln(s.to, printed("  "+text)) }

// setupLine is a view on one line.
func setupLine(v setup.View) string {
	m, ok := v.Step.First()
	if !ok {
		return fmt.Sprintf("%s: %s, in the zone; one more picture to be sure", v.Step.Name, measuredAll(v.Step))
	}
	words := []string{setupMeasured(m)}
	if state := setupBar(m).State(); m.State() != setup.NotMeasured { // the value says it
		words = append(words, state)
	}
	if v.Trend != "" {
		words = append(words, v.Trend)
	}
	if v.Do != "" {
		words = append(words, v.Do)
	}
	return fmt.Sprintf("%s: %s", v.Step.Name, strings.Join(words, "; "))
}

func measuredAll(st setup.Step) string {
	var all []string
	for _, m := range st.Measures {
		all = append(all, m.Name+" "+m.Value())
	}
	return strings.Join(all, ", ")
}

// liveScreen draws the same place of a terminal anew for each picture. Signs and
// words carry everything; there is no colour.
type liveScreen struct {
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
	for _, c := range SetupCautions() {
		for _, l := range wrapped(c, s.width()-1) {
			fmt.Fprintln(s.to, l)
		}
	}
	fmt.Fprintln(s.to)
	n, _ := s.walk.Current()
	s.draw([]string{s.steps(), "", n.Asks(), "Waiting for new pictures in " + where + ". Ctrl-C ends."})
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
		words = append(words, sign+" "+n.Title())
	}
	return strings.Join(words, "  ")
}

// barMost keeps a bar readable on a wide terminal.
const barMost = 60

func (s *liveScreen) view(v setup.View) {
	lines := []string{s.steps()}
	for _, n := range v.Notice {
		lines = append(lines, n+".")
	}
	if v.Finished {
		s.draw(append(lines, "", "All steps are in order."))
		return
	}
	wide := max(20, min(s.width()-26, barMost)) // the state stands behind it
	lines = append(lines, "", fmt.Sprintf("%s, %s", v.Step.Name.Title(), v.File))
	for _, m := range v.Step.Measures {
		b := setupBar(m)
		lines = append(lines, "  "+setupMeasured(m), "  "+report.BarText(wide, b.V, b.Lo, b.Hi, b.Min, b.Max)+"  "+b.State())
	}
	if v.Step.Fact != "" {
		lines = append(lines, "  "+setupSentence(v.Step.Fact))
	}
	lines = append(lines, "")
	if v.Trend != "" {
		lines = append(lines, setupSentence(v.Trend))
	}
	switch {
	case v.Again:
		lines = append(lines, "In the zone: one more picture to be sure.")
	case v.Do != "":
		lines = append(lines, "DO: "+setupSentence(v.Do))
	}
	s.draw(lines)
}

func (s *liveScreen) note(text string) { s.draw(append(s.last, "Note: "+text)) }

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

// wrapped folds a line at spaces so that no piece is wider than n characters,
// but for words that are; pieces after the first are indented like it.
func wrapped(line string, n int) []string {
	if utf8.RuneCountInString(line) <= n {
		return []string{line}
	}
	indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
	var pieces []string
	now := indent
	for _, w := range strings.Fields(line) {
		switch {
		case now == indent:
			now += w
		case utf8.RuneCountInString(now)+1+utf8.RuneCountInString(w) > n:
			pieces = append(pieces, now)
			now = indent + w
		default:
			now += " " + w
		}
	}
	return append(pieces, now)
}
