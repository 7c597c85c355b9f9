package label

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// learnSheet is the page of one fit.
type learnSheet struct {
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

// learnCautions are what the page does not say.
var learnCautions = []string{
	"Right is what people said. Where they are wrong, so is what is learned from them.",
	"The figures hold for units like these: other lacquers, lights and cameras want labels of their own.",
	"A model tells kinds apart. It finds nothing that was not found before, and leaves nothing out.",
}

func (s learnSheet) sheet() report.Sheet {
	sh := report.Sheet{Title: "Learning kinds from labels", Subject: s.set.from, Rating: report.Unrated, Word: "refused", Line: s.line(),
		Reasons: s.o.Refused, Warnings: s.warnings(), Cautions: learnCautions,
		Facts: []report.Fact{
			{Name: "Labels", Value: fmt.Sprintf("%d, of %s", s.o.Used, cli.Counted(s.o.Units, "unit", "units"))},
			{Name: "In force now", Value: s.inForce()},
		}}
	if s.fitted != nil {
		sh.Rating, sh.Word = report.Good, "better"
		sh.Facts = append(sh.Facts, report.Fact{Name: "Fitted model, not in force", Value: s.fitted.Name})
	}
	if t := s.o.Trial; t != nil {
		sh.Facts = append(sh.Facts,
			report.Fact{Name: "Right kind now", Value: calledRightText(t.OldRight, t.Labels)},
			report.Fact{Name: "Right kind after learning, on units left out", Value: calledRightText(t.NewRight, t.Labels)},
			report.Fact{Name: "Units better, worse", Value: fmt.Sprintf("%d, %d (by chance: %s)", t.Better, t.Worse,
				lang.English().ShownP(t.P))})
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

func calledRightText(n, of int) string {
	return fmt.Sprintf("%d of %d (%s)", n, of, lang.English().ShownShare(float64(n)/float64(of)))
}

func (s learnSheet) inForce() string {
	if s.old == nil {
		return "the rules alone"
	}
	return "model " + s.old.Name
}

func (s learnSheet) line() string {
	switch {
	case s.fitted == nil && s.o.Trial == nil:
		return "There is too little to learn from; nothing was kept."
	case s.fitted == nil:
		return "Learning gains nothing that is sure; nothing was kept, and calls stay as they are."
	case s.inRecords:
		return fmt.Sprintf("On units left out more findings are called right than now. Nothing has changed yet: 'inspect learn accept %s' puts the model in force.", s.fitted.Name)
	}
	return "On units left out more findings are called right than now. Nothing has changed yet: 'inspect unit --kind-model' uses the model's file."
}

func (s learnSheet) warnings() []string {
	w := slices.Clone(s.o.Warnings)
	if n := len(s.o.Disagree); n > 0 {
		w = append(w, fmt.Sprintf("%s labelled otherwise by others, or at another time: left out, until those who labelled agree (below)",
			cli.Counted(n, "finding is", "findings are")))
	}
	if n := len(s.o.Alike); n > 0 {
		w = append(w, fmt.Sprintf("%s of findings look alike and are labelled as different kinds: look at them again (below)",
			cli.Counted(n, "pair", "pairs")))
	}
	for _, x := range []struct {
		n         int
		one, many string
	}{
		{s.set.None, "label says that a finding is no defect: nothing to tell kinds by",
			"labels say that a finding is no defect: nothing to tell kinds by"},
		{s.set.gone, "label is of an inspection that was withdrawn or corrected: left out",
			"labels are of inspections that were withdrawn or corrected: left out"},
		{s.set.Blind, "label is of a finding without features: left out", "labels are of findings without features: left out"},
	} {
		if x.n > 0 {
			w = append(w, cli.Counted(x.n, x.one, x.many))
		}
	}
	return w
}

func (s learnSheet) counts() report.SheetSection {
	t := report.SheetTable{Head: []string{"Kind", "Labels", "Units", "Learned", "Still needed"}, Numeric: []bool{false, true, true}}
	for _, c := range s.o.Counts {
		learnt := "yes"
		if !c.Learnt {
			learnt = "no, left to the rules"
		}
		t.Rows = append(t.Rows, []string{string(c.Kind), fmt.Sprint(c.Labels), fmt.Sprint(c.Units), learnt, c.Missing(s.p)})
		t.Marked = append(t.Marked, !c.Learnt)
	}
	text := fmt.Sprintf("A kind is learned from %d labels of %d units on; before, it is left to the rules. In all %d labels of %d units are needed.", s.p.MinPerKind, s.p.MinUnitsPerKind, s.p.MinLabels, s.p.MinUnits)
	return report.SheetSection{Heading: "Labels", Text: []string{text}, Tables: []report.SheetTable{t}}
}

func (s learnSheet) confusion() report.SheetSection {
	t := s.o.Trial
	table := func(caption string, m [][]int) report.SheetTable {
		x := report.SheetTable{Caption: caption, Head: []string{"Labelled"}, Numeric: []bool{false}}
		for _, k := range t.Kinds {
			x.Head, x.Numeric = append(x.Head, "called "+string(k)), append(x.Numeric, true)
		}
		x.Head, x.Numeric = append(x.Head, "right"), append(x.Numeric, true)
		for i, k := range t.Kinds {
			row := []string{string(k)}
			n := 0
			for _, v := range m[i] {
				n += v
				row = append(row, blankZero(v))
			}
			right := lang.English().ShownShare(float64(m[i][i]) / float64(n))
			if n > 0 {
				x.Rows = append(x.Rows, append(row, right))
			}
		}
		return x
	}
	text := []string{fmt.Sprintf("The units were dealt into %d groups; the findings of each group are called by a model fitted to the others, so that no unit is called by a model that has seen it. Chance: how likely at least so many units would come off better by chance alone (sign test, one-sided); at most %.2g is asked for.", t.Folds, s.p.MaxP)}
	return report.SheetSection{Heading: "Calls on units left out", Text: text,
		Tables: []report.SheetTable{table("Now", t.Old), table("After learning", t.New)}}
}

func blankZero(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}

func rightWord(c learn.Change) string {
	switch c.Right() {
	case 1:
		return "better"
	case -1:
		return "worse"
	}
	return "wrong before and after"
}

// changes shows what would be called differently, what gets worse first.
func (s learnSheet) changes() report.SheetSection {
	sec := report.SheetSection{Heading: "Called differently"}
	all := slices.Clone(s.o.Trial.Changes)
	slices.SortStableFunc(all, func(a, b learn.Change) int {
		return cmp.Or(cmp.Compare(a.Right(), b.Right()), cmp.Compare(a.Example.Unit, b.Example.Unit))
	})
	if len(all) == 0 {
		sec.Text = []string{"None would be called differently."}
		return sec
	}
	var units []string
	for _, c := range all {
		units = append(units, c.Example.Unit)
	}
	slices.Sort(units)
	units = slices.Compact(units)
	sec.Text = []string{fmt.Sprintf("%s of %s would be called differently: %s. Each kind has limits of its own, so that verdicts may change with it.", cli.Counted(len(all), "finding", "findings"), cli.Counted(len(units), "unit", "units"), strings.Join(units, ", "))}
	t := report.SheetTable{Head: []string{"Unit", "Where", "Labelled", "By", "Now", "After", "Confidence", "Effect",
		"What speaks for it"}, Numeric: []bool{6: true}}
	gone := 0
	for i, c := range all {
		if i < learnRows {
			t.Rows = append(t.Rows, []string{c.Example.Unit, c.Example.Place, string(c.Example.Kind), c.Example.By, string(c.Old),
				string(c.New), fmt.Sprintf("%.2f", c.Confidence), rightWord(c), whyText(c.Why)})
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
		sec.Text = append(sec.Text, fmt.Sprintf("The table ends after %d; %d more are left out.", learnRows, n))
	}
	switch {
	case s.crop == nil:
		sec.Text = append(sec.Text, "A table has no pictures: with labels of the records they are shown here.")
	case gone > 0:
		sec.Text = append(sec.Text, fmt.Sprintf("Of %s the picture is not kept any more.", cli.Counted(gone, "finding", "findings")))
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
	caption := fmt.Sprintf("%s, %s: labelled %s, called %s now, %s after learning", c.Example.Unit, c.Example.Place, c.Example.Kind,
		c.Old, c.New)
	return report.SheetPicture{JPEG: crop.JPEG, W: crop.W, H: crop.H, Alt: caption, Caption: caption}, true
}

// whyText names the weightiest things that speak for a call.
func whyText(parts []learn.Part) string {
	var s []string
	for _, p := range parts {
		if len(s) == 3 || p.Adds < 0.2 {
			continue
		}
		s = append(s, fmt.Sprintf("%s (%+.1f)", featureWords(p.What), p.Adds))
	}
	return strings.Join(s, ", ")
}

func featureWords(name string) string { return strings.ReplaceAll(name, "_", " ") }

func (s learnSheet) contradictions() report.SheetSection {
	sec := report.SheetSection{Heading: "Labels that contradict each other"}
	said := func(e learn.Example) string {
		if e.By == "" {
			return string(e.Kind)
		}
		return string(e.Kind) + " (" + e.By + ")"
	}
	if len(s.o.Disagree) > 0 {
		t := report.SheetTable{Caption: "The same finding", Head: []string{"Unit", "Where", "Labelled", "and"}}
		for _, c := range s.o.Disagree[:min(len(s.o.Disagree), learnRows)] {
			t.Rows = append(t.Rows, []string{c.A.Unit, c.A.Place, said(c.A), said(c.B)})
		}
		sec.Tables = append(sec.Tables, t)
	}
	if len(s.o.Alike) > 0 {
		t := report.SheetTable{Caption: "Findings that look alike", Head: []string{"Unit", "Where", "Labelled", "Unit", "Where",
			"Labelled", "Apart, SD"}, Numeric: []bool{6: true}}
		for _, c := range s.o.Alike[:min(len(s.o.Alike), learnAlike)] {
			t.Rows = append(t.Rows, []string{c.A.Unit, c.A.Place, said(c.A), c.B.Unit, c.B.Place, said(c.B), fmt.Sprintf("%.3f", c.Far)})
		}
		sec.Tables = append(sec.Tables, t)
	}
	return sec
}

// weights tells the weightiest features of each kind.
func (s learnSheet) weights() report.SheetSection {
	m := s.o.Model
	t := report.SheetTable{Head: []string{"Kind", "More likely with more", "Less likely with more"}}
	for _, k := range m.Kinds {
		names := make([]string, 0, len(m.Features))
		for _, f := range m.Features {
			names = append(names, f.Name)
		}
		slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(math.Abs(k.Weights[b]), math.Abs(k.Weights[a])) })
		var more, less []string
		for _, n := range names[:min(len(names), learnWeights)] {
			if w := fmt.Sprintf("%s (%+.2f)", featureWords(n), k.Weights[n]); k.Weights[n] > 0 {
				more = append(more, w)
			} else {
				less = append(less, w)
			}
		}
		t.Rows = append(t.Rows, []string{string(k.Kind), strings.Join(more, ", "), strings.Join(less, ", ")})
	}
	text := fmt.Sprintf("Each kind has a score: %.3g where the rules call it so, plus a start (how often there is such) and a weight for each feature times how many standard deviations it is off its mean. The kind of the highest score is called. The weightiest %d of each kind:", m.Prior, learnWeights)
	return report.SheetSection{Heading: "The model", Text: []string{text}, Tables: []report.SheetTable{t}}
}
