package teach

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/part"
)

// Look is one look at one unit, as coaching needs it: the last word of an
// inspection that holds.
type Look struct {
	ID       int64 // the inspection's number in the records
	Serial   string
	Operator string // initials or a badge; "" looks tell nothing of anyone and are left out
	At       time.Time
	Findings []part.Finding // with a severity; others do not count
}

// CoachParams say from when on a difference is told.
type CoachParams struct {
	Confidence  float64 // of the intervals, 0.5 to 0.999
	MinExpected float64 // expected findings of a kind in the smaller group: fewer are too few to compare (Cochran 1954: 5)
	MinWeeks    int     // weeks with units that a trend needs, 4 or more
	Talk        int     // pictures worth talking about
}

// DefaultCoachParams are common practice, no source, but for MinExpected.
func DefaultCoachParams() CoachParams { return CoachParams{0.95, 5, 6, 5} }

// How an operator compares with the others.
const (
	More                   = "more"    // more findings of the kind than chance would give
	Fewer                  = "fewer"   //
	Chance                 = "chance"  // no more difference than chance gives
	TooFew                 = "too_few" // too few findings, or nobody to compare with
	Rising, Falling, Level = "rising", "falling", "level"
)

// Coaching is what is found on one operator's units beside the others'.
type Coaching struct {
	Operator string     `json:"operator"`
	Units    int        `json:"units"`
	From     time.Time  `json:"from"`
	To       time.Time  `json:"to"`
	Others   int        `json:"others"`       // operators that the comparison is with
	OtherUn  int        `json:"others_units"` // their units
	Unnamed  int        `json:"unnamed"`      // units without an operator, left out
	Kinds    []KindRate `json:"kinds"`        // in the trade's order; only kinds that anyone had
	Trend    Trend      `json:"trend"`        // of all kinds together
	Talk     []Talk     `json:"talk"`         // pictures worth talking about, first the first
	AtLevel  float64    `json:"confidence"`
}

// KindRate is findings of a kind per 100 units.
type KindRate struct {
	Kind   part.Kind `json:"kind"`
	Own    Per100    `json:"own"`
	Others Per100    `json:"others"`
	Spread float64   `json:"spread"`               // variance over mean of the counts per unit, 1 or more: findings that come in crowds
	P      *float64  `json:"p,omitempty"`          // two sided, of the difference; nil: too few
	PHolm  *float64  `json:"p_adjusted,omitempty"` // allowing for all kinds and operators that were looked at
	Word   string    `json:"word"`                 // More, Fewer, Chance, TooFew
}

// Per100 is a rate per 100 units with its interval.
type Per100 struct {
	Count int     `json:"count"`
	Rate  float64 `json:"per_100"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Week is the findings of one week.
type Week struct {
	From  time.Time `json:"from"` // a Monday, UTC
	Units int       `json:"units"`
	Per100
}

// Trend is how the findings change over the weeks.
type Trend struct {
	Weeks  []Week   `json:"weeks"`                        // only weeks with units
	Change *float64 `json:"change_per_4_weeks,omitempty"` // factor; nil: too few
	P      *float64 `json:"p,omitempty"`
	Word   string   `json:"word"` // Rising, Falling, Level, TooFew
}

// Talk is a finding worth talking about.
type Talk struct {
	ID      int64        `json:"inspection"`
	Serial  string       `json:"serial"`
	At      time.Time    `json:"at"`
	Finding part.Finding `json:"finding"`
}

// Coach sets one operator's findings beside those of all others in looks.
//
// Findings on one unit are not independent (dust comes in crowds), so the counts
// are taken as Poisson with a spread (McCullagh & Nelder 1989, sections 4.5 and
// 6.2, from memory): the spread is the pooled variance over the mean of the counts
// per unit, at least 1. Intervals are Garwood's (1936) for counts divided by it;
// the test is that of quasi-likelihood, F on 1 and N-2 degrees of freedom. P values are
// adjusted after Holm (1979) over kinds, times the number of operators, since
// somebody always is worst by chance.
func Coach(looks []Look, operator string, p CoachParams) (Coaching, error) {
	if err := p.validate(); err != nil {
		return Coaching{}, err
	}
	if operator == "" {
		return Coaching{}, errors.New("coach: say for which operator: the initials or badge that the records have")
	}
	own, others, people, unnamed := split(looks, operator)
	if len(own) == 0 {
		return Coaching{}, fmt.Errorf("coach: no unit of operator %q is among these %d inspections; names are told apart by capital "+
			"letters too", operator, len(looks))
	}
	c := Coaching{Operator: operator, Units: len(own), Others: people, OtherUn: len(others), Unnamed: unnamed, AtLevel: p.Confidence}
	c.From, c.To = own[0].At, own[0].At
	for _, l := range own {
		if l.At.Before(c.From) {
			c.From = l.At
		}
		if l.At.After(c.To) {
			c.To = l.At
		}
	}
	for _, k := range part.Kinds {
		if r := kindRate(k, own, others, p); r.Own.Count+r.Others.Count > 0 {
			c.Kinds = append(c.Kinds, r)
		}
	}
	holm(c.Kinds, people+1, 1-p.Confidence)
	c.Trend = trendOf(own, p)
	c.Talk = talk(own, c.Kinds, p.Talk)
	return c, nil
}

func (p CoachParams) validate() error {
	switch {
	case !(p.Confidence >= 0.5 && p.Confidence <= 0.999):
		return fmt.Errorf("coach: confidence %v; give 0.5 to 0.999", p.Confidence)
	case !(p.MinExpected >= 1):
		return fmt.Errorf("coach: %v expected findings are too few to compare; give 1 or more", p.MinExpected)
	case p.MinWeeks < 4:
		return fmt.Errorf("coach: a trend over %d weeks; give 4 or more", p.MinWeeks)
	}
	return nil
}

func split(looks []Look, operator string) (own, others []Look, people, unnamed int) {
	seen := map[string]bool{}
	for _, l := range looks {
		switch l.Operator {
		case operator:
			own = append(own, l)
		case "":
			unnamed++
		default:
			others = append(others, l)
			seen[l.Operator] = true
		}
	}
	return own, others, len(seen), unnamed
}

// counts are the findings on each unit; every kind where k is "".
func counts(looks []Look, k part.Kind) []float64 {
	out := make([]float64, len(looks))
	for i, l := range looks {
		for _, f := range l.Findings {
			if f.Severity != part.None && (k == "" || f.Kind == k) {
				out[i]++
			}
		}
	}
	return out
}

func kindRate(k part.Kind, own, others []Look, p CoachParams) KindRate {
	a, b := counts(own, k), counts(others, k)
	r := KindRate{Kind: k, Spread: spread(a, b), Word: TooFew}
	r.Own, r.Others = per100(a, r.Spread, p.Confidence), per100(b, r.Spread, p.Confidence)
	total, n := float64(r.Own.Count+r.Others.Count), float64(len(a)+len(b))
	if len(b) == 0 || total/n*math.Min(float64(len(a)), float64(len(b)))/r.Spread < p.MinExpected {
		return r
	}
	pv := differP(float64(r.Own.Count), float64(len(a)), float64(r.Others.Count), float64(len(b)), r.Spread)
	r.P = &pv
	return r
}

// holm adjusts the p values for their number times so many operators (Holm 1979),
// and gives each kind its word.
func holm(kinds []KindRate, operators int, alpha float64) {
	var with []*KindRate
	for i := range kinds {
		if kinds[i].P != nil {
			with = append(with, &kinds[i])
		}
	}
	slices.SortFunc(with, func(a, b *KindRate) int { return cmp.Compare(*a.P, *b.P) })
	highest := 0.0
	for i, r := range with {
		highest = math.Max(highest, math.Min(1, *r.P*float64((len(with)-i)*operators)))
		adjusted := highest
		r.PHolm, r.Word = &adjusted, Chance
		switch {
		case adjusted > alpha:
		case r.Own.Rate > r.Others.Rate:
			r.Word = More
		default:
			r.Word = Fewer
		}
	}
}

// talk picks findings worth talking about: kinds of which the operator has more
// than others first, then the gravest, then the newest; one of a unit, and two of a
// kind while there are other kinds.
func talk(own []Look, kinds []KindRate, n int) []Talk {
	more := map[part.Kind]bool{}
	for _, k := range kinds {
		more[k.Kind] = k.Word == More
	}
	weight := func(t Talk) float64 {
		w := grade.Demerits(t.Finding.Severity)
		if more[t.Finding.Kind] {
			w += 1000
		}
		return w
	}
	var all []Talk
	for _, l := range own {
		for _, f := range l.Findings {
			if f.Severity != part.None {
				all = append(all, Talk{l.ID, l.Serial, l.At, f})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Talk) int {
		return cmp.Or(cmp.Compare(weight(b), weight(a)), cmp.Compare(b.Finding.Confidence, a.Finding.Confidence), b.At.Compare(a.At),
			cmp.Compare(b.ID, a.ID))
	})
	return pick(all, n)
}

func pick(all []Talk, n int) []Talk {
	var out []Talk
	unit, kind := map[int64]bool{}, map[part.Kind]int{}
	for most := 2; len(out) < n && most <= n+2; most += n {
		for _, t := range all {
			if len(out) < n && !unit[t.ID] && kind[t.Finding.Kind] < most {
				unit[t.ID] = true
				kind[t.Finding.Kind]++
				out = append(out, t)
			}
		}
	}
	return out
}
