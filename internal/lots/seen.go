package lots

import (
	"fmt"

	"finishbench/internal/part"
)

// UnitOf makes a lot's unit, by the name that it has there, of an inspection. The last
// word on it counts: a person's, where the tool was overruled, else the result's own. A
// person's pass means that none of the findings counts (dirt, a reflection, the
// pattern): common practice, no source. A person's rework or reject counts as any
// unit's that does not pass.
func UnitOf(name string, in *part.Inspection) Unit {
	r, last := &in.Result, in.Verdict()
	u := Unit{Name: name, Lot: in.Lot, Stage: in.Stage, Inspection: in.ID, Seen: in.Ended, Verdict: last,
		WorstStepUM: r.Seam.WorstStepUM, Score: r.Score, Limits: in.Limits.SHA256}
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
