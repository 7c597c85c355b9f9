package lots

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"finishbench/internal/part"
)

// Route is what becomes of one unit that does not pass. (ISO 9000:2015, 3.12: rework,
// scrap and concession, from memory.)
type Route string

// The routes.
const (
	Reworked   Route = "reworked"   // mended, looked at again, and passed
	Scrapped   Route = "scrapped"   // taken out of the lot for good
	Concession Route = "concession" // used as it is, by the customer's leave
)

// Routes lists the routes.
var Routes = []Route{Reworked, Scrapped, Concession}

// Disposition is what becomes of one unit, by its serial. It changes no count: the
// sample tells of the lot as it was presented.
type Disposition struct {
	Unit       string    `json:"unit"`
	Route      Route     `json:"route"`
	Why        string    `json:"why,omitempty"`
	Reference  string    `json:"reference,omitempty"`  // the customer's, of a concession
	Inspection int64     `json:"inspection,omitempty"` // that a reworked unit passed
	Seen       time.Time `json:"seen,omitzero"`        // when it passed
}

// Settled is a disposition, signed.
type Settled struct {
	Disposition
	Signed
}

// passes says whether a unit is one that may go out: it was measured, and its last
// word is a pass.
func (u *Unit) passes() bool { return u.Verdict == part.Pass }

// Disposition is the last disposition of a unit in this round; nil for none.
func (r *Round) Disposition(name string) *Settled {
	for i := len(r.Dispositions) - 1; i >= 0; i-- {
		if r.Dispositions[i].Unit == name {
			return &r.Dispositions[i]
		}
	}
	return nil
}

// Failing lists the units of the sample that were looked at and do not pass, in the
// draw's order, then those that were replaced because they could not be measured.
func (r *Round) Failing() []Unit {
	var out []Unit
	for _, p := range r.Sample {
		if p.Unit != nil && !p.Unit.passes() {
			out = append(out, *p.Unit)
		}
	}
	for _, s := range r.Swaps {
		if s.Was != nil && !s.Was.passes() {
			out = append(out, *s.Was)
		}
	}
	return out
}

// Undisposed lists the units of [Round.Failing] of which nobody has said what becomes
// of them. A lot is not accepted while there is one.
func (r *Round) Undisposed() []Unit {
	return slices.DeleteFunc(r.Failing(), func(u Unit) bool { return r.Disposition(u.Name) != nil })
}

// Out lists the serials that left the lot in this round: scrapped, or taken out by
// screening, in the order of their events, each once.
func (r *Round) Out() []string {
	var out []string
	add := func(name string) {
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	for _, s := range r.Dispositions {
		if r.Disposition(s.Unit).Route == Scrapped {
			add(s.Unit)
		}
	}
	if r.Disposal != nil {
		for _, name := range r.Disposal.Units {
			add(name)
		}
	}
	return out
}

// LeftOut is how many units left the lot in this round.
func (r *Round) LeftOut() int {
	n := len(r.Out())
	if d := r.Disposal; d != nil && len(d.Units) == 0 {
		n += d.Removed // of an older lot, which told no serials
	}
	return n
}

// MayDispose says whether it may be told now what becomes of a unit.
func (l *Lot) MayDispose(name string) error {
	r := l.Current()
	if r == nil {
		return refusef("there is no lot %s", l.Name)
	}
	switch {
	case r.Disposal != nil || r.Decision != nil && r.Decision.Accepted:
		return refusef("lot %s is closed: what became of %s was to be said before", l.Name, name)
	case !slices.ContainsFunc(r.Failing(), func(u Unit) bool { return u.Name == name }):
		return refusef("%s is no unit of the sample of lot %s that does not pass: only of such a unit is told what becomes of it", name, l.Name)
	}
	return nil
}

// DisposeUnit says what becomes of one unit of the sample that does not pass. A later
// word on the same unit stands; both are kept.
func (l *Lot) DisposeUnit(d Disposition, at time.Time, by string) (part.Entry, error) {
	if err := l.MayDispose(d.Unit); err != nil {
		return part.Entry{}, err
	}
	r := l.Current()
	switch {
	case !slices.Contains(Routes, d.Route):
		return part.Entry{}, refusef("%q is nothing that becomes of a unit: reworked, scrapped or concession", d.Route)
	case strings.TrimSpace(by) == "":
		return part.Entry{}, refusef("say who decides what becomes of %s (--by)", d.Unit)
	case d.Route == Concession && (strings.TrimSpace(d.Why) == "" || strings.TrimSpace(d.Reference) == ""):
		return part.Entry{}, refusef("a concession for %s needs the reason (--why) and the customer's reference (--reference)", d.Unit)
	case d.Route != Concession && d.Reference != "":
		return part.Entry{}, refusef("the customer's reference is for a concession, and %s is %s", d.Unit, d.Route)
	case d.Route == Reworked && (d.Inspection == 0 || !d.Seen.After(r.seen(d.Unit))):
		return part.Entry{}, refusef("%s has not passed since it was looked at for lot %s: rework it, look at it again, then say so; or scrap it", d.Unit, l.Name)
	}
	return l.event(UnitDisposed, at, by, d)
}

// seen is when a unit of the round was last looked at for the sample.
func (r *Round) seen(name string) time.Time {
	for _, u := range r.Failing() {
		if u.Name == name {
			return u.Seen
		}
	}
	return time.Time{}
}

// undisposedWords is "u06-R (reject), u07-L (not measured)".
func (r *Round) undisposedWords() string {
	const most = 12
	var parts []string
	open := r.Undisposed()
	for _, u := range open[:min(most, len(open))] {
		parts = append(parts, fmt.Sprintf("%s (%s)", u.Name, verdictWord(u.Verdict)))
	}
	if n := len(open) - most; n > 0 {
		parts = append(parts, fmt.Sprintf("%d more", n))
	}
	return strings.Join(parts, ", ")
}

// checkOut says what is wrong with the list of units that a screening took out of a
// lot: each is of the lot, and named once. A unit that is known not to pass is among
// them, unless something else became of it.
func (l *Lot) checkOut(r *Round, units []string) error {
	for i, name := range units {
		switch {
		case slices.Contains(units[:i], name):
			return refusef("%s is named twice among the units taken out", name)
		case !r.Has(name) && r.Drawing != nil:
			return refusef("%s is not of lot %s: look whether it lies in the wrong tray", name, l.Name)
		}
	}
	for _, u := range r.Undisposed() {
		if !slices.Contains(units, u.Name) {
			return refusef("%s of the sample does not pass (%s), and is not among the units taken out of lot %s: take it out, or say what becomes of it first", u.Name, verdictWord(u.Verdict), l.Name)
		}
	}
	return nil
}

// checkPresented says what is wrong with the serials of a lot that is presented again:
// they are those of the round before, less what was taken out.
func (l *Lot) checkPresented(serials []string) error {
	i := len(l.Rounds) - 1
	for ; i > 0 && l.Rounds[i].Kind == Replanned; i-- {
	}
	if i == 0 {
		return nil // the first presentation
	}
	was := &l.Rounds[i-1]
	out := was.Out()
	for _, s := range serials {
		switch {
		case slices.Contains(out, s):
			return refusef("%s was taken out of lot %s: it is not presented again", s, l.Name)
		case was.Drawing != nil && !was.Has(s):
			return refusef("%s was not of lot %s when it was presented before: open a new lot for it", s, l.Name)
		}
	}
	return nil
}
