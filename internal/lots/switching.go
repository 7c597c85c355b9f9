package lots

import (
	"fmt"
	"strconv"

	"finishbench/internal/part"
)

// Standard names the edition whose switching rules are followed.
type Standard string

const (
	ISO2859 Standard = "ISO 2859-1:1999"
	MIL105E Standard = "MIL-STD-105E"
)

// Rules are what the people concerned have agreed on for switching.
type Rules struct {
	Standard Standard `json:"standard"`
	// ReducedAgreed: production is steady and the responsible authority agrees
	// to reduced inspection. Without it, inspection stays normal.
	ReducedAgreed bool `json:"reduced_agreed,omitempty"`
	// LimitNumber is what Table VIII of 105E allows in the samples of the last
	// ten lots together. The table is not in this program: a person looks it up.
	LimitNumber *int `json:"limit_number,omitempty"`
	// LimitWaived: the limit number is not asked for, as ANSI/ASQ Z1.4-2003, 8.5, lets the parties agree.
	LimitWaived bool `json:"limit_waived,omitempty"`
}

// Switching is how severely the next lot of one product is inspected for one
// severity, and what has led there. The zero value with Rules is the start.
type Switching struct {
	Rules
	Mode  Mode `json:"mode"`  // "" is normal, at the start
	Score int  `json:"score"` // ISO 2859-1, 9.3.3; counted on normal inspection
	// Whether lots were accepted, on original inspection, since the mode began; the last ten, newest last.
	Recent       []bool `json:"recent,omitempty"`
	Counts       []int  `json:"counts,omitempty"`       // what was counted in the samples of the same lots
	Refused      int    `json:"refused,omitempty"`      // not accepted on original tightened inspection, since it began
	Discontinued bool   `json:"discontinued,omitempty"` // acceptance inspection has stopped
	Lots         int    `json:"lots,omitempty"`         // lots on original inspection altogether
}

// The numbers of the rules. ISO 2859-1:1999, 9.3 and 9.4; MIL-STD-105E, 4.7 and
// 4.8.
const (
	tightenAmong  = 5  // lots in a row
	tightenAt     = 2  // not accepted among them
	backToNormal  = 5  // accepted in a row on tightened
	stopAt        = 5  // not accepted on tightened
	reducedScore  = 30 // ISO 2859-1
	reducedLots   = 10 // 105E: accepted in a row
	scoreTighter  = 3  // Ac of 2 or more, would also pass one AQL step tighter
	scoreAccepted = 2  // Ac of 0 or 1, accepted
)

// Outcome is how a lot was decided.
type Outcome struct {
	Plan        Single `json:"plan"`
	Count       int    `json:"count"`                 // nonconforming units, or nonconformities, in the sample
	Resubmitted bool   `json:"resubmitted,omitempty"` // not the lot's first inspection
	Irregular   bool   `json:"irregular,omitempty"`   // production has become irregular or delayed
}

// Accepted says whether the count accepts the lot. In the gap between Ac and Re
// of a reduced plan it does, see [Outcome.InGap].
func (o Outcome) Accepted() bool { return o.Count < o.Plan.Re }

// InGap says that the count lies between Ac and Re: the lot is accepted, and
// normal inspection comes back.
func (o Outcome) InGap() bool { return o.Count > o.Plan.Ac && o.Count < o.Plan.Re }

// NewSwitching starts at normal inspection.
func NewSwitching(r Rules) (Switching, error) {
	if r.Standard == "" {
		r.Standard = ISO2859
	}
	if r.Standard != ISO2859 && r.Standard != MIL105E {
		return Switching{}, fmt.Errorf("lots: no switching rules of %q; there are %s and %s", r.Standard, ISO2859, MIL105E)
	}
	if r.LimitNumber != nil && *r.LimitNumber < 0 {
		return Switching{}, fmt.Errorf("lots: a limit number of %d is negative; it is one of Table VIII", *r.LimitNumber)
	}
	return Switching{Rules: r, Mode: Normal}, nil
}

// After is the state once a lot has been decided, and what happened,
// with the clause. A lot that was presented again changes nothing. The lot must
// have been inspected in the mode that was due, and not while inspection is
// discontinued.
func (s Switching) After(o Outcome) (Switching, []part.Phrase, error) {
	if s.Mode == "" {
		s.Mode = Normal
	}
	if o.Count < 0 {
		return s, nil, fmt.Errorf("lots: a count of %d is negative", o.Count)
	}
	if o.Plan.Re < 1 || o.Plan.Ac < 0 || o.Plan.Re <= o.Plan.Ac {
		return s, nil, fmt.Errorf("lots: the outcome has no plan: Ac %d, Re %d", o.Plan.Ac, o.Plan.Re)
	}
	if o.Plan.Zero() {
		return s, nil, fmt.Errorf("lots: a plan that accepts none is not switched; it stays as it is")
	}
	if o.Resubmitted {
		return s, []part.Phrase{s.tell("presented_again", "original")}, nil
	}
	if s.Discontinued {
		return s, nil, fmt.Errorf("lots: acceptance inspection is discontinued; say what was put right, then go on with tightened " +
			"inspection")
	}
	if o.Plan.Mode != s.Mode {
		return s, nil, fmt.Errorf("lots: the lot was inspected by a %s plan, but %s inspection was due", o.Plan.Mode, s.Mode)
	}
	s.Recent = append(append([]bool{}, s.Recent...), o.Accepted())
	s.Counts = append(append([]int{}, s.Counts...), o.Count)
	if n := len(s.Recent) - reducedLots; n > 0 {
		s.Recent, s.Counts = s.Recent[n:], s.Counts[n:]
	}
	s.Lots++
	switch s.Mode {
	case Tightened:
		s, said := s.afterTightened(o)
		return s, said, nil
	case Reduced:
		s, said := s.afterReduced(o)
		return s, said, nil
	}
	s, said := s.afterNormal(o)
	return s, said, nil
}

// enter changes the mode; counting starts again.
func (s Switching) enter(m Mode) Switching {
	s.Mode, s.Score, s.Recent, s.Counts, s.Refused = m, 0, nil, nil, 0
	return s
}

func (s Switching) afterNormal(o Outcome) (Switching, []part.Phrase) {
	refused := 0
	for _, ok := range lastOf(s.Recent, tightenAmong) {
		if !ok {
			refused++
		}
	}
	if refused >= tightenAt {
		return s.enter(Tightened), []part.Phrase{s.tell("tighten", "tighten", "refused", strconv.Itoa(refused), "among",
			strconv.Itoa(tightenAmong))}
	}
	if s.Standard == MIL105E {
		return s.toReduced105E(o)
	}
	said := s.score(o)
	if s.Score < reducedScore {
		return s, said
	}
	if !s.ReducedAgreed || o.Irregular {
		return s, append(said, s.tell("score_waits", "reduce", "points", strconv.Itoa(s.Score)))
	}
	return s.enter(Reduced), append(said, s.tell("score_reached", "reduce", "points", strconv.Itoa(s.Score)))
}

// score brings the switching score up to date, ISO 2859-1:1999, 9.3.3.2.
func (s *Switching) score(o Outcome) []part.Phrase {
	was := s.Score
	switch {
	case !o.Accepted():
		s.Score = 0
	case o.Plan.Ac < 2:
		s.Score += scoreAccepted
	default:
		if t, ok := o.Plan.Tighter(); ok && o.Count <= t.Ac {
			s.Score += scoreTighter
		} else {
			s.Score = 0
		}
	}
	switch {
	case s.Score > was:
		return nil
	case !o.Accepted():
		return []part.Phrase{s.tell("score_refused", "score", "points", strconv.Itoa(was))}
	case was == 0:
		return nil
	}
	return []part.Phrase{s.tell("score_tighter", "score", "points", strconv.Itoa(was))}
}

// toReduced105E asks for ten accepted lots and, unless waived, the limit number.
func (s Switching) toReduced105E(o Outcome) (Switching, []part.Phrase) {
	if len(s.Recent) < reducedLots {
		return s, nil
	}
	sum := 0
	for i, ok := range s.Recent {
		if !ok {
			return s, nil
		}
		sum += s.Counts[i]
	}
	tell := func(what string, args ...string) []part.Phrase {
		return []part.Phrase{s.tell(what, "reduce", append([]string{"lots", strconv.Itoa(reducedLots)}, args...)...)}
	}
	switch {
	case !s.ReducedAgreed || o.Irregular:
		return s, tell("lots_wait")
	case s.LimitNumber == nil && !s.LimitWaived:
		return s, tell("lots_number", "counted", strconv.Itoa(sum))
	case !s.LimitWaived && sum > *s.LimitNumber:
		return s, tell("lots_many", "counted", strconv.Itoa(sum), "most", strconv.Itoa(*s.LimitNumber))
	}
	return s.enter(Reduced), tell("lots_reduce")
}

func (s Switching) afterTightened(o Outcome) (Switching, []part.Phrase) {
	if !o.Accepted() {
		s.Refused++
		if s.Refused >= stopAt {
			s.Discontinued = true
			return s, []part.Phrase{s.tell("stops", "stop", "refused", strconv.Itoa(s.Refused))}
		}
		return s, nil
	}
	last := lastOf(s.Recent, backToNormal)
	for _, ok := range last {
		if !ok {
			return s, nil
		}
	}
	if len(last) < backToNormal {
		return s, nil
	}
	return s.enter(Normal), []part.Phrase{s.tell("relax", "relax", "lots", strconv.Itoa(backToNormal))}
}

func (s Switching) afterReduced(o Outcome) (Switching, []part.Phrase) {
	var said part.Phrase
	switch {
	case !o.Accepted():
		said = s.tell("reduced_refused", "unreduce")
	case o.InGap():
		said = s.tell("reduced_gap", "unreduce", "counted", strconv.Itoa(o.Count), "ac", strconv.Itoa(o.Plan.Ac), "re",
			strconv.Itoa(o.Plan.Re))
	case o.Irregular:
		said = s.tell("reduced_irregular", "unreduce")
	default:
		return s, nil
	}
	return s.enter(Normal), []part.Phrase{said}
}

// ToNormal ends reduced inspection for a reason that no count shows: production
// irregular or delayed, or other conditions.
func (s Switching) ToNormal(reason string) (Switching, []part.Phrase, error) {
	if s.Mode != Reduced {
		return s, nil, fmt.Errorf("lots: inspection is not reduced, so there is nothing to end")
	}
	return s.enter(Normal), []part.Phrase{s.tell("reduced_ended", "unreduce", "why", reason)}, nil
}

// Resume takes inspection up again after it was discontinued, tightened, once
// the supplier has done something effective.
func (s Switching) Resume(reason string) (Switching, []part.Phrase, error) {
	if !s.Discontinued {
		return s, nil, fmt.Errorf("lots: inspection is not discontinued, so there is nothing to resume")
	}
	s = s.enter(Tightened)
	s.Discontinued = false
	return s, []part.Phrase{s.tell("resumed", "stop", "why", reason)}, nil
}

func lastOf[T any](list []T, n int) []T { return list[max(0, len(list)-n):] }

// clauses are where the standards have the rules; 9.3.4 from memory. That lots
// presented again do not count follows from rules that speak of original
// inspection only.
var clauses = map[Standard]map[string]string{
	ISO2859: {"original": "9.3", "tighten": "9.3.1", "relax": "9.3.2", "score": "9.3.3", "reduce": "9.3.3", "unreduce": "9.3.4",
		"stop": "9.4"},
	MIL105E: {"original": "4.7", "tighten": "4.7.1", "relax": "4.7.2", "reduce": "4.7.3", "unreduce": "4.7.4", "stop": "4.8"},
}

// tell is what happened, with the clause of a rule.
func (s Switching) tell(what, rule string, args ...string) part.Phrase {
	std := s.Standard
	if std == "" {
		std = ISO2859
	}
	return part.Say("lot.switch."+what, append([]string{"clause", string(std) + ", " + clauses[std][rule]}, args...)...)
}
