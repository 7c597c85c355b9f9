package lots

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/lang"
)

// TestSchemeP: Stephens and Larson 1967 for letter L, AQL 1.5 (n = 200, c = 7
// and 5), to five places (reference, section 1).
func TestSchemeP(t *testing.T) {
	n, err := Lookup(5000, "II", 1.5, Normal)
	tight, err2 := Lookup(5000, "II", 1.5, Tightened)
	if err != nil || err2 != nil || n.N != 200 || n.Ac != 7 || tight.N != 200 || tight.Ac != 5 {
		t.Fatalf("%+v, %v, %+v, %v", n, err, tight, err2)
	}
	for p, want := range map[float64]string{0.019296: "0.95054", 0.045884: "0.09995"} {
		if got := fmt.Sprintf("%.5f", schemeP(n.OC().Accept(p), tight.OC().Accept(p))); got != want {
			t.Errorf("P(%v) = %s, want %s", p, got, want)
		}
	}
	if schemeP(1, 1) != 1 || schemeP(0.5, 0) != 0 || schemeP(1, 0.3) != 1 || !math.IsNaN(schemeP(1.1, 1)) {
		t.Error("the ends")
	}
	// Where both accept alike, so does the scheme.
	near(t, "alike", schemeP(0.7, 0.7), 0.7, 1e-12)
}

// TestSchemeBySwitching: the switching rules carried out over many lots accept
// what Stephens and Larson's formula says. It leaves stopping out: inspection
// is resumed at once, which changes nothing in the run of accepted lots.
func TestSchemeBySwitching(t *testing.T) {
	const lots = 60000
	r := rand.New(rand.NewPCG(7, 7))
	plans := map[Mode]Single{}
	for _, m := range []Mode{Normal, Tightened} {
		plans[m], _ = Lookup(300, "II", 4, m) // H, 50: 5/6 and 3/4
	}
	for _, p := range []float64{0.04, 0.06, 0.08} {
		s := start(t, Rules{})
		accepted := 0
		for range lots {
			o := Outcome{Plan: plans[s.Mode]}
			for range o.Plan.N {
				if r.Float64() < p {
					o.Count++
				}
			}
			if o.Accepted() {
				accepted++
			}
			var err error
			if s, _, err = s.After(o); err != nil {
				t.Fatal(err)
			}
			if s.Discontinued {
				s, _, _ = s.Resume("simulated")
			}
		}
		want := schemeP(plans[Normal].OC().Accept(p), plans[Tightened].OC().Accept(p))
		got := float64(accepted) / lots
		// Lots in a row hang together through the mode: twice the binomial standard deviation, doubled.
		if tol := 4 * math.Sqrt(want*(1-want)/lots); math.Abs(got-want) > tol {
			t.Errorf("at %v: %.4f accepted, the formula says %.4f +- %.4f", p, got, want, tol)
		}
		t.Logf("at %v: %.4f accepted, by the formula %.4f (normal %.4f, tightened %.4f)", p, got, want, plans[Normal].OC().Accept(p),
			plans[Tightened].OC().Accept(p))
	}
}

func start(t *testing.T, r Rules) Switching {
	t.Helper()
	s, err := NewSwitching(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// lots runs counts through the plan of 5000 units, AQL 1.5, in the mode that is
// due: normal 200, 7/8; tightened 200, 5/6; reduced 80, 3/6.
func after(t *testing.T, s Switching, counts ...int) (Switching, []string) {
	t.Helper()
	var all []string
	for _, c := range counts {
		plan, err := Lookup(5000, "II", 1.5, s.Mode)
		if err != nil {
			t.Fatal(err)
		}
		next, said, err := s.After(Outcome{Plan: plan, Count: c})
		if err != nil {
			t.Fatal(err)
		}
		s, all = next, append(all, lang.English().SayAll(said)...)
	}
	return s, all
}

// The rules: reference, section 1, table "Switching".

func TestToTightened(t *testing.T) {
	for _, r := range []Rules{{Standard: ISO2859}, {Standard: MIL105E}} {
		s, said := after(t, start(t, r), 8, 0, 0, 0, 8)
		if s.Mode != Tightened || len(said) == 0 || !strings.Contains(said[len(said)-1], "tightened inspection from the next lot on") {
			t.Errorf("%s, 2 of 5: %+v %q", r.Standard, s, said)
		}
		if s, _ := after(t, start(t, r), 8, 0, 0, 0, 0, 8); s.Mode != Normal {
			t.Errorf("%s: 2 of 6 tightens", r.Standard)
		}
		if s, _ := after(t, start(t, r), 8, 8); s.Mode != Tightened {
			t.Errorf("%s: 2 of 2", r.Standard)
		}
	}
}

func TestFromTightened(t *testing.T) {
	tight, _ := after(t, start(t, Rules{}), 8, 8)
	if s, _ := after(t, tight, 5, 5, 5, 5); s.Mode != Tightened {
		t.Error("4 accepted are enough")
	}
	s, said := after(t, tight, 5, 5, 5, 5, 5)
	if s.Mode != Normal || !strings.Contains(said[0], "9.3.2") {
		t.Errorf("5 accepted: %+v %q", s, said)
	}
	if s, _ := after(t, tight, 5, 5, 5, 5, 6, 5, 5, 5, 5); s.Mode != Tightened {
		t.Error("a refused lot does not break the run")
	}
	// Six on a tightened plan of 5/6 would have passed on normal; back on normal, two refused lots before do not count any more.
	if s, _ := after(t, s, 8); s.Mode != Normal {
		t.Error("lots before the change count")
	}
}

// TestStops: the fifth lot refused on tightened inspection, cumulative.
func TestStops(t *testing.T) {
	tight, _ := after(t, start(t, Rules{}), 8, 8)
	s, said := after(t, tight, 6, 0, 6, 0, 0, 6, 6)
	if s.Discontinued || len(said) != 0 {
		t.Fatalf("%+v %q", s, said)
	}
	s, said = after(t, s, 6)
	if !s.Discontinued || !strings.Contains(said[0], "9.4") {
		t.Fatalf("%+v %q", s, said)
	}
	plan, _ := Lookup(5000, "II", 1.5, Tightened)
	if _, _, err := s.After(Outcome{Plan: plan}); err == nil || !strings.Contains(err.Error(), "discontinued") {
		t.Error(err)
	}
	s, phrases, err := s.Resume("The nozzle was replaced")
	said = lang.English().SayAll(phrases)
	if err != nil || s.Discontinued || s.Mode != Tightened || s.Refused != 0 || !strings.Contains(said[0], "The nozzle was replaced") {
		t.Errorf("%+v %q %v", s, said, err)
	}
	if _, _, err := s.Resume("again"); err == nil {
		t.Error("resumed twice")
	}
	// Back on normal, the count begins anew.
	s, _ = after(t, tight, 6, 6, 6, 6, 0, 0, 0, 0, 0)
	if s.Mode != Normal || s.Refused != 0 {
		t.Errorf("%+v", s)
	}
}

// TestScore: ISO 2859-1:1999, 9.3.3. Ac 7: +3 if the lot would also pass one AQL
// step tighter (letter L, AQL 1.0: Ac 5), else back to 0; ten such lots make 30.
func TestScore(t *testing.T) {
	s, _ := after(t, start(t, Rules{ReducedAgreed: true}), 5, 5, 5)
	if s.Score != 9 {
		t.Errorf("score %d after three", s.Score)
	}
	zero, said := after(t, s, 6) // accepted, but not one step tighter
	if zero.Score != 0 || !strings.Contains(said[0], "one AQL step tighter") {
		t.Errorf("score %d, %q", zero.Score, said)
	}
	if zero, _ := after(t, s, 8); zero.Score != 0 || zero.Mode != Normal {
		t.Errorf("refused: %+v", zero)
	}
	s, said = after(t, s, 5, 5, 5, 5, 5, 5)
	if s.Score != 27 || s.Mode != Normal || len(said) != 0 {
		t.Errorf("nine lots: %+v %q", s, said)
	}
	s, said = after(t, s, 5)
	if s.Mode != Reduced || !strings.Contains(said[0], "30") {
		t.Errorf("ten lots: %+v %q", s, said)
	}
	// Without consent it stays normal, and says so.
	s, said = after(t, start(t, Rules{}), 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	if s.Mode != Normal || s.Score != 30 || !strings.Contains(said[0], "consent") {
		t.Errorf("%+v %q", s, said)
	}
	// Ac 0 or 1: +2 for each accepted lot, so that it takes fifteen.
	s = start(t, Rules{ReducedAgreed: true})
	plan, _ := Lookup(100, "II", 0.65, Normal)
	for i := range 15 {
		if s.Mode != Normal || s.Score != 2*i || plan.Ac != 0 {
			t.Fatalf("lot %d: %+v", i, s)
		}
		s, _, _ = s.After(Outcome{Plan: plan})
	}
	if s.Mode != Reduced {
		t.Errorf("%+v", s)
	}
}

// TestReduced105E: ten accepted lots, consent, and the limit number of Table
// VIII or its waiver.
func TestReduced105E(t *testing.T) {
	ten := []int{1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	limit := func(v int) *int { return &v }
	for _, c := range []struct {
		r    Rules
		mode Mode
		says string
	}{
		{Rules{Standard: MIL105E}, Normal, "consent"},
		{Rules{Standard: MIL105E, ReducedAgreed: true}, Normal, "needs the limit number of Table VIII"},
		{Rules{Standard: MIL105E, ReducedAgreed: true, LimitNumber: limit(9)}, Normal, "more than the limit number of 9"},
		{Rules{Standard: MIL105E, ReducedAgreed: true, LimitNumber: limit(10)}, Reduced, "4.7.3"},
		{Rules{Standard: MIL105E, ReducedAgreed: true, LimitWaived: true}, Reduced, "4.7.3"},
	} {
		s, said := after(t, start(t, c.r), ten...)
		if s.Mode != c.mode || len(said) != 1 || !strings.Contains(said[0], c.says) || s.Score != 0 {
			t.Errorf("%+v: %+v %q", c.r, s, said)
		}
		if s, _ := after(t, start(t, c.r), ten[1:]...); s.Mode != Normal {
			t.Error("nine lots are enough")
		}
	}
	r := Rules{Standard: MIL105E, ReducedAgreed: true, LimitWaived: true}
	if s, _ := after(t, start(t, r), append([]int{8}, ten[1:]...)...); s.Mode != Normal {
		t.Error("a refused lot among the ten")
	}
	if s, _ := after(t, start(t, r), append([]int{8}, ten...)...); s.Mode != Reduced {
		t.Error("a refused lot before the ten")
	}
}

// TestFromReduced: reduced 3/6: 3 stays; 4 and 5 accept, but bring normal
// inspection back; 6 refuses.
func TestFromReduced(t *testing.T) {
	reduced, _ := after(t, start(t, Rules{ReducedAgreed: true}), 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	if reduced.Mode != Reduced {
		t.Fatalf("%+v", reduced)
	}
	for count, want := range map[int]struct {
		mode Mode
		says string
	}{3: {Reduced, ""}, 4: {Normal, "between Ac 3 and Re 6: the lot is accepted"}, 5: {Normal, "the lot is accepted"},
		6: {Normal, "not accepted"}} {
		s, said := after(t, reduced, count)
		if s.Mode != want.mode || want.says != "" && !strings.Contains(strings.Join(said, " "), want.says) ||
			want.says == "" && len(said) > 0 {
			t.Errorf("%d: %+v %q", count, s, said)
		}
		o := Outcome{Plan: Single{Ac: 3, Re: 6}, Count: count}
		if o.Accepted() != (count < 6) || o.InGap() != (count == 4 || count == 5) {
			t.Errorf("%d: accepted %v, in the gap %v", count, o.Accepted(), o.InGap())
		}
	}
	plan, _ := Lookup(5000, "II", 1.5, Reduced)
	s, phrases, err := reduced.After(Outcome{Plan: plan, Irregular: true})
	said := lang.English().SayAll(phrases)
	if err != nil || s.Mode != Normal || !strings.Contains(said[0], "irregular") {
		t.Errorf("%+v %q %v", s, said, err)
	}
	s, phrases, err = reduced.ToNormal("A new resin batch")
	said = lang.English().SayAll(phrases)
	if err != nil || s.Mode != Normal || !strings.Contains(said[0], "A new resin batch") {
		t.Errorf("%+v %q %v", s, said, err)
	}
	if _, _, err := s.ToNormal("again"); err == nil {
		t.Error("ended twice")
	}
}

func TestAfterKeepsOut(t *testing.T) {
	s, _ := after(t, start(t, Rules{}), 5, 8)
	plan, _ := Lookup(5000, "II", 1.5, Normal)
	same, phrases, err := s.After(Outcome{Plan: plan, Count: 20, Resubmitted: true})
	said := lang.English().SayAll(phrases)
	a, _ := json.Marshal(s)
	b, _ := json.Marshal(same)
	if err != nil || string(a) != string(b) || len(said) != 1 || !strings.Contains(said[0], "does not count") {
		t.Errorf("presented again: %s, then %s, %q, %v", a, b, said, err)
	}
	tight, _ := Lookup(5000, "II", 1.5, Tightened)
	for _, c := range []struct {
		o    Outcome
		says string
	}{
		{Outcome{Plan: plan, Count: -1}, "negative"},
		{Outcome{Plan: Single{N: 5, Re: 1}}, "none is not switched"},
		{Outcome{Plan: Single{AQL: 1}}, "has no plan"},
		{Outcome{Plan: tight}, "but normal inspection was due"},
	} {
		if _, _, err := s.After(c.o); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c.o, err)
		}
	}
	// The state before is left as it was: a caller can keep it.
	before := fmt.Sprint(s.Recent)
	after(t, s, 8)
	if fmt.Sprint(s.Recent) != before {
		t.Error("After writes into the state before")
	}
	if _, err := NewSwitching(Rules{Standard: "house rule"}); err == nil {
		t.Error("an unknown standard")
	}
}

func TestTighter(t *testing.T) {
	s, _ := Lookup(5000, "II", 1.5, Normal)
	if n, ok := s.Tighter(); !ok || n.Ac != 5 || n.N != 200 || n.AQL != 1.0 {
		t.Errorf("%+v", n)
	}
	s, _ = LookupPerHundred(5000, "II", 25, Normal) // L has an arrow up to H, 50, 21/22; tighter there: 14/15
	if n, ok := s.Tighter(); !ok || s.PlanLetter != "H" || n.Ac != 14 || n.N != 50 {
		t.Errorf("%+v of %+v", n, s)
	}
	s, _ = Lookup(5000, "II", 0.010, Normal)
	if _, ok := s.Tighter(); ok {
		t.Error("a step below the smallest AQL")
	}
}

// schemeP is the share of lots accepted in the long run where normal inspection
// accepts the share pn and tightened inspection pt: (a pn + b pt)/(a + b), with
// the mean stays a = (2-pn^4)/((1-pn)(1-pn^4)) on normal inspection and
// b = (1-pt^5)/((1-pt) pt^5) on tightened. Stephens and Larson 1967.
func schemeP(pn, pt float64) float64 {
	switch {
	case !(pn >= 0 && pn <= 1 && pt >= 0 && pt <= 1):
		return math.NaN()
	case pn == 1:
		return 1 // never leaves normal
	case pt == 0:
		return 0 // never leaves tightened
	}
	n4 := math.Pow(pn, 4)
	a := (2 - n4) / ((1 - pn) * (1 - n4))
	// The quotient (1-pt^5)/(1-pt) as its sum, which has no 0/0 at 1.
	b := (1 + pt*(1+pt*(1+pt*(1+pt)))) / math.Pow(pt, 5)
	if math.IsInf(a, 1) {
		return pn
	}
	if math.IsInf(b, 1) {
		return pt
	}
	return (a*pn + b*pt) / (a + b)
}
