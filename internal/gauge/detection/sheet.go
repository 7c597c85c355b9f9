package detection

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"sort"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

// outFile is a file to be written under OUT.
type outFile struct {
	name string
	data []byte
}

// detectionSheet is the page of a study of detection, and the files beside it:
// a plot a group, and statement.md, which docs/measured.md carries.
func detectionSheet(r detectionRun) (report.Sheet, []outFile, error) {
	rating, word := r.rating()
	s := report.Sheet{Title: "Detection", Subject: filepath.Base(r.set.from), Rating: rating, Word: word, Line: r.line(), Facts: r.facts(), Warnings: r.warnings()}
	statements := report.SheetSection{Heading: "What is found", Tables: []report.SheetTable{r.table()}}
	for _, g := range r.groups {
		statements.Text = append(statements.Text, g.statement())
	}
	a90, bound := r.terms()
	statements.Text = append(statements.Text, fmt.Sprintf("a50, %s: the sizes that are found 50 and %.3g times in 100 by the curve; %s: the upper bound of the second at %.3g %% confidence, in brackets where it lies beyond the sizes tested, (count) where it is the smallest size of a set that was found whole; "+
		"with faint ones: the same with the defects that were left out. Right kind: of those found.", a90, 100*r.study.Probability, bound, 100*r.study.Confidence))
	s.Sections = append(s.Sections, statements, report.SheetSection{Heading: "Conditions", Text: r.conditions()})
	if d := r.set.drawn; d != nil {
		s.Sections = append(s.Sections, report.SheetSection{Heading: "What was drawn", Pictures: d.shown,
			Text: []string{"A fault of each kind, of a size at which found and missed ones meet, drawn into the first clean set. Gloss: white mirrors the stripes, black mirrors nothing. Slopes: a relief lit from the upper left."}})
	}
	var files []outFile
	for _, g := range r.groups {
		sec, svg, err := r.section(g)
		if err != nil {
			return s, nil, err
		}
		s.Sections = append(s.Sections, sec)
		if file := plots.Standalone(svg); file != nil {
			files = append(files, outFile{"detection-" + g.slug() + ".svg", file})
		}
	}
	return s, append(files, outFile{"statement.md", r.statementFile()}), nil
}

// line is the best that can be said in one sentence.
func (r detectionRun) line() string {
	var with, without []string
	for _, g := range r.groups {
		if g.stated.Basis == study.ByNone {
			without = append(without, g.name())
		} else {
			with = append(with, g.name())
		}
	}
	often := fmt.Sprintf("is found with a probability of %.3g %% (%.3g %% confidence)", 100*r.study.Probability, 100*r.study.Confidence)
	switch {
	case len(with) == 0:
		return fmt.Sprintf("No size can be stated that %s.", often)
	case len(without) == 0:
		return fmt.Sprintf("For each kind there is a size that %s.", often)
	}
	return fmt.Sprintf("A size that %s can be stated for %s; not for %s.", often, strings.Join(with, ", "), strings.Join(without, ", "))
}

func (r detectionRun) facts() []report.Fact {
	of, found := 0, 0
	for _, g := range r.groups {
		of, found = of+g.stated.Of, found+g.stated.Found
	}
	f := []report.Fact{{Name: "Found", Value: fmt.Sprintf("%d of %d", found, of)}}
	if r.set.Units == 0 {
		return f
	}
	rate, err := study.NewRate(len(r.set.False), r.set.Units, r.study.Confidence)
	if err != nil {
		return f
	}
	units := report.Fact{Name: "Units", Value: fmt.Sprintf("%d (%s)", r.set.Units, patternsText(r.set.Patterns))}
	if r.set.drawn != nil {
		units = report.Fact{Name: "Clean faces", Value: fmt.Sprintf("%d, drawn into %d times", r.set.Units, r.set.drawn.sets)}
	}
	return append(f, units,
		report.Fact{Name: "False calls of all kinds", Value: fmt.Sprintf("%d, %s", len(r.set.False), study.FalseCalls(rate))},
		report.Fact{Name: "Further findings of found defects", Value: fmt.Sprintf("%d, not counted as false", r.set.repeats)})
}

func patternsText(patterns map[string]int) string {
	var names []string
	for p := range patterns {
		names = append(names, p)
	}
	sort.Strings(names)
	for i, p := range names {
		names[i] = fmt.Sprintf("%d %s", patterns[p], cli.Or(p, "of unknown pattern"))
	}
	return strings.Join(names, ", ")
}

func (r detectionRun) warnings() []string {
	var w []string
	for _, c := range []struct {
		units []string
		what  string
	}{
		{r.set.noResult, "without a result, left out"},
		{r.set.notSeen, "left out, because no picture there could be measured: a defect is neither found nor missed"},
		{r.set.halfSeen, "looked at, though some picture there could not be measured"},
		{r.set.noTruth, "with a result, but no truth: left out"},
	} {
		if len(c.units) > 0 {
			w = append(w, strings.Join(c.units, ", ")+": "+c.what)
		}
	}
	if d := r.set.drawn; d != nil && d.unplaced > 0 {
		w = append(w, fmt.Sprintf("for %d faults there was no room on the face, and they were left out: large ones most likely", d.unplaced))
	}
	if r.set.noCNR > 0 {
		w = append(w, fmt.Sprintf("%d defects have no contrast-to-noise ratio in the truth: they are counted", r.set.noCNR))
	}
	if r.set.Units == 0 {
		w = append(w, "a table does not say how often something was called that is not there: false calls are not measured")
	}
	for _, g := range r.groups {
		for _, m := range g.stated.Warnings() {
			w = append(w, g.name()+": "+m)
		}
		if g.shared > 0 {
			w = append(w, fmt.Sprintf("%s: %d missed though a finding touches it, because that finding tells of a neighbour", g.name(), g.shared))
		}
	}
	return w
}

// conditions are what the statement holds for.
func (r detectionRun) conditions() []string {
	c := []string{fmt.Sprintf("%s, finishbench %s.", r.date, cli.Version)}
	if d := r.set.drawn; d != nil {
		c = append(append(c, d.conditions()...), fmt.Sprintf("%s mm per pixel.", scalesText(r.set.mmPerPX)))
	} else if r.set.Units > 0 {
		c = append(c, fmt.Sprintf("%d units with known defects: %s; %s mm per pixel; stage %s.", r.set.Units, patternsText(r.set.Patterns), scalesText(r.set.mmPerPX),
			cli.Or(strings.Join(r.set.stages, ", "), "not told")))
	}
	if r.set.Units > 0 {
		c = append(c, fmt.Sprintf("A defect is found where a finding touches its box, widened by %.3g %% of its longer side or %g px; each defect has at most one finding and each finding at most one defect. A finding of another kind counts. A false call is a finding of that kind that touches no known defect.",
			100*r.options.Share, study.DefaultMatchRule().SlackPX))
		if r.set.drawn == nil {
			c = append(c, r.contrastText())
		}
	}
	if r.set.Units > 0 {
		c = append(c, "The size is the "+r.measures()+".")
	} else {
		c = append(c, "Sizes and what was found as the table "+filepath.Base(r.set.from)+" has them; sizes are taken to be in mm.")
	}
	scale := "size or ln size, whichever has the smaller deviance"
	if r.study.Scale != "" {
		scale = string(r.study.Scale)
	}
	return append(c, fmt.Sprintf("Curve: logistic over %s, maximum likelihood; bound: one sided, %s. Without a curve: by count (Clopper & Pearson 1934). False calls: exact Poisson interval (Garwood 1936), %.3g %%.",
		scale, r.study.Bound, 100*r.study.Confidence))
}

func scalesText(v []float64) string {
	if len(v) == 0 {
		return "unknown"
	}
	if len(v) == 1 {
		return fmt.Sprintf("%.4g", v[0])
	}
	return fmt.Sprintf("%.4g to %.4g", v[0], v[len(v)-1])
}

func (r detectionRun) contrastText() string {
	n, found := 0, 0
	for _, g := range r.groups {
		n, found = n+g.faint.Of, found+g.faint.Count
	}
	if r.options.All {
		return fmt.Sprintf("All contrasts: also %d defects with a contrast-to-noise ratio under %g in all pictures, of which %d were found.", n, r.options.MinCNR, found)
	}
	return fmt.Sprintf("Defects with a contrast-to-noise ratio of %g or more in some picture (Rose 1948). %d fainter ones are left out, of which %d were found.", r.options.MinCNR, n, found)
}

func (r detectionRun) measures() string {
	by := map[string][]string{}
	var order []string
	for _, g := range r.groups {
		if by[g.measure] == nil {
			order = append(order, g.measure)
		}
		by[g.measure] = append(by[g.measure], g.name())
	}
	for i, m := range order {
		order[i] = m + " of " + strings.Join(by[m], ", ")
	}
	return strings.Join(order, " and the ")
}

// terms are what the size and its bound are called: a90 and a90/95.
func (r detectionRun) terms() (size, bound string) {
	size = fmt.Sprintf("a%.3g", 100*r.study.Probability)
	return size, fmt.Sprintf("%s/%.3g", size, 100*r.study.Confidence)
}

// table has a row a group.
func (r detectionRun) table() report.SheetTable {
	a90, bound := r.terms()
	t := report.SheetTable{
		Head:    []string{"kind", "found", "sizes / mm", "a50 / mm", a90 + " / mm", bound + " / mm", "with faint ones", "right kind", "false per unit"},
		Numeric: []bool{false, true, true, true, true, true, true, true, true},
	}
	for _, g := range r.groups {
		d := g.stated
		t.Rows = append(t.Rows, []string{g.name(), fmt.Sprintf("%d of %d", d.Found, d.Of), fmt.Sprintf("%.2g to %.2g", d.Smallest, d.Largest), sizeText(d.A50), sizeText(d.A90),
			boundText(d), r.faintBound(g), rightText(g.right), rateText(g.falseCalls)})
		t.Marked = append(t.Marked, d.Basis == study.ByNone)
	}
	return t
}

func (r detectionRun) faintBound(g detectionGroup) string {
	if r.options.All || g.all == nil {
		return "-"
	}
	return boundText(*g.all)
}

func sizeText(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3g", v)
}

func boundText(d study.Detection) string {
	switch b, ok := d.Upper[d.Options.Bound]; {
	case d.Basis == study.ByCount:
		return fmt.Sprintf("%.3g (count)", study.RoundUp(d.Size, 3))
	case ok && d.Basis == study.ByNone:
		return fmt.Sprintf("(%.3g)", study.RoundUp(b, 3))
	case ok:
		return fmt.Sprintf("%.3g", study.RoundUp(b, 3))
	}
	return "-"
}

func rightText(s study.Share) string {
	if s.Of == 0 {
		return "-"
	}
	return fmt.Sprintf("%d of %d", s.Count, s.Of)
}

func rateText(r study.Rate) string {
	if r.Units == 0 {
		return "not measured"
	}
	return fmt.Sprintf("%.2g [%.2g, %.2g]", r.Value(), r.Bounds.Lower, r.Bounds.Upper)
}

// section is one group's plot and numbers.
func (r detectionRun) section(g detectionGroup) (report.SheetSection, []byte, error) {
	svg, alt, err := r.plot(g)
	if err != nil {
		return report.SheetSection{}, nil, err
	}
	sec := report.SheetSection{Heading: cli.UpperFirst(g.name()), Text: []string{g.statement()}}
	if svg != nil {
		sec.Figures = []report.SheetFigure{{SVG: svg, Alt: alt, Caption: cli.UpperFirst(alt) + "."}}
	}
	_, bound := r.terms()
	if t := fitTable(g.stated, bound); len(t.Rows) > 0 {
		sec.Tables = append(sec.Tables, t)
	}
	return sec, svg, nil
}

// plot is the curve with its band, or, where there is none, the share found by
// size class. Nil where there is too little for either.
func (r detectionRun) plot(g detectionGroup) (svg []byte, alt string, err error) {
	d := g.stated
	if d.Fit == nil {
		svg, err = r.classPlot(g)
		alt = fmt.Sprintf("share of %s found by %s, with %.3g %% intervals", g.name(), g.measure, 100*r.study.Confidence)
	} else {
		svg, err = r.curvePlot(g)
		alt = fmt.Sprintf("probability that %s are found by %s; each side of the band is one sided at %.3g %%; ticks are single ones, found at the top and missed at the bottom",
			g.name(), g.measure, 100*r.study.Confidence)
	}
	if errors.Is(err, plots.ErrNothing) {
		return nil, "", nil
	}
	return svg, alt, err
}

func (r detectionRun) curvePlot(g detectionGroup) ([]byte, error) {
	d := g.stated
	from, to := d.Smallest, d.Largest
	a90, bound := r.terms()
	marks := []plots.Mark{{Name: a90, X: d.A90}}
	if b, ok := d.Upper[d.Options.Bound]; ok {
		marks = append(marks, plots.Mark{Name: bound, X: b})
	}
	// A mark far beyond what was tested would squeeze the plot; the table has it.
	kept := marks[:0]
	for _, m := range marks {
		if m.X <= 2*d.Largest {
			kept, to = append(kept, m), max(to, m.X)
		}
	}
	x, y, lower, upper := d.Fit.Curve(from, to, 81, r.study.Confidence)
	hit, miss := plots.Series{Name: "found"}, plots.Series{Name: "missed"}
	for _, t := range d.Targets {
		for range min(t.Found, 60) {
			hit.X, hit.Y = append(hit.X, t.Size), append(hit.Y, 1)
		}
		for range min(t.Of-t.Found, 60) {
			miss.X, miss.Y = append(miss.X, t.Size), append(miss.Y, 0)
		}
	}
	points := []plots.Series{hit, miss}
	if d.Of >= 5*len(d.Targets) { // several of each size: their shares say more than a tick each
		share := plots.Series{Name: "share found"}
		for _, t := range d.Targets {
			share.X, share.Y = append(share.X, t.Size), append(share.Y, float64(t.Found)/float64(t.Of))
		}
		points = []plots.Series{share}
	}
	return plots.Curve(plots.Options{X: g.measure + " / mm", Y: "probability of detection", LogX: d.Fit.Scale == study.LogSize},
		plots.Band{X: x, Y: y, Lower: lower, Upper: upper, Name: "curve", BandName: "band", Points: points, MarkX: kept},
		plots.HLine{Name: fmt.Sprintf("%.3g %%", 100*r.study.Probability), Y: r.study.Probability, Dash: true})
}

// classPlot has up to five classes of about as many targets each.
func (r detectionRun) classPlot(g detectionGroup) ([]byte, error) {
	d := g.stated
	classes := max(1, min(5, d.Of/5))
	var names []string
	var v []plots.Interval
	n, found, done := 0, 0, 0
	first := math.NaN()
	for i, t := range d.Targets {
		if n == 0 {
			first = t.Size
		}
		n, found, done = n+t.Of, found+t.Found, done+t.Of
		if done*classes < (len(v)+1)*d.Of && i < len(d.Targets)-1 {
			continue
		}
		s, err := study.NewShare(found, n, r.study.Confidence, study.ClopperPearsonExact)
		if err != nil {
			return nil, err
		}
		names = append(names, classText(first, t.Size, found, n))
		v = append(v, plots.Interval{Lo: 100 * s.Bounds.Lower, Mid: 100 * s.Value(), Hi: 100 * s.Bounds.Upper})
		n, found = 0, 0
	}
	return plots.Intervals(plots.Options{X: g.measure + " / mm", Y: "found / %", HeightMM: 80}, names, v,
		plots.HLine{Name: fmt.Sprintf("%.3g %%", 100*r.study.Probability), Y: 100 * r.study.Probability, Dash: true})
}

func classText(from, to float64, found, n int) string {
	if from == to {
		return fmt.Sprintf("%.2g: %d of %d", from, found, n)
	}
	return fmt.Sprintf("%.2g to %.2g: %d of %d", from, to, found, n)
}

// fitTable has the curve's numbers; no rows where there is none.
func fitTable(d study.Detection, bound string) report.SheetTable {
	t := report.SheetTable{Head: []string{"curve", "value"}, Numeric: []bool{false, true}}
	if d.Fit == nil {
		return t
	}
	f := d.Fit
	method := "maximum likelihood"
	if f.Penalised {
		method = "Firth's penalised likelihood"
	}
	chi, p := f.SlopeTest()
	t.Rows = [][]string{
		{"fit", method + " over " + string(f.Scale)},
		{"intercept (standard error)", fmt.Sprintf("%.4g (%.3g)", f.B0, math.Sqrt(f.Var0))},
		{"slope (standard error)", fmt.Sprintf("%.4g (%.3g)", f.B1, math.Sqrt(f.Var1))},
		{"slope against none", fmt.Sprintf("chi-square %.3g, p = %.2g", chi, p)},
		{"deviance", fmt.Sprintf("%.4g (without size %.4g)", f.Deviance, f.NullDeviance)},
	}
	if d.Checked != nil {
		t.Rows = append(t.Rows, []string{"form of the curve, " + d.Checked.Method, d.Checked.String()})
	}
	for _, m := range []study.BoundMethod{study.LikelihoodRatio, study.WaldCurve, study.DeltaMethod} {
		v := "does not exist"
		if b, ok := d.Upper[m]; ok {
			v = fmt.Sprintf("%.4g %s", study.RoundUp(b, 4), d.Options.Unit)
		}
		t.Rows = append(t.Rows, []string{bound + ": " + string(m), v})
	}
	return t
}

// statementFile is the statement with its conditions, for docs/measured.md.
func (r detectionRun) statementFile() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "What is found (%s, finishbench %s):\n\n", r.date, cli.Version)
	for _, g := range r.groups {
		fmt.Fprintf(&b, "- %s\n", g.statement())
	}
	t := r.table()
	fmt.Fprintf(&b, "\n| %s |\n|%s\n", strings.Join(t.Head, " | "), strings.Repeat("---|", len(t.Head)))
	for _, row := range t.Rows {
		fmt.Fprintf(&b, "| %s |\n", strings.Join(row, " | "))
	}
	fmt.Fprintf(&b, "\nConditions: %s\n", strings.Join(r.conditions()[1:], " "))
	if w := r.warnings(); len(w) > 0 {
		b.WriteString("\nTo be known with it:\n\n")
		for _, s := range w {
			fmt.Fprintf(&b, "- %s\n", s)
		}
	}
	return b.Bytes()
}

// The numbers of a study of detection, as JSON. What does not exist is absent.
type Numbers struct {
	Date        string               `json:"date"`
	Version     string               `json:"version"`
	Verdict     report.Rating        `json:"verdict"`
	Probability float64              `json:"probability"`
	Confidence  float64              `json:"confidence"`
	Bound       study.BoundMethod    `json:"bound"`
	Units       int                  `json:"units,omitempty"`
	FalseCalls  *rateJSON            `json:"false_calls,omitempty"`
	Repeats     int                  `json:"further_findings,omitempty"`
	NoResult    []string             `json:"units_without_result,omitempty"`
	NotMeasured []string             `json:"units_not_measured,omitempty"`
	Groups      []detectionGroupJSON `json:"kinds"`
	Conditions  []string             `json:"conditions"`
	Warnings    []string             `json:"warnings,omitempty"`
}

type rateJSON struct {
	Count   int     `json:"count"`
	Units   int     `json:"units"`
	PerUnit float64 `json:"per_unit"`
	Lower   float64 `json:"lower"`
	Upper   float64 `json:"upper"`
}

type detectionGroupJSON struct {
	Kind       string             `json:"kind"`
	Faceplates string             `json:"faceplates,omitempty"`
	Measure    string             `json:"measure"`
	Statement  string             `json:"statement"`
	Basis      study.Basis        `json:"basis"`
	SizeMM     *float64           `json:"size_mm,omitempty"`
	Found      *studies.ShareJSON `json:"found"`
	A50MM      *float64           `json:"a50_mm,omitempty"`
	A90MM      *float64           `json:"a90_mm,omitempty"`
	BoundsMM   map[string]float64 `json:"bounds_mm,omitempty"`
	FaintFound *studies.ShareJSON `json:"faint_found,omitempty"`
	AllBoundMM *float64           `json:"bound_with_faint_mm,omitempty"`
	RightKind  *studies.ShareJSON `json:"right_kind,omitempty"`
	FalseCalls *rateJSON          `json:"false_calls,omitempty"`
	Curve      *curveJSON         `json:"curve,omitempty"`
	Warnings   []string           `json:"warnings,omitempty"`
}

type curveJSON struct {
	Scale     study.SizeScale `json:"scale"`
	Penalised bool            `json:"penalised,omitempty"`
	B0        float64         `json:"b0"`
	B1        float64         `json:"b1"`
	Var0      float64         `json:"var_b0"`
	Var1      float64         `json:"var_b1"`
	Cov01     float64         `json:"cov_b0_b1"`
	Deviance  float64         `json:"deviance"`
	Check     string          `json:"check,omitempty"`
	CheckP    *float64        `json:"check_p,omitempty"`
}

func newDetectionJSON(r detectionRun) Numbers {
	rating, _ := r.rating()
	v := Numbers{Date: r.date, Version: cli.Version, Verdict: rating, Probability: r.study.Probability, Confidence: r.study.Confidence, Bound: r.study.Bound,
		Units: r.set.Units, Repeats: r.set.repeats, NoResult: r.set.noResult, NotMeasured: r.set.notSeen, Conditions: r.conditions(), Warnings: r.warnings()}
	if rate, err := study.NewRate(len(r.set.False), r.set.Units, r.study.Confidence); err == nil {
		v.FalseCalls = newRateJSON(rate)
	}
	for _, g := range r.groups {
		v.Groups = append(v.Groups, newDetectionGroupJSON(g))
	}
	return v
}

func newRateJSON(r study.Rate) *rateJSON {
	if r.Units == 0 {
		return nil
	}
	return &rateJSON{r.Count, r.Units, r.Value(), r.Bounds.Lower, r.Bounds.Upper}
}

func newDetectionGroupJSON(g detectionGroup) detectionGroupJSON {
	d := g.stated
	v := detectionGroupJSON{Kind: g.kind, Faceplates: g.where, Measure: g.measure, Statement: g.statement(), Basis: d.Basis, SizeMM: part.Num(d.Size), Found: studies.NewShareJSON(d.All),
		A50MM: part.Num(d.A50), A90MM: part.Num(d.A90), FaintFound: studies.NewShareJSON(g.faint), RightKind: studies.NewShareJSON(g.right), FalseCalls: newRateJSON(g.falseCalls), Warnings: d.Warnings()}
	for m, b := range d.Upper {
		if v.BoundsMM == nil {
			v.BoundsMM = map[string]float64{}
		}
		v.BoundsMM[string(m)] = b
	}
	if g.all != nil {
		if b, ok := g.all.Upper[d.Options.Bound]; ok {
			v.AllBoundMM = &b
		}
	}
	if f := d.Fit; f != nil {
		v.Curve = &curveJSON{Scale: f.Scale, Penalised: f.Penalised, B0: f.B0, B1: f.B1, Var0: f.Var0, Var1: f.Var1, Cov01: f.Cov01, Deviance: f.Deviance}
		if d.Checked != nil {
			v.Curve.Check, v.Curve.CheckP = d.Checked.Method, &d.Checked.P
		}
	}
	return v
}
