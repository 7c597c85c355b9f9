package study

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// printedStudy has the counts of the attribute study that AIAG's Measurement
// Systems Analysis prints (3rd and 4th ed.; figures from memory): 50 parts, 34
// of them good, three appraisers, three trials. The parts themselves are
// invented: the counts follow from the printed shares (84 % of 50 parts, 6.3 %
// of 48 calls on bad parts, 4.9 % of 102 on good ones, and so on).
func printedStudy() []Call {
	wrong := map[string]map[int]int{"A": {}, "B": {}, "C": {}} // wrong calls by part; parts 1 to 34 are good
	put := func(who string, from, parts, calls int) {
		for p := range parts {
			wrong[who][from+p] = 1
		}
		for k := range calls - parts {
			wrong[who][from+k%parts]++
		}
	}
	put("A", 1, 5, 5)
	put("A", 35, 3, 3)
	put("B", 1, 2, 2)
	put("B", 35, 3, 3)
	put("C", 1, 6, 9)
	put("C", 35, 4, 6)
	var all []Call
	for p := 1; p <= 50; p++ {
		ref, other := "good", "bad"
		if p > 34 {
			ref, other = other, ref
		}
		for _, who := range []string{"A", "B", "C"} {
			for trial := 1; trial <= 3; trial++ {
				word := ref
				if trial <= wrong[who][p] {
					word = other
				}
				all = append(all, Call{fmt.Sprint(p), who, fmt.Sprint(trial), word, ref, 0})
			}
		}
	}
	return all
}

func TestAgreementPrintedStudy(t *testing.T) {
	a, err := NewAgreement(printedStudy(), DefaultAgreementOptions())
	if err != nil {
		t.Fatal(err)
	}
	if a.GoodParts != 34 || a.BadParts != 16 || len(a.Results) != 3 || len(a.Pairs) != 3 {
		t.Fatalf("%d good, %d bad parts, %d judges, %d pairs", a.GoodParts, a.BadParts, len(a.Results), len(a.Pairs))
	}
	for i, c := range []struct {
		effective, miss, alarm, kappa float64 // printed: %, %, %, and kappa to the reference
		fit                           [3]Fitness
	}{
		{84, 6.3, 4.9, 0.88, [3]Fitness{FitMarginal, FitUnacceptable, FitAcceptable}},
		{90, 6.3, 2.0, 0.92, [3]Fitness{FitAcceptable, FitUnacceptable, FitAcceptable}},
		{80, 12.5, 8.8, 0.77, [3]Fitness{FitMarginal, FitUnacceptable, FitMarginal}},
	} {
		j := a.Results[i]
		near(t, j.Appraiser+" effectiveness", 100*j.Effective.Value(), c.effective, 1e-9)
		near(t, j.Appraiser+" misses", 100*j.Miss.Value(), c.miss, 0.0501)
		near(t, j.Appraiser+" false alarms", 100*j.FalseAlarm.Value(), c.alarm, 0.05)
		near(t, j.Appraiser+" kappa", j.Reference.Value, c.kappa, 0.005)
		if got := [3]Fitness{j.Effectiveness, j.Misses, j.FalseAlarms}; got != c.fit || j.Fitness != FitUnacceptable {
			t.Errorf("%s: %v, in all %s", j.Appraiser, got, j.Fitness)
		}
		if !strings.HasPrefix(j.Reference.Method, "jackknife") {
			t.Errorf("%s: interval by %s, though a part's trials are not independent", j.Appraiser, j.Reference.Method)
		}
	}
	if a.Fitness() != FitUnacceptable {
		t.Errorf("in all %s", a.Fitness())
	}
}

// Two people and a program, four invented parts; all counts by hand.
const smallStudy = `part,appraiser,trial,call,reference
1,Ann,1,pass,pass
1,Ann,2,pass,pass
1,Ben,1,Pass,pass
1,Ben,2,rework,pass
1,tool,1,pass,pass
2,Ann,1,rework,rework
2,Ann,2,rework,rework
2,Ben,1,rework,rework
2,Ben,2,rework,rework
2,tool,1,rework,rework
3,Ann,1,pass,rework
3,Ann,2,rework,rework
3,Ben,1,pass,rework
3,Ben,2,pass,rework
3,tool,1,rework,rework
4,Ann,1,pass,pass
4,Ann,2,pass,pass
4,Ben,1,pass,pass
4,Ben,2,pass,pass
4,tool,1,pass,pass
`

func readCalls(t *testing.T, s string) []Call {
	t.Helper()
	c, err := ReadCalls(strings.NewReader(s))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestAgreementByHand(t *testing.T) {
	a, err := NewAgreement(readCalls(t, smallStudy), DefaultAgreementOptions())
	if err != nil {
		t.Fatal(err)
	}
	share := func(what string, s Share, count, of int) {
		t.Helper()
		if s.Count != count || s.Of != of {
			t.Errorf("%s: %d of %d, want %d of %d", what, s.Count, s.Of, count, of)
		}
	}
	ann, ben, tool := a.Results[0], a.Results[1], a.Results[2]
	share("Ann within", ann.Within, 3, 4)
	share("Ann effective", ann.Effective, 3, 4)
	share("Ann right", ann.Right, 7, 8)
	share("Ann misses", ann.Miss, 1, 4)
	share("Ann false alarms", ann.FalseAlarm, 0, 4)
	share("Ben within", ben.Within, 3, 4)
	share("Ben effective", ben.Effective, 2, 4)
	share("Ben misses", ben.Miss, 2, 4)
	share("Ben false alarms", ben.FalseAlarm, 1, 4)
	share("tool within", tool.Within, 0, 0)
	share("tool effective", tool.Effective, 4, 4)
	share("between", a.Between, 2, 4)
	share("all right", a.AllRight, 2, 4)
	share("Ann and Ben", a.Pairs[0].Same, 6, 8)
	share("Ann and tool", a.Pairs[1].Same, 3, 4)
	if tool.WithinErr == nil || tool.Fitness != FitAcceptable || ben.Fitness != FitUnacceptable {
		t.Errorf("tool within: %v, fitness %s; Ben %s", tool.WithinErr, tool.Fitness, ben.Fitness)
	}
	if !strings.HasPrefix(tool.Reference.Method, "large sample") {
		t.Errorf("tool: interval by %s", tool.Reference.Method)
	}
	// Ann and tool, first trials: pass-pass 2, pass-rework 1, rework-rework 1: po .75, pe .5.
	near(t, "kappa of Ann and tool", a.Pairs[1].Kappa.Value, 0.5, 1e-12)
}

func TestAgreementRefuses(t *testing.T) {
	o := DefaultAgreementOptions()
	for name, c := range map[string]struct {
		csv, want string
		change    func(*AgreementOptions)
	}{
		"empty":          {"", "first line must name", nil},
		"no rows":        {"part,appraiser,call\n", "no calls", nil},
		"no call column": {"part,appraiser,trial\n1,A,1\n", "no column is called call", nil},
		"no appraiser":   {"part,appraiser,call\n1,A,pass\n2,,pass\n", "line 3, column appraiser", nil},
		"twice":          {"part,appraiser,trial,call\n1,A,1,pass\n1,A,1,pass\n", "there twice (lines 2 and 3)", nil},
		"two references": {"part,appraiser,trial,call,reference\n1,A,1,pass,pass\n1,A,2,pass,rework\n", "two references", nil},
		"one reference":  {"part,appraiser,trial,call,reference\n1,A,1,pass,pass\n2,A,1,pass,\n", "part 2 has no reference", nil},
		"missing":        {"part,appraiser,trial,call\n1,A,1,pass\n1,A,2,pass\n2,A,1,pass\n", "part 2 by A has 1 of 2", nil},
		"missing call":   {"part,appraiser,trial,call\n1,A,1,pass\n2,A,1,\n", "part 2 by A has 0 of 1", nil},
		"all missing":    {"part,appraiser,trial,call\n1,A,1,pass\n1,B,1,\n", "appraiser B has no calls", nil},
		"nothing left": {"part,appraiser,trial,call\n1,A,1,pass\n2,B,1,pass\n", "no part has all its calls",
			func(o *AgreementOptions) { o.DropIncomplete = true }},
		"good word":  {smallStudy, "no call and no reference is fine", func(o *AgreementOptions) { o.Good = []string{"Fine"} }},
		"confidence": {smallStudy, "between 0.5 and 1", func(o *AgreementOptions) { o.Confidence = 95 }},
		"interval":   {smallStudy, "use Wilson or", func(o *AgreementOptions) { o.Interval = "Wald" }},
	} {
		o := o
		if c.change != nil {
			c.change(&o)
		}
		calls, err := ReadCalls(strings.NewReader(c.csv))
		if err == nil {
			_, err = NewAgreement(calls, o)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; %q is wanted", name, err, c.want)
		}
	}
}

func TestAgreementIncomplete(t *testing.T) {
	o := DefaultAgreementOptions()
	o.DropIncomplete = true
	a, err := NewAgreement(readCalls(t, smallStudy+"5,Ann,1,pass,pass\n"), o)
	if err != nil || len(a.LeftOut) != 1 || a.LeftOut[0] != "5" || len(a.Parts) != 4 {
		t.Errorf("left out %v, parts %v, %v", a.LeftOut, a.Parts, err)
	}
}

// Without bad parts nothing can be said of misses: not measured, never a pass.
func TestAgreementOnlyGoodParts(t *testing.T) {
	a, err := NewAgreement(readCalls(t, "part,appraiser,call,reference\n1,A,pass,pass\n1,B,pass,pass\n2,A,pass,pass\n2,B,pass,pass\n"),
		DefaultAgreementOptions())
	if err != nil {
		t.Fatal(err)
	}
	j := a.Results[0]
	if j.Misses != FitUnknown || j.Fitness != FitUnknown || !math.IsNaN(j.Miss.Value()) || a.Fitness() != FitUnknown {
		t.Errorf("misses %s, fitness %s, in all %s", j.Misses, j.Fitness, a.Fitness())
	}
	if !errors.Is(j.ReferenceErr, ErrNoKappa) || !errors.Is(a.Pairs[0].Err, ErrNoKappa) || !errors.Is(a.OverallErr, ErrNoKappa) {
		t.Errorf("kappa: %v, %v, %v", j.ReferenceErr, a.Pairs[0].Err, a.OverallErr)
	}
}

// Which words mean good is told or known, never guessed from numbers of a scale.
func TestGoodWords(t *testing.T) {
	for _, c := range []struct {
		categories, asked, want string
	}{{"bad,good", "", "good"}, {"0,1", "", "1"}, {"1,2,3", "", ""}, {"pass,reject,rework", "", "pass"}, {"1,2,3", "1,2", "1,2"}} {
		var asked []string
		if c.asked != "" {
			asked = strings.Split(c.asked, ",")
		}
		got, err := goodWords(strings.Split(c.categories, ","), asked)
		if err != nil || strings.Join(got, ",") != c.want {
			t.Errorf("%s: %v, %v; want %s", c.categories, got, err, c.want)
		}
	}
}

// (1-0.02)^149 = 0.0493, ^148 = 0.0503: by hand.
func TestOpportunitiesToShow(t *testing.T) {
	if n := OpportunitiesToShow(0.02, 0.95); n != 149 {
		t.Errorf("%d, want 149", n)
	}
	if n := OpportunitiesToShow(0.1, 0.95); n != 29 {
		t.Errorf("%d, want 29", n)
	}
}
