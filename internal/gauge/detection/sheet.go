package detection

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/study"
)

// outFile is a file to be written under OUT.
type outFile struct {
	name string
	data []byte
}

// detectionSheet is the page of a study of detection, and the files beside it:
// a plot a group, and statement.md, which docs/measured.md carries.
func detectionSheet(x *lang.Lang, r detectionRun) (report.Sheet, []outFile, error) {
	rating, word := r.rating(x)
	s := report.Sheet{Lang: x, Title: x.T("detection.title"), Subject: filepath.Base(r.set.from), Rating: rating, Word: word,
		Line: r.line(x), Facts: r.facts(x), Warnings: r.warnings(x)}
	statements := report.SheetSection{Heading: x.T("detection.found_head"), Tables: []report.SheetTable{r.table(x)}}
	for _, g := range r.groups {
		statements.Text = append(statements.Text, g.statement(x))
	}
	a90, bound := r.terms()
	statements.Text = append(statements.Text, x.T("detection.terms", "a90", a90, "percent", fmt.Sprintf("%.3g", 100*r.study.Probability),
		"bound", bound, "confidence", fmt.Sprintf("%.3g", 100*r.study.Confidence)))
	s.Sections = append(s.Sections, statements, report.SheetSection{Heading: x.T("detection.conditions"), Text: r.conditions(x)})
	if d := r.set.drawn; d != nil {
		s.Sections = append(s.Sections, report.SheetSection{Heading: x.T("detection.drawn_head"), Pictures: d.pictures(x),
			Text: []string{x.T("detection.drawn")}})
	}
	var files []outFile
	for _, g := range r.groups {
		sec, svg, err := r.section(x, g)
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
func (r detectionRun) line(x *lang.Lang) string {
	var with, without []string
	for _, g := range r.groups {
		if g.stated.Basis == study.ByNone {
			without = append(without, g.name(x))
		} else {
			with = append(with, g.name(x))
		}
	}
	often := x.T("detection.often", "percent", fmt.Sprintf("%.3g", 100*r.study.Probability), "confidence",
		fmt.Sprintf("%.3g", 100*r.study.Confidence))
	switch {
	case len(with) == 0:
		return x.T("detection.line.none", "often", often)
	case len(without) == 0:
		return x.T("detection.line.all", "often", often)
	}
	return x.T("detection.line.some", "often", often, "with", strings.Join(with, ", "), "without", strings.Join(without, ", "))
}

func (r detectionRun) facts(x *lang.Lang) []report.Fact {
	of, found := 0, 0
	for _, g := range r.groups {
		of, found = of+g.stated.Of, found+g.stated.Found
	}
	f := []report.Fact{{Name: x.T("detection.fact.found"), Value: x.T("detection.n_of", "n", strconv.Itoa(found), "of", strconv.Itoa(of))}}
	if r.set.Units == 0 {
		return f
	}
	rate, err := study.NewRate(len(r.set.False), r.set.Units, r.study.Confidence)
	if err != nil {
		return f
	}
	units := report.Fact{Name: x.T("detection.fact.units"), Value: x.T("detection.units", "n", strconv.Itoa(r.set.Units), "patterns",
		patternsText(x, r.set.Patterns))}
	if r.set.drawn != nil {
		units = report.Fact{Name: x.T("detection.fact.clean"), Value: x.T("detection.clean", "n", strconv.Itoa(r.set.Units), "times",
			strconv.Itoa(r.set.drawn.sets))}
	}
	return append(f, units,
		report.Fact{Name: x.T("detection.fact.false"), Value: x.T("detection.false", "n", strconv.Itoa(len(r.set.False)), "rate",
			falseCalls(x, rate))},
		report.Fact{Name: x.T("detection.fact.repeats"), Value: x.T("detection.repeats", "n", strconv.Itoa(r.set.repeats))})
}

func patternsText(x *lang.Lang, patterns map[string]int) string {
	var names []string
	for p := range patterns {
		names = append(names, p)
	}
	sort.Strings(names)
	for i, p := range names {
		names[i] = x.T("detection.n_pattern", "n", strconv.Itoa(patterns[p]), "pattern",
			cli.Or(x.Named("detection.where.", p), x.T("detection.pattern_unknown")))
	}
	return strings.Join(names, ", ")
}

func (r detectionRun) warnings(x *lang.Lang) []string {
	var w []string
	for _, c := range []struct {
		units []string
		what  string
	}{
		{r.set.noResult, x.T("detection.warn.no_result")},
		{r.set.notSeen, x.T("detection.warn.not_seen")},
		{r.set.halfSeen, x.T("detection.warn.half_seen")},
		{r.set.noTruth, x.T("detection.warn.no_truth")},
	} {
		if len(c.units) > 0 {
			w = append(w, x.T("scale.about", "file", strings.Join(c.units, ", "), "what", c.what))
		}
	}
	if d := r.set.drawn; d != nil && d.unplaced > 0 {
		w = append(w, x.T("detection.warn.unplaced", "n", strconv.Itoa(d.unplaced)))
	}
	if r.set.noCNR > 0 {
		w = append(w, x.T("detection.warn.no_cnr", "n", strconv.Itoa(r.set.noCNR)))
	}
	if r.set.Units == 0 {
		w = append(w, x.T("detection.warn.table"))
	}
	for _, g := range r.groups {
		for _, m := range x.SayAll(g.stated.Warnings()) {
			w = append(w, x.T("scale.about", "file", g.name(x), "what", m))
		}
		if g.shared > 0 {
			w = append(w, x.T("detection.warn.shared", "name", g.name(x), "n", strconv.Itoa(g.shared)))
		}
	}
	return w
}

// conditions are what the statement holds for.
func (r detectionRun) conditions(x *lang.Lang) []string {
	c := []string{x.T("detection.version", "date", r.date, "version", string(cli.Version))}
	if d := r.set.drawn; d != nil {
		c = append(append(c, d.conditions(x)...), x.T("detection.scale", "mm_per_px", scalesText(x, r.set.mmPerPX)))
	} else if r.set.Units > 0 {
		c = append(c, x.T("detection.units_known", "n", strconv.Itoa(r.set.Units), "patterns", patternsText(x, r.set.Patterns),
			"mm_per_px", scalesText(x, r.set.mmPerPX), "stage", cli.Or(strings.Join(r.set.stages, ", "), x.T("detection.not_told"))))
	}
	if r.set.Units > 0 {
		c = append(c, x.T("detection.match", "percent", fmt.Sprintf("%.3g", 100*r.options.Share), "px",
			fmt.Sprintf("%g", study.DefaultMatchRule().SlackPX)))
		if r.set.drawn == nil {
			c = append(c, r.contrastText(x))
		}
	}
	if r.set.Units > 0 {
		c = append(c, x.T("detection.size_is", "measures", r.measures(x)))
	} else {
		c = append(c, x.T("detection.from_table", "file", filepath.Base(r.set.from)))
	}
	scale := x.T("detection.scale_auto")
	if r.study.Scale != "" {
		scale = x.Named("detection.scale.", string(r.study.Scale))
	}
	return append(c, x.T("detection.curve", "scale", scale, "bound", string(x.Named("detection.bound.", string(r.study.Bound))),
		"confidence", fmt.Sprintf("%.3g", 100*r.study.Confidence)))
}

func scalesText(x *lang.Lang, v []float64) string {
	if len(v) == 0 {
		return x.T("detection.unknown")
	}
	if len(v) == 1 {
		return fmt.Sprintf("%.4g", v[0])
	}
	return x.T("span", "from", fmt.Sprintf("%.4g", v[0]), "to", fmt.Sprintf("%.4g", v[len(v)-1]))
}

func (r detectionRun) contrastText(x *lang.Lang) string {
	n, found := 0, 0
	for _, g := range r.groups {
		n, found = n+g.faint.Of, found+g.faint.Count
	}
	if r.options.All {
		return x.T("detection.contrast.all", "n", strconv.Itoa(n), "cnr", fmt.Sprintf("%g", r.options.MinCNR), "found", strconv.Itoa(found))
	}
	return x.T("detection.contrast", "cnr", fmt.Sprintf("%g", r.options.MinCNR), "n", strconv.Itoa(n), "found", strconv.Itoa(found))
}

func (r detectionRun) measures(x *lang.Lang) string {
	by := map[string][]string{}
	var order []string
	for _, g := range r.groups {
		if by[g.measure] == nil {
			order = append(order, g.measure)
		}
		by[g.measure] = append(by[g.measure], g.name(x))
	}
	for i, m := range order {
		order[i] = x.T("detection.measure_of", "measure", measureWord(x, m), "names", strings.Join(by[m], x.T("looked.comma")))
	}
	return strings.Join(order, x.T("detection.and_the"))
}

// terms are what the size and its bound are called: a90 and a90/95.
func (r detectionRun) terms() (size, bound string) {
	size = fmt.Sprintf("a%.3g", 100*r.study.Probability)
	return size, fmt.Sprintf("%s/%.3g", size, 100*r.study.Confidence)
}

// table has a row a group.
func (r detectionRun) table(x *lang.Lang) report.SheetTable {
	a90, bound := r.terms()
	t := report.SheetTable{
		Head: []string{x.T("detection.table.kind"), x.T("detection.table.found"), x.T("detection.table.sizes"), "a50 / mm",
			a90 + " / mm", bound + " / mm", x.T("detection.table.faint"), x.T("detection.table.right"), x.T("detection.table.false")},
		Numeric: []bool{false, true, true, true, true, true, true, true, true},
	}
	for _, g := range r.groups {
		d := g.stated
		t.Rows = append(t.Rows, []string{g.name(x), x.T("detection.n_of", "n", strconv.Itoa(d.Found), "of", strconv.Itoa(d.Of)),
			x.T("span", "from", fmt.Sprintf("%.2g", d.Smallest), "to", fmt.Sprintf("%.2g", d.Largest)), sizeText(d.A50), sizeText(d.A90),
			boundText(x, d), r.faintBound(x, g), rightText(x, g.right), rateText(x, g.falseCalls)})
		t.Marked = append(t.Marked, d.Basis == study.ByNone)
	}
	return t
}

func (r detectionRun) faintBound(x *lang.Lang, g detectionGroup) string {
	if r.options.All || g.all == nil {
		return "-"
	}
	return boundText(x, *g.all)
}

func sizeText(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3g", v)
}

func boundText(x *lang.Lang, d study.Detection) string {
	switch b, ok := d.Upper[d.Options.Bound]; {
	case d.Basis == study.ByCount:
		return x.T("detection.by_count", "size", fmt.Sprintf("%.3g", study.RoundUp(d.Size, 3)))
	case ok && d.Basis == study.ByNone:
		return fmt.Sprintf("(%.3g)", study.RoundUp(b, 3))
	case ok:
		return fmt.Sprintf("%.3g", study.RoundUp(b, 3))
	}
	return "-"
}

func rightText(x *lang.Lang, s study.Share) string {
	if s.Of == 0 {
		return "-"
	}
	return x.T("detection.n_of", "n", strconv.Itoa(s.Count), "of", strconv.Itoa(s.Of))
}

func rateText(x *lang.Lang, r study.Rate) string {
	if r.Units == 0 {
		return x.T("not_measured")
	}
	return fmt.Sprintf("%.2g [%.2g, %.2g]", r.Value(), r.Bounds.Lower, r.Bounds.Upper)
}

// section is one group's plot and numbers.
func (r detectionRun) section(x *lang.Lang, g detectionGroup) (report.SheetSection, []byte, error) {
	svg, alt, err := r.plot(x, g)
	if err != nil {
		return report.SheetSection{}, nil, err
	}
	sec := report.SheetSection{Heading: cli.UpperFirst(g.name(x)), Text: []string{g.statement(x)}}
	if svg != nil {
		sec.Figures = []report.SheetFigure{{SVG: svg, Alt: alt, Caption: cli.UpperFirst(alt) + x.T("page.full_stop")}}
	}
	_, bound := r.terms()
	if t := fitTable(x, g.stated, bound); len(t.Rows) > 0 {
		sec.Tables = append(sec.Tables, t)
	}
	return sec, svg, nil
}

// plot is the curve with its band, or, where there is none, the share found by
// size class. Nil where there is too little for either.
func (r detectionRun) plot(x *lang.Lang, g detectionGroup) (svg []byte, alt string, err error) {
	d := g.stated
	if d.Fit == nil {
		svg, err = r.classPlot(x, g)
		alt = x.T("detection.plot.classes", "name", g.name(x), "measure", measureWord(x, g.measure), "confidence",
			fmt.Sprintf("%.3g", 100*r.study.Confidence))
	} else {
		svg, err = r.curvePlot(x, g)
		alt = x.T("detection.plot.curve", "name", g.name(x), "measure", measureWord(x, g.measure), "confidence",
			fmt.Sprintf("%.3g", 100*r.study.Confidence))
	}
	if errors.Is(err, plots.ErrNothing) {
		return nil, "", nil
	}
	return svg, alt, err
}

func (r detectionRun) curvePlot(x *lang.Lang, g detectionGroup) ([]byte, error) {
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
	xs, y, lower, upper := d.Fit.Curve(from, to, 81, r.study.Confidence)
	hit, miss := plots.Series{Name: x.T("detection.table.found")}, plots.Series{Name: x.T("detection.plot.missed")}
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
		share := plots.Series{Name: x.T("detection.plot.share")}
		for _, t := range d.Targets {
			share.X, share.Y = append(share.X, t.Size), append(share.Y, float64(t.Found)/float64(t.Of))
		}
		points = []plots.Series{share}
	}
	return plots.Curve(plots.Options{X: measureWord(x, g.measure) + " / mm", Y: x.T("detection.plot.probability"),
		LogX: d.Fit.Scale == study.LogSize},
		plots.Band{X: xs, Y: y, Lower: lower, Upper: upper, Name: x.T("detection.plot.name"), BandName: x.T("detection.plot.band"),
			Points: points, MarkX: kept},
		plots.HLine{Name: fmt.Sprintf("%.3g %%", 100*r.study.Probability), Y: r.study.Probability, Dash: true})
}

// classPlot has up to five classes of about as many targets each.
func (r detectionRun) classPlot(x *lang.Lang, g detectionGroup) ([]byte, error) {
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
		names = append(names, classText(x, first, t.Size, found, n))
		v = append(v, plots.Interval{Lo: 100 * s.Bounds.Lower, Mid: 100 * s.Value(), Hi: 100 * s.Bounds.Upper})
		n, found = 0, 0
	}
	return plots.Intervals(plots.Options{Missing: x.T("not_measured"), X: measureWord(x, g.measure) + " / mm",
		Y: x.T("detection.plot.found"), HeightMM: 80}, names, v,
		plots.HLine{Name: fmt.Sprintf("%.3g %%", 100*r.study.Probability), Y: 100 * r.study.Probability, Dash: true})
}

func classText(x *lang.Lang, from, to float64, found, n int) string {
	if from == to {
		return x.T("detection.class", "size", fmt.Sprintf("%.2g", from), "found", strconv.Itoa(found), "n", strconv.Itoa(n))
	}
	return x.T("detection.class_span", "from", fmt.Sprintf("%.2g", from), "to", fmt.Sprintf("%.2g", to), "found", strconv.Itoa(found),
		"n", strconv.Itoa(n))
}

// fitTable has the curve's numbers; no rows where there is none.
func fitTable(x *lang.Lang, d study.Detection, bound string) report.SheetTable {
	t := report.SheetTable{Head: []string{x.T("detection.plot.name"), x.T("study.value")}, Numeric: []bool{false, true}}
	if d.Fit == nil {
		return t
	}
	f := d.Fit
	method := x.T("detection.fit.likelihood")
	if f.Penalised {
		method = x.T("detection.fit.firth")
	}
	chi, p := f.SlopeTest()
	t.Rows = [][]string{
		{x.T("detection.fit"), x.T("detection.fit.over", "method", method, "scale", x.Named("detection.scale.", string(f.Scale)))},
		{x.T("detection.fit.intercept"), fmt.Sprintf("%.4g (%.3g)", f.B0, math.Sqrt(f.Var0))},
		{x.T("detection.fit.slope"), fmt.Sprintf("%.4g (%.3g)", f.B1, math.Sqrt(f.Var1))},
		{x.T("detection.fit.slope_test"), x.T("detection.fit.chi", "chi", fmt.Sprintf("%.3g", chi), "p", fmt.Sprintf("%.2g", p))},
		{x.T("detection.fit.deviance"), x.T("detection.fit.deviance_value", "v", fmt.Sprintf("%.4g", f.Deviance), "null",
			fmt.Sprintf("%.4g", f.NullDeviance))},
	}
	if d.Checked != nil {
		p := d.Checked.Phrase()
		test := x.Say(&p)
		t.Rows = append(t.Rows, []string{x.T("detection.fit.form", "method", x.Named("study.method.", d.Checked.Method)), test})
	}
	for _, m := range []study.BoundMethod{study.LikelihoodRatio, study.WaldCurve, study.DeltaMethod} {
		v := x.T("detection.fit.no_bound")
		if b, ok := d.Upper[m]; ok {
			v = fmt.Sprintf("%.4g %s", study.RoundUp(b, 4), d.Options.Unit)
		}
		t.Rows = append(t.Rows, []string{x.T("scale.about", "file", bound, "what", x.Named("detection.bound.", string(m))), v})
	}
	return t
}

// statementFile is the statement with its conditions, for docs/measured.md.
func (r detectionRun) statementFile() []byte {
	x := lang.English()
	var b bytes.Buffer
	fmt.Fprintf(&b, "What is found (%s, finishbench %s):\n\n", r.date, cli.Version)
	for _, g := range r.groups {
		fmt.Fprintf(&b, "- %s\n", g.statement(x))
	}
	t := r.table(x)
	fmt.Fprintf(&b, "\n| %s |\n|%s\n", strings.Join(t.Head, " | "), strings.Repeat("---|", len(t.Head)))
	for _, row := range t.Rows {
		fmt.Fprintf(&b, "| %s |\n", strings.Join(row, " | "))
	}
	fmt.Fprintf(&b, "\nConditions: %s\n", strings.Join(r.conditions(x)[1:], " "))
	if w := r.warnings(x); len(w) > 0 {
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

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"` // to be told in any language
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
	x := lang.English()
	rating, _ := r.rating(x)
	v := Numbers{Date: r.date, Version: cli.Version, Verdict: rating, Probability: r.study.Probability, Confidence: r.study.Confidence,
		Bound: r.study.Bound,
		Units: r.set.Units, Repeats: r.set.repeats, NoResult: r.set.noResult, NotMeasured: r.set.notSeen, Conditions: r.conditions(x),
		Warnings: r.warnings(x)}
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
	x := lang.English()
	d := g.stated
	v := detectionGroupJSON{Kind: g.kind, Faceplates: g.where, Measure: g.measure, Statement: g.statement(x), Basis: d.Basis,
		SizeMM: part.Num(d.Size), Found: studies.NewShareJSON(d.All),
		A50MM: part.Num(d.A50), A90MM: part.Num(d.A90), FaintFound: studies.NewShareJSON(g.faint), RightKind: studies.NewShareJSON(g.right),
		FalseCalls: newRateJSON(g.falseCalls), Warnings: x.SayAll(d.Warnings()), WarningPhrases: d.Warnings()}
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
		v.Curve = &curveJSON{Scale: f.Scale, Penalised: f.Penalised, B0: f.B0, B1: f.B1, Var0: f.Var0, Var1: f.Var1, Cov01: f.Cov01,
			Deviance: f.Deviance}
		if d.Checked != nil {
			v.Curve.Check, v.Curve.CheckP = d.Checked.Method, &d.Checked.P
		}
	}
	return v
}
