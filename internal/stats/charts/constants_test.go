package charts

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// TestConstants: d2 and d3 as in the ASTM-derived printed tables; c4 as in
// NIST/SEMATECH e-Handbook 6.3.2; d2* as printed in AIAG MSA, 4th ed., appendix C, but that d2*(3, 1) stands there as
// 1.91155: its square is 9/pi + d3(3)^2, d3(3) = 0.88837, so the last digit is off.
func TestConstants(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want float64
		within    float64
	}{
		{"d2(2) = 2/sqrt(pi)", D2(2), 2 / math.Sqrt(math.Pi), 1e-10},
		{"d3(2) = sqrt(2-4/pi)", D3(2), math.Sqrt(2 - 4/math.Pi), 1e-10},
		{"d2(3) = 3/sqrt(pi)", D2(3), 3 / math.Sqrt(math.Pi), 1e-10},
		{"d2(10)", D2(10), 3.07751, 6e-6},
		{"d2*(2, 1)", D2Star(2, 1), 1.41421, 6e-6},
		{"d2*(3, 1)", D2Star(3, 1), 1.91154, 6e-6},
		{"d2*(10, 1)", D2Star(10, 1), 3.17905, 6e-6},
		{"c4(5)", C4(5), 0.9400, 6e-5},
		{"D4(3), exact", FactorsFor(3).D4, 2.57459, 6e-6},
		{"E2(2), exact", FactorsFor(2).E2, 2.65868, 6e-6},
		{"B3(6)", FactorsFor(6).B3, 0.03036, 6e-6},
	} {
		if !(math.Abs(c.got-c.want) <= c.within) {
			t.Errorf("%s = %.7f, want %.7f", c.what, c.got, c.want)
		}
	}
	for _, n := range []int{-1, 0, 1, MaxSize + 1} {
		if !math.IsNaN(D2(n)) || !math.IsNaN(D3(n)) || !math.IsNaN(C4(n)) || !math.IsNaN(D2Star(n, 1)) {
			t.Errorf("subgroups of %d have constants", n)
		}
	}
}

// TestTableOfConstants: every number of a table for n = 2..25 (testdata), which
// was computed from the definitions and checked against R 4.2.2's ptukey.
func TestTableOfConstants(t *testing.T) {
	f, err := os.Open("testdata/shewhart_constants.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		n, _ := strconv.Atoi(r[0])
		k := FactorsFor(n)
		got := map[string]float64{"A2": k.A2, "A3": k.A3, "c4": C4(n), "B3": k.B3, "B4": k.B4, "d2": D2(n), "d3": D3(n), "D3": k.D3,
			"D4": k.D4, "E2": k.E2}
		checked := 0
		for i, name := range rows[0] {
			g, ok := got[name]
			if !ok {
				continue
			}
			checked++
			want, err := strconv.ParseFloat(r[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(g-want) > 1.1e-5 {
				t.Errorf("n = %d: %s = %.6f, want %.5f", n, name, g, want)
			}
		}
		if checked != len(got) {
			t.Fatalf("n = %d: %d columns found, want %d", n, checked, len(got))
		}
	}
}
