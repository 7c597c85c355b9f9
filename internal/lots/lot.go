package lots

import (
	"slices"
	"strconv"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Lot is where a lot stands, as its events tell: see [Fold]. Methods named after
// a step return its event, or say in one sentence why it is refused; they change
// nothing. [Lot.Apply] does.
type Lot struct {
	Name   string
	Seq    int64   // of the last event; 0: not opened
	Rounds []Round // one at least, once it is opened; the last is the current one
}

// Round is one inspection of a lot, from its plan to what becomes of it. A lot has
// a second one where its plan was started anew, or where it was presented again.
type Round struct {
	Kind         string // [Opened], [Replanned] or [Resubmitted]
	Opened       Signed
	Opening      Opening
	Drawn        Signed
	Drawing      *Drawing // nil: not drawn yet
	Sample       []Place  // the units drawn, in the draw's order, replaced ones replaced
	Swaps        []Swap
	Dispositions []Settled // of units, in the order in which they were told
	Decided      Signed
	Decision     *Decision // nil: not decided
	Done         Signed
	Disposal     *Disposal // nil: not refused, or not told

	place map[string]int // in Sample
	lot   map[string]bool
}

// Signed is who did something, and when.
type Signed struct {
	At time.Time `json:"at"`
	By string    `json:"by,omitempty"`
}

// Place is one place of the sample.
type Place struct {
	Name string
	Unit *Unit // what was seen last; nil: not looked at yet
	Signed
	Was []Unit // what was seen before, oldest first
}

// Swap is a replacement, signed.
type Swap struct {
	Replacement
	Signed
}

// State is where a lot stands.
type State string

// The states of a lot.
const (
	StateNone     State = "not_opened"
	StateToDraw   State = "to_draw"
	StateWaiting  State = "waiting"   // for units of its sample
	StateToDecide State = "to_decide" // the counts accept or refuse it: a person must sign
	StateAccepted State = "accepted"
	StateRefused  State = "refused"
	StateScreened State = "screened" // refused, then looked through unit by unit
	StateReturned State = "returned" // refused, then sent back
)

// Current is the lot's current round; nil where it was not opened.
func (l *Lot) Current() *Round {
	if len(l.Rounds) == 0 {
		return nil
	}
	return &l.Rounds[len(l.Rounds)-1]
}

// State says where the lot stands.
func (l *Lot) State() State {
	r := l.Current()
	switch {
	case r == nil:
		return StateNone
	case r.Disposal != nil && r.Disposal.How == Screen:
		return StateScreened
	case r.Disposal != nil:
		return StateReturned
	case r.Decision != nil && r.Decision.Accepted:
		return StateAccepted
	case r.Decision != nil:
		return StateRefused
	case r.Drawing == nil:
		return StateToDraw
	case r.Call() == Waits:
		return StateWaiting
	}
	return StateToDecide
}

// Call is what the counts say.
type Call string

// The calls.
const (
	Accepts Call = "accepts"
	Refuses Call = "refuses"
	Waits   Call = "waits" // the sample is unfinished, and nothing refuses yet
)

// Standing is a class against its plan.
type Standing struct {
	Severity   part.Severity
	Plan       Single
	Looked     int // measured units of the class' sample
	Unmeasured int // looked at, but not measured: they count neither way
	Left       int // not looked at yet
	Count      int // nonconforming units, or nonconformities
	Call       Call
	InGap      bool // between Ac and Re: accepted, and normal inspection comes back
}

// Stand is how a count stands against its plan.
type Stand string

// The stands of a plan.
const (
	StandOpen    Stand = "open"    // the sample is not finished, Re not reached
	StandReached Stand = "reached" // the count is Re or more: no unit to come can mend it
	StandMet     Stand = "met"     // the sample is finished, the count is Ac or less
	StandGap     Stand = "gap"     // between Ac and Re: accepted, back to normal inspection
)

// Stand says how the class' count stands against its plan.
func (s Standing) Stand() Stand {
	switch {
	case s.Call == Refuses:
		return StandReached
	case s.Call == Waits:
		return StandOpen
	case s.InGap:
		return StandGap
	}
	return StandMet
}

// Call is what the counts of all classes say together. One class that refuses is
// enough. The standards' plans are of the whole sample; but a count never goes
// down, so that a lot whose count has reached Re would be refused by the whole
// sample too, and may be refused early. Such a sample tells less of what the
// process delivers: [Decision.Early] marks it. Acceptance waits for the whole
// sample, even where the rest cannot change it. (From memory and by this
// reasoning; the standards' words on curtailment were not at hand.)
func (r *Round) Call() Call {
	call := Accepts
	for _, s := range r.Standings() {
		if s.Call == Refuses {
			return Refuses
		}
		if s.Call == Waits {
			call = Waits
		}
	}
	return call
}

// Standings counts each class against its plan, in the order of the opening.
func (r *Round) Standings() []Standing {
	out := make([]Standing, len(r.Opening.Classes))
	for i := range r.Opening.Classes {
		out[i] = r.standing(i)
	}
	return out
}

func (r *Round) standing(i int) Standing {
	c := &r.Opening.Classes[i]
	s := Standing{Severity: c.Severity, Plan: c.Plan, Left: c.Plan.N}
	if r.Drawing == nil {
		s.Call = Waits
		return s
	}
	for _, p := range r.Sample[:min(c.Plan.N, len(r.Sample))] {
		switch {
		case p.Unit == nil:
		case !p.Unit.Measured():
			s.Unmeasured++
			s.Left--
		default:
			s.Looked++
			s.Left--
			s.Count += r.countOf(p.Unit, c)
		}
	}
	if r.Decision != nil { // as it was signed, whatever is counted today
		for _, x := range r.Decision.Results {
			if x.Severity == s.Severity {
				s.Looked, s.Count = x.Looked, x.Count
			}
		}
	}
	switch {
	case s.Count >= s.Plan.Re:
		s.Call = Refuses
	case s.Looked < s.Plan.N:
		s.Call = Waits
	default:
		s.Call, s.InGap = Accepts, s.Count > s.Plan.Ac
	}
	return s
}

// countOf is what a unit adds to a class. Where units are counted, each counts
// once, in the class of the worst that it has: a minor nonconforming unit is one
// without anything major or critical (MIL-STD-105E, 3; ISO 2859-1:1999, 3.1,
// from memory). Where findings are counted, each counts in its own class. A unit that
// does not pass counts in the class [Opening.NotPassing] at the least, also where no
// finding alone is that severe: a score over its limit, a step, a person's word.
func (r *Round) countOf(u *Unit, c *Planned) int {
	n, worst := 0, part.None
	for s, k := range u.Findings {
		if k > 0 && s.Rank() > worst.Rank() && r.counted(s) {
			worst = s
		}
		if c.Counts(s) {
			n += k
		}
	}
	fails := u.Verdict == part.Rework || u.Verdict == part.Reject
	if least := r.Opening.NotPassing; fails && worst.Rank() < least.Rank() {
		worst = least
		if c.Counts(least) {
			n++ // what made the unit fail
		}
	}
	switch {
	case c.PerHundred:
		return n
	case c.Counts(worst):
		return 1
	}
	return 0
}

// counted says whether any class covers a severity.
func (r *Round) counted(s part.Severity) bool {
	return slices.ContainsFunc(r.Opening.Classes, func(c Planned) bool { return c.Counts(s) })
}

// Counts says whether the unit in a place of the sample counts in a class whose
// sample the place belongs to.
func (r *Round) Counts(place int) bool {
	u := r.Sample[place].Unit
	if u == nil || !u.Measured() {
		return false
	}
	for i := range r.Opening.Classes {
		if c := &r.Opening.Classes[i]; place < c.Plan.N && r.countOf(u, c) > 0 {
			return true
		}
	}
	return false
}

// Pending lists the units of the sample that were not looked at, or not measured,
// in the draw's order.
func (r *Round) Pending() []string {
	var out []string
	for _, p := range r.Sample {
		if p.Unit == nil || !p.Unit.Measured() {
			out = append(out, p.Name)
		}
	}
	return out
}

// Look returns the place of a unit of the sample; nil where it is none.
func (r *Round) Look(name string) *Place {
	i, ok := r.place[name]
	if !ok {
		return nil
	}
	return &r.Sample[i]
}

// Has says whether a unit is of the lot, as far as its serials are known.
func (r *Round) Has(name string) bool { return r.lot[name] }

// Needs names the classes whose sample a place belongs to: each class is judged on
// the first units of the draw, as many as its plan has.
func (r *Round) Needs(place int) []part.Severity {
	var out []part.Severity
	for _, c := range r.Opening.Classes {
		if place < c.Plan.N {
			out = append(out, c.Severity)
		}
	}
	return out
}

// DrawSize is how many units the plans of a lot need together. Each class is
// judged on the first N units of the draw, which are a random sample too.
func (o *Opening) DrawSize() int {
	n := 0
	for _, c := range o.Classes {
		n = max(n, c.Plan.N)
	}
	return n
}

// Verify draws the sample again from the serials and the seed. The error says that
// it is another than the one recorded: then somebody chose.
func (d *Drawing) Verify() error {
	if d.Method != DrawMethod {
		return lang.Error(part.Say("lot.draw.other_method", "method", d.Method))
	}
	again, err := Draw(d.Serials, len(d.Units), d.Seed)
	if err != nil {
		return err
	}
	if !slices.Equal(again, d.Units) {
		return lang.Error(part.Say("lot.draw.somebody_chose", "seed", strconv.FormatUint(d.Seed, 10)))
	}
	return nil
}
