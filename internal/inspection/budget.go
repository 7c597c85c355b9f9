package inspection

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// WithoutBudgets is a result as it is written where no one asked for the
// budgets: they are longer than all the rest.
func WithoutBudgets(r *part.Result) *part.Result {
	s := *r
	s.Seam.Stations = slices.Clone(r.Seam.Stations)
	for i := range s.Seam.Stations {
		s.Seam.Stations[i].Budget = nil
	}
	s.Findings = slices.Clone(r.Findings)
	for i := range s.Findings {
		s.Findings[i].Budget = nil
	}
	return &s
}

// written is a result as it goes into result.json.
func (s *Settings) written(r *part.Result) *part.Result {
	if s.budget {
		return r
	}
	return WithoutBudgets(r)
}

// budgetLines are the lines below a unit's own; empty without --budget.
func (d outcome) budgetLines() string {
	if d.budget == "" {
		return ""
	}
	return "\n" + strings.TrimRight(d.budget, "\n")
}

// budgetText is what --budget adds to a unit's line: how the uncertainty of its
// worst step and of a typical size comes about.
func budgetText(x *lang.Lang, r *part.Result) (string, error) {
	var b bytes.Buffer
	if err := report.BudgetText(&b, x, r); err != nil {
		return "", err
	}
	if b.Len() == 0 {
		fmt.Fprintln(&b, "  "+x.T("tell.no_budget", "unit", r.Unit))
	}
	return b.String(), nil
}
