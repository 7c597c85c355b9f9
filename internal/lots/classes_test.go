package lots

import (
	"strings"
	"testing"

	"finishbench/internal/part"
)

func TestPlanLot(t *testing.T) {
	plans, err := PlanLot(1000, "II", DefaultClasses(), nil)
	if err != nil {
		t.Fatal(err)
	}
	// 105E Table I: 501 to 1200, II is J; Table II-A: J, 80: AQL 1.0 2/3, AQL 2.5 5/6.
	for i, want := range []Single{{N: 80, Ac: 0, Re: 1}, {N: 80, Ac: 2, Re: 3}, {N: 80, Ac: 5, Re: 6}} {
		if p := plans[i].Plan; p.N != want.N || p.Ac != want.Ac || p.Re != want.Re || p.Letter != "J" || p.Mode != Normal {
			t.Errorf("%s: %+v", plans[i].Severity, p)
		}
	}
	if n := drawSize(plans); n != 80 {
		t.Errorf("draw %d", n)
	}
	if !plans[0].Plan.Zero() || plans[1].Plan.Zero() || !strings.HasPrefix(plans[0].Plan.Protection().Sentence, "Of lots of 1000 with 1 nonconforming unit, this plan accepts 92 in 100") {
		t.Error(plans[0].Plan.Protection().Sentence) // 920 of 1000 units are left out
	}
	// One mode a class; an arrow gives a class a sample of its own.
	plans, err = PlanLot(40, "II", DefaultClasses(), map[part.Severity]Mode{part.Minor: Tightened})
	if err != nil || plans[1].Plan.N != 13 || plans[2].Plan.N != 8 || plans[2].Plan.Mode != Tightened || plans[1].Plan.Mode != Normal || plans[0].Plan.N != 13 || drawSize(plans) != 13 {
		t.Errorf("%+v, %v", plans, err)
	}
	// A lot smaller than its sample.
	plans, err = PlanLot(5, "II", DefaultClasses(), nil)
	if err != nil || drawSize(plans) != 5 || !plans[0].Plan.All {
		t.Errorf("%+v, %v", plans, err)
	}
	// A limit and a risk of one's own: the sample of ZeroAcceptance.
	own := DefaultClasses()
	own[0].Limit, own[0].Risk = 0.02, 0.10
	plans, err = PlanLot(1000, "II", own, nil)
	n, _ := ZeroAcceptance(1000, 0.02, 0.10)
	if err != nil || plans[0].Plan.N != n || drawSize(plans) != n || n <= 80 {
		t.Errorf("%+v, %v", plans, err)
	}
}

func drawSize(plans []ClassPlan) int {
	var o Opening
	for _, p := range plans {
		o.Classes = append(o.Classes, Planned{ClassPlan: p})
	}
	return o.DrawSize()
}

func TestPlanLotRefuses(t *testing.T) {
	for _, c := range []struct {
		classes []Class
		says    string
	}{
		{nil, "no class"},
		{[]Class{{Severity: part.Major, AQL: 1}}, "covers no severity"},
		{[]Class{{Severity: part.Major, Covers: []part.Severity{"bad"}, AQL: 1}}, "there are minor, moderate, major, critical"},
		{[]Class{{Severity: part.Major, Covers: []part.Severity{part.None}, AQL: 1}}, "no severity that can be counted"},
		{[]Class{{Severity: part.Major, Covers: []part.Severity{part.Major}, AQL: 1}, {Severity: part.Minor, Covers: []part.Severity{part.Major}, AQL: 1}}, "count twice"},
		{[]Class{{Severity: part.Major, Covers: []part.Severity{part.Major}, AQL: 15}}, "per 100 units only, where a unit can have several; percent nonconforming units end at 10 (class major)"},
		{[]Class{{Severity: part.Critical, Covers: []part.Severity{part.Critical}, Zero: true}}, "needs a limit and a risk"},
		{[]Class{{Severity: part.Critical, Covers: []part.Severity{part.Critical}, Zero: true, Limit: 2, Risk: 0.1}}, "as fractions"},
		{[]Class{{Severity: part.Major, Covers: []part.Severity{part.Major}}}, "no AQL 0"},
	} {
		if _, err := PlanLot(100, "II", c.classes, nil); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c.classes, err)
		}
	}
}

// DefaultClasses are the shipped classes: critical, none accepted; major, AQL
// 1.0; minor, AQL 2.5. The standard knows these three classes; moderate findings
// count with the minor ones. AQLs: common practice, no source.
func DefaultClasses() []Class {
	return []Class{
		{Severity: part.Critical, Covers: []part.Severity{part.Critical}, Zero: true},
		{Severity: part.Major, Covers: []part.Severity{part.Major}, AQL: 1.0},
		{Severity: part.Minor, Covers: []part.Severity{part.Moderate, part.Minor}, AQL: 2.5},
	}
}
