package report

import (
	"bytes"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// The table has the parts of the sample by size, and what they add up to:
// 15 um/px * 0.11 px = 1.65 um, 92.4 um * 0.002 = 0.1848 um, together 1.660 um
// (by hand).
func TestBudgetTable(t *testing.T) {
	all := english().budgets(sample())
	if len(all) != 2 {
		t.Fatalf("the sample shows %d budgets", len(all))
	}
	tab := english().budgetTable(all[0])
	want := [][]string{
		{"outline of the shell", "401.2", "0.11", "px", "scatter", "23", "−15.0", "1.65", "99"},
		{"scale", "0.015", "0.000030", "mm/px", "normal", "∞", "6160", "0.18", "1"},
		{"together (k = 1)", "", "", "", "", "24", "", "1.66", "100"},
		{"expanded (k = 2), covers 94 %", "", "", "", "", "", "", "3.32", ""},
	}
	if len(tab.Rows) != len(want) {
		t.Fatalf("%d rows, want %d: %q", len(tab.Rows), len(want), tab.Rows)
	}
	for i, w := range want {
		if got, want := strings.Join(tab.Rows[i], "|"), strings.Join(w, "|"); got != want {
			t.Errorf("row %d is %s, want %s", i, got, want)
		}
	}
	if want := "step at 120 deg, left: 92.4 ± 3.3 µm (k = 2)"; tab.Caption != want {
		t.Errorf("caption %q, want %q", tab.Caption, want)
	}
}

// Shown are the worst step that has a budget and the size in the middle.
func TestBudgetsShown(t *testing.T) {
	size := func(rel float64) *part.Budget {
		b := part.NewBudget("diameter", 100, []part.Contribution{{U: rel * 100, Sensitivity: 1}})
		return &b
	}
	r := &part.Result{Findings: []part.Finding{
		{Number: 1, Kind: part.Bubble, Budget: size(0.3)}, {Number: 2, Kind: part.Dust, Budget: size(0.1)}, {Number: 3,
			Kind: part.Step}, {Number: 4, Kind: part.Dust, Budget: size(0.2)},
	}}
	got := english().budgets(r)
	if len(got) != 1 || got[0].Quantity != "finding 4, dust's length" {
		t.Errorf("shown are %+v, want finding 4's length", got)
	}
	if r.Findings[3].Budget.Quantity != "diameter" {
		t.Errorf("choosing changed the result: %q", r.Findings[3].Budget.Quantity)
	}
	var b bytes.Buffer
	if err := BudgetText(&b, nil, &part.Result{}); err != nil || b.Len() != 0 || english().budget(&part.Result{}) != nil {
		t.Errorf("a result without budgets shows %q (%v)", b.String(), err)
	}
	if err := BudgetText(&b, nil, sample()); err != nil || !strings.Contains(b.String(), "finding 2, bubble's diameter: 310.0 ± 8.7 µm") {
		t.Errorf("text (%v):\n%s", err, b.String())
	}
}
