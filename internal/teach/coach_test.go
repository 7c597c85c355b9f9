package teach

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// Garwood (1936): 0 -> 0 to 3.689; 10 -> 4.795 to 18.390 (95 %, from memory).
func TestGarwood(t *testing.T) {
	none := per100(make([]float64, 100), 1, 0.95)
	near(t, "0, low", none.Low, 0, 0)
	near(t, "0, high", none.High, 3.689, 0.0005)
	ten := per100(append(make([]float64, 99), 10), 1, 0.95)
	near(t, "10, low", ten.Low, 4.795, 0.0005)
	near(t, "10, high", ten.High, 18.390, 0.0005)
}

// The deviance of 30 and 10 in 100 each is 2 (30 ln 1.5 + 10 ln 0.5) = 10.465, worked
// out by hand; one degree of freedom beyond 100,000 is chi-squared's, whose 5 % point
// is 3.841 (from memory).
func TestDifferP(t *testing.T) {
	big := differP(30, 1e6, 10, 1e6, 10.465/3.841)
	near(t, "p", big, 0.05, 0.0005)
	near(t, "no difference", differP(10, 100, 20, 200, 1), 1, 1e-9)
	if p := differP(0, 100, 20, 100, 1); !(p > 0 && p < 1e-4) {
		t.Errorf("none against 20: p %v", p)
	}
}

// crowd is a count per unit with a mean and, where it is any, a crowd of several.
func crowd(r *rand.Rand, mean float64, crowds bool) int {
	size := 1
	if crowds {
		size = 4
	}
	n := 0
	for limit, p := math.Exp(-mean/float64(size)), r.Float64(); p > limit; p *= r.Float64() {
		n += size
	}
	return n
}

var monday2 = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) // a Monday

// drawn are looks of invented operators; rates[i] is dust per unit of operator i.
func drawn(seed uint64, units int, crowds bool, rates ...float64) []Look {
	r := rand.New(rand.NewPCG(seed, 1))
	var out []Look
	for i, mean := range rates {
		for u := range units {
			l := Look{ID: int64(len(out) + 1), Operator: fmt.Sprint("B", i),
				At: monday2.Add(time.Duration(u) * 12 * week / time.Duration(units))}
			for range crowd(r, mean, crowds) {
				l.Findings = append(l.Findings, part.Finding{Kind: part.Dust, Severity: part.Minor})
			}
			out = append(out, l)
		}
	}
	return out
}

func word(t *testing.T, looks []Look, operator string) string {
	t.Helper()
	c, err := Coach(looks, operator, DefaultCoachParams())
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range c.Kinds {
		if k.Kind == part.Dust {
			return k.Word
		}
	}
	return TooFew
}

// Where six operators are alike, hardly anyone is singled out, not even where dust
// comes in crowds of four; who has three times the dust is.
func TestChanceIsNotTakenForSkill(t *testing.T) {
	const sets = 200
	for _, crowds := range []bool{false, true} {
		singled, found := 0, 0
		for seed := range uint64(sets) {
			alike := drawn(seed, 120, crowds, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3)
			any := false
			for o := range 6 {
				w := word(t, alike, fmt.Sprint("B", o))
				any = any || w == More || w == Fewer
			}
			if any {
				singled++
			}
			if word(t, drawn(seed, 120, crowds, 0.9, 0.3, 0.3, 0.3, 0.3, 0.3), "B0") == More {
				found++
			}
		}
		t.Logf("crowds %v: someone singled out in %d of %d alike workshops; three times the dust told in %d", crowds, singled, sets, found)
		if singled > 20 { // 5 % wanted; 10 % is 3 standard deviations above
			t.Errorf("crowds %v: someone is singled out in %d of %d workshops where all are alike", crowds, singled, sets)
		}
		if found < 150 {
			t.Errorf("crowds %v: three times the dust is told in %d of %d workshops only", crowds, found, sets)
		}
	}
}

func TestCoachTrend(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	trend := func(halving bool) Trend {
		var looks []Look
		for w := range 12 {
			mean := 0.8
			if halving {
				mean *= math.Pow(0.5, float64(w)/4)
			}
			for range 40 {
				l := Look{ID: 1, Operator: "B1", At: monday2.Add(time.Duration(w) * week)}
				for range crowd(r, mean, false) {
					l.Findings = append(l.Findings, part.Finding{Kind: part.Dust, Severity: part.Minor})
				}
				looks = append(looks, l)
			}
		}
		c, err := Coach(looks, "B1", DefaultCoachParams())
		if err != nil {
			t.Fatal(err)
		}
		return c.Trend
	}
	got := trend(true)
	if got.Word != Falling || len(got.Weeks) != 12 {
		t.Fatalf("halved every four weeks: %s, %d weeks", got.Word, len(got.Weeks))
	}
	near(t, "change over four weeks", *got.Change, 0.5, 0.1)
	if w := got.Weeks[0].From; w.Weekday() != time.Monday {
		t.Errorf("a week begins on a %s", w.Weekday())
	}
	wrong := 0
	for range 100 {
		if w := trend(false).Word; w != Level {
			wrong++
		}
	}
	if wrong > 12 { // 5 wanted; 3 standard deviations
		t.Errorf("a trend is told in %d of 100 cases where there is none", wrong)
	}
}

func TestCoachTalk(t *testing.T) {
	f := func(k part.Kind, s part.Severity) part.Finding { return part.Finding{Kind: k, Severity: s} }
	looks := []Look{
		{ID: 1, Operator: "B1", Findings: []part.Finding{f(part.Dust, part.Major), f(part.Dust, part.Major), f(part.Dust, part.None)}},
		{ID: 2, Operator: "B1", Findings: []part.Finding{f(part.Dust, part.Major)}},
		{ID: 3, Operator: "B1", Findings: []part.Finding{f(part.Dust, part.Moderate)}},
		{ID: 4, Operator: "B1", Findings: []part.Finding{f(part.Bubble, part.Minor)}},
		{ID: 5, Operator: "B2", Findings: []part.Finding{f(part.Bubble, part.Critical)}},
		{ID: 6, Operator: ""},
	}
	c, err := Coach(looks, "B1", DefaultCoachParams())
	if err != nil {
		t.Fatal(err)
	}
	var ids []int64
	for _, x := range c.Talk {
		ids = append(ids, x.ID)
	}
	if fmt.Sprint(ids) != "[2 1 4 3]" { // the newer first, one of a unit; the third dust only after the bubble
		t.Errorf("pictures of units %v", ids)
	}
	if c.Units != 4 || c.Others != 1 || c.OtherUn != 1 || c.Unnamed != 1 || c.Kinds[1].Word != TooFew {
		t.Errorf("%+v", c)
	}
	if c.Kinds[1].Kind != part.Dust || c.Kinds[1].Own.Count != 4 || c.Kinds[1].Own.Rate != 100 {
		t.Errorf("%+v", c.Kinds[1])
	}
}

func TestCoachRefuses(t *testing.T) {
	for operator, want := range map[string]string{"": "for which operator", "b1": "no unit of operator \"b1\""} {
		if _, err := Coach([]Look{{Operator: "B1"}}, operator, DefaultCoachParams()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", operator, err, want)
		}
	}
	bad := DefaultCoachParams()
	bad.Confidence = math.NaN()
	if _, err := Coach([]Look{{Operator: "B1"}}, "B1", bad); err == nil {
		t.Error("a confidence of NaN is taken")
	}
}
