package lotreport

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// curvePoints is how many steps an operating characteristic is drawn in.
const curvePoints = 60

// FromLot begins a report with what a lot's events tell: plans, draw, counts,
// decision. history are the events of all lots, of the kinds of
// [lots.HistoryKinds] and in the order of writing, for switching. now is the
// report's time stamp.
func FromLot(l *lots.Lot, history []part.Entry, now time.Time, program string) (*Report, error) {
	r := l.Current()
	if r == nil {
		return nil, fmt.Errorf("lotreport: lot %s was not opened", l.Name)
	}
	o := &r.Opening
	rep := &Report{Schema: Schema, Generated: now.UTC(), Program: program, Units: []Unit{}, Findings: []Finding{},
		Stations: []StepStation{},
		Lot: Lot{Name: l.Name, Product: o.Product, Stage: string(o.Stage), Size: o.Size, State: State(l.State()), Opened: r.Opened.At,
			OpenedBy: r.Opened.By, Limits: o.LimitsName, LimitsSHA256: o.Limits}}
	if n := len(l.Rounds); n > 1 {
		rep.Lot.Round = n
		rep.note(map[string]string{lots.Replanned: "note.replanned", lots.Resubmitted: "note.resubmitted"}[r.Kind], "n", strconv.Itoa(n),
			"why", o.Why)
	}
	for i, s := range r.Standings() {
		rep.Plans = append(rep.Plans, planOf(o, &o.Classes[i], s))
	}
	if d := r.Drawing; d != nil {
		rep.draw(r, d)
	}
	if d := r.Decision; d != nil {
		rep.decide(r, d)
	}
	rep.Disposed = dispositionsOf(r)
	for i := range l.Rounds[:len(l.Rounds)-1] {
		rep.Earlier = append(rep.Earlier, earlierOf(i+1, &l.Rounds[i])...)
	}
	return rep, rep.switching(l, r, history)
}

func (r *Report) note(key string, args ...string) {
	if key != "" {
		r.Notes = append(r.Notes, Said{Key: key, Args: args})
	}
}

// dispositionsOf tells what became of units that do not pass, and of which nothing was
// said yet.
func dispositionsOf(r *lots.Round) []Said {
	var out []Said
	for _, d := range r.Dispositions {
		args := []string{"unit", d.Unit, "by", d.By, "date", d.At.UTC().Format(time.DateOnly), "why", d.Why, "reference", d.Reference,
			"inspection", strconv.FormatInt(d.Inspection, 10)}
		out = append(out, Said{Key: "disposed." + string(d.Route), Args: args})
		if d.Why != "" && d.Route != lots.Concession {
			out = append(out, Said{Text: d.Why})
		}
	}
	for _, u := range r.Undisposed() {
		out = append(out, Said{Key: "disposed.open", Args: []string{"unit", u.Name, "verdict", "@verdict." + string(u.Verdict)}})
	}
	return out
}

// earlierOf tells how a former presentation of a lot ended.
func earlierOf(n int, r *lots.Round) []Said {
	date := func(t time.Time) string { return t.UTC().Format(time.DateOnly) }
	first := Said{Key: "earlier.replanned", Args: []string{"n", strconv.Itoa(n), "date", date(r.Opened.At), "by", r.Opened.By}}
	if r.Decision != nil {
		first = Said{Key: "earlier.refused", Args: []string{"n", strconv.Itoa(n), "date", date(r.Decided.At), "by", r.Decided.By}}
	}
	out := []Said{first}
	for _, s := range r.Standings() {
		out = append(out, Said{Key: "earlier.count", Args: []string{"severity", "@severity." + string(s.Severity), "count",
			strconv.Itoa(s.Count),
			"looked", strconv.Itoa(s.Looked), "n", strconv.Itoa(s.Plan.N), "ac", strconv.Itoa(s.Plan.Ac), "re", strconv.Itoa(s.Plan.Re)}})
	}
	if r.Decision != nil && r.Decision.Why != "" {
		out = append(out, Said{Text: r.Decision.Why})
	}
	if d := r.Disposal; d != nil {
		out = append(out, Said{Key: "decision." + string(d.How), Args: []string{"by", r.Done.By, "date", date(r.Done.At), "removed",
			strconv.Itoa(d.Removed)}})
	}
	if left := r.Out(); len(left) > 0 {
		out = append(out, Said{Key: "earlier.left", Args: []string{"units", strings.Join(left, ", ")}})
	}
	return append(out, dispositionsOf(r)...)
}

// planOf is a class' plan and how its count stands.
func planOf(o *lots.Opening, c *lots.Planned, s lots.Standing) Plan {
	p := c.Plan
	out := Plan{Severity: c.Severity, Covers: c.Covers, Standard: o.Edition, Level: string(p.Level), Letter: p.PlanLetter, AQL: p.AQL,
		Mode: string(p.Mode),
		N:    p.N, Ac: p.Ac, Re: p.Re, All: p.All, PerHundred: p.PerHundred, Inspected: s.Looked, Count: s.Count, Stand: s.Stand()}
	if p.Arrow != "" {
		out.Notes = append(out.Notes, Said{Key: "plan.arrow", Args: []string{"severity", "@severity." + string(c.Severity), "letter",
			p.Letter, "plan", p.PlanLetter, "n", strconv.Itoa(p.TableN)}})
	}
	if p.Zero() {
		out.Standard, out.Level, out.Letter = "", "", ""
		out.Notes = append(out.Notes, Said{Key: "plan.zero", Args: []string{"severity", "@severity." + string(c.Severity)}})
		if c.Limit > 0 {
			out.Notes = append(out.Notes, Said{Key: "plan.zero_limit", Args: []string{"limit", part.Decimal(math.Round(1e6*c.Limit) / 1e4),
				"risk", part.Decimal(math.Round(1e6*c.Risk) / 1e4)}})
		}
	}
	if c.ChosenBy != "" {
		out.Notes = append(out.Notes, Said{Key: "plan.chosen", Args: []string{"severity", "@severity." + string(c.Severity), "mode",
			"@lot.mode." + string(p.Mode), "by", c.ChosenBy, "why", o.Why}})
	}
	out.Lets = letsOf(p)
	if !p.All {
		for _, q := range p.OC().Curve(curvePoints) {
			if !math.IsNaN(q.Pa) {
				out.Curve = append(out.Curve, Point{q.P, q.Pa})
			}
		}
	}
	return out
}

// letsOf is what a plan lets through, as shares.
func letsOf(p lots.Single) *Lets {
	if p.All {
		return &Lets{Zero: true}
	}
	t := p.Protection()
	l := &Lets{PAtAQL: t.PaAtAQL, P50: hundredth(t.P50), P10: hundredth(t.P10), AOQL: hundredth(t.AOQL), Law: string(t.Law)}
	if p.AQL > 0 {
		l.ATI = part.Num(p.OC().ATI(p.AQL / 100))
	}
	return l
}

func hundredth(v *float64) *float64 {
	if v == nil {
		return nil
	}
	return part.Num(*v / 100)
}

// draw tells how the sample was drawn, and its units as the events have them.
func (r *Report) draw(round *lots.Round, d *lots.Drawing) {
	r.Draw = &Draw{Algorithm: d.Method, Seed: d.Seed, At: round.Drawn.At, By: round.Drawn.By, From: len(d.Serials), Serials: d.Units,
		Given: d.Given}
	if err := d.Verify(); err != nil {
		if why, ok := lang.PhraseOf(err); ok {
			r.Notes = append(r.Notes, saidOf(why))
		} else {
			r.note("note.draw_differs", "why", strings.TrimPrefix(err.Error(), "lots: "))
		}
	}
	for _, s := range round.Swaps {
		r.Draw.Replaced = append(r.Draw.Replaced, Replaced{Serial: s.Unit, With: s.With, Why: s.Why, By: s.By, At: s.At})
	}
	for i, p := range round.Sample {
		u := Unit{Serial: p.Name, Place: i + 1}
		if x := p.Unit; x != nil {
			at := x.Seen
			if at.IsZero() {
				at = p.At
			}
			u.Taken, u.At, u.By, u.Inspection, u.Verdict, u.Score, u.WorstStepUM, u.Person = true, &at, p.By, x.Inspection, x.Verdict,
				x.Score, x.WorstStepUM, x.Person
			u.Critical, u.Major, u.Moderate, u.Minor = x.Findings[part.Critical], x.Findings[part.Major], x.Findings[part.Moderate],
				x.Findings[part.Minor]
			u.Counts = round.Counts(i)
			u.Again = len(p.Was)
		}
		r.Units = append(r.Units, u)
	}
}

func (r *Report) decide(round *lots.Round, d *lots.Decision) {
	r.Decision = &Decision{Accept: d.Accepted, By: round.Decided.By, At: round.Decided.At, Note: d.Why}
	switch {
	case d.Against:
		r.Decision.Notes = append(r.Decision.Notes, Said{Key: "decision.against"})
	case d.Early:
		r.Decision.Notes = append(r.Decision.Notes, Said{Key: "decision.early"})
	}
	if d.Again {
		r.Decision.Notes = append(r.Decision.Notes, Said{Key: "decision.again"})
	}
	if x := round.Disposal; x != nil {
		r.Decision.Notes = append(r.Decision.Notes, Said{Key: "decision." + string(x.How),
			Args: []string{"by", round.Done.By, "date", round.Done.At.UTC().Format(time.DateOnly), "removed", strconv.Itoa(x.Removed)}})
		if x.Why != "" {
			r.Decision.Notes = append(r.Decision.Notes, Said{Text: x.Why})
		}
	}
	if left := round.Out(); len(left) > 0 {
		r.Decision.Notes = append(r.Decision.Notes, Said{Key: "earlier.left", Args: []string{"units", strings.Join(left, ", ")}})
	}
}

// switching tells where the rules stand for each class: as of this lot's decision,
// or before it where it is not decided.
func (r *Report) switching(l *lots.Lot, round *lots.Round, history []part.Entry) error {
	o := &round.Opening
	until := history
	if round.Decision != nil {
		if i := lastDecision(history, l.Name); i >= 0 {
			until = history[:i+1]
		}
	}
	for i := range o.Classes {
		c := &o.Classes[i]
		if c.Plan.Zero() {
			continue // switching does not change a plan that accepts none
		}
		s := Switching{Severity: c.Severity, Standard: string(cmp.Or(o.Rules.Standard, o.Standard)),
			Before: string(cmp.Or(c.Switching.Mode, lots.Normal))}
		if round.Decision != nil {
			after, said, err := lots.History(until, o.Product, c.Severity, o.Rules)
			if err != nil {
				return fmt.Errorf("lotreport: switching of lot %s: %w", l.Name, err)
			}
			s.After, s.Stopped = string(cmp.Or(after.Mode, lots.Normal)), after.Discontinued
			if after.Mode == lots.Normal && after.Standard == lots.ISO2859 {
				s.Score = &after.Score
			}
			for _, x := range said {
				if x.Lot == l.Name && !x.By.At.Before(round.Decided.At) {
					s.Notes = append(s.Notes, saidOf(x.Phrase))
				}
			}
			if len(s.Notes) == 0 {
				s.Notes = []Said{{Key: "switch.stay"}}
			}
		}
		r.Switching = append(r.Switching, s)
	}
	return nil
}

// saidOf is a phrase of package lots without parts.
func saidOf(p part.Phrase) Said {
	s := Said{Key: strings.TrimPrefix(p.Key, "lot."), Text: lang.English().Say(&p)}
	for _, name := range slices.Sorted(maps.Keys(p.Args)) {
		s.Args = append(s.Args, name, p.Args[name])
	}
	return s
}

func lastDecision(history []part.Entry, lot string) int {
	for i := len(history) - 1; i >= 0; i-- {
		if history[i].Name == lot && history[i].Kind == lots.Decided {
			return i
		}
	}
	return -1
}
