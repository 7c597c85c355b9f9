package lots

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Refusal is a step that a lot does not allow: a sentence for a person.
type Refusal struct{ Sentence string }

func (r Refusal) Error() string { return r.Sentence }

func refusef(format string, a ...any) error { return Refusal{fmt.Sprintf(format, a...)} }

func english(p part.Phrase) string { return lang.English().Say(&p) }

// Open starts a lot.
func (l *Lot) Open(o Opening, at time.Time, by string) (part.Entry, error) {
	if l.Current() != nil {
		return part.Entry{}, refusef("lot %s is there already: give another name, or look at it with 'lot show'", l.Name)
	}
	if strings.TrimSpace(l.Name) == "" {
		return part.Entry{}, refusef("the lot has no name")
	}
	if err := o.check(); err != nil {
		return part.Entry{}, err
	}
	return l.event(Opened, at, by, o)
}

// check says what is wrong with an opening.
func (o *Opening) check() error {
	if err := checkLot(o.Size); err != nil {
		return err
	}
	if len(o.Classes) == 0 {
		return refusef("a lot needs a plan for one class of findings at least")
	}
	if !slices.Contains(part.Stages, o.Stage) {
		return refusef("the stage %q is none: use trim, wet or cured", o.Stage)
	}
	if o.Limits == "" {
		return refusef("it is not told by which limits the units are judged")
	}
	if !slices.ContainsFunc(o.Classes, func(c Planned) bool { return c.Counts(o.NotPassing) }) {
		return refusef("no class counts the units that do not pass: set one that covers %s (station file, lots.not_passing and "+
			"lots.classes)", cmp.Or(o.NotPassing, "major"))
	}
	for _, c := range o.Classes {
		switch p := c.Plan; {
		case p.N < 1 || p.Ac < 0 || p.Re <= p.Ac:
			return refusef("the plan of the class %s is none: %d units, accepted up to %d, refused from %d", c.Severity, p.N, p.Ac, p.Re)
		case p.N > o.Size:
			return refusef("the sample of the class %s has %d units, more than the lot with its %d: look at every unit", c.Severity, p.N,
				o.Size)
		case c.Switching.Discontinued && o.Resume == "":
			return refusef("inspection of %s is discontinued for the class %s, after %d refused lots on tightened inspection: put the "+
				"process right, and say what was done (--resume)", o.Product, c.Severity, stopAt)
		}
	}
	return nil
}

// Draw draws the sample from the serials of the lot. serials are all units of the
// lot, by the names that they are looked up with. given says that a person told the
// seed, which is kept: who knows the seed beforehand could choose.
func (l *Lot) Draw(serials []string, seed uint64, given bool, at time.Time, by string) (part.Entry, error) {
	r, err := l.open("draw units")
	if err != nil {
		return part.Entry{}, err
	}
	if r.Drawing != nil {
		return part.Entry{}, refusef("the sample of lot %s was drawn already, with the seed %d: a second draw would be a choice", l.Name,
			r.Drawing.Seed)
	}
	if len(serials) != r.Opening.Size {
		return part.Entry{}, refusef("lot %s has %d units, but %d serials are given", l.Name, r.Opening.Size, len(serials))
	}
	if err := l.checkPresented(serials); err != nil {
		return part.Entry{}, err
	}
	units, err := Draw(serials, r.Opening.DrawSize(), seed)
	if err != nil {
		return part.Entry{}, err
	}
	return l.event(Drawn, at, by, Drawing{DrawMethod, seed, given, serials, units})
}

// open is the current round, where it is not decided.
func (l *Lot) open(to string) (*Round, error) {
	r := l.Current()
	if r == nil {
		return nil, refusef("there is no lot %s: open it with 'lot plan %s --size N'", l.Name, l.Name)
	}
	if d := r.Decision; d != nil {
		return nil, refusef("lot %s was %s on %s by %s: it is too late to %s", l.Name, word(d.Accepted), r.Decided.At.Format(time.DateOnly),
			r.Decided.By, to)
	}
	return r, nil
}

func word(accepted bool) string {
	if accepted {
		return "accepted"
	}
	return "refused"
}

// Take notes what was seen on a unit of the sample. A unit that was measured
// already is taken again only where u.Why says why; both are kept.
func (l *Lot) Take(u Unit, at time.Time, by string) (part.Entry, error) {
	r, err := l.open("take " + u.Name)
	if err != nil {
		return part.Entry{}, err
	}
	if err := l.mayTake(r, &u); err != nil {
		return part.Entry{}, err
	}
	return l.event(Taken, at, by, u)
}

// MayTake says whether a unit is one that the lot waits for, before any work is put
// into it.
func (l *Lot) MayTake(name string) error {
	r, err := l.open("take " + name)
	if err != nil {
		return err
	}
	return l.waitsFor(r, name, "")
}

func (l *Lot) waitsFor(r *Round, name, why string) error {
	if r.Drawing == nil {
		return refusef("the sample of lot %s is not drawn yet: draw it with 'lot draw %s'", l.Name, l.Name)
	}
	p := r.Look(name)
	switch {
	case p == nil && r.wasReplaced(name):
		return refusef("%s was replaced in the sample of lot %s: look at the unit in its place", name, l.Name)
	case p == nil && r.Has(name):
		return refusef("%s is of lot %s, but was not drawn: only drawn units count", name, l.Name)
	case p == nil:
		return refusef("%s is not of lot %s: look whether it lies in the wrong tray", name, l.Name)
	case p.Unit != nil && p.Unit.Measured() && why == "":
		return refusef("%s was taken for lot %s already%s: to take it again, say why", name, l.Name, inspectionNote(p.Unit))
	}
	return nil
}

func inspectionNote(u *Unit) string {
	if u.Inspection == 0 {
		return ""
	}
	return fmt.Sprintf(" (inspection %d)", u.Inspection)
}

func (r *Round) wasReplaced(name string) bool {
	return slices.ContainsFunc(r.Swaps, func(s Swap) bool { return s.Unit == name })
}

func (l *Lot) mayTake(r *Round, u *Unit) error {
	if err := l.waitsFor(r, u.Name, u.Why); err != nil {
		return err
	}
	o := &r.Opening
	switch {
	case u.Lot != "" && u.Lot != l.Name:
		return refusef("%s was recorded as a unit of lot %s, not of lot %s: withdraw that inspection, or look at the right unit", u.Name,
			u.Lot, l.Name)
	case r.Kind == Resubmitted && u.Seen.Before(r.Opened.At):
		return refusef("%s was looked at before lot %s was presented again: look at it now", u.Name, l.Name)
	case u.Stage != o.Stage:
		return refusef("%s was looked at %s, but lot %s is judged %s: inspect it with --stage %s", u.Name, u.Stage, l.Name, o.Stage,
			o.Stage)
	case u.Limits != o.Limits:
		return refusef("%s was judged by other limits (%.12s) than lot %s was opened with (%s, %.12s): judge it by those, or start a new "+
			"plan with 'lot plan %s --anew --why ...'",
			u.Name, u.Limits, l.Name, o.LimitsName, o.Limits, l.Name)
	}
	for s, n := range u.Findings {
		if n < 0 {
			return refusef("%s has %d %s findings: a count cannot be negative", u.Name, n, s)
		}
		if s.Rank() < 0 {
			return refusef("%s has findings of the severity %q, which is none: use minor, moderate, major or critical", u.Name, s)
		}
	}
	switch u.Verdict {
	case part.Pass, part.Rework, part.Reject, part.NotMeasured:
		return nil
	}
	return refusef("%s has the verdict %q, which is none: pass, rework, reject or not_measured", u.Name, u.Verdict)
}

// Replace puts the next unit of the same draw in the place of one that cannot be
// measured: lost, broken, or not fit for the camera. Who replaces does not choose.
// A unit that was measured is never replaced.
func (l *Lot) Replace(name, why string, at time.Time, by string) (part.Entry, error) {
	r, err := l.open("replace " + name)
	if err != nil {
		return part.Entry{}, err
	}
	if r.Drawing == nil {
		return part.Entry{}, refusef("the sample of lot %s is not drawn yet", l.Name)
	}
	p := r.Look(name)
	switch {
	case p == nil:
		return part.Entry{}, refusef("%s is not in the sample of lot %s", name, l.Name)
	case p.Unit != nil && p.Unit.Measured():
		return part.Entry{}, refusef("%s was measured: it counts, and cannot be replaced", name)
	case strings.TrimSpace(why) == "":
		return part.Entry{}, refusef("say why %s cannot be measured (--why): units that cannot be measured may be the bad ones", name)
	case by == "":
		return part.Entry{}, refusef("say who replaces %s (--by)", name)
	}
	n := len(r.Drawing.Units) + len(r.Swaps) + 1
	if n > len(r.Drawing.Serials) {
		return part.Entry{}, refusef("lot %s has no further unit to put in the place of %s", l.Name, name)
	}
	units, err := Draw(r.Drawing.Serials, n, r.Drawing.Seed)
	if err != nil {
		return part.Entry{}, err
	}
	return l.event(Replaced, at, by, Replacement{name, units[n-1], why, p.Unit})
}

// Decide accepts or refuses the lot, as its counts say. A person may refuse a lot
// that they accept, with a reason; never the other way round: a lot that is used
// in spite of its counts stays refused, and is a matter between the parties.
// accept nil: as the counts say.
func (l *Lot) Decide(accept *bool, why string, at time.Time, by string) (part.Entry, error) {
	r := l.Current()
	if r == nil {
		return part.Entry{}, refusef("there is no lot %s", l.Name)
	}
	if r.Decision != nil {
		return part.Entry{}, refusef("lot %s was %s already, on %s by %s: a decision is made once", l.Name, word(r.Decision.Accepted),
			r.Decided.At.Format(time.DateOnly), r.Decided.By)
	}
	if strings.TrimSpace(by) == "" {
		return part.Entry{}, refusef("say who decides (--by): a decision is signed")
	}
	call := r.Call()
	d := Decision{Accepted: call == Accepts, Why: why, Product: r.Opening.Product, Again: l.presentedAgain(), Early: len(r.Pending()) > 0 ||
		r.Drawing == nil}
	switch {
	case call == Waits && accept != nil && !*accept && r.Drawing == nil:
		return part.Entry{}, refusef("the sample of lot %s is not drawn yet: there is nothing to decide on", l.Name)
	case call == Waits:
		return part.Entry{}, refusef("the sample of lot %s is unfinished, %s: look at them first; acceptance needs the whole sample, and "+
			"nothing refuses the lot yet", l.Name, r.waitsForWords())
	case accept != nil && *accept && call == Refuses:
		return part.Entry{}, refusef("the counts refuse lot %s (%s): it cannot be accepted", l.Name, english(r.RefusedBy()))
	case accept != nil && !*accept && call == Accepts:
		if strings.TrimSpace(why) == "" {
			return part.Entry{}, refusef("the counts accept lot %s: say why it is refused all the same (--why)", l.Name)
		}
		d.Accepted, d.Against = false, true
	}
	if open := r.Undisposed(); d.Accepted && len(open) > 0 {
		return part.Entry{}, refusef("the counts accept lot %s, but nobody has said what becomes of %s: mend each and look at it again, "+
			"scrap it, or take a concession "+
			"('lot dispose %s --unit %s ...')", l.Name, r.undisposedWords(), l.Name, open[0].Name)
	}
	for _, s := range r.Standings() {
		d.Results = append(d.Results, Result{s.Severity, s.Plan, s.Looked, s.Count})
	}
	return l.event(Decided, at, by, d)
}

// presentedAgain says that this is not the lot's original inspection.
func (l *Lot) presentedAgain() bool {
	return slices.ContainsFunc(l.Rounds, func(r Round) bool { return r.Kind == Resubmitted })
}

// waitsForWords is "12 units not looked at, 1 not measured".
func (r *Round) waitsForWords() string {
	left, blind := 0, 0
	for _, p := range r.Sample {
		switch {
		case p.Unit == nil:
			left++
		case !p.Unit.Measured():
			blind++
		}
	}
	if r.Drawing == nil {
		return "for it is not drawn yet"
	}
	var parts []string
	if left > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d units not looked at", left, len(r.Sample)))
	}
	if blind > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d not measured", blind, len(r.Sample)))
	}
	return strings.Join(parts, ", ")
}

// RefusedBy names the classes that refuse: "major: 4, refused from 4".
func (r *Round) RefusedBy() part.Phrase {
	p := part.Say("lot.refused_by")
	for _, s := range r.Standings() {
		if s.Call == Refuses {
			p = p.With("things", part.Say("lot.refused_by.class", "severity", "@severity."+string(s.Severity), "count",
				strconv.Itoa(s.Count), "re", strconv.Itoa(s.Plan.Re)))
		}
	}
	return p
}

// Dispose says what became of a refused lot.
func (l *Lot) Dispose(d Disposal, at time.Time, by string) (part.Entry, error) {
	r := l.Current()
	switch {
	case r == nil:
		return part.Entry{}, refusef("there is no lot %s", l.Name)
	case r.Decision == nil:
		return part.Entry{}, refusef("lot %s is not decided yet: only a refused lot is screened or returned", l.Name)
	case r.Decision.Accepted:
		return part.Entry{}, refusef("lot %s was accepted: only a refused lot is screened or returned", l.Name)
	case r.Disposal != nil:
		return part.Entry{}, refusef("lot %s was %s already, on %s by %s", l.Name, r.Disposal.How, r.Done.At.Format(time.DateOnly),
			r.Done.By)
	case d.How != Screen && d.How != Return:
		return part.Entry{}, refusef("%q is no way of a refused lot: screened or returned", d.How)
	case d.How == Return && len(d.Units) > 0:
		return part.Entry{}, refusef("a returned lot goes back as it is: units are taken out by screening")
	case strings.TrimSpace(by) == "":
		return part.Entry{}, refusef("say who screened or returned the lot (--by)")
	}
	if d.How == Screen {
		if err := l.checkOut(r, d.Units); err != nil {
			return part.Entry{}, err
		}
	}
	d.Removed = len(d.Units)
	return l.event(Disposed, at, by, d)
}

// Replan starts the plan of an undecided lot anew, because its limits or its plans
// changed. What was seen before stays on record and no longer counts; a new sample
// is drawn. It stays the lot's original inspection.
func (l *Lot) Replan(o Opening, at time.Time, by string) (part.Entry, error) {
	if _, err := l.open("start a new plan"); err != nil {
		return part.Entry{}, err
	}
	switch {
	case strings.TrimSpace(o.Why) == "":
		return part.Entry{}, refusef("say why the plan of lot %s starts anew (--why): what was seen so far no longer counts", l.Name)
	case strings.TrimSpace(by) == "":
		return part.Entry{}, refusef("say who starts the plan anew (--by)")
	}
	if err := o.check(); err != nil {
		return part.Entry{}, err
	}
	return l.event(Replanned, at, by, o)
}

// Resubmit presents a refused lot again, once it was screened. Whether normal or
// tightened inspection then holds is agreed between the parties; reduced never
// does (ISO 2859-1:1999, 7.4, from memory).
func (l *Lot) Resubmit(o Opening, at time.Time, by string) (part.Entry, error) {
	r := l.Current()
	switch {
	case r == nil:
		return part.Entry{}, refusef("there is no lot %s", l.Name)
	case r.Disposal == nil || r.Disposal.How != Screen:
		return part.Entry{}, refusef("lot %s was not screened: only a refused lot whose every unit was looked at is presented again",
			l.Name)
	case strings.TrimSpace(by) == "":
		return part.Entry{}, refusef("say who presents the lot again (--by)")
	}
	for _, c := range o.Classes {
		if c.Plan.Mode == Reduced {
			return part.Entry{}, refusef("a lot is not presented again on reduced inspection: take normal or tightened (--mode)")
		}
	}
	if err := o.check(); err != nil {
		return part.Entry{}, err
	}
	if left := r.Opening.Size - r.LeftOut(); o.Size != left {
		return part.Entry{}, refusef("lot %s has %d units left of %d: it is presented again with those, not with %d", l.Name, left,
			r.Opening.Size, o.Size)
	}
	return l.event(Resubmitted, at, by, o)
}
