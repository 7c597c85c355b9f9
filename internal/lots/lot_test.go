package lots

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

// All lots here are invented.

var noon = time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)

const someLimits = "1111111111111111111111111111111111111111111111111111111111111111"

// opening is a lot of 500 units at level II with the shipped classes: major AQL
// 1.0 and minor AQL 2.5, letter H, are 50 units with Ac 1 and Ac 3 (MIL-STD-105E,
// Tables I and II-A).
func opening(t testing.TB, size int) Opening {
	t.Helper()
	plans, err := PlanLot(size, "II", DefaultClasses(), nil)
	if err != nil {
		t.Fatal(err)
	}
	o := Opening{Size: size, Product: "shell", Stage: part.Cured, Standard: ISO2859, Edition: Edition, Rules: Rules{Standard: ISO2859},
		Level: "II", Limits: someLimits, LimitsName: "limits.yaml", NotPassing: part.Major}
	for _, p := range plans {
		o.Classes = append(o.Classes, Planned{ClassPlan: p})
	}
	return o
}

func lotSerials(n int) []string {
	s := make([]string, n)
	for i := range s {
		s[i] = fmt.Sprintf("u%04d", i+1)
	}
	return s
}

// history is a lot with its events, which each step adds to.
type history struct {
	t testing.TB
	Lot
	events []part.Entry
}

func (h *history) do(e part.Entry, err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
	if err := h.Apply(e); err != nil {
		h.t.Fatal(err)
	}
	h.events = append(h.events, e)
}

func started(t testing.TB, name string, size int) *history {
	h := &history{t: t, Lot: Lot{Name: name}}
	h.do(h.Open(opening(t, size), noon, "inspector 1"))
	h.do(h.Draw(lotSerials(size), 7, false, noon, "inspector 1"))
	return h
}

func good(name string) Unit {
	return Unit{Name: name, Stage: part.Cured, Verdict: part.Pass, Limits: someLimits, Seen: noon}
}

func bad(name string, found map[part.Severity]int) Unit {
	u := good(name)
	u.Findings = found
	if found[part.Major]+found[part.Critical] > 0 {
		u.Verdict = part.Rework
	}
	return u
}

// takeAll takes the pending units of the sample, the first ones with the findings
// given.
func (h *history) takeAll(found ...map[part.Severity]int) {
	h.t.Helper()
	for i, name := range h.Current().Pending() {
		u := good(name)
		if i < len(found) {
			u = bad(name, found[i])
		}
		h.do(h.Take(u, noon, "inspector 1"))
	}
}

// scrapAll scraps the units of the sample that do not pass.
func (h *history) scrapAll() {
	h.t.Helper()
	for _, u := range h.Current().Undisposed() {
		h.do(h.DisposeUnit(Disposition{Unit: u.Name, Route: Scrapped}, noon, "inspector 2"))
	}
}

// namesOf are the units' names.
func namesOf(units []Unit) []string {
	var out []string
	for _, u := range units {
		out = append(out, u.Name)
	}
	return out
}

// without are serials less those that left the lot.
func without(serials, out []string) []string {
	return slices.DeleteFunc(slices.Clone(serials), func(s string) bool { return slices.Contains(out, s) })
}

type found = map[part.Severity]int

// A lot with one major unit and three minor ones is accepted: Ac 1 and 3.
func TestLotAccepted(t *testing.T) {
	h := started(t, "A", 500)
	if s := h.State(); s != StateWaiting || len(h.Current().Sample) != 50 {
		t.Fatalf("%s, %d units", s, len(h.Current().Sample))
	}
	h.takeAll(found{part.Major: 2, part.Minor: 5}, found{part.Moderate: 1}, found{part.Minor: 1}, found{part.Minor: 2})
	var counts []int
	for _, s := range h.Current().Standings() {
		counts = append(counts, s.Count)
		if s.Call != Accepts || s.Looked != 50 || s.Left != 0 {
			t.Errorf("%+v", s)
		}
	}
	if !slices.Equal(counts, []int{0, 1, 3}) || h.State() != StateToDecide {
		t.Errorf("%v %s", counts, h.State())
	}
	h.scrapAll()
	h.do(h.Decide(nil, "", noon, "inspector 2"))
	if d := h.Current().Decision; !d.Accepted || d.Early || d.Against || h.State() != StateAccepted ||
		h.Current().Decided.By != "inspector 2" {
		t.Errorf("%+v %s", d, h.State())
	}
	again, err := Fold(h.events)
	if err != nil || again.State() != StateAccepted || again.Seq != int64(len(h.events)) {
		t.Errorf("%+v %v", again.State(), err)
	}
}

// A second major unit refuses, however many are still to be looked at; and one
// critical too.
func TestLotRefusedEarly(t *testing.T) {
	for _, c := range []struct {
		found []found
		by    string
	}{
		{[]found{{part.Major: 1}, {part.Major: 1}}, "major: 2, refused from 2"},
		{[]found{{part.Critical: 1, part.Major: 3, part.Minor: 1}}, "critical: 1, refused from 1"},
	} {
		h := started(t, "A", 500)
		names := h.Current().Pending()
		for i, f := range c.found {
			if h.State() != StateWaiting {
				t.Fatalf("%s after %d", h.State(), i)
			}
			h.do(h.Take(bad(names[i], f), noon, ""))
		}
		if h.State() != StateToDecide || h.Current().Call() != Refuses || english(h.Current().RefusedBy()) != c.by {
			t.Errorf("%s %s", h.State(), english(h.Current().RefusedBy()))
		}
		yes := true
		refused(t, "cannot be accepted")(h.Decide(&yes, "", noon, "inspector 2"))
		h.do(h.Decide(nil, "", noon, "inspector 2"))
		if d := h.Current().Decision; d.Accepted || !d.Early || h.State() != StateRefused {
			t.Errorf("%+v", d)
		}
	}
}

// A unit counts once, in its worst class; findings count one by one.
func TestCounting(t *testing.T) {
	h := started(t, "A", 500)
	h.takeAll(found{part.Critical: 1, part.Major: 1, part.Minor: 1})
	counts := func() (c []int) {
		for _, s := range h.Current().Standings() {
			c = append(c, s.Count)
		}
		return c
	}
	if c := counts(); !slices.Equal(c, []int{1, 0, 0}) {
		t.Errorf("units: %v", c)
	}
	for i := range h.Current().Opening.Classes {
		h.Current().Opening.Classes[i].PerHundred = true
	}
	h.Current().Sample[1].Unit.Findings = found{part.Minor: 4, part.Moderate: 1}
	if c := counts(); !slices.Equal(c, []int{1, 1, 6}) {
		t.Errorf("findings: %v", c)
	}
}

// A class with a smaller sample is judged on the first units of the draw only.
func TestNestedSamples(t *testing.T) {
	o := opening(t, 500)
	o.Classes[1].Plan.N, o.Classes[1].Plan.Ac, o.Classes[1].Plan.Re = 13, 0, 1
	h := &history{t: t, Lot: Lot{Name: "A"}}
	h.do(h.Open(o, noon, ""))
	h.do(h.Draw(lotSerials(500), 7, false, noon, ""))
	sample := h.Current().Sample
	h.do(h.Take(bad(sample[13].Name, found{part.Major: 1}), noon, ""))
	if s := h.Current().Standings()[1]; s.Count != 0 || s.Left != 13 || s.Call != Waits {
		t.Errorf("the 14th unit: %+v", s)
	}
	h.do(h.Take(bad(sample[12].Name, found{part.Major: 1}), noon, ""))
	if s := h.Current().Standings()[1]; s.Count != 1 || s.Call != Refuses {
		t.Errorf("the 13th unit: %+v", s)
	}
	if n := h.Current().Needs(13); !slices.Equal(n, []part.Severity{part.Critical, part.Minor}) {
		t.Error(n)
	}
	// The 14th is a major unit, so that its minor finding counts nowhere.
	h.do(h.Take(Unit{Name: sample[13].Name, Stage: part.Cured, Verdict: part.Rework, Limits: someLimits, Seen: noon,
		Findings: found{part.Major: 1, part.Minor: 1}, Why: "again"}, noon, ""))
	h.do(h.Take(bad(sample[14].Name, found{part.Minor: 1}), noon, ""))
	for place, counts := range map[int]bool{11: false, 12: true, 13: false, 14: true} {
		if got := h.Current().Counts(place); got != counts {
			t.Errorf("place %d counts: %v", place, got)
		}
	}
}

// What was not measured counts neither way: the sample is unfinished until it is
// measured or replaced by the next unit of the same draw.
func TestUnmeasured(t *testing.T) {
	h := started(t, "A", 500)
	names := h.Current().Pending()
	blind := good(names[0])
	blind.Verdict = part.NotMeasured
	blind.Findings = found{part.Critical: 1} // an unmeasured unit's findings do not count
	h.do(h.Take(blind, noon, ""))
	for _, n := range names[1:] {
		h.do(h.Take(good(n), noon, ""))
	}
	if h.State() != StateWaiting || !slices.Equal(h.Current().Pending(), names[:1]) {
		t.Fatalf("%s %v", h.State(), h.Current().Pending())
	}
	if s := h.Current().Standings()[0]; s.Unmeasured != 1 || s.Looked != 49 || s.Left != 0 || s.Count != 0 {
		t.Errorf("%+v", s)
	}
	refused(t, "1 of 50 not measured")(h.Decide(nil, "", noon, "inspector 2"))
	refused(t, "say why")(h.Replace(names[0], "", noon, "inspector 1"))
	refused(t, "say who")(h.Replace(names[0], "broken", noon, ""))
	refused(t, "was measured")(h.Replace(names[1], "broken", noon, "inspector 1"))
	h.do(h.Replace(names[0], "broken", noon, "inspector 1"))
	want, err := Draw(lotSerials(500), 51, 7)
	if err != nil || h.Current().Pending()[0] != want[50] {
		t.Fatalf("%v %v", h.Current().Pending(), err)
	}
	refused(t, "was replaced")(h.Take(good(names[0]), noon, ""))
	h.do(h.Take(good(want[50]), noon, ""))
	if h.State() != StateToDecide {
		t.Error(h.State())
	}
	// The same by measuring it after all.
	h = started(t, "A", 500)
	h.do(h.Take(blind, noon, ""))
	h.do(h.Take(good(names[0]), noon, ""))
	if p := h.Current().Look(names[0]); len(p.Was) != 1 || !p.Unit.Measured() {
		t.Errorf("%+v", p)
	}
}

// refused checks that a step is refused in one sentence with these words.
func refused(t *testing.T, words string) func(part.Entry, error) {
	t.Helper()
	return func(_ part.Entry, err error) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), words) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %q was expected", err, words)
		}
	}
}

func TestRefusals(t *testing.T) {
	none := &Lot{Name: "A"}
	for _, c := range []struct {
		size  int
		words string
	}{{0, "no units"}, {1, "a lot of one unit"}, {-3, "can not have"}} {
		o := opening(t, 500)
		o.Size = c.size
		refused(t, c.words)(none.Open(o, noon, ""))
	}
	o := opening(t, 500)
	o.Size = 20
	refused(t, "has 50 units, more than the lot with its 20")(none.Open(o, noon, ""))
	o = opening(t, 500)
	o.Limits = ""
	refused(t, "by which limits")(none.Open(o, noon, ""))
	o = opening(t, 500)
	o.Classes[1].Switching.Discontinued = true
	refused(t, "discontinued for the class major")(none.Open(o, noon, ""))
	o.Resume = "new filter"
	if _, err := none.Open(o, noon, ""); err != nil {
		t.Error(err)
	}
	refused(t, "there is no lot A")(none.Draw(lotSerials(5), 1, false, noon, ""))
	refused(t, "there is no lot A")(none.Take(good("u1"), noon, ""))
	refused(t, "there is no lot A")(none.Decide(nil, "", noon, "B"))

	h := &history{t: t, Lot: Lot{Name: "A"}}
	h.do(h.Open(opening(t, 500), noon, ""))
	refused(t, "is there already")(h.Open(opening(t, 500), noon, ""))
	refused(t, "not drawn yet")(h.Take(good("u0001"), noon, ""))
	refused(t, "not drawn yet")(h.Decide(nil, "", noon, "B"))
	refused(t, "500 units, but 499 serials")(h.Draw(lotSerials(499), 7, false, noon, ""))
	twice := lotSerials(500)
	twice[8] = twice[3]
	refused(t, "u0004 is in the lot twice")(h.Draw(twice, 7, false, noon, ""))
	h.do(h.Draw(lotSerials(500), 7, false, noon, ""))
	refused(t, "would be a choice")(h.Draw(lotSerials(500), 8, false, noon, ""))

	in := h.Current().Pending()[0]
	var out string
	for _, s := range lotSerials(500) {
		if h.Current().Look(s) == nil {
			out = s
			break
		}
	}
	refused(t, "was not drawn")(h.Take(good(out), noon, ""))
	refused(t, "is not of lot A")(h.Take(good("x1"), noon, ""))
	for _, c := range []struct {
		change func(*Unit)
		words  string
	}{
		{func(u *Unit) { u.Lot = "B" }, "recorded as a unit of lot B, not of lot A"},
		{func(u *Unit) { u.Limits = strings.Repeat("2", 64) }, "by other limits (222222222222) than lot A"},
		{func(u *Unit) { u.Stage = part.Wet }, "looked at wet, but lot A is judged cured"},
		{func(u *Unit) { u.Findings = found{part.Minor: -1} }, "has -1 minor findings: a count cannot be negative"},
		{func(u *Unit) { u.Findings = found{"odd": 1} }, `severity "odd"`},
		{func(u *Unit) { u.Verdict = "fine" }, `verdict "fine"`},
	} {
		u := good(in)
		c.change(&u)
		refused(t, c.words)(h.Take(u, noon, ""))
	}
	h.do(h.Take(good(in), noon, ""))
	refused(t, "taken for lot A already")(h.Take(good(in), noon, ""))
	again := bad(in, found{part.Minor: 1})
	again.Why = "the tool was overruled"
	h.do(h.Take(again, noon, "inspector 1"))
	if s := h.Current().Standings()[2]; s.Count != 1 || s.Looked != 1 || len(h.Current().Look(in).Was) != 1 {
		t.Errorf("%+v", s)
	}
	refused(t, "49 of 50 units not looked at")(h.Decide(nil, "", noon, "B"))
	no := false
	refused(t, "49 of 50 units not looked at")(h.Decide(&no, "", noon, "B"))
	refused(t, "only a refused lot")(h.Dispose(Disposal{How: Screen}, noon, "B"))
	h.takeAll()
	refused(t, "say who decides")(h.Decide(nil, "", noon, " "))
	refused(t, "say why it is refused all the same")(h.Decide(&no, "", noon, "B"))
	h.do(h.Decide(nil, "", noon, "B"))
	refused(t, "a decision is made once")(h.Decide(nil, "", noon, "B"))
	refused(t, "too late to take")(h.Take(again, noon, ""))
	refused(t, "too late to replace")(h.Replace(in, "x", noon, "B"))
	refused(t, "too late to start a new plan")(h.Replan(opening(t, 500), noon, "B"))
	refused(t, "was accepted: only a refused lot")(h.Dispose(Disposal{How: Screen}, noon, "B"))
	refused(t, "was not screened")(h.Resubmit(opening(t, 500), noon, "B"))
}

// A person may refuse what the counts accept, with a reason; it is marked.
func TestRefusedAgainstCount(t *testing.T) {
	h := started(t, "A", 500)
	h.takeAll()
	no := false
	h.do(h.Decide(&no, "wrong colour", noon, "B"))
	if d := h.Current().Decision; d.Accepted || !d.Against || d.Why != "wrong colour" {
		t.Errorf("%+v", d)
	}
}

// Refused, screened, presented again with the units that are left, accepted.
func TestResubmitted(t *testing.T) {
	h := started(t, "A", 500)
	h.takeAll(found{part.Critical: 1})
	h.do(h.Decide(nil, "", noon, "B"))
	refused(t, "no way of a refused lot")(h.Dispose(Disposal{How: "lost"}, noon, "B"))
	critical := h.Current().Sample[0].Name
	others := without(lotSerials(500), []string{critical})[:3]
	refused(t, "not among the units taken out")(h.Dispose(Disposal{How: Screen, Units: others}, noon, "B"))
	refused(t, "is not of lot A")(h.Dispose(Disposal{How: Screen, Units: []string{critical, "u0501"}}, noon, "B"))
	refused(t, "named twice")(h.Dispose(Disposal{How: Screen, Units: []string{critical, critical}}, noon, "B"))
	refused(t, "goes back as it is")(h.Dispose(Disposal{How: Return, Units: others}, noon, "B"))
	refused(t, "was not screened")(h.Resubmit(opening(t, 500), noon, "B"))
	h.do(h.Dispose(Disposal{How: Screen, Units: append(others, critical)}, noon, "B"))
	refused(t, "is closed")(h.DisposeUnit(Disposition{Unit: critical, Route: Scrapped}, noon, "B"))
	refused(t, "screened already")(h.Dispose(Disposal{How: Return}, noon, "B"))
	o := opening(t, 496)
	o.Classes[1].Plan.Mode = Reduced
	refused(t, "not presented again on reduced")(h.Resubmit(o, noon, "B"))
	refused(t, "496 units left of 500")(h.Resubmit(opening(t, 500), noon, "B"))
	h.do(h.Resubmit(opening(t, 496), noon, "B"))
	if h.State() != StateToDraw || len(h.Rounds) != 2 {
		t.Fatal(h.State())
	}
	refused(t, "was taken out of lot A")(h.Draw(without(lotSerials(500), lotSerials(500)[:4]), 8, false, noon, "B"))
	left := without(lotSerials(500), append(others, critical))
	refused(t, "was not of lot A when")(h.Draw(append(left[:495:495], "u0501"), 8, false, noon, "B"))
	h.do(h.Draw(left, 8, false, noon, "B"))
	early := good(h.Current().Pending()[0])
	early.Seen = noon.Add(-time.Second)
	refused(t, "before lot A was presented again")(h.Take(early, noon, ""))
	h.takeAll()
	h.do(h.Decide(nil, "", noon, "B"))
	if d := h.Current().Decision; !d.Accepted || !d.Again {
		t.Errorf("%+v", d)
	}
	if again, err := Fold(h.events); err != nil || again.State() != StateAccepted || again.Rounds[0].Disposal.Removed != 4 {
		t.Errorf("%+v %v", again, err)
	}
}

// A unit that does not pass counts as a major one, though none of its findings is more
// than minor: a score over its limit, a step, a person's word. A lot of which the whole
// sample is rejected is refused. (MIL-STD-105E, 3: a unit is nonconforming or not; which
// class it counts in is common practice, no source.)
func TestRejectsCount(t *testing.T) {
	for _, v := range []part.Verdict{part.Rework, part.Reject} {
		h := started(t, "A", 500)
		for _, name := range h.Current().Pending() {
			u := good(name)
			u.Verdict, u.Findings = v, found{part.Minor: 1}
			h.do(h.Take(u, noon, "inspector 1"))
		}
		r := h.Current()
		if s := r.Standings(); s[1].Count != 50 || s[2].Count != 0 || r.Call() != Refuses || !r.Counts(0) {
			t.Errorf("%s: %+v", v, s)
		}
	}
	h := started(t, "B", 500) // where findings are counted, one more than are found
	c := &h.Rounds[0].Opening.Classes[1]
	c.PerHundred = true
	for _, x := range []struct {
		u    Unit
		want int
	}{
		{Unit{Verdict: part.Reject, Findings: found{part.Minor: 3}}, 1},
		{Unit{Verdict: part.Reject, Findings: found{part.Major: 2}}, 2},
		{Unit{Verdict: part.Reject, Findings: found{part.Critical: 1}}, 0},
		{Unit{Verdict: part.Pass, Findings: found{part.Minor: 3}}, 0},
	} {
		if n := h.Rounds[0].countOf(&x.u, c); n != x.want {
			t.Errorf("%+v counts %d, want %d", x.u, n, x.want)
		}
	}
	o := opening(t, 500)
	o.NotPassing = part.Moderate
	o.Classes = o.Classes[:2] // of which none covers it
	refused(t, "no class counts the units that do not pass")((&Lot{Name: "C"}).Open(o, noon, "B"))
}

// A lot opened before the class of units that do not pass was told has the major one.
func TestOldOpening(t *testing.T) {
	o := opening(t, 500)
	o.NotPassing = ""
	l := Lot{Name: "A"}
	e, err := l.event(Opened, noon, "B", o)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Apply(e); err != nil || l.Current().Opening.NotPassing != part.Major {
		t.Errorf("%v %q", err, l.Current().Opening.NotPassing)
	}
}

// Each unit that does not pass needs a disposition by its serial before the lot is
// accepted; it changes no count. A reworked one must have passed since.
func TestDispositions(t *testing.T) {
	h := started(t, "A", 500)
	failing := h.Current().Pending()[:2]
	lost := h.Current().Pending()[2]
	h.takeAll(found{part.Major: 1}, found{part.Minor: 1})
	r := h.Current()
	other := bad(failing[1], found{part.Moderate: 1})
	other.Verdict, other.Why = part.Rework, "the lamp was off"
	r.Opening.Classes[1].Plan.Ac, r.Opening.Classes[1].Plan.Re = 2, 3 // a lot that two may be bad of
	h.do(h.Take(other, noon, "B"))
	blind := good(lost)
	blind.Verdict, blind.Why = part.NotMeasured, "withdrawn"
	h.do(h.Take(blind, noon, "B"))
	h.do(h.Replace(lost, "shell broken", noon, "B"))
	h.takeAll()
	want := []string{failing[0], failing[1], lost}
	if got := namesOf(r.Undisposed()); !slices.Equal(got, want) {
		t.Fatalf("%v, want %v", got, want)
	}
	refused(t, "nobody has said what becomes of "+failing[0]+" (rework), "+failing[1]+" (rework), "+lost+" (not measured)")(h.Decide(nil,
		"", noon, "B"))
	was := r.Standings()

	dispose := func(d Disposition, by string) (part.Entry, error) { return h.DisposeUnit(d, noon, by) }
	refused(t, "is no unit of the sample of lot A that does not pass")(dispose(Disposition{Unit: h.Current().Sample[9].Name,
		Route: Scrapped}, "B"))
	refused(t, "nothing that becomes of a unit")(dispose(Disposition{Unit: failing[0], Route: "sold"}, "B"))
	refused(t, "say who decides")(dispose(Disposition{Unit: failing[0], Route: Scrapped}, ""))
	refused(t, "needs the reason (--why) and the customer's reference")(dispose(Disposition{Unit: failing[0], Route: Concession,
		Why: "it is dark"}, "B"))
	refused(t, "is for a concession")(dispose(Disposition{Unit: failing[0], Route: Scrapped, Reference: "C-1"}, "B"))
	refused(t, "has not passed since")(dispose(Disposition{Unit: failing[0], Route: Reworked}, "B"))
	refused(t, "has not passed since")(dispose(Disposition{Unit: failing[0], Route: Reworked, Inspection: 7, Seen: noon}, "B"))
	h.do(dispose(Disposition{Unit: failing[0], Route: Reworked, Inspection: 7, Seen: noon.Add(time.Hour)}, "B"))
	h.do(dispose(Disposition{Unit: failing[1], Route: Concession, Why: "it is dark", Reference: "C-1"}, "B"))
	h.do(dispose(Disposition{Unit: lost, Route: Concession, Why: "spare", Reference: "C-2"}, "B"))
	h.do(dispose(Disposition{Unit: lost, Route: Scrapped}, "B")) // the later word stands
	if out := r.Out(); !slices.Equal(out, []string{lost}) || len(r.Undisposed()) != 0 || len(r.Dispositions) != 4 {
		t.Errorf("%v left, %v open", out, r.Undisposed())
	}
	if fmt.Sprint(was) != fmt.Sprint(r.Standings()) {
		t.Errorf("the counts changed: %+v", r.Standings())
	}
	h.do(h.Decide(nil, "", noon, "B"))
	if h.State() != StateAccepted {
		t.Error(h.State())
	}
}

// Other limits in mid-lot: refused, or a plan that starts anew, after which what
// was seen before does not count.
func TestReplanned(t *testing.T) {
	h := started(t, "A", 500)
	h.do(h.Take(bad(h.Current().Pending()[0], found{part.Critical: 1}), noon, ""))
	o := opening(t, 500)
	o.Limits = strings.Repeat("2", 64)
	refused(t, "say why the plan")(h.Replan(o, noon, "B"))
	o.Why = "the limit of dust was wrong"
	refused(t, "say who")(h.Replan(o, noon, ""))
	h.do(h.Replan(o, noon, "B"))
	if h.State() != StateToDraw || h.Rounds[0].Call() != Refuses {
		t.Fatal(h.State())
	}
	h.do(h.Draw(lotSerials(500), 9, false, noon, "B"))
	for _, n := range h.Current().Pending() {
		u := good(n)
		refused(t, "other limits")(h.Take(u, noon, ""))
		u.Limits = o.Limits
		h.do(h.Take(u, noon, ""))
	}
	h.do(h.Decide(nil, "", noon, "B"))
	if d := h.Current().Decision; !d.Accepted || d.Again {
		t.Errorf("%+v", d)
	}
}

// The units drawn are those of the seed, or it is told.
func TestVerify(t *testing.T) {
	d := started(t, "A", 500).Current().Drawing
	if err := d.Verify(); err != nil {
		t.Fatal(err)
	}
	d.Units[3], d.Units[4] = d.Units[4], d.Units[3]
	if err := d.Verify(); err == nil || !strings.Contains(err.Error(), "somebody chose") {
		t.Error(err)
	}
	d.Method = "by hand"
	if err := d.Verify(); err == nil {
		t.Error("an unknown method was verified")
	}
}

// What is no history is told, and never panics.
func TestFoldRefuses(t *testing.T) {
	h := started(t, "A", 500)
	h.do(h.Take(good(h.Current().Pending()[0]), noon, ""))
	change := func(f func(es []part.Entry) []part.Entry) []part.Entry { return f(slices.Clone(h.events)) }
	for name, es := range map[string][]part.Entry{
		"gap":        change(func(es []part.Entry) []part.Entry { return slices.Delete(es, 1, 2) }),
		"other lot":  change(func(es []part.Entry) []part.Entry { es[2].Name = "B"; return es }),
		"not opened": change(func(es []part.Entry) []part.Entry { es = es[1:2]; es[0].Seq = 1; return es }),
		"opened twice": change(func(es []part.Entry) []part.Entry {
			e := es[0]
			e.Seq = 4
			return append(es, e)
		}),
		"unknown":   change(func(es []part.Entry) []part.Entry { es[2].Kind = "sold"; return es }),
		"no JSON":   change(func(es []part.Entry) []part.Entry { es[2].Body = nil; return es }),
		"not drawn": change(func(es []part.Entry) []part.Entry { es[2].Body = json.RawMessage(`{"unit":"x"}`); return es }),
	} {
		if _, err := Fold(es); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if l, err := Fold(nil); err != nil || l.State() != StateNone || l.Current() != nil {
		t.Errorf("%+v %v", l, err)
	}
}

// decidedLot is a lot that was decided with so many major units.
func decidedLot(t testing.TB, name string, mode Mode, major int) []part.Entry {
	plans, err := PlanLot(500, "II", DefaultClasses(), map[part.Severity]Mode{part.Major: mode})
	if err != nil {
		t.Fatal(err)
	}
	o := opening(t, 500)
	for i := range plans {
		o.Classes[i].ClassPlan = plans[i]
	}
	h := &history{t: t, Lot: Lot{Name: name}}
	h.do(h.Open(o, noon, ""))
	h.do(h.Draw(lotSerials(500), 7, false, noon, ""))
	fs := make([]found, major)
	for i := range fs {
		fs[i] = found{part.Major: 1}
	}
	h.takeAll(fs...)
	h.scrapAll()
	h.do(h.Decide(nil, "", noon, "B"))
	return onlyHistory(h.events)
}

func onlyHistory(es []part.Entry) []part.Entry {
	return slices.DeleteFunc(slices.Clone(es), func(e part.Entry) bool { return !slices.Contains(HistoryKinds(), e.Kind) })
}

// The state of switching comes from the lots' events: two of five refused tighten;
// other classes and products, and lots inspected by another plan than was due, do
// not count (MIL-STD-105E, 4.7.1; ISO 2859-1:1999, 9.3.1).
func TestHistory(t *testing.T) {
	var es []part.Entry
	for i, major := range []int{0, 2, 1, 3} {
		es = append(es, decidedLot(t, fmt.Sprintf("L%d", i), Normal, major)...)
	}
	s, said, err := History(es, "shell", part.Major, Rules{})
	if err != nil || s.Mode != Tightened || s.Lots != 4 || len(said) == 0 || said[len(said)-1].Lot != "L3" {
		t.Errorf("%+v %+v %v", s, said, err)
	}
	if s, _, err := History(es, "shell", part.Minor, Rules{}); err != nil || s.Mode != Normal || s.Lots != 4 {
		t.Errorf("minor: %+v %v", s, err)
	}
	if s, _, err := History(es, "other", part.Major, Rules{}); err != nil || s.Mode != Normal || s.Lots != 0 {
		t.Errorf("another product: %+v %v", s, err)
	}
	es = append(es, decidedLot(t, "L4", Normal, 0)...)
	if s, said, err := History(es, "shell", part.Major, Rules{}); err != nil || s.Lots != 4 ||
		!strings.Contains(english(said[len(said)-1].Phrase), "does not count") {
		t.Errorf("%+v %+v %v", s, said, err)
	}
	for i := range 5 {
		es = append(es, decidedLot(t, fmt.Sprintf("M%d", i), Tightened, 0)...)
	}
	if s, _, err := History(es, "shell", part.Major, Rules{}); err != nil || s.Mode != Normal {
		t.Errorf("%+v %v", s, err)
	}
}

// A lot that is presented again does not count.
func TestHistoryResubmitted(t *testing.T) {
	h := started(t, "A", 500)
	h.takeAll(found{part.Major: 1}, found{part.Major: 1})
	h.do(h.Decide(nil, "", noon, "B"))
	out := namesOf(h.Current().Undisposed())
	h.do(h.Dispose(Disposal{How: Screen, Units: out}, noon, "B"))
	h.do(h.Resubmit(opening(t, 498), noon, "B"))
	h.do(h.Draw(without(lotSerials(500), out), 8, false, noon, "B"))
	h.takeAll(found{part.Major: 1}, found{part.Major: 1})
	h.do(h.Decide(nil, "", noon, "B"))
	s, _, err := History(onlyHistory(h.events), "shell", part.Major, Rules{})
	if err != nil || s.Mode != Normal || s.Lots != 1 {
		t.Errorf("%+v %v", s, err)
	}
}

// Five refused on tightened inspection discontinue; saying what was put right
// takes it up again (ISO 2859-1:1999, 9.4).
func TestHistoryDiscontinued(t *testing.T) {
	var es []part.Entry
	for i := range 2 {
		es = append(es, decidedLot(t, fmt.Sprintf("L%d", i), Normal, 2)...)
	}
	for i := range 5 {
		es = append(es, decidedLot(t, fmt.Sprintf("M%d", i), Tightened, 3)...)
	}
	s, _, err := History(es, "shell", part.Major, Rules{})
	if err != nil || !s.Discontinued {
		t.Fatalf("%+v %v", s, err)
	}
	l := Lot{Name: "N"}
	o := opening(t, 500)
	o.Resume = "new filter"
	e, err := l.Open(o, noon, "B")
	if err != nil {
		t.Fatal(err)
	}
	if s, said, err := History(append(es, e), "shell", part.Major, Rules{}); err != nil || s.Discontinued || s.Mode != Tightened ||
		!strings.Contains(english(said[len(said)-1].Phrase), "new filter") {
		t.Errorf("%+v %+v %v", s, said, err)
	}
}

// calledAs is an inspection with this result and a person's call.
func calledAs(v part.Verdict, r part.Result) *part.Inspection {
	return &part.Inspection{Result: r, Overruled: &part.Overrule{Verdict: v}}
}

func TestUnitOf(t *testing.T) {
	step := -12.5
	r := part.Result{Stage: part.Cured, Verdict: part.Rework, Findings: []part.Finding{{Severity: part.Major}, {Severity: part.Minor},
		{Severity: part.Minor}, {Severity: part.None}},
		Seam: part.Seam{WorstStepUM: &step, Stations: []part.StepStation{{State: part.Measured}, {State: part.Unmeasured}}}}
	u := UnitOf("u1", &part.Inspection{Result: r})
	if fmt.Sprint(u.Findings) != fmt.Sprint(found{part.Major: 1, part.Minor: 2}) || u.Stations != 1 || *u.WorstStepUM != step ||
		u.Person != "" {
		t.Errorf("%+v", u)
	}
	if u := UnitOf("u1", calledAs(part.Pass, r)); u.Findings != nil || u.Verdict != part.Pass || u.Person == "" {
		t.Errorf("overruled to pass: %+v", u)
	}
	clean := part.Result{Stage: part.Cured, Verdict: part.Pass, Findings: []part.Finding{{Severity: part.Minor}}}
	for _, r := range []part.Result{r, clean} {
		u := UnitOf("u1", calledAs(part.Reject, r))
		if u.Verdict != part.Reject || u.Person == "" || u.Findings[part.Minor] == 0 {
			t.Errorf("overruled to reject: %+v", u)
		}
	}
	if u := UnitOf("u1", calledAs(part.NotMeasured, clean)); u.Measured() {
		t.Errorf("not measured: %+v", u)
	}
}

// BenchmarkFold is a lot of 10,000 units of which every one is looked at.
func BenchmarkFold(b *testing.B) {
	o := opening(b, 10000)
	for i := range o.Classes {
		o.Classes[i].Plan.N = 10000
	}
	h := &history{t: b, Lot: Lot{Name: "A"}}
	h.do(h.Open(o, noon, ""))
	h.do(h.Draw(lotSerials(10000), 7, false, noon, ""))
	h.takeAll(found{part.Minor: 1})
	for b.Loop() {
		l, err := Fold(h.events)
		if err != nil || l.Current().Call() != Accepts {
			b.Fatal(err)
		}
	}
}
