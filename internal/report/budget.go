package report

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/part"
)

// Words of an uncertainty budget, on the page and in a terminal.
const (
	textBudgetHead  = "How the uncertainty comes about"
	textBudgetFold  = "Uncertainty budget of the worst step and of a typical size"
	textBudgetIntro = "By JCGM 100:2008 (GUM): each part is a standard uncertainty times the result's sensitivity to it; the parts are taken as independent and add as squares. u: standard uncertainty; freedom: its degrees of freedom, ∞ where it is told rather than observed; µm per unit: the sensitivity; µm: the part. The largest stands first."
)

// budgetHead are the columns of a budget.
var (
	budgetHead    = []string{"Part", "Estimate", "u", "Unit", "Distribution", "Freedom", "µm per unit", "µm", "% of u²"}
	budgetNumeric = []bool{false, true, true, false, false, true, true, true, true}
)

// BudgetTable is a budget as a table, the largest part first, with what it adds
// up to in its last rows.
func BudgetTable(b part.Budget) SheetTable {
	t := SheetTable{Caption: budgetCaption(b), Head: budgetHead, Numeric: budgetNumeric}
	cs := slices.Clone(b.Contributions)
	slices.SortStableFunc(cs, func(a, c part.Contribution) int { return cmp.Compare(c.ContributionUM, a.ContributionUM) })
	for _, c := range cs {
		estimate, dof := dash, "∞"
		if c.Value != nil {
			estimate = significant(*c.Value)
		}
		if c.DOF != nil {
			dof = trimNumber(math.Floor(*c.DOF), 0) // G.4.1: down to a whole number
		}
		t.Rows = append(t.Rows, []string{c.Name, estimate, digits(c.U, 2), c.Unit, string(c.Distribution), dof, digits(c.Sensitivity, 3),
			partText(c.ContributionUM), strconv.FormatFloat(100*b.Of(c), 'f', 0, 64)})
	}
	dof := "∞"
	if b.DOFEff != nil {
		dof = trimNumber(math.Floor(*b.DOFEff), 0)
	}
	t.Rows = append(t.Rows,
		[]string{"together (k = 1)", "", "", "", "", dof, "", partText(b.CombinedUM), "100"},
		[]string{fmt.Sprintf("expanded (k = %g), covers %.0f %%", b.K, 100*b.Coverage), "", "", "", "", "", "", partText(b.ExpandedUM), ""})
	return t
}

// budgetCaption is "step at 120 deg, left: 92.4 ± 3.6 µm (k = 2)".
func budgetCaption(b part.Budget) string {
	if b.ValueUM == nil {
		return fmt.Sprintf("%s: ± %.1f µm (k = %g)", b.Quantity, b.ExpandedUM, b.K)
	}
	return fmt.Sprintf("%s: %s ± %.1f µm (k = %g)", b.Quantity, minus(fmt.Sprintf("%.1f", *b.ValueUM)), b.ExpandedUM, b.K)
}

// partText is a part in micrometres, to a hundredth.
func partText(um float64) string { return strconv.FormatFloat(um, 'f', 2, 64) }

// digits is a number with n significant digits, without an exponent where it
// can do without.
func digits(v float64, n int) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return significant(v)
	}
	places := n - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	if places > 7 {
		return minus(strconv.FormatFloat(v, 'e', n-1, 64))
	}
	return minus(strconv.FormatFloat(v, 'f', max(0, places), 64))
}

// Budgets picks the budgets that a page shows: that of the worst step, and that
// of a typical size, the one whose relative uncertainty is in the middle of all.
func Budgets(r *part.Result) []part.Budget {
	var out []part.Budget
	if b := worstStepBudget(r); b != nil {
		out = append(out, *b)
	}
	if b := typicalSizeBudget(r); b != nil {
		out = append(out, *b)
	}
	return out
}

func worstStepBudget(r *part.Result) *part.Budget {
	var worst *part.Station
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.Budget == nil || s.StepUM == nil {
			continue
		}
		if worst == nil || math.Abs(*s.StepUM) > math.Abs(*worst.StepUM) {
			worst = s
		}
	}
	if worst == nil {
		return nil
	}
	return worst.Budget
}

func typicalSizeBudget(r *part.Result) *part.Budget {
	var all []*part.Budget
	for _, f := range byNumber(r) {
		if b := f.Budget; b != nil && b.ValueUM != nil && *b.ValueUM > 0 {
			own := *b
			own.Quantity = fmt.Sprintf("finding %d, %s", f.Number, b.Quantity)
			all = append(all, &own)
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b *part.Budget) int {
		return cmp.Compare(a.CombinedUM / *a.ValueUM, b.CombinedUM / *b.ValueUM)
	})
	return all[(len(all)-1)/2]
}

// BudgetText writes a unit's budgets for a terminal; nothing where it has none.
// The error is that of the writer.
func BudgetText(w io.Writer, r *part.Result) error {
	var b bytes.Buffer
	for _, q := range Budgets(r) {
		textTable(&b, BudgetTable(q))
	}
	_, err := w.Write(b.Bytes())
	return err
}

// budgetView is the page's section.
type budgetView struct {
	Head, Fold, Intro string
	Tables            []tableView
}

// newBudgetView is nil where there is no budget to show.
func newBudgetView(r *part.Result) *budgetView {
	v := &budgetView{Head: textBudgetHead, Fold: textBudgetFold, Intro: textBudgetIntro}
	for _, b := range Budgets(r) {
		v.Tables = append(v.Tables, newTableView(BudgetTable(b), textMarkedRow))
	}
	if len(v.Tables) == 0 {
		return nil
	}
	return v
}

// sizeText is a length with its expanded uncertainty (k = 2): "0.31 ± 0.04".
func sizeText(mm, u *float64) string {
	s := fixedText(mm, 2)
	if u == nil {
		return s
	}
	return s + " ± " + fixedText(twice(u), 2)
}

// sizesText is a finding's length and width, each with its own uncertainty
// where the diameter does not already tell it: "(1.64 ± 0.09) × (0.08 ± 0.03) mm".
func sizesText(f *part.Finding) string {
	if f.DiameterMM != nil || f.ULengthMM == nil || f.UWidthMM == nil {
		return fixedText(f.LengthMM, 2) + " × " + fixedText(f.WidthMM, 2) + " mm"
	}
	return "(" + sizeText(f.LengthMM, f.ULengthMM) + ") × (" + sizeText(f.WidthMM, f.UWidthMM) + ") mm"
}
