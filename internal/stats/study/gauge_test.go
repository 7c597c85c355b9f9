package study

import (
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// printed checks a number against one that was printed with so many decimals.
func printed(t *testing.T, what string, got float64, want string) {
	t.Helper()
	w, err := strconv.ParseFloat(want, 64)
	if err != nil {
		t.Fatal(err)
	}
	decimals := 0
	if i := strings.IndexByte(want, '.'); i >= 0 {
		decimals = len(want) - i - 1
	}
	if !(math.Abs(got-w) <= 0.5000001*math.Pow(10, -float64(decimals))) {
		t.Errorf("%s = %.*f, want %s", what, decimals+2, got, want)
	}
}

func aiag(t *testing.T) Crossed {
	t.Helper()
	f, err := os.Open("testdata/aiag.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	readings, err := ReadReadings(f)
	if err != nil {
		t.Fatal(err)
	}
	c, err := NewCrossed(readings)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func gauge(t *testing.T, c Crossed, change func(*GaugeOptions)) Gauge {
	t.Helper()
	o := DefaultGaugeOptions()
	if change != nil {
		change(&o)
	}
	g, err := NewGauge(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestAIAGAnova: AIAG MSA, 4th ed., III-B, the handbook's data. The table with
// the equipment as error term, as its worked page has it; components after
// pooling, computed with R 4.2.2 and, from memory, as printed there.
func TestAIAGAnova(t *testing.T) {
	g := gauge(t, aiag(t), func(o *GaugeOptions) { o.ErrorTerm = AgainstEquipment })
	for _, c := range []struct {
		s         Source
		df        float64
		ss, f, mf string
	}{
		{AppraiserSource, 2, "3.16726", "34.440", ""},
		{PartSource, 9, "88.36193", "213.517", ""},
		{InteractionSource, 18, "0.35898", "0.4337", ""},
		{EquipmentSource, 60, "2.75893", "", ""},
		{TotalSource, 89, "94.647", "", ""},
	} {
		r := g.Full.row(c.s)
		if r.DF != c.df {
			t.Errorf("%s: %g degrees of freedom, want %g", c.s, r.DF, c.df)
		}
		printed(t, string(c.s)+" sum of squares", r.SS, c.ss)
		if c.f != "" {
			printed(t, string(c.s)+" F", r.F, c.f)
		}
	}
	printed(t, "p of interaction", g.PInteraction, "0.974")
	if g.Pooled == nil {
		t.Fatal("the interaction was not pooled at p = 0.974")
	}
	e := g.Pooled.row(EquipmentSource)
	printed(t, "pooled mean square", e.MS, "0.0399733")
	if e.DF != 78 {
		t.Errorf("pooled error has %g degrees of freedom, want 78", e.DF)
	}
	for _, c := range []struct {
		n                               ComponentName
		variance, sd, study, contribute string
	}{
		{Repeatability, "0.039973", "0.199933", "18.42", "3.39"},
		{Reproducibility, "0.051455", "0.226838", "20.90", "4.37"},
		{GaugeRR, "0.091429", "0.302372", "27.86", "7.76"},
		{PartToPart, "1.086447", "1.042327", "96.04", "92.24"},
		{Total, "1.177875", "1.085300", "100", "100"},
	} {
		k := g.Component(c.n)
		printed(t, string(c.n)+" variance", k.Variance.Value, c.variance)
		printed(t, string(c.n)+" sd", k.SD, c.sd)
		printed(t, string(c.n)+" % study", 100*k.Study.Value, c.study)
		printed(t, string(c.n)+" % contribution", 100*k.Contribution, c.contribute)
		if !(k.Variance.Lower <= k.Variance.Value && k.Variance.Value <= k.Variance.Upper) {
			t.Errorf("%s: interval %v", c.n, k.Variance)
		}
	}
	printed(t, "categories", g.NDCRaw.Value, "4.86")
	if g.NDC != 4 {
		t.Errorf("%d categories, want 4", g.NDC)
	}
}

// TestAIAGKept: the same with the interaction kept: its variance is -0.00868
// (computed with R 4.2.2) and taken as 0; against the interaction's mean square
// parts and appraisers have other F values (ratios of the mean squares above).
func TestAIAGKept(t *testing.T) {
	g := gauge(t, aiag(t), func(o *GaugeOptions) { o.PoolAbove = 1 })
	if g.Pooled != nil {
		t.Fatal("pooled though the limit was 1")
	}
	x := g.Component(ByInteraction)
	printed(t, "interaction, raw", x.Raw, "-0.00868")
	if x.Variance.Value != 0 || x.Variance.Lower != 0 {
		t.Errorf("interaction's variance %v, want 0 from 0 on", x.Variance)
	}
	f := g.Full.row(PartSource).F
	if want := (88.36193 / 9) / (0.35898 / 18); math.Abs(f-want) > 0.01 {
		t.Errorf("F of parts against the interaction %g, want %g", f, want)
	}
	if w := g.Verdict(NewRangeStudy(aiag(t))).Warnings; !slices.ContainsFunc(w,
		func(p part.Phrase) bool { return strings.Contains(said(p), "below 0") }) {
		t.Errorf("nothing said of the negative variance: %q", w)
	}
}

// TestAIAGRanges: the same data by averages and ranges, as printed in the
// handbook. It rounds its factors and differences to four decimals on the way;
// with the same rounding the printed digits come back, without it they differ
// in the fifth decimal.
func TestAIAGRanges(t *testing.T) {
	s := NewRangeStudy(aiag(t))
	for i, want := range []string{"0.184", "0.513", "0.328"} {
		printed(t, "mean range", s.MeanRange[i], want)
	}
	for i, want := range []string{"0.1903", "0.0683", "-0.2543"} {
		printed(t, "mean average", s.MeanAverage[i], want)
	}
	printed(t, "RBar", s.RBar, "0.3417")
	printed(t, "XDiff, exact", s.XDiff, "0.44467")
	printed(t, "Rp", s.RPart, "3.511")
	printed(t, "K1", s.K1, "0.5908")
	printed(t, "K2", s.K2, "0.5231")
	printed(t, "K3", s.K3, "0.3146")
	if len(s.High) != 1 || s.High[0].Part != "4" || s.High[0].Appraiser != "B" {
		t.Errorf("ranges above the limit: %v, want part 4 by B", s.High)
	}
	printed(t, "that range", s.Ranges[3][1], "1.02")
	printed(t, "range's limit with D4 as printed", 2.574*s.RBar, "0.8795")
	// Without rounding on the way.
	printed(t, "EV", s.EV, "0.20186") // recomputed with R 4.2.2
	for _, c := range []struct {
		what string
		v    float64
		want string
	}{{"EV", s.EV, "17.62"}, {"AV", s.AV, "20.04"}, {"GRR", s.RR, "26.68"}, {"PV", s.PV, "96.38"}} {
		// The second decimal of a share rests on the rounding too.
		w, _ := strconv.ParseFloat(c.want, 64)
		if got := 100 * s.Share(c.v); math.Abs(got-w) > 0.011 {
			t.Errorf("%s: %.3f %% of the total, want %s", c.what, got, c.want)
		}
	}
	if s.NDC != 5 {
		t.Errorf("%d categories, want 5", s.NDC)
	}
	// With the handbook's rounding, as printed.
	r := RangeStudy{RBar: 0.3417, XDiff: 0.4446, RPart: 3.511, K1: 0.5908, K2: 0.5231, K3: 0.3146}
	r.variations(10, 3)
	printed(t, "EV as printed", r.EV, "0.20188")
	printed(t, "AV as printed", r.AV, "0.22963")
	printed(t, "GRR as printed", r.RR, "0.30575")
	printed(t, "PV as printed", r.PV, "1.10456")
	printed(t, "TV as printed", r.TV, "1.14610")
	// 0.20188/1.14610 is 17.614 %: the printed 17.62 does not follow from what is printed beside it.
	printed(t, "%EV from what is printed", 100*r.Share(r.EV), "17.61")
	printed(t, "%AV as printed", 100*r.Share(r.AV), "20.04")
	printed(t, "%GRR as printed", 100*r.Share(r.RR), "26.68")
	printed(t, "%PV as printed", 100*r.Share(r.PV), "96.38")
	// Two trials and two appraisers (AIAG, the same form).
	two := crossed(3, 2, func(p, a, tr int) float64 { return float64(p*p + a + tr*p) }, 2)
	printed(t, "K2, two appraisers", NewRangeStudy(two).K2, "0.7071")
	many := crossed(16, 1, func(p, a, tr int) float64 { return float64(p*p + tr*p) }, 2)
	printed(t, "K1, two trials", NewRangeStudy(many).K1, "0.8862")
}

// crossed builds a study by formula.
func crossed(p, o int, value func(part, appraiser, trial int) float64, r int) Crossed {
	c := Crossed{Trials: r}
	for i := range p {
		c.Parts = append(c.Parts, strconv.Itoa(i+1))
		var row [][]float64
		for j := range o {
			var cell []float64
			for k := range r {
				cell = append(cell, value(i, j, k))
			}
			row = append(row, cell)
		}
		c.Values = append(c.Values, row)
	}
	for j := range o {
		c.Appraisers = append(c.Appraisers, string(rune('A'+j)))
	}
	return c
}

// TestSecondSet: 10 parts, 3 appraisers, 2 trials, as published with the worked
// example of an open statistics package's gauge study: variances 1.664, 1.209,
// 0.455, 1.781, 3.446 and 48, 35, 13, 51.7 % of the total.
func TestSecondSet(t *testing.T) {
	v := strings.Fields(secondSet)
	c := crossed(10, 3, func(p, a, tr int) float64 {
		x, err := strconv.ParseFloat(v[secondSetPlace(p, a, tr)], 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}, 2)
	g := gauge(t, c, nil)
	for _, k := range []struct {
		n              ComponentName
		variance, part string
	}{
		{GaugeRR, "1.664", "48"}, {Repeatability, "1.209", "35"}, {Reproducibility, "0.455", "13"},
		{PartToPart, "1.781", "51.7"}, {Total, "3.446", "100"},
	} {
		printed(t, string(k.n), g.Component(k.n).Variance.Value, k.variance)
		printed(t, string(k.n)+" %", 100*g.Component(k.n).Contribution, k.part)
	}
}

const secondSet = `23 22 22 22 22 25 23 22 23 22 20 22 22 22 24 25 27 28 23 24 23 24 24 22 22 22 24 23 22 24
20 20 25 24 22 24 21 20 21 22 21 22 21 21 24 27 25 27 23 22 25 23 23 22 22 23 25 21 24 23`

// secondSetPlace: the values stand trial by trial, within it part by part, the
// appraisers side by side.
func secondSetPlace(p, a, tr int) int { return 30*tr + 3*p + a }

// TestThirdSet: 5 parts, 3 appraisers, 3 trials, published with interaction p
// 0.9964, variances 0.0468, 0.0512, 0.7978, 0.0980, 0.8958, 33.07 % of the study
// variation and 4 categories.
func TestThirdSet(t *testing.T) {
	sets := [5][3][3]float64{
		{{3.29, 3.41, 3.64}, {3.08, 3.25, 3.07}, {3.04, 2.89, 2.85}},
		{{2.44, 2.32, 2.42}, {2.53, 1.78, 2.32}, {1.62, 1.87, 2.04}},
		{{4.34, 4.17, 4.27}, {4.19, 3.94, 4.34}, {3.88, 4.09, 3.67}},
		{{3.47, 3.50, 3.64}, {3.01, 4.03, 3.20}, {3.14, 3.20, 3.11}},
		{{2.20, 2.08, 2.16}, {2.44, 1.80, 1.72}, {1.54, 1.93, 1.55}},
	}
	g := gauge(t, crossed(5, 3, func(p, a, tr int) float64 { return sets[p][a][tr] }, 3), nil)
	printed(t, "p of interaction", g.PInteraction, "0.9964")
	printed(t, "repeatability", g.Component(Repeatability).Variance.Value, "0.0468")
	printed(t, "appraiser", g.Component(ByAppraiser).Variance.Value, "0.0512")
	printed(t, "part", g.Component(PartToPart).Variance.Value, "0.7978")
	printed(t, "gauge", g.Component(GaugeRR).Variance.Value, "0.0980")
	printed(t, "total", g.Component(Total).Variance.Value, "0.8958")
	printed(t, "% study", 100*g.Component(GaugeRR).Study.Value, "33.07")
	if g.NDC != 4 {
		t.Errorf("%d categories, want 4", g.NDC)
	}
	if v := g.Verdict(RangeStudy{}); v.Grade != NotGood {
		t.Errorf("grade %q, want not good enough", v.Grade)
	}
}

// TestFourthSet: a study of 3 parts, 3 appraisers and 3 trials of which the sums
// of squares are published (parts 1.2007, appraisers 0.0529, interaction 0.0834,
// repeats 0.3854), with variances 0.0219, 0.0213, 0.0006, 0.0643, 50.38 % of the
// study variation and 2 categories. Its single values are not at hand, so it
// starts at the sums; they have four decimals, so that the last digit of 50.38
// may differ by one.
func TestFourthSet(t *testing.T) {
	s := squares{part: 1.2007, appraiser: 0.0529, interaction: 0.0834, equipment: 0.3854, p: 3, o: 3, r: 3}
	g := s.gauge(DefaultGaugeOptions())
	printed(t, "gauge", g.Component(GaugeRR).Variance.Value, "0.0219")
	printed(t, "repeatability", g.Component(Repeatability).Variance.Value, "0.0213")
	printed(t, "reproducibility", g.Component(Reproducibility).Variance.Value, "0.0006")
	printed(t, "part", g.Component(PartToPart).Variance.Value, "0.0643")
	if got := 100 * g.Component(GaugeRR).Study.Value; math.Abs(got-50.38) > 0.015 {
		t.Errorf("%.3f %% of the study variation, want 50.38", got)
	}
	if g.NDC != 2 {
		t.Errorf("%d categories, want 2", g.NDC)
	}
}

// TestTolerance: %tolerance is SDs standard deviations over the tolerance, and
// the worse grade decides.
func TestTolerance(t *testing.T) {
	g := gauge(t, aiag(t), func(o *GaugeOptions) { o.Tolerance = 5 })
	printed(t, "% tolerance", 100*g.Component(GaugeRR).Tolerance.Value, "36.28") // 6 * 0.302372 / 5
	if v := g.Verdict(NewRangeStudy(aiag(t))); v.Grade != NotGood {
		t.Errorf("grade %q at 36 %% of the tolerance", v.Grade)
	}
	g = gauge(t, aiag(t), func(o *GaugeOptions) { o.Tolerance, o.SDs = 5, 5.15 })
	printed(t, "% tolerance, 5.15", 100*g.Component(GaugeRR).Tolerance.Value, "31.14") // 5.15 * 0.302372 / 5
	if v := gauge(t, aiag(t), nil).Verdict(NewRangeStudy(aiag(t))); v.Grade != Conditional {
		t.Errorf("grade %q at 27.86 %%, want conditional", v.Grade)
	}
}

func TestShareGrade(t *testing.T) {
	for share, want := range map[float64]Grade{0: GoodGauge, 0.0999: GoodGauge, 0.1: Conditional, 0.3: Conditional, 0.3001: NotGood,
		math.Inf(1): NotGood} {
		if got := ShareGrade(share); got != want {
			t.Errorf("%g: %q, want %q", share, got, want)
		}
	}
	if got := ShareGrade(math.NaN()); got != Undecided {
		t.Errorf("NaN: %q", got)
	}
}

// TestSmallStudies: one appraiser tells repeatability only, one part no share.
func TestSmallStudies(t *testing.T) {
	wave := func(p, a, tr int) float64 {
		return float64(3*p) + float64((7*p+3*a+5*tr)%4) + 0.5*float64(a)
	}
	one := crossed(12, 1, wave, 3)
	g := gauge(t, one, nil)
	if g.Component(GaugeRR).Variance != g.Component(Repeatability).Variance || !math.IsNaN(g.Component(Reproducibility).SD) {
		t.Errorf("one appraiser: %+v", g.Components)
	}
	if !(g.Component(GaugeRR).Study.Lower > 0) || !(g.Component(GaugeRR).Study.Upper < 1) {
		t.Errorf("one appraiser: share %v", g.Component(GaugeRR).Study)
	}
	r := NewRangeStudy(one)
	if !math.IsNaN(r.AV) || math.IsNaN(r.RR) || math.IsNaN(r.TV) {
		t.Errorf("one appraiser by ranges: %+v", r)
	}
	says(t, g.Verdict(r), "one appraiser")

	part := crossed(1, 3, wave, 5)
	g = gauge(t, part, nil)
	if v := g.Verdict(NewRangeStudy(part)); v.Grade != Undecided || g.NDC != -1 || !math.IsNaN(g.Component(GaugeRR).Study.Value) {
		t.Errorf("one part: %+v", v)
	} else {
		says(t, v, "one part")
	}
	g = gauge(t, part, func(o *GaugeOptions) { o.Tolerance = 1e4 })
	if v := g.Verdict(NewRangeStudy(part)); v.Grade != GoodGauge {
		t.Errorf("one part, wide tolerance: %q", v.Grade)
	}
	same := crossed(10, 3, func(p, a, _ int) float64 { return float64(p) }, 2)
	g = gauge(t, same, nil)
	says(t, g.Verdict(NewRangeStudy(same)), "too coarse")
	if g.NDC != -1 {
		t.Errorf("readings that never differ tell %d categories", g.NDC)
	}
}

func says(t *testing.T, v Verdict, what string) {
	t.Helper()
	if !slices.ContainsFunc(v.Warnings, func(p part.Phrase) bool { return strings.Contains(said(p), what) }) {
		t.Errorf("no warning says %q: %q", what, v.Warnings)
	}
}

// TestShift: a constant added to all values, however large, changes nothing
// that is told of the variation.
func TestShift(t *testing.T) {
	c := aiag(t)
	want := gauge(t, c, nil)
	for _, row := range c.Values {
		for _, cell := range row {
			for k := range cell {
				cell[k] += 1e6
			}
		}
	}
	got := gauge(t, c, nil)
	for i, k := range want.Components {
		if d := got.Components[i].Variance.Value - k.Variance.Value; math.Abs(d) > 1e-7 {
			t.Errorf("%s changes by %g", k.Name, d)
		}
	}
}

// said is a phrase in English; empty where it has no key.
func said(p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	return lang.English().Say(&p)
}
