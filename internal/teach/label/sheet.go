package label

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// learnSheet is the page of one fit.
type learnSheet struct {
	x         *lang.Lang
	set       *Set
	o         *learn.Outcome
	p         learn.Params
	old       *inspection.KindModel // in force now; nil: the rules
	fitted    *inspection.KindModel // nil: refused
	inRecords bool
	now       time.Time
	crop      func(id int64, f part.Finding) (report.Crop, error) // nil: no records, no pictures
}

// How much of what there may be thousands of is shown.
const (
	learnPictures = 24
	learnRows     = 60
	learnAlike    = 12
	learnWeights  = 6
)

func (s learnSheet) t(key string, args ...string) string { return s.x.T("learn."+key, args...) }

// kind is one in words.
func (s learnSheet) kind(k part.Kind) string { return s.x.Named("noun.", string(k)) }

// counted is "3 units" or "3 findings".
func (s learnSheet) counted(what string, n int) string { return s.t(what, "n", strconv.Itoa(n)) }

func (s learnSheet) sheet() report.Sheet {
	sh := report.Sheet{Title: s.t("title"), Subject: s.set.from, Rating: report.Unrated, Word: s.t("refused"), Line: s.line(), Lang: s.x,
		Reasons: s.x.SayAll(s.o.Refused), Warnings: s.warnings(),
		Cautions: []string{s.t("caution.1"), s.t("caution.2"), s.t("caution.3")}, // what the page does not say
		Facts: []report.Fact{
			{Name: s.t("fact.labels"), Value: s.t("fact.labels_of", "labels", strconv.Itoa(s.o.Used), "n", strconv.Itoa(s.o.Units))},
			{Name: s.t("fact.in_force"), Value: s.inForce()},
		}}
	if s.fitted != nil {
		sh.Rating, sh.Word = report.Good, s.t("better")
		sh.Facts = append(sh.Facts, report.Fact{Name: s.t("fact.fitted"), Value: s.fitted.Name})
	}
	if t := s.o.Trial; t != nil {
		right := func(n int) string {
			return s.t("right_of", "n", strconv.Itoa(n), "of", strconv.Itoa(t.Labels), "share",
				s.x.ShownShare(float64(n)/float64(t.Labels)))
		}
		sh.Facts = append(sh.Facts,
			report.Fact{Name: s.t("fact.right_now"), Value: right(t.OldRight)},
			report.Fact{Name: s.t("fact.right_after"), Value: right(t.NewRight)},
			report.Fact{Name: s.t("fact.units"), Value: s.t("fact.by_chance", "better", strconv.Itoa(t.Better), "worse",
				strconv.Itoa(t.Worse), "p", s.x.ShownP(t.P))})
	}
	sh.Sections = append(sh.Sections, s.counts())
	if s.o.Trial != nil {
		sh.Sections = append(sh.Sections, s.confusion(), s.changes())
	}
	if len(s.o.Disagree)+len(s.o.Alike) > 0 {
		sh.Sections = append(sh.Sections, s.contradictions())
	}
	if s.o.Model != nil {
		sh.Sections = append(sh.Sections, s.weights())
	}
	return sh
}

func (s learnSheet) inForce() string {
	if s.old == nil {
		return s.t("rules_alone")
	}
	return s.t("model", "name", s.old.Name)
}

func (s learnSheet) line() string {
	switch {
	case s.fitted == nil && s.o.Trial == nil:
		return s.t("line.little")
	case s.fitted == nil:
		return s.t("line.no_gain")
	case s.inRecords:
		return s.t("line.accept", "name", s.fitted.Name)
	}
	return s.t("line.file")
}

func (s learnSheet) warnings() []string {
	w := s.x.SayAll(s.o.Warnings)
	for _, about := range []struct {
		n    int
		what string
	}{{len(s.o.Disagree), "disagree"}, {len(s.o.Alike), "alike"}, {s.set.None, "none"}, {s.set.gone, "gone"}, {s.set.Blind, "blind"}} {
		if about.n > 0 {
			w = append(w, s.counted("warn."+about.what, about.n))
		}
	}
	return w
}

// heads are the headings of columns.
func (s learnSheet) heads(keys ...string) []string {
	out := make([]string, len(keys))
	for i, k := range keys {
		out[i] = s.t("head." + k)
	}
	return out
}

func (s learnSheet) counts() report.SheetSection {
	t := report.SheetTable{Head: s.heads("kind", "labels", "units", "learned", "needed"), Numeric: []bool{false, true, true}}
	for _, c := range s.o.Counts {
		learnt, missing := s.t("yes"), ""
		if !c.Learnt {
			learnt = s.t("no")
		}
		if p := c.Missing(s.p); p.Key != "" {
			missing = s.x.Say(&p)
		}
		t.Rows = append(t.Rows, []string{s.kind(c.Kind), strconv.Itoa(c.Labels), strconv.Itoa(c.Units), learnt, missing})
		t.Marked = append(t.Marked, !c.Learnt)
	}
	text := s.t("counts", "labels", strconv.Itoa(s.p.MinPerKind), "units", strconv.Itoa(s.p.MinUnitsPerKind), "all_labels",
		strconv.Itoa(s.p.MinLabels), "all_units", strconv.Itoa(s.p.MinUnits))
	return report.SheetSection{Heading: s.t("fact.labels"), Text: []string{text}, Tables: []report.SheetTable{t}}
}

func (s learnSheet) confusion() report.SheetSection {
	t := s.o.Trial
	table := func(caption string, m [][]int) report.SheetTable {
		x := report.SheetTable{Caption: caption, Head: s.heads("labelled"), Numeric: []bool{false}}
		for _, k := range t.Kinds {
			x.Head, x.Numeric = append(x.Head, s.t("head.called", "kind", s.kind(k))), append(x.Numeric, true)
		}
		x.Head, x.Numeric = append(x.Head, s.t("head.right")), append(x.Numeric, true)
		for i, k := range t.Kinds {
			row := []string{s.kind(k)}
			n := 0
			for _, v := range m[i] {
				n += v
				row = append(row, blankZero(v))
			}
			right := s.x.ShownShare(float64(m[i][i]) / float64(n))
			if n > 0 {
				x.Rows = append(x.Rows, append(row, right))
			}
		}
		return x
	}
	text := []string{s.t("calls.how", "folds", strconv.Itoa(t.Folds), "p", fmt.Sprintf("%.2g", s.p.MaxP))}
	return report.SheetSection{Heading: s.t("calls.title"), Text: text,
		Tables: []report.SheetTable{table(s.t("calls.now"), t.Old), table(s.t("calls.after"), t.New)}}
}

func blankZero(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}

// effect is the key of what a change does.
func effect(c learn.Change) string {
	switch c.Right() {
	case 1:
		return "better"
	case -1:
		return "worse"
	}
	return "wrong"
}

// changes shows what would be called differently, what gets worse first.
func (s learnSheet) changes() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("changes.title")}
	all := slices.Clone(s.o.Trial.Changes)
	slices.SortStableFunc(all, func(a, b learn.Change) int {
		return cmp.Or(cmp.Compare(a.Right(), b.Right()), cmp.Compare(a.Example.Unit, b.Example.Unit))
	})
	if len(all) == 0 {
		sec.Text = []string{s.t("changes.none")}
		return sec
	}
	var units []string
	for _, c := range all {
		units = append(units, c.Example.Unit)
	}
	slices.Sort(units)
	units = slices.Compact(units)
	sec.Text = []string{s.t("changes.some", "findings", s.counted("findings", len(all)), "units", s.counted("units", len(units)), "names",
		strings.Join(units, s.x.T("join.names")))}
	t := report.SheetTable{Head: s.heads("unit", "where", "labelled", "by", "now", "after", "confidence", "effect", "speaks"),
		Numeric: []bool{6: true}}
	gone := 0
	for i, c := range all {
		if i < learnRows {
			t.Rows = append(t.Rows, []string{c.Example.Unit, s.place(c.Example), s.kind(c.Example.Kind), c.Example.By, s.kind(c.Old),
				s.kind(c.New), fmt.Sprintf("%.2f", c.Confidence), s.t("effect." + effect(c)), s.why(c.Why)})
			t.Marked = append(t.Marked, c.Right() < 0)
		}
		if i >= learnPictures {
			continue
		}
		if p, ok := s.picture(c); ok {
			sec.Pictures = append(sec.Pictures, p)
		} else {
			gone++
		}
	}
	if n := len(all) - learnRows; n > 0 {
		sec.Text = append(sec.Text, s.t("changes.rest", "n", strconv.Itoa(learnRows), "more", strconv.Itoa(n)))
	}
	switch {
	case s.crop == nil:
		sec.Text = append(sec.Text, s.t("changes.table_only"))
	case gone > 0:
		sec.Text = append(sec.Text, s.t("changes.gone", "findings", s.counted("findings", gone)))
	}
	sec.Tables = []report.SheetTable{t}
	return sec
}

func (s learnSheet) picture(c learn.Change) (report.SheetPicture, bool) {
	src, ok := s.set.source(c.Example)
	if !ok || s.crop == nil {
		return report.SheetPicture{}, false
	}
	crop, err := s.crop(src.inspection, src.finding)
	if err != nil {
		return report.SheetPicture{}, false
	}
	caption := s.t("picture", "unit", c.Example.Unit, "where", s.place(c.Example), "label", s.kind(c.Example.Kind), "now", s.kind(c.Old),
		"after", s.kind(c.New))
	return report.SheetPicture{JPEG: crop.JPEG, W: crop.W, H: crop.H, Alt: caption, Caption: caption}, true
}

// place says which finding of a unit it is, where a label of the records names it by numbers.
func (s learnSheet) place(e learn.Example) string {
	var inspection, finding string
	if n, _ := fmt.Sscanf(e.Place, "inspection %s finding %s", &inspection, &finding); n == 2 {
		return s.t("place", "inspection", strings.TrimSuffix(inspection, ","), "finding", finding)
	}
	if n, _ := fmt.Sscanf(e.Place, "finding %s", &finding); n == 1 {
		return s.t("place_finding", "finding", finding)
	}
	return e.Place
}

// why names the weightiest things that speak for a call.
func (s learnSheet) why(parts []learn.Part) string {
	var out []string
	for _, p := range parts {
		if len(out) == 3 || p.Adds < 0.2 {
			continue
		}
		out = append(out, fmt.Sprintf("%s (%+.1f)", s.x.Say(&p.What), p.Adds))
	}
	return strings.Join(out, s.x.T("join.names"))
}

func (s learnSheet) feature(name string) string { return s.x.Named("learn.feature.", name) }

func (s learnSheet) contradictions() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("against.title")}
	said := func(e learn.Example) string {
		if e.By == "" {
			return s.kind(e.Kind)
		}
		return s.t("label_by", "kind", s.kind(e.Kind), "by", e.By)
	}
	if len(s.o.Disagree) > 0 {
		t := report.SheetTable{Caption: s.t("against.same"), Head: append(s.heads("unit", "where", "labelled"), s.t("against.and"))}
		for _, c := range s.o.Disagree[:min(len(s.o.Disagree), learnRows)] {
			t.Rows = append(t.Rows, []string{c.A.Unit, s.place(c.A), said(c.A), said(c.B)})
		}
		sec.Tables = append(sec.Tables, t)
	}
	if len(s.o.Alike) > 0 {
		t := report.SheetTable{Caption: s.t("against.alike"), Head: append(s.heads("unit", "where", "labelled", "unit", "where",
			"labelled"), s.t("against.apart")), Numeric: []bool{6: true}}
		for _, c := range s.o.Alike[:min(len(s.o.Alike), learnAlike)] {
			t.Rows = append(t.Rows, []string{c.A.Unit, s.place(c.A), said(c.A), c.B.Unit, s.place(c.B), said(c.B),
				fmt.Sprintf("%.3f", c.Far)})
		}
		sec.Tables = append(sec.Tables, t)
	}
	return sec
}

// weights tells the weightiest features of each kind.
func (s learnSheet) weights() report.SheetSection {
	m := s.o.Model
	t := report.SheetTable{Head: append(s.heads("kind"), s.t("weights.more"), s.t("weights.less"))}
	for _, k := range m.Kinds {
		names := make([]string, 0, len(m.Features))
		for _, f := range m.Features {
			names = append(names, f.Name)
		}
		slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(math.Abs(k.Weights[b]), math.Abs(k.Weights[a])) })
		var more, less []string
		for _, n := range names[:min(len(names), learnWeights)] {
			if w := fmt.Sprintf("%s (%+.2f)", s.feature(n), k.Weights[n]); k.Weights[n] > 0 {
				more = append(more, w)
			} else {
				less = append(less, w)
			}
		}
		t.Rows = append(t.Rows, []string{s.kind(k.Kind), strings.Join(more, s.x.T("join.names")), strings.Join(less, s.x.T("join.names"))})
	}
	text := s.t("weights.how", "prior", fmt.Sprintf("%.3g", m.Prior), "n", strconv.Itoa(learnWeights))
	return report.SheetSection{Heading: s.t("weights.title"), Text: []string{text}, Tables: []report.SheetTable{t}}
}
