// Package ticket prints what is to be done about a unit on one page that goes with it: serial, code,
// the plan's steps, where, and what to take care of. Pure Go.
package ticket

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/vg"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/palette"
	"finishbench/internal/report/paper"
	"finishbench/internal/scan"
	"finishbench/internal/scan/label"
)

// Ticket is what a page is made of; the same one gives the same bytes each time.
type Ticket struct {
	part.Inspection                // its result with a plan; number 0: it is in no records
	Zone            *time.Location // in which times are told; nil: UTC
	Program         string         // that prints it: name and version
}

// ErrNothing is returned for a unit that passes: nothing has to be done about it.
var ErrNothing = errors.New("the unit passes: there is nothing to do about it")

// Sizes, mm and points.
const (
	codeMM   = 34.0
	wideMM   = paper.WideMM - 2*paper.MarginMM
	footMM   = paper.HighMM - 14
	mostMap  = 96.0 // of the sketch's height
	leastMap = 40.0
	lineGap  = 1.36 // of the letters' size
)

// sizes of letters are tried in turn until all fits on the page: of the steps, and of the rest.
var sizes = [][2]float64{{13, 9.5}, {11.5, 9}, {10, 8.5}, {8.5, 7.5}, {7, 6.5}}

// page is a ticket under way.
type page struct {
	*fpdf.Fpdf
	Ticket
	l        *lang.Lang
	y        float64
	big, low float64 // sizes of letters, points
}

// Write makes the page in a language.
func Write(out io.Writer, t Ticket, l *lang.Lang) error {
	if t.Verdict() == part.Pass {
		return ErrNothing
	}
	for i, s := range sizes {
		p, err := t.try(l, s)
		if err != nil {
			return err
		}
		if p.y > footMM && i+1 < len(sizes) {
			continue
		}
		if err := p.Output(out); err != nil {
			return fmt.Errorf("ticket of %s: %w", t.Name(), err)
		}
		return nil
	}
	return nil
}

// try lays the page out with letters of these sizes.
func (t Ticket) try(l *lang.Lang, size [2]float64) (*page, error) {
	name := t.Name()
	title := l.T("ticket.title") + " " + name
	pdf, err := paper.New(title, l.T("verdict_short."+string(t.Verdict())), l.Tag, t.Ended)
	if err != nil {
		return nil, err
	}
	p := &page{Fpdf: pdf, Ticket: t, l: l, y: paper.MarginMM, big: size[0], low: size[1]}
	p.AddPage()
	if err := p.head(name); err != nil {
		return nil, err
	}
	plan := t.Result.Plan.Under(t.Overruled)
	p.steps(plan)
	unseen := p.unseenLines(plan)
	if err := p.sketch(plan, footMM-p.y-unseen); err != nil {
		return nil, err
	}
	p.unseen(plan)
	p.foot()
	return p, p.Error()
}

func mm(points float64) float64 { return points * 25.4 / 72 }

// text writes a paragraph at x in lines of so many mm.
func (p *page) text(s string, x, wide, size float64, bold bool) {
	if s == "" {
		return
	}
	paper.Letters(p.Fpdf, size, palette.Ink)
	for _, line := range paper.Wrap(p.Fpdf, paper.Printable(s), wide) {
		put := func() { p.Text(x, p.y+mm(size)*1.02, line) }
		if bold {
			paper.Bold(p.Fpdf, size, palette.Ink, put)
		} else {
			put()
		}
		p.y += mm(size) * lineGap
	}
}

// head says what the page is of.
func (p *page) head(name string) error {
	if code, err := label.New(scan.Unit, name); err == nil { // a name that no reader takes has no code
		if err := label.DrawCode(p.Fpdf, code, paper.WideMM-paper.MarginMM-codeMM+3, paper.MarginMM-5, codeMM); err != nil {
			return err
		}
	}
	wide := wideMM - codeMM - 4
	p.text(p.l.T("ticket.title"), paper.MarginMM, wide, 11, false)
	size := 30.0
	for paper.Letters(p.Fpdf, size, palette.Ink); p.GetStringWidth(paper.Printable(name)) > wide &&
		size > 14; paper.Letters(p.Fpdf, size, palette.Ink) {
		size--
	}
	p.text(name, paper.MarginMM, wide, size, true)
	p.y++
	v := p.l.T("verdict." + string(p.Verdict()))
	p.text(v+" · "+p.l.T("stage."+string(p.Result.Stage)), paper.MarginMM, wide, 13, true)
	var facts []string
	for _, f := range [][2]string{{"ready.lot", p.Lot}, {"ticket.inspected", p.clock(p.Ended)}, {"ticket.record", number(p.ID)}} {
		if f[1] != "" {
			facts = append(facts, p.l.T(f[0])+" "+f[1])
		}
	}
	p.text(strings.Join(facts, " · "), paper.MarginMM, wide, p.low, false)
	p.y = max(p.y+2, paper.MarginMM+codeMM-6)
	p.rule()
	return nil
}

func number(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

func (p *page) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	zone := p.Zone
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format("2006-01-02 15:04")
}

func (p *page) rule() {
	p.SetDrawColor(paper.RGB(palette.Ink))
	p.SetLineWidth(.4)
	p.Line(paper.MarginMM, p.y, paper.MarginMM+wideMM, p.y)
	p.y += 2.5
}

// steps writes each with a box to tick, and what to take care of.
func (p *page) steps(plan *part.Plan) {
	if o := p.Overruled; o != nil {
		p.text(p.l.T("answer.overruled", "by", o.By, "verdict", "@verdict_short."+string(o.Verdict), "tool",
			"@verdict_short."+string(p.Result.Verdict), "reason", "@reason."+o.Reason), paper.MarginMM, wideMM, p.big, true)
		p.text(o.Note, paper.MarginMM, wideMM, p.big, false)
		p.text(p.l.T("plan.persons", "by", o.By), paper.MarginMM, wideMM, p.low, false)
		p.y += 2
	}
	if plan == nil {
		return
	}
	const indent, box = 11.0, 6.0
	for i, s := range plan.Steps {
		top := p.y
		paper.Bold(p.Fpdf, p.big*1.6, palette.Ink, func() { p.Text(paper.MarginMM, p.y+mm(p.big*1.6), strconv.Itoa(i+1)) })
		p.text(p.l.SayOr(&s.DoPhrase, s.Do), paper.MarginMM+indent, wideMM-indent-box-4, p.big, true)
		why := p.l.SayOr(&s.WhyPhrase, s.Why)
		if of := numbers(p.l, s.Findings); of != "" {
			why += " " + p.l.T("plan.mends", "numbers", of)
		}
		p.text(why, paper.MarginMM+indent, wideMM-indent-box-4, p.low, false)
		p.SetLineWidth(.5)
		p.SetDrawColor(paper.RGB(palette.Ink))
		p.Rect(paper.MarginMM+wideMM-box, top+.6, box, box, "D")
		p.y = max(p.y+2, top+box+2)
	}
	if care := report.CareSentence(p.l, plan.Care()); care != "" {
		top := p.y
		p.text(care+" "+p.l.T("cautions.6"), paper.MarginMM+3, wideMM-3, p.low, false)
		p.SetFillColor(paper.RGB(palette.Yellow))
		p.Rect(paper.MarginMM, top, 1.6, p.y-top, "F")
		p.y += 2
	}
	if p.Verdict() == part.Rework {
		p.text(p.l.T("ticket.again"), paper.MarginMM, wideMM, p.low, true)
		p.y += 2
	}
}

func numbers(l *lang.Lang, all []int) string {
	var of []string
	for _, n := range all {
		of = append(of, strconv.Itoa(n))
	}
	return strings.Join(of, l.T("join.numbers"))
}

// sketch draws where, no higher than the room that is left.
func (p *page) sketch(plan *part.Plan, room float64) error {
	if plan == nil {
		return nil
	}
	how := p.l.T("plan.sketch.how")
	paper.Letters(p.Fpdf, p.low, palette.Ink)
	room -= float64(len(paper.Wrap(p.Fpdf, paper.Printable(how), wideMM)))*mm(p.low)*lineGap + 4
	drawn := false
	_, err := report.PlanSketch(&p.Result, plan, p.l, func(wide, high float64) vg.Canvas {
		k := min(wideMM/wide, max(leastMap, min(mostMap, room))/high)
		drawn = true
		p.y += high * k
		return paper.NewCanvas(p.Fpdf, paper.MarginMM+(wideMM-wide*k)/2, p.y, k)
	})
	if drawn {
		p.y++
		p.text(how, paper.MarginMM, wideMM, p.low, false)
		p.y += 2
	}
	return err
}

// unseenLines is how high the list of what was not looked at will be, mm.
func (p *page) unseenLines(plan *part.Plan) float64 {
	if plan == nil || len(plan.UnseenPhrases) == 0 {
		return 0
	}
	paper.Letters(p.Fpdf, p.low, palette.Ink)
	n := 1
	for _, s := range p.l.SayAll(plan.UnseenPhrases) {
		n += len(paper.Wrap(p.Fpdf, paper.Printable(s), wideMM-4))
	}
	return float64(n)*mm(p.low)*lineGap + 3
}

func (p *page) unseen(plan *part.Plan) {
	if plan == nil || len(plan.UnseenPhrases) == 0 {
		return
	}
	p.text(p.l.T("plan.unseen.title"), paper.MarginMM, wideMM, p.low, true)
	for _, s := range p.l.SayAll(plan.UnseenPhrases) {
		p.Text(paper.MarginMM, p.y+mm(p.low)*1.02, "–")
		p.text(s, paper.MarginMM+4, wideMM-4, p.low, false)
	}
}

func (p *page) foot() {
	paper.Letters(p.Fpdf, 7.5, palette.Soft)
	p.Text(paper.MarginMM, paper.HighMM-8, paper.Printable(p.Program))
}
