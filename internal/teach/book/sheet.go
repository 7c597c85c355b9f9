package book

import (
	"context"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stats/study"
	"finishbench/internal/teach"
)

// QuizSheet makes the page of a taken test, in a language.
type QuizSheet struct {
	L       *lang.Lang
	Who     string // "": erased
	Quiz    teach.Quiz
	Attempt teach.Attempt
	Score   teach.Score
	picture func(teach.ItemPicture) ([]byte, error)
}

func (s QuizSheet) t(key string, args ...string) string { return s.L.T("quiz.result."+key, args...) }

func quizTitle(q teach.Quiz) string {
	if q.Test.Spec.Name == "" {
		return q.Name
	}
	return q.Name + " " + q.Test.Spec.Name
}

func (s QuizSheet) fitness(f study.Fitness) string {
	if f == study.FitUnknown || f == "" {
		return s.t("not_measured")
	}
	return s.t(string(f))
}

func (s QuizSheet) person() string {
	if s.Who == "" {
		return s.t("erased")
	}
	return s.Who
}

// Sheet is the page.
func (s QuizSheet) Sheet() report.Sheet {
	v := s.Score.Verdict
	sh := report.Sheet{Title: s.t("title"), Subject: s.t("who", "who", s.person(), "title", quizTitle(s.Quiz), "day", day(s.Attempt.Last)),
		Lang: s.L, Cautions: report.AllCautions(s.L),
		Rating: studies.FitnessRating[v.Fitness], Word: s.fitness(v.Fitness), Line: s.t("line", "right", strconv.Itoa(v.Right.Count), "n",
			strconv.Itoa(v.Right.Of))}
	if sh.Rating == "" {
		sh.Rating = report.Unrated
	}
	sh.Facts = s.facts()
	if s.Score.Gone > 0 {
		sh.Warnings = append(sh.Warnings, s.t("gone", "n", strconv.Itoa(s.Score.Gone)))
	}
	if s.Score.TimeOver > 0 {
		sh.Warnings = append(sh.Warnings, s.t("over", "n", strconv.Itoa(s.Score.TimeOver)))
	}
	if c := s.Quiz.Test.Spec.Asked(); s.Score.Clean < c.MinClean || s.Score.Defective < c.MinDefective {
		sh.Warnings = append(sh.Warnings, s.t("few", "good", strconv.Itoa(s.Score.Clean), "bad", strconv.Itoa(s.Score.Defective)))
	}
	sh.Sections = []report.SheetSection{s.measures(), s.kinds(), s.sizes(), s.consistency(), s.mistakes(), s.method()}
	return sh
}

func (s QuizSheet) percent(v float64) string { return s.L.Number(100*v, 1) }

// percentText is a share in percent; NaN was not measured.
func percentText(l *lang.Lang, v float64) string {
	if math.IsNaN(v) {
		return l.T("not_measured")
	}
	return l.Number(100*v, 1) + " %"
}

// share is a share with its interval.
func (s QuizSheet) share(v study.Share) string {
	if v.Of == 0 {
		return s.L.T("not_measured")
	}
	return s.t("share", "v", s.percent(v.Value()), "count", strconv.Itoa(v.Count), "of", strconv.Itoa(v.Of), "lo",
		s.percent(v.Bounds.Lower), "hi", s.percent(v.Bounds.Upper))
}

func (s QuizSheet) kappa(k study.Kappa, err error) string {
	switch {
	case errors.Is(err, study.ErrNoKappa):
		return s.t("one_sort")
	case err != nil:
		return s.L.T("not_measured")
	case math.IsNaN(k.Bounds.Lower):
		return s.t("kappa_alone", "v", s.L.Number(k.Value, 2))
	}
	return s.t("kappa_value", "v", s.L.Number(k.Value, 2), "lo", s.L.Number(k.Bounds.Lower, 2), "hi", s.L.Number(k.Bounds.Upper, 2))
}

func (s QuizSheet) mm(v float64) string {
	if math.IsNaN(v) {
		return s.L.T("not_measured")
	}
	return s.t("mm", "v", s.L.Number(v, 2))
}

func (s QuizSheet) facts() []report.Fact {
	found, v := s.Score.Found(), s.Score.Verdict
	return []report.Fact{
		{Name: s.t("effectiveness"), Value: percentText(s.L, v.Effective.Value())}, {Name: s.t("miss"),
			Value: percentText(s.L, v.Miss.Value())}, {Name: s.t("false_alarm"), Value: percentText(s.L, v.FalseAlarm.Value())},
		{Name: s.t("found"), Value: s.t("share_bare", "count", strconv.Itoa(found.Count), "of",
			strconv.Itoa(found.Of))}, {Name: s.t("false_marks"), Value: strconv.Itoa(s.Score.FalseMarks.Count)},
		{Name: s.t("size"), Value: s.mm(s.Score.SpotSizeMM())}, {Name: s.t("off"),
			Value: s.mm(s.Score.MedianOffMM())}, {Name: s.t("time"), Value: s.L.Number(s.Score.MedianS, 0) + " s"},
	}
}

func (s QuizSheet) measures() report.SheetSection {
	v, lim := s.Score.Verdict, s.Score.Options.Limits
	least := s.t("at_least", "good", s.L.Number(100*lim.GoodEffective, 0), "fair", s.L.Number(100*lim.FairEffective, 0))
	most := func(good, fair float64) string {
		return s.t("at_most", "good", s.L.Number(100*good, 0), "fair", s.L.Number(100*fair, 0))
	}
	return report.SheetSection{Heading: s.t("measures"), Text: []string{s.t("source")}, Tables: []report.SheetTable{{
		Head: []string{s.t("measure"), s.t("value"), s.t("criterion"), s.t("judged")},
		Rows: [][]string{
			{s.t("effectiveness"), s.share(v.Effective), least, s.fitness(v.Effectiveness)},
			{s.t("miss"), s.share(v.Miss), most(lim.GoodMiss, lim.FairMiss), s.fitness(v.Misses)},
			{s.t("false_alarm"), s.share(v.FalseAlarm), most(lim.GoodFalseAlarm, lim.FairFalseAlarm), s.fitness(v.FalseAlarms)},
			{s.t("kappa"), s.kappa(v.Reference, v.ReferenceErr), "", ""},
			{s.t("seen"), s.kappa(s.Score.Seen.Reference, s.Score.Seen.ReferenceErr), "", ""},
		},
		Marked: []bool{v.Effectiveness == study.FitUnacceptable, v.Misses == study.FitUnacceptable,
			v.FalseAlarms == study.FitUnacceptable, false, false},
	}}}
}

func (s QuizSheet) kind(k part.Kind) string { return s.L.T("kind." + string(k)) }

func (s QuizSheet) kinds() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("kinds")}
	if s.Score.KindErr != nil {
		sec.Text = []string{s.t("one_kind")}
	} else {
		sec.Text = []string{s.t("kind_kappa", "k", s.kappa(s.Score.Kind, nil))}
	}
	t := report.SheetTable{Head: []string{s.t("kind"), s.t("hits"), s.t("missed"), s.t("right_kind"), s.t("false_by_kind")},
		Numeric: []bool{false, false, true, false, true}}
	for _, k := range s.Score.Kinds {
		missed := ""
		if k.Found.Of > 0 {
			missed = strconv.Itoa(k.Missed())
		}
		right := ""
		if k.RightKind.Of > 0 {
			right = s.t("share_bare", "count", strconv.Itoa(k.RightKind.Count), "of", strconv.Itoa(k.RightKind.Of))
		}
		found := ""
		if k.Found.Of > 0 {
			found = s.share(k.Found)
		}
		t.Rows = append(t.Rows, []string{s.kind(k.Kind), found, missed, right, strconv.Itoa(k.FalseMarks)})
	}
	sec.Tables = append(sec.Tables, t)
	if c := s.Score.Confusion; len(c.Kinds) > 1 {
		m := report.SheetTable{Caption: s.t("confusion"), Head: []string{""}, Numeric: []bool{false}}
		for _, k := range c.Kinds {
			m.Head, m.Numeric = append(m.Head, s.kind(k)), append(m.Numeric, true)
		}
		m.Head, m.Numeric = append(m.Head, s.t("missed")), append(m.Numeric, true)
		for i, k := range c.Kinds {
			row := []string{s.kind(k)}
			for _, n := range c.Counts[i] {
				row = append(row, strconv.Itoa(n))
			}
			m.Rows = append(m.Rows, append(row, strconv.Itoa(c.Missed[i])))
		}
		sec.Tables = append(sec.Tables, m)
	}
	return sec
}

func (s QuizSheet) sizes() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("smallest")}
	t := report.SheetTable{Head: []string{s.t("kind"), s.t("hits"), s.t("seen9"), s.t("bound")}}
	for _, c := range s.Score.Curves {
		name := s.t("spots")
		if c.Kind != "" {
			name = s.kind(c.Kind)
		}
		name = s.t("size_of", "kind", name, "measure", s.t("by."+c.Measure))
		d := c.Detection
		if c.Err != nil {
			continue
		}
		row := []string{name, s.t("share_bare", "count", strconv.Itoa(d.Found), "of", strconv.Itoa(d.Of)),
			s.t("none_stated", "n", strconv.Itoa(d.Of)), s.mm(c.BoundMM())}
		switch mm, seen := c.Size(); seen {
		case teach.SeenFrom, teach.SeenAll:
			row[2] = s.mm(mm)
		case teach.SeenBelow:
			row[2] = s.t("below", "v", s.L.Number(mm, 2))
		case teach.SeenAbove:
			row[2] = s.t("above", "v", s.L.Number(d.Largest, 2))
		case teach.SeenFew:
			row[2] = s.t("all_found", "n", strconv.Itoa(d.Of), "v", s.L.Number(d.Smallest, 2))
		}
		t.Rows = append(t.Rows, row)
		if c.Kind == "" && d.Fit != nil {
			if svg := s.curve(d); svg != nil {
				sec.Figures = append(sec.Figures, report.SheetFigure{SVG: svg, Alt: s.t("plot_alt"), Caption: name})
			}
		}
	}
	sec.Tables = []report.SheetTable{t}
	return sec
}

// curve is the plot of the share seen over size; nil where there is none.
func (s QuizSheet) curve(d study.Detection) []byte {
	b := plots.Band{Name: s.t("curve"), BandName: s.t("band")}
	b.X, b.Y, b.Lower, b.Upper = d.Fit.Curve(d.Smallest, d.Largest, 60, d.Options.Confidence)
	p := plots.Series{Name: s.t("hit_points")}
	for _, t := range d.Targets {
		for i := range t.Of {
			y := 0.0
			if i < t.Found {
				y = 1
			}
			p.X, p.Y = append(p.X, t.Size), append(p.Y, y)
		}
	}
	b.Points = []plots.Series{p}
	if !math.IsNaN(d.A90) && d.A90 <= d.Largest && d.A90 >= d.Smallest {
		b.MarkX = []plots.Mark{{Name: s.mm(d.A90), X: d.A90}}
	}
	svg, err := plots.Curve(plots.Options{X: s.t("plot_x"), Y: s.t("plot_y"), HeightMM: 80}, b,
		plots.HLine{Name: s.L.Number(d.Options.Probability, 1), Y: d.Options.Probability, Dash: true})
	if err != nil {
		return nil
	}
	return svg
}

func (s QuizSheet) consistency() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("consistent")}
	if s.Score.Again == 0 {
		sec.Text = []string{s.t("no_again")}
		return sec
	}
	sec.Text = []string{
		s.t("again", "n", strconv.Itoa(s.Score.Again), "share", s.share(s.Score.Within)),
		s.t("again_kappa", "v", s.kappa(s.Score.WithinKappa.Kappa, s.Score.WithinErr), "k",
			s.kappa(s.Score.WithinKind.Kappa, s.Score.WithinKindErr)),
	}
	return sec
}

func (s QuizSheet) mistakes() report.SheetSection {
	sec := report.SheetSection{Heading: s.t("mistakes")}
	if len(s.Score.Mistakes) == 0 {
		sec.Text = []string{s.t("no_mistakes")}
		return sec
	}
	sec.Text = []string{s.t("legend")}
	for _, m := range s.Score.Mistakes {
		it := s.Quiz.Test.Pool[m.Item]
		head := s.t("unit", "n", strconv.Itoa(m.Trial+1), "unit", it.Unit) + ". "
		you := head + s.t("you", "what", s.said(m)) + "."
		is := s.t("is", "what", s.there(it)) + "; " + s.truth(it.Provenance, it.By) + "."
		pair, err := mistakePictures(it, m, s.picture)
		if err != nil {
			sec.Text = append(sec.Text, you+" "+is+" ("+s.t("picture_gone")+")")
			continue
		}
		if light := MistakePicture(it, m).Light; light != part.NoLight {
			is += " " + s.t("under", "light", s.L.T("light."+string(light)))
		}
		pair[0].Alt, pair[0].Caption = s.t("said_alt"), you
		pair[1].Alt, pair[1].Caption = s.t("true_alt"), is
		sec.Pictures = append(sec.Pictures, pair[:]...)
	}
	return sec
}

func (s QuizSheet) verdict(v part.Verdict) string {
	return s.t("verdict_said", "v", s.L.T("verdict_short."+string(v)))
}

func (s QuizSheet) said(m teach.Mistake) string {
	var all []string
	for i, k := range m.Answer.Marks {
		all = append(all, strconv.Itoa(i+1)+" "+s.kind(k.Kind))
	}
	if len(all) == 0 {
		all = append(all, s.t("clean"))
	}
	if m.Answer.TimeOver {
		all = append(all, s.t("time_over"))
	}
	if m.Answer.Verdict != "" {
		all = append(all, s.verdict(m.Answer.Verdict))
	}
	return strings.Join(all, ", ")
}

func (s QuizSheet) there(it teach.Item) string {
	var all []string
	n := 0
	for _, k := range it.Known {
		if !k.Visible() {
			continue
		}
		n++
		word := strconv.Itoa(n) + " " + s.kind(k.Kind)
		if k.SizeMM > 0 {
			word += " " + s.mm(k.SizeMM)
		}
		all = append(all, word)
	}
	if n == 0 {
		all = append(all, s.t("clean"))
	}
	return strings.Join(append(all, s.verdict(it.Verdict)), ", ")
}

func (s QuizSheet) truth(source teach.Provenance, by string) string {
	if by == "" {
		by = "?"
	}
	return s.t("truth."+string(source), "by", by)
}

func (s QuizSheet) method() report.SheetSection {
	spec := s.Quiz.Test.Spec
	sec := report.SheetSection{Heading: s.t("method")}
	for _, src := range []teach.Provenance{teach.Confirmed, teach.Drawn} {
		if n := s.Score.ByProvenance[src]; n > 0 {
			var by []string
			for _, x := range s.Attempt.Shown {
				if it := s.Quiz.Test.Pool[x.Item]; it.Provenance == src && it.By != "" && !slices.Contains(by, it.By) {
					by = append(by, it.By)
				}
			}
			sec.Text = append(sec.Text, s.t("truth_count", "n", strconv.Itoa(n), "source", s.truth(src, strings.Join(by, ", "))))
		}
	}
	counted := "first"
	if s.Score.All {
		counted = "all"
	}
	rule := "rule"
	if spec.Adapt {
		rule = "rule_adapt"
	}
	sec.Text = append(sec.Text, s.t("counted."+counted), s.t("tolerance", "mm", s.L.Number(spec.Tolerance(), 2)), s.t("visible"),
		s.t(rule, "seed", strconv.FormatUint(spec.Seed, 10)), s.t("people"))
	return sec
}

// Result implements bench.Quizzes.
func (b *Book) Result(ctx context.Context, l *lang.Lang, attempt string) ([]byte, error) {
	q, t, err := b.Attempt(ctx, attempt)
	if err != nil {
		return nil, err
	}
	if t.Finished.IsZero() {
		return nil, problem("quiz.not_over")
	}
	s, err := b.ResultSheet(ctx, l, q, t)
	if err != nil {
		return nil, err
	}
	return sheetBytes(s.Sheet())
}

// ResultSheet scores an attempt, ended or not.
func (b *Book) ResultSheet(ctx context.Context, l *lang.Lang, q teach.Quiz, t teach.Attempt) (QuizSheet, error) {
	s := QuizSheet{L: l, Quiz: q, Attempt: t, picture: func(p teach.ItemPicture) ([]byte, error) { return QuizPicture(ctx, b.Store, p) }}
	var err error
	if s.Score, err = teach.NewScore(q.Test, t.Shown, teach.DefaultScoreOptions()); err != nil {
		return s, err
	}
	words, err := b.words(ctx)
	s.Who = words[t.Person]
	return s, err
}

// sheetBytes is a sheet as a page.
func sheetBytes(s report.Sheet) ([]byte, error) {
	s.Version = cli.Version
	var b strings.Builder
	if err := report.SheetPage(&b, s); err != nil {
		return nil, err
	}
	return []byte(b.String()), nil
}
