package lots

import (
	"fmt"

	"finishbench/internal/part"
)

// See makes a lot's unit of an inspection's result. last is the last word on it: a
// person's, where the tool was overruled, else the result's own. A person's pass
// means that none of the findings counts (dirt, a reflection, the pattern): common
// practice, no source. A person's rework or reject counts as any unit's that does not
// pass.
func See(name string, r *part.Result, last part.Verdict) Unit {
	u := Unit{Name: name, Stage: r.Stage, Verdict: last, WorstStepUM: r.Seam.WorstStepUM, Score: r.Score}
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured {
			u.Stations++
		}
	}
	for _, f := range r.Findings {
		if f.Severity.Rank() > part.None.Rank() {
			if u.Findings == nil {
				u.Findings = map[part.Severity]int{}
			}
			u.Findings[f.Severity]++
		}
	}
	switch {
	case last == r.Verdict:
	case last == part.Pass && len(u.Findings) > 0:
		u.Person = fmt.Sprintf("a person called %s a pass: its findings do not count", verdictWord(r.Verdict))
		u.Findings = nil
	case last == part.Rework || last == part.Reject:
		u.Person = fmt.Sprintf("a person called %s %s", verdictWord(r.Verdict), last)
	}
	return u
}

func verdictWord(v part.Verdict) string {
	if v == part.NotMeasured {
		return "not measured"
	}
	return string(v)
}
