package learn

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

func table(t *testing.T, name string) []Example {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := ReadExamples(f)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// halves deals whole units into two halves.
func halves(all []Example, seed uint64) (a, b []Example) {
	units := unitsOf(all)
	r := rand.New(rand.NewPCG(seed, 1))
	r.Shuffle(len(units), func(i, j int) { units[i], units[j] = units[j], units[i] })
	in := units[:len(units)/2]
	for _, e := range all {
		if slices.Contains(in, e.Unit) {
			a = append(a, e)
		} else {
			b = append(b, e)
		}
	}
	return a, b
}

func learned(t *testing.T, examples []Example) Outcome {
	t.Helper()
	o, err := Learn(Request{Examples: examples, Params: DefaultParams(), Made: time.Date(2031, 3, 4, 5, 6, 7, 8, time.UTC), From: "a test"})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// In a workshop whose dust looks otherwise than the rules expect, learning from
// half of the units raises the share of right kinds on the other half by far; each
// draw of halves shows it.
func TestRaisesTheRightKindShare(t *testing.T) {
	all := table(t, "drawn-pale.csv")
	for seed := range uint64(6) {
		a, b := halves(all, seed)
		o := learned(t, a)
		if o.Model == nil {
			t.Errorf("draw %d: refused: %v", seed, said(o.Refused))
			continue
		}
		c := Compare(b, Rules, o.Model)
		t.Logf("draw %d: %d labels learned from; of %d others %d right before, %d after", seed, o.Model.Labels, c.Labels, c.OldRight,
			c.NewRight)
		if c.NewShare() < 0.92 || c.NewShare() < c.OldShare()+0.25 {
			t.Errorf("draw %d: %.3f before, %.3f after on units not learned from; want 0.92 and 0.25 more at least", seed, c.OldShare(),
				c.NewShare())
		}
		if d := o.Trial.NewShare() - c.NewShare(); math.Abs(d) > 0.06 {
			t.Errorf("draw %d: the trial promised %.3f, other units show %.3f", seed, o.Trial.NewShare(), c.NewShare())
		}
	}
}

// Where the rules are right already, learning from half of the units, or from all,
// is refused; and where it is not, the other half does not lose.
func TestRefusesWhereThereIsNothingToGain(t *testing.T) {
	known := table(t, "known.csv")
	for seed := range uint64(10) {
		a, _ := halves(known, seed)
		if o := learned(t, a); o.Model != nil || len(o.Refused) == 0 {
			t.Errorf("known units, draw %d: offered with %d of %d right before and %d after", seed, o.Trial.OldRight, o.Trial.Labels,
				o.Trial.NewRight)
		}
	}
	o := learned(t, known)
	if o.Model != nil || o.Trial == nil || !strings.Contains(strings.Join(said(o.Refused), " "), "114 of 116 labels are called right now") {
		t.Errorf("all known units: %v", said(o.Refused))
	}
	usual := table(t, "drawn-usual.csv")
	for seed := range uint64(6) {
		a, b := halves(usual, seed)
		o := learned(t, a)
		if o.Model == nil {
			continue
		}
		if c := Compare(b, Rules, o.Model); c.NewRight < c.OldRight {
			t.Errorf("usual, draw %d: offered, but on other units %d right before and %d after", seed, c.OldRight, c.NewRight)
		}
	}
}

// The known units, had the rules a limit of opacity four times too high, so that they
// take faint dust for bubbles: each draw of halves is refused, or raises the share on
// the other half; both happen.
func TestRaisesOrRefusesOnKnownUnits(t *testing.T) {
	all := table(t, "known.csv")
	spoilt := 0
	for i, e := range all {
		if e.Rule == part.Dust && e.Features["opacity"] < 4 {
			all[i].Rule = part.Bubble
			spoilt++
		}
	}
	raised, refused := 0, 0
	for seed := range uint64(10) {
		a, b := halves(all, seed)
		o := learned(t, a)
		if o.Model == nil {
			refused++
			continue
		}
		c := Compare(b, Rules, o.Model)
		t.Logf("draw %d: of %d others %d right before, %d after", seed, c.Labels, c.OldRight, c.NewRight)
		if c.NewRight <= c.OldRight {
			t.Errorf("draw %d: offered, but on other units %d right before and %d after", seed, c.OldRight, c.NewRight)
		}
		raised++
	}
	if spoilt < 20 || raised < 4 || refused < 1 {
		t.Errorf("%d calls spoilt; %d draws raised, %d were refused", spoilt, raised, refused)
	}
}

// kinds makes n invented examples of a kind from so many units, which the rules
// call right.
func kinds(kind part.Kind, n, units int) []Example {
	var out []Example
	for i := range n {
		out = append(out, Example{Unit: fmt.Sprintf("u%d", i%units), Place: fmt.Sprintf("%s %d", kind, i), Kind: kind, Rule: kind,
			Features: map[string]float64{"grain": float64(i + 1), "fill": float64(len(kind))}})
	}
	return out
}

// said are phrases in English.
func said(all []part.Phrase) []string { return lang.English().SayAll(all) }

func missing(c KindCount) string {
	p := c.Missing(DefaultParams())
	return lang.English().Say(&p)
}

func TestRefusesTooLittle(t *testing.T) {
	for _, c := range []struct {
		name     string
		examples []Example
		says     []string
	}{
		{"no labels", nil, []string{"0 labels: at least 40 are needed, 40 more", "no kind"}},
		{"one kind only", kinds(part.Dust, 80, 20), []string{"one kind only, dust"}},
		{"few labels", append(kinds(part.Dust, 12, 9), kinds(part.Bubble, 12, 9)...),
			[]string{"24 labels: at least 40 are needed, 16 more"}},
		{"few units", append(kinds(part.Dust, 30, 5), kinds(part.Bubble, 30, 5)...), []string{"5 units: at least 8"}},
		{"few of a kind", append(kinds(part.Dust, 60, 20), kinds(part.Bubble, 7, 2)...),
			[]string{"too few of bubble: 3 more labels, from 2 more units"}},
		{"one label each", append(kinds(part.Dust, 60, 20), kinds(part.Bubble, 9, 9)...), []string{"bubble: 1 more label"}},
	} {
		o := learned(t, c.examples)
		if o.Model != nil || o.Trial != nil {
			t.Errorf("%s: learned", c.name)
		}
		for _, s := range c.says {
			if !strings.Contains(strings.Join(said(o.Refused), "; "), s) {
				t.Errorf("%s: %q does not say %q", c.name, o.Refused, s)
			}
		}
	}
}

// A kind with too few labels is left to the rules: whatever they call so stands.
func TestFewOfAKindStayWithTheRules(t *testing.T) {
	all := table(t, "drawn-pale.csv")
	crater := 0
	all = slices.DeleteFunc(all, func(e Example) bool {
		if e.Kind == part.Crater {
			crater++
		}
		return e.Kind == part.Crater && crater > 3
	})
	o := learned(t, all)
	if o.Model == nil {
		t.Fatal(said(o.Refused))
	}
	i := slices.IndexFunc(o.Counts, func(c KindCount) bool { return c.Kind == part.Crater })
	if o.Counts[i].Learnt || missing(o.Counts[i]) != "7 more labels, from 1 more unit" {
		t.Errorf("%+v: %s", o.Counts[i], missing(o.Counts[i]))
	}
	for _, e := range all {
		if c := o.Model.Call(e.Features, part.Crater); c.Known || c.Kind != part.Crater {
			t.Fatalf("a crater by the rules is called %+v", c)
		}
	}
}

// Labels of one finding that differ are left out and told; findings that look alike
// are told.
func TestContradictions(t *testing.T) {
	all := table(t, "drawn-pale.csv")
	twice := all[3]
	twice.Kind, twice.By = part.Run, "B"
	again := all[7]
	again.By = "B" // agrees
	alike := all[20]
	alike.Unit, alike.Place = "other", "1"
	alike.Kind = part.Sanding
	if all[20].Kind == alike.Kind {
		t.Fatal("choose another one")
	}
	o := learned(t, append(slices.Clone(all), twice, again, alike))
	if len(o.Disagree) != 1 || !o.Disagree[0].Same || o.Disagree[0].A.Place != twice.Place || o.Disagree[0].B.Kind != part.Run {
		t.Errorf("%+v", o.Disagree)
	}
	if o.Used != len(all) { // one left out, one agreeing, one more
		t.Errorf("%d labels are used of %d", o.Used, len(all)+3)
	}
	if len(o.Alike) == 0 || o.Alike[0].Far > 1e-9 || o.Alike[0].B.Unit != "other" {
		t.Errorf("%+v", o.Alike)
	}
	for _, c := range o.Alike {
		if c.A.Kind == c.B.Kind || c.Far >= alikeSD {
			t.Errorf("%+v is no contradiction", c)
		}
	}
}

// Labels that tell nothing leave the rules in force: without labels the prior alone
// calls.
func TestWithoutLabelsTheRulesCall(t *testing.T) {
	all := table(t, "drawn-usual.csv")
	m, err := fit(nil, Kinds(), DefaultParams())
	if err != nil {
		t.Fatal(err)
	}
	few, err := fit(all[:4], Kinds(), DefaultParams())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		if c := m.Call(e.Features, e.Rule); c.Kind != e.Rule {
			t.Fatalf("no labels: %s is called %s", e.Rule, c.Kind)
		}
		if c := few.Call(e.Features, e.Rule); c.Kind != e.Rule {
			t.Fatalf("four labels: %s is called %s", e.Rule, c.Kind)
		}
	}
}

// The weights found are where the cost is least: its numeric slope, which shares
// no line with the search, is nothing there.
func TestWeightsAreAtTheLeastCost(t *testing.T) {
	all := table(t, "known.csv")
	list := []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding}
	p := DefaultParams()
	used := slices.DeleteFunc(all, func(e Example) bool { return !slices.Contains(list, e.Kind) || !slices.Contains(list, e.Rule) })
	n := newNewton(&Model{Prior: p.Prior, Ridge: p.Ridge, Features: standardise(used)}, used, list)
	if err := n.solve(); err != nil {
		t.Fatal(err)
	}
	const h = 1e-4
	for j := range n.w {
		a, b := slices.Clone(n.w), slices.Clone(n.w)
		a[j] += h
		b[j] -= h
		if slope := (n.cost(a) - n.cost(b)) / (2 * h); math.Abs(slope) > 1e-5 {
			t.Fatalf("the slope along weight %d is %g", j, slope)
		}
	}
	if n.cost(n.w) >= n.cost(make([]float64, len(n.w))) {
		t.Error("nothing was found")
	}
}

// No unit is called by a model that has seen it: where findings of one unit are all
// alike and their kind means nothing, a model that had seen the unit would know.
func TestUnitsStayTogether(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var all []Example
	for u := range 60 {
		f := map[string]float64{}
		for _, n := range []string{"grain", "fill", "bend", "opacity", "thickness_mm", "line_length_mm", "contrast_diffuse",
			"contrast_raking"} {
			f[n] = r.NormFloat64()
		}
		kind := []part.Kind{part.Dust, part.Bubble}[r.IntN(2)]
		for range 6 {
			all = append(all, Example{Unit: fmt.Sprint("u", u), Kind: kind, Rule: part.Dust, Features: f})
		}
	}
	p := DefaultParams()
	p.Ridge = 0.01 // learns by heart
	list := []part.Kind{part.Dust, part.Bubble}
	m, err := fit(all, list, p)
	if err != nil {
		t.Fatal(err)
	}
	seen := Compare(all, Rules, m)
	left, err := crossValidate(all, list, p, Rules)
	if err != nil {
		t.Fatal(err)
	}
	if seen.NewShare() < 0.65 || left.NewShare() > 0.6 || left.Labels != len(all) {
		t.Errorf("units that were seen %.2f right, units left out %.2f of %d labels; the kinds mean nothing", seen.NewShare(),
			left.NewShare(), left.Labels)
	}
}

// By hand: 1/2^5; (45 + 10 + 1) / 2^10.
func TestSignTest(t *testing.T) {
	for _, c := range []struct {
		better, worse int
		p             float64
	}{{5, 0, 1.0 / 32}, {8, 2, 56.0 / 1024}, {0, 3, 1}, {0, 0, 1}, {1, 0, 0.5}} {
		if p := signTest(c.better, c.worse); math.Abs(p-c.p) > 1e-12 {
			t.Errorf("%d better, %d worse: %g, want %g", c.better, c.worse, p, c.p)
		}
	}
}

// The same labels give the same model, and its file gives it back.
func TestModelFile(t *testing.T) {
	all := table(t, "drawn-pale.csv")
	a, b := learned(t, all).Model, learned(t, all).Model
	sum, err := a.Sum()
	if err != nil {
		t.Fatal(err)
	}
	if other, _ := b.Sum(); other != sum {
		t.Error("the same labels give two models")
	}
	file, err := a.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	if again, _ := back.Sum(); again != sum || !strings.HasPrefix(a.Name(sum), "2031-03-04-") {
		t.Errorf("read back it is another: %s", a.Name(sum))
	}
	for _, e := range all {
		if !reflect.DeepEqual(a.Call(e.Features, e.Rule), back.Call(e.Features, e.Rule)) {
			t.Fatal("read back it calls otherwise")
		}
	}
	for _, c := range []struct{ from, to, says string }{
		{`"schema": 1`, `"schema": 2`, "form is 2"},
		{`"sd": `, `"sd": -`, "standard deviation"},
		{`"kind": "dust",`, `"kind": "step",`, "step"},
		{`"opacity"`, `"loudness"`, "fit anew"},
		{`"fill": `, `"full": `, "no weight for fill"},
		{`{`, `[`, "no model"},
	} {
		bad := strings.Replace(string(file), c.from, c.to, -1)
		if bad == string(file) {
			t.Errorf("%s is not in the file", c.from)
		}
		if _, err := Decode([]byte(bad)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s -> %s: %v", c.from, c.to, err)
		}
	}
}

// What speaks for one kind against another adds up to the difference of scores.
func TestWhyAddsUp(t *testing.T) {
	all := table(t, "drawn-pale.csv")
	o := learned(t, all)
	if len(o.Trial.Changes) < 100 {
		t.Fatalf("%d changes", len(o.Trial.Changes))
	}
	m := o.Model
	for _, e := range all[:50] {
		if !slices.ContainsFunc(m.Kinds, func(k KindWeights) bool { return k.Kind == e.Rule }) {
			continue
		}
		s, sum := m.scores(e.Features, e.Rule), 0.0
		for _, p := range m.Why(e.Features, e.Rule, m.Kinds[1].Kind, m.Kinds[0].Kind) {
			sum += p.Adds
		}
		if math.Abs(sum-(s[1]-s[0])) > 1e-9 {
			t.Fatalf("%g, scores differ by %g", sum, s[1]-s[0])
		}
	}
}

// A finding under one light has not all features: what is missing weighs nothing,
// and the answer is still one.
func TestMissingFeatures(t *testing.T) {
	o := learned(t, table(t, "drawn-pale.csv"))
	for _, f := range []map[string]float64{nil, {"grain": 3}, {"contrast_light": 0.3, "opacity": math.NaN()},
		{"opacity": math.Inf(1), "grain": -4}} {
		c := o.Model.Call(f, part.Dust)
		if !c.Known || !(c.Confidence > 0 && c.Confidence <= 1) {
			t.Errorf("%v: %+v", f, c)
		}
	}
}

func TestTables(t *testing.T) {
	all := table(t, "known.csv")
	var b bytes.Buffer
	if err := WriteExamples(&b, all); err != nil {
		t.Fatal(err)
	}
	back, err := ReadExamples(&b)
	if err != nil || !reflect.DeepEqual(all, back) {
		t.Errorf("written and read back it is another table (%v)", err)
	}
	const head = "unit,place,kind,by,rule_type,rule_confidence,opacity\n"
	for _, c := range []struct{ text, says string }{
		{"", "empty"},
		{head, "no line under"},
		{"place,kind,rule_type\n", `line 1: the column "unit" is missing`},
		{"unit,unit,kind,rule_type\n", "there twice"},
		{head + "u1,1,dust,,dust,0.9,1\nu1,2,splash,,dust,0.9,1\n", "line 3, column kind"},
		{head + "u1,1,dust,,step,0.9,1\n", "line 2, column rule_type"},
		{head + "u1,1,dust,,dust,1.5,1\n", "column rule_confidence"},
		{head + "u1,1,dust,,dust,0.5,much\n", `column opacity: "much"`},
		{head + "u1,1,dust,,dust,0.5,NaN\n", "column opacity"},
		{head + "u1,1,dust,,dust,0.5,\n", "no feature"},
		{head + ",1,dust,,dust,0.5,1\n", "column unit"},
		{head + "u1,1,dust\n", "line 2"},
	} {
		if _, err := ReadExamples(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v; want %q", c.text, err, c.says)
		}
	}
}

func FuzzReadExamples(f *testing.F) {
	f.Add("unit,kind,rule_type,opacity\nu,dust,dust,1\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := ReadExamples(strings.NewReader(text))
		if err == nil && len(all) == 0 {
			t.Error("no examples and no error")
		}
	})
}

func BenchmarkLearn(b *testing.B) {
	f, err := os.ReadFile("testdata/drawn-pale.csv")
	if err != nil {
		b.Fatal(err)
	}
	all, err := ReadExamples(bytes.NewReader(f))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Learn(Request{Examples: all, Params: DefaultParams()}); err != nil {
			b.Fatal(err)
		}
	}
}

// Compare calls the findings of units that the model was not fitted to, by old
// and by the model.
func Compare(examples []Example, old Caller, m *Model) Trial {
	var c comparison
	c.add(examples, old, m)
	return c.trial()
}

// OldShare and NewShare are the shares of labels called right.
func (t Trial) OldShare() float64 { return share(t.OldRight, t.Labels) }

// NewShare: see [Trial.OldShare].
func (t Trial) NewShare() float64 { return share(t.NewRight, t.Labels) }

func share(n, of int) float64 { return float64(n) / float64(of) }
