package lots

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

func ptr(v float64) *float64 { return &v }

// TestExampleB: MIL-STD-414, Example B: largest allowed temperature 209, lot of
// 40, level IV, AQL 1 %.
func TestExampleB(t *testing.T) {
	v, err := LookupVariables(40, "IV", 1, Normal)
	if err != nil || v.Letter != "D" || v.N != 5 || v.K != 1.53 {
		t.Fatalf("%+v, %v", v, err)
	}
	// Table B-3 prints M = 3.33 %; the 1.53 of Table B-1 makes 3.23 % of it, as VariablesNote says.
	if v.M > 0.0333 || v.M < 0.0333*0.97 {
		t.Errorf("M %.5f", v.M)
	}
	data := []float64{197, 188, 184, 205, 201}
	m, err := v.Judge(data, Limits{Upper: ptr(209)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", m.Mean, 195, 1e-12)
	near(t, "s", m.S, 8.8034, 1e-5)
	near(t, "Q", *m.QUpper, 1.5903, 4e-5)
	near(t, "p", m.P, 0.021823, 5e-5) // the standard's tables print 2.19 %
	if !m.Accepted || m.ByK == nil || !*m.ByK || !m.ByM || m.Outside != 0 {
		t.Errorf("%+v", m)
	}
	two, err := v.Judge(data, Limits{Lower: ptr(180), Upper: ptr(209)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "p, two limits", two.P, 0.027992, 5e-5)
	if !two.Accepted || two.ByK != nil {
		t.Errorf("%+v", two)
	}
	// Both methods turn at the same place: a limit a hair below mean + k s.
	for _, d := range []float64{-1e-9, 1e-9} {
		m, err := v.Judge(data, Limits{Upper: ptr(195 + v.K*m.S + d)})
		if err != nil || *m.ByK != (d > 0) || m.ByM != (d > 0) {
			t.Errorf("%v off: %+v, %v", d, m, err)
		}
	}
}

// TestEstimateOutside: reference, section 3, computed there.
func TestEstimateOutside(t *testing.T) {
	near(t, "p of 225 below 255, s 15, n 42", EstimateOutside((255.0-225)/15, 42), 0.020696, 3e-5)
	near(t, "M of k 1.905285, n 42", EstimateOutside(1.905285, 42), 0.026305, 3e-5)
	near(t, "M of k 1.84097, n 75", EstimateOutside(1.84097, 75), 0.0317, 2e-3)
	if EstimateOutside(9, 5) != 0 || EstimateOutside(-9, 5) != 1 || !math.IsNaN(EstimateOutside(1, 2)) || !math.IsNaN(EstimateOutside(math.NaN(), 9)) {
		t.Error("the ends")
	}
	near(t, "at the mean", EstimateOutside(0, 8), 0.5, 1e-12)
}

// TestVariablesTables: in Table B-1 the AQLs of tightened inspection stand under
// the columns of the next smaller normal ones; k grows with the sample and
// falls with the AQL.
func TestVariablesTables(t *testing.T) {
	normal := variables().aqls[Normal]
	sizes := map[string]int{"B": 3, "C": 4, "D": 5, "E": 7, "F": 10, "G": 15, "H": 20, "I": 25, "J": 30, "K": 35, "L": 40, "M": 50, "N": 75, "O": 100, "P": 150, "Q": 200} // reference, section 3
	for i, aql := range normal {
		last := 0.0
		for _, letter := range strings.Split("BCDEFGHIJKLMNOPQ", "") {
			v, err := VariablesByLetter(letter, aql, Normal)
			if err != nil {
				t.Fatal(err)
			}
			if v.N != sizes[v.PlanLetter] || v.PlanLetter < letter {
				t.Errorf("%s AQL %v: %+v", letter, aql, v)
			}
			if v.K < last-0.011 { // K and L are printed 2.45 and 2.44 at AQL .15
				t.Errorf("%s AQL %v: k %v after %v", letter, aql, v.K, last)
			}
			last = v.K
			if i == 0 {
				continue
			}
			before, _ := VariablesByLetter(letter, normal[i-1], Normal)
			if v.PlanLetter == letter && before.PlanLetter == letter && v.K >= before.K {
				t.Errorf("%s: k %v at AQL %v, %v at %v", letter, before.K, normal[i-1], v.K, aql)
			}
			tight, err := VariablesByLetter(letter, aql, Tightened)
			if err != nil || tight.K != before.K || tight.N != before.N {
				t.Errorf("%s AQL %v: tightened %+v (%v), normal one step tighter %+v", letter, aql, tight, err, before)
			}
		}
	}
}

// TestWholeVariables: all printed factors come out of the look-up.
func TestWholeVariables(t *testing.T) {
	for mode, file := range map[Mode]string{Normal: "variables_normal.csv", Tightened: "variables_tightened.csv"} {
		for _, r := range readCSV(t, "tables/"+file) {
			v, err := VariablesByLetter(r[0], num(t, r[2]), mode)
			if err != nil || v.PlanLetter != r[4] || fmt.Sprint(v.N) != r[5] || v.K != num(t, r[6]) {
				t.Errorf("%s %v: %+v, %v", mode, r, v, err)
			}
		}
	}
}

// TestVariablesAccept: a one-sided tolerance limit of content 0.90 at confidence
// 0.95 is a plan that accepts p = 0.10 once in 20. Factors: Natrella 1963, NBS
// Handbook 91, Table A-7, from memory.
func TestVariablesAccept(t *testing.T) {
	for n, k := range map[int]float64{4: 4.163, 5: 3.407, 7: 2.755, 10: 2.355, 20: 1.926, 50: 1.646} {
		v := Variables{N: n, K: k}
		if p := v.Accept(0.10); math.Abs(p-0.05) > 3e-4 {
			t.Errorf("n %d k %v: %.5f", n, k, p)
		}
	}
	v, _ := LookupVariables(2000, "IV", 1.5, Normal)
	if v.Accept(0) != 1 || v.Accept(1) != 0 || !math.IsNaN(v.Accept(1.5)) {
		t.Error("the ends")
	}
	near(t, "and back", v.Accept(v.PWith(0.5)), 0.5, 1e-6)
	th := v.Protection()
	t.Log(th.Sentence)
	if c := v.Curve(50); len(c) < 20 || len(c) > 52 || !slices.IsSortedFunc(c, func(a, b CurvePoint) int {
		if b.Pa <= a.Pa {
			return -1
		}
		return 1
	}) {
		t.Error("no falling curve")
	}
	// At the AQL, plans of the standard accept most lots; MIL-STD-414, Table A-3 draws it at 0.9 and above for larger letters (from memory).
	if !(*th.PaAtAQL > 0.9 && *th.P95 < *th.P10 && *th.AOQL < *th.P10) {
		t.Errorf("%+v", th)
	}
}

func TestVariablesRefuse(t *testing.T) {
	for _, c := range []struct {
		lot   int
		level Level
		aql   float64
		mode  Mode
		says  string
	}{
		{0, "IV", 1, Normal, "has no units"},
		{2, "IV", 1, Normal, "too small"},
		{40, "S-1", 1, Normal, "no inspection level"},
		{40, "IV", 1.2, Normal, "nearest are 1 and 1.5"},
		{40, "IV", 0.04, Tightened, "smallest is 0.065"},
		{40, "IV", 1, Reduced, `no "reduced" plans`},
	} {
		if _, err := LookupVariables(c.lot, c.level, c.aql, c.mode); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	v, _ := VariablesByLetter("D", 1, Normal)
	good := []float64{1, 2, 3, 4, 5}
	for _, c := range []struct {
		values []float64
		l      Limits
		says   string
	}{
		{good, Limits{}, "there is none"},
		{good, Limits{ptr(5), ptr(5)}, "is not below"},
		{good[:4], Limits{Upper: ptr(9)}, "needs 5 measured values, not 4"},
		{[]float64{1, 2, math.NaN(), 4, 5}, Limits{Upper: ptr(9)}, "value 3 was not measured"},
		{[]float64{2, 2, 2, 2, 2}, Limits{Upper: ptr(9)}, "without any spread"},
	} {
		if _, err := v.Judge(c.values, c.l); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	if _, err := (Variables{}).Judge(good, Limits{Upper: ptr(9)}); err == nil {
		t.Error("no plan")
	}
	if v, err := LookupVariables(4, "IV", 0.04, Normal); err != nil || !v.All || v.N != 4 {
		t.Errorf("%+v, %v", v, err)
	}
}
