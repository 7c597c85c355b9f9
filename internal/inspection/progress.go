package inspection

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// A bar is worth its place from this many units on.
const unitsForBar = 4

// progress tells a person how far the work is: a bar that redraws itself where
// stderr is a terminal and there are more than a few units, else a line a unit.
// It is used by one goroutine.
type progress struct {
	lines io.Writer // a line a unit; nil where the bar shows
	bar   io.Writer // nil where lines are written
	width int
	total int
	done  int
	start time.Time
}

// NewProgress begins to tell of so many units: by lines, or by a bar where stderr is a
// terminal and they are more than a few.
func NewProgress(total int, lines, stderr io.Writer) *progress {
	p := &progress{lines: lines, total: total, start: time.Now()}
	f, ok := stderr.(*os.File)
	if total < unitsForBar || !ok || !term.IsTerminal(int(f.Fd())) {
		return p
	}
	p.width = 80
	if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
		p.width = w
	}
	p.bar, p.lines = stderr, nil
	p.draw("")
	return p
}

// unitDone counts a unit and shows its line.
func (p *progress) unitDone(name, line string) {
	p.done++
	if p.bar != nil {
		p.draw(name)
		return
	}
	fmt.Fprintln(p.lines, line)
}

// Skip counts a unit of which something else was said.
func (p *progress) Skip() {
	p.done++
	if p.bar != nil {
		p.draw("")
	}
}

// Clear takes the bar away, so that a message can stand on a line of its own.
func (p *progress) Clear() {
	if p.bar != nil {
		fmt.Fprintf(p.bar, "\r%s\r", strings.Repeat(" ", p.width-1))
	}
}

// draw writes the bar: "[=====>     ] 12 of 200, about 40 s left, u06-R".
func (p *progress) draw(last string) {
	const cells = 24
	full := cells * p.done / p.total
	text := fmt.Sprintf("[%s%s] %d of %d units", strings.Repeat("=", full), strings.Repeat(" ", cells-full), p.done, p.total)
	if p.done > 0 && p.done < p.total {
		left := time.Since(p.start) / time.Duration(p.done) * time.Duration(p.total-p.done)
		text += fmt.Sprintf(", about %s left", left.Round(time.Second))
	}
	if last != "" {
		text += ", " + last
	}
	if len(text) > p.width-1 {
		text = text[:p.width-1]
	}
	fmt.Fprintf(p.bar, "\r%-*s", p.width-1, text)
}
