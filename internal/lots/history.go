package lots

import (
	"encoding/json"
	"fmt"

	"finishbench/internal/part"
)

// Said is what switching did, with the clause.
type Said struct {
	Lot    string
	By     Signed
	Phrase part.Phrase
}

// History works the state of switching of one product and class out of the events
// of all lots, of the kinds of [HistoryKinds] and in the order in which they were
// written. It is never stored on its own. rules are those in force now; each lot
// counts under the rules that it was opened with.
func History(events []part.Entry, product string, class part.Severity, rules Rules) (Switching, []Said, error) {
	s, err := NewSwitching(rules)
	if err != nil {
		return s, nil, err
	}
	var said []Said
	then := map[string]*Opening{} // of the lots seen so far, the current round's
	for _, e := range events {
		tell := func(phrases ...part.Phrase) {
			for _, p := range phrases {
				said = append(said, Said{e.Name, Signed{e.At, e.By}, p})
			}
		}
		switch e.Kind {
		case Opened, Replanned, Resubmitted:
			o := &Opening{}
			if err := json.Unmarshal(e.Body, o); err != nil {
				return s, said, fmt.Errorf("lots: lot %s: event %d: %w", e.Name, e.Seq, err)
			}
			if o.Product != product {
				continue
			}
			then[e.Name] = o
			if o.Resume != "" && s.Discontinued {
				var words []part.Phrase
				if s, words, err = s.Resume(o.Resume); err == nil {
					tell(words...)
				}
			}
			if o.Irregular != "" && s.Mode == Reduced {
				var words []part.Phrase
				if s, words, err = s.ToNormal(o.Irregular); err == nil {
					tell(words...)
				}
			}
		case Decided:
			o := then[e.Name]
			if o == nil {
				continue
			}
			var d Decision
			if err := json.Unmarshal(e.Body, &d); err != nil {
				return s, said, fmt.Errorf("lots: lot %s: event %d: %w", e.Name, e.Seq, err)
			}
			for _, r := range d.Results {
				if r.Severity != class || r.Plan.Zero() { // a plan that accepts none is not switched
					continue
				}
				s.Rules = o.Rules
				next, words, err := s.After(Outcome{Plan: r.Plan, Count: r.Count, Resubmitted: d.Again, Irregular: o.Irregular != ""})
				if err != nil {
					tell(leftOut(s, r.Plan))
					continue
				}
				s = next
				tell(words...)
			}
		}
	}
	s.Rules = rules
	if s.Rules.Standard == "" {
		s.Rules.Standard = ISO2859
	}
	return s, said, nil
}

// leftOut says why a decided lot does not count for switching.
func leftOut(s Switching, p Single) part.Phrase {
	if s.Discontinued {
		return part.Say("lot.switch.while_stopped")
	}
	return part.Say("lot.switch.other_mode", "mode", "@lot.mode."+string(p.Mode), "due", "@lot.mode."+string(s.Mode))
}
