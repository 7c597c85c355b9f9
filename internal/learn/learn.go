package learn

import (
	"fmt"
	"strconv"
	"time"

	"finishbench/internal/part"
)

// Request is what is to be learned from, and what is in force.
type Request struct {
	Examples []Example
	Params   Params
	Old      Caller // what calls now; nil: the rules
	Made     time.Time
	From     string
}

// Outcome is what came of it.
type Outcome struct {
	Counts   []KindCount     // all labels that agree, by kind
	Used     int             // labels
	Units    int             // of them
	Disagree []Contradiction // the same finding, other labels: left out
	Alike    []Contradiction // other findings that look alike, other labels: kept
	Refused  []part.Phrase   // why there is nothing to accept; empty: Model may be
	Trial    *Trial          // nil: there was too little even to try
	Model    *Model          // fitted to all labels; nil where refused
	Warnings []part.Phrase   // what to look at before accepting
}

// Learn fits a model to all labels, after it has tried on units left out in turn
// whether that is better than what is in force. It refuses where there are too
// few labels, or where the trial shows no gain beyond chance.
func Learn(q Request) (Outcome, error) {
	var o Outcome
	if q.Old == nil {
		q.Old = Rules
	}
	examples, against := agreed(q.Examples)
	o.Disagree = against
	o.Counts = count(examples, q.Params)
	o.Used, o.Units = len(examples), len(unitsOf(examples))
	if o.Refused = tooLittle(examples, o.Counts, q.Params); len(o.Refused) > 0 {
		return o, nil
	}
	o.Alike = lookalikes(examples)
	kinds := learntKinds(o.Counts)
	t, err := crossValidate(examples, kinds, q.Params, q.Old)
	if err != nil {
		return o, err
	}
	o.Trial = &t
	if o.Refused = t.noGain(q.Params); len(o.Refused) > 0 {
		return o, nil
	}
	o.Warnings = t.losses()
	m, err := fit(examples, kinds, q.Params)
	if err != nil {
		return o, err
	}
	m.Made, m.From, m.Counts = q.Made.UTC().Truncate(time.Second), q.From, o.Counts
	sum := t.Summary()
	m.Test = &sum
	o.Model = m
	return o, nil
}

// noGain says why the new is not offered.
func (t Trial) noGain(p Params) []part.Phrase {
	var why part.Phrase
	switch {
	case len(t.Changes) == 0:
		why = part.Say("learn.no_gain.no_change")
	case t.NewRight <= t.OldRight:
		why = part.Say("learn.no_gain.none")
	case t.P > p.MaxP:
		why = part.Say("learn.no_gain.chance", "n", strconv.Itoa(t.Better), "worse", strconv.Itoa(t.Worse), "p", fmt.Sprintf("%.2g", t.P),
			"most", fmt.Sprintf("%.2g", p.MaxP))
	default:
		return nil
	}
	return []part.Phrase{part.Say("learn.no_gain", "now", strconv.Itoa(t.OldRight), "of", strconv.Itoa(t.Labels), "after",
		strconv.Itoa(t.NewRight)).With("why", why)}
}

// losses names the kinds that fewer labels of are called right than before.
func (t Trial) losses() []part.Phrase {
	var w []part.Phrase
	for i, k := range t.Kinds {
		if t.New[i][i] < t.Old[i][i] {
			n := 0
			for _, v := range t.Old[i] {
				n += v
			}
			w = append(w, part.Say("learn.warn.loss", "kind", noun(k), "now", strconv.Itoa(t.New[i][i]), "of", strconv.Itoa(n), "before",
				strconv.Itoa(t.Old[i][i])))
		}
	}
	return w
}
