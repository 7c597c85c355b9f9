package learn

import (
	"fmt"
	"time"
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
	Refused  []string        // why there is nothing to accept; empty: Model may be
	Trial    *Trial          // nil: there was too little even to try
	Model    *Model          // fitted to all labels; nil where refused
	Warnings []string        // what to look at before accepting
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
func (t Trial) noGain(p Params) []string {
	verdict := fmt.Sprintf("on units that it was not fitted to, %d of %d labels are called right now, %d after learning", t.OldRight, t.Labels, t.NewRight)
	switch {
	case len(t.Changes) == 0:
		return []string{verdict + ": it would change no call, so there is nothing to gain"}
	case t.NewRight <= t.OldRight:
		return []string{verdict + ": nothing is gained; the calls stay as they are"}
	case t.P > p.MaxP:
		return []string{fmt.Sprintf("%s, but only %s better and %d worse: chance alone does as well with a probability of %.2g (at most %.2g is asked for); label more units", verdict, counted(t.Better, "unit comes off", "units come off"), t.Worse, t.P, p.MaxP)}
	}
	return nil
}

// losses names the kinds that fewer labels of are called right than before.
func (t Trial) losses() []string {
	var w []string
	for i, k := range t.Kinds {
		if t.New[i][i] < t.Old[i][i] {
			n := 0
			for _, v := range t.Old[i] {
				n += v
			}
			w = append(w, fmt.Sprintf("%s is called right less often than now: %d of %d, now %d", k, t.New[i][i], n, t.Old[i][i]))
		}
	}
	return w
}
