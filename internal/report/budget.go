package report

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// budgetTable is a budget as a table, the largest part first, with what it adds
// up to in its last rows.
func (x words) budgetTable(b part.Budget) SheetTable {
	t := SheetTable{Caption: x.budgetCaption(b), Numeric: []bool{false, true, true, false, false, true, true, true, true}}
	for _, h := range []string{"part", "estimate", "u", "unit", "distribution", "freedom", "sensitivity", "um", "percent"} {
		t.Head = append(t.Head, x.T("budget.head."+h))
	}
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
		t.Rows = append(t.Rows, []string{x.contribution(c), estimate, digits(c.U, 2), c.Unit,
			x.Named("budget.distribution.", string(c.Distribution)), dof,
			digits(c.Sensitivity, 3), partText(c.ContributionUM), strconv.FormatFloat(100*b.Of(c), 'f', 0, 64)})
	}
	dof := "∞"
	if b.DOFEff != nil {
		dof = trimNumber(math.Floor(*b.DOFEff), 0)
	}
	t.Rows = append(t.Rows,
		[]string{x.T("budget.together"), "", "", "", "", dof, "", partText(b.CombinedUM), "100"},
		[]string{x.T("budget.expanded", "k", fmt.Sprintf("%g", b.K), "percent", fmt.Sprintf("%.0f", 100*b.Coverage)), "", "", "", "", "",
			"", partText(b.ExpandedUM), ""})
	return t
}

// contribution is what a part of a budget is called.
func (x words) contribution(c part.Contribution) string {
	if c.NamePhrase != nil {
		return x.sentence(c.Name, c.NamePhrase)
	}
	return x.Named("budget.part.", c.Name)
}

// budgetCaption is "step at 120 deg, left: 92.4 ± 3.6 µm (k = 2)".
func (x words) budgetCaption(b part.Budget) string {
	value := ""
	if b.ValueUM != nil {
		value = minus(fmt.Sprintf("%.1f", *b.ValueUM)) + " "
	}
	return x.T("budget.caption", "quantity", b.Quantity, "value_um", value, "u_um", fmt.Sprintf("%.1f", b.ExpandedUM), "k",
		fmt.Sprintf("%g", b.K))
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

// budgets picks the budgets that a page shows: that of the worst step, and that
// of a typical size, the one whose relative uncertainty is in the middle of all; each with its quantity in words.
func (x words) budgets(r *part.Result) []part.Budget {
	var out []part.Budget
	if s := worstStep(r); s != nil {
		b := *s.Budget
		b.Quantity = x.T("budget.step", "at", x.T("seam.at", "angle_deg", trimNumber(s.AngleDeg, 4), "side", x.side(s.Side)))
		out = append(out, b)
	}
	if f := typicalSize(r); f != nil {
		b := *f.Budget
		which := "diameter"
		if f.UDiamMM == nil {
			which = "length"
		}
		b.Quantity = x.T("budget.size", "n", strconv.Itoa(f.Number), "kind", x.Named("noun.", string(f.Kind)), "which",
			x.T("budget.which."+which))
		out = append(out, b)
	}
	return out
}

// worstStep is the station of the largest step, of those that have a budget.
func worstStep(r *part.Result) *part.StepStation {
	var worst *part.StepStation
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.Budget == nil || s.StepUM == nil {
			continue
		}
		if worst == nil || math.Abs(*s.StepUM) > math.Abs(*worst.StepUM) {
			worst = s
		}
	}
	return worst
}

func typicalSize(r *part.Result) *part.Finding {
	var all []*part.Finding
	for _, f := range byNumber(r) {
		if b := f.Budget; b != nil && b.ValueUM != nil && *b.ValueUM > 0 {
			all = append(all, f)
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b *part.Finding) int {
		return cmp.Compare(a.Budget.CombinedUM / *a.Budget.ValueUM, b.Budget.CombinedUM / *b.Budget.ValueUM)
	})
	return all[(len(all)-1)/2]
}

// BudgetText writes a unit's budgets for a terminal; nothing where it has none.
// The error is that of the writer.
func BudgetText(w io.Writer, l *lang.Lang, r *part.Result) error {
	var b bytes.Buffer
	x := wordsOf(l)
	for _, q := range x.budgets(r) {
		x.textTable(&b, x.budgetTable(q))
	}
	_, err := w.Write(b.Bytes())
	return err
}

// budgetView is the page's section.
type budgetView struct {
	Head, Fold, Intro string
	Tables            []tableView
}

// budget is nil where there is none to show.
func (x words) budget(r *part.Result) *budgetView {
	v := &budgetView{Head: x.T("budget.title"), Fold: x.T("budget.fold"), Intro: x.T("budget.intro")}
	for _, b := range x.budgets(r) {
		v.Tables = append(v.Tables, newTableView(x.budgetTable(b), x.T("sheet.marked")))
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
