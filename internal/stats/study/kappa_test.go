package study

import (
	"errors"
	"math"
	"testing"
)

func cohen(t *testing.T, table [][]int, w Weights) Kappa {
	t.Helper()
	k, err := CohenKappa(table, w, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// Cohen (1960), worked table of proportions, here as counts of 200 (cells from
// memory): published kappa .492.
func TestCohen1960(t *testing.T) {
	k := cohen(t, [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}, NoWeights)
	near(t, "po", k.Observed, 0.70, 1e-12)
	near(t, "pe", k.Expected, 0.41, 1e-12)
	near(t, "kappa", k.Value, 0.492, 5e-4)
	near(t, "kappa, computed", k.Value, 0.491525, 5e-7)
	near(t, "Cohen's standard error, computed", k.SECohen, 0.0549215, 5e-8)
	if k.Word() != "moderate" {
		t.Errorf("word %q", k.Word())
	}
}

// A printed example of 19 subjects in three categories, kept as a test in the
// library statsmodels (test_inter_rater.py).
func TestCohenPrintedErrors(t *testing.T) {
	table := [][]int{{0, 4, 1}, {0, 8, 0}, {0, 1, 5}}
	k := cohen(t, table, NoWeights)
	near(t, "kappa", k.Value, 0.4842, 5e-5)
	near(t, "ASE", k.SE, 0.1380, 5e-5)
	near(t, "lower", k.Bounds.Lower, 0.2137, 5e-5)
	near(t, "upper", k.Bounds.Upper, 0.7547, 5e-5)
	near(t, "ASE under 0", k.SENull, 0.1484, 5e-5)
	near(t, "z", k.Z, 3.2626, 5e-5)
	near(t, "p", k.P, 0.0011, 5e-5)
	k = cohen(t, table, LinearWeights)
	near(t, "weighted kappa", k.Value, 0.4701, 5e-5)
	near(t, "weighted ASE", k.SE, 0.1457, 5e-5)
	near(t, "weighted lower", k.Bounds.Lower, 0.1845, 5e-5)
	near(t, "weighted upper", k.Bounds.Upper, 0.7558, 5e-5)
	near(t, "weighted ASE under 0", k.SENull, 0.1426, 5e-5)
	near(t, "weighted z", k.Z, 3.2971, 5e-5)
}

// Three tables that encyclopaedias print, to their digits; SE computed by Cohen's
// 1960 formula.
func TestCohenTwoByTwo(t *testing.T) {
	for _, c := range []struct {
		table          [][]int
		po, pe, k, dig float64
		se             float64
	}{
		{[][]int{{20, 5}, {10, 15}}, 0.70, 0.50, 0.40, 5e-3, 0.129615},
		{[][]int{{45, 15}, {25, 15}}, 0.60, 0.54, 0.1304, 5e-5, 0.106500},
		{[][]int{{25, 35}, {5, 35}}, 0.60, 0.46, 0.2593, 5e-5, 0.090722},
	} {
		k := cohen(t, c.table, NoWeights)
		near(t, "po", k.Observed, c.po, 1e-12)
		near(t, "pe", k.Expected, c.pe, 1e-12)
		near(t, "kappa", k.Value, c.k, c.dig)
		near(t, "se", k.SECohen, c.se, 5e-7)
	}
}

// For two categories all weights are the same; and quadratic weights are
// (po-pe)/(1-pe) with squared distances, by hand for a table where it is simple:
// 0 and 2 steps apart only.
func TestQuadraticWeights(t *testing.T) {
	two := [][]int{{20, 5}, {10, 15}}
	for _, w := range []Weights{LinearWeights, QuadraticWeights} {
		near(t, string(w), cohen(t, two, w).Value, cohen(t, two, NoWeights).Value, 1e-12)
	}
	// Rows 1/2,0,1/2; columns the same; cells .4 and .1: weights 1 and 0, so po .8, pe .5, kappa .6.
	k := cohen(t, [][]int{{4, 0, 1}, {0, 0, 0}, {1, 0, 4}}, QuadraticWeights)
	near(t, "kappa", k.Value, 0.6, 1e-12)
	// One step apart costs 1/4: po = 1 - .2/4 = .95; rows (.5 .5 0), columns the same: pe = 1 - .5/4 = .875; kappa .6.
	k = cohen(t, [][]int{{4, 1, 0}, {1, 4, 0}, {0, 0, 0}}, QuadraticWeights)
	near(t, "kappa", k.Value, 0.6, 1e-12)
	near(t, "po", k.Observed, 0.95, 1e-12)
}

func TestCohenRefuses(t *testing.T) {
	if _, err := CohenKappa([][]int{{17, 0}, {0, 0}}, NoWeights, 0.95); !errors.Is(err, ErrNoKappa) {
		t.Errorf("all in one category: %v", err)
	}
	for _, table := range [][][]int{{}, {{0, 0}, {0, 0}}, {{1, 2}}, {{1, -2}, {3, 4}}} {
		if _, err := CohenKappa(table, NoWeights, 0.95); err == nil {
			t.Errorf("took %v", table)
		}
	}
	if _, err := CohenKappa([][]int{{1, 2}, {3, 4}}, "cubic", 0.95); err == nil {
		t.Error("took unknown weights")
	}
}

// Full agreement: kappa 1, and its large-sample error is 0.
func TestCohenFull(t *testing.T) {
	k := cohen(t, [][]int{{10, 0}, {0, 10}}, NoWeights)
	near(t, "kappa", k.Value, 1, 1e-12)
	near(t, "SE", k.SE, 0, 1e-9)
	if !math.IsNaN(k.Bounds.Lower) || !math.IsNaN(k.Bounds.Upper) {
		t.Errorf("interval %v of a full agreement: not known is wanted", k.Bounds)
	}
}

// The 30 patients, five diagnoses and six raters of Fleiss (1971), table 1.
var fleiss1971 = [][]int{
	{0, 0, 0, 6, 0}, {0, 3, 0, 0, 3}, {0, 1, 4, 0, 1}, {0, 0, 0, 0, 6}, {0, 3, 0, 3, 0}, {2, 0, 4, 0, 0}, {0, 0, 4, 0, 2}, {2, 0, 3, 1, 0},
	{2, 0, 0, 4, 0}, {0, 0, 0, 0, 6},
	{1, 0, 0, 5, 0}, {1, 1, 0, 4, 0}, {0, 3, 3, 0, 0}, {1, 0, 0, 5, 0}, {0, 2, 0, 3, 1}, {0, 0, 5, 0, 1}, {3, 0, 0, 1, 2}, {5, 1, 0, 0, 0},
	{0, 2, 0, 4, 0}, {1, 0, 2, 0, 3},
	{0, 0, 0, 0, 6}, {0, 1, 0, 5, 0}, {0, 2, 0, 1, 3}, {2, 0, 0, 4, 0}, {1, 0, 0, 4, 1}, {0, 5, 0, 1, 0}, {4, 0, 0, 0, 2}, {0, 2, 0, 4, 0},
	{1, 0, 5, 0, 0}, {0, 0, 0, 0, 6},
}

// Fleiss (1971): P .5556, Pe .2199, kappa .430; by category .245 .245 .520 .471
// .566. More digits and z as the library irr (kappam.fleiss) prints them.
func TestFleiss1971(t *testing.T) {
	r, err := FleissKappa(fleiss1971, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "P", r.Observed, 0.5556, 5e-5)
	near(t, "Pe", r.Expected, 0.2199, 5e-5)
	near(t, "kappa", r.Value, 0.4302445, 5e-8)
	near(t, "z", r.Z, 17.65183, 5e-6)
	for j, want := range []float64{0.245, 0.245, 0.520, 0.471, 0.566} {
		near(t, "category", r.Categories[j].Value, want, 5e-4)
		// Under no agreement sqrt(2/(30*6*5)), by hand.
		near(t, "category's error", r.Categories[j].SENull, 0.0471405, 5e-8)
	}
	if !(r.Bounds.Lower > 0.3 && r.Bounds.Lower < r.Value && r.Bounds.Upper < 0.56 && r.Bounds.Upper > r.Value) {
		t.Errorf("interval %v about %.3f", r.Bounds, r.Value)
	}
}

// The table of ten subjects and fourteen raters that encyclopaedias print:
// kappa 0.210.
func TestFleissTenByFourteen(t *testing.T) {
	r, err := FleissKappa([][]int{{0, 0, 0, 0, 14}, {0, 2, 6, 4, 2}, {0, 0, 3, 5, 6}, {0, 3, 9, 2, 0}, {2, 2, 8, 1, 1}, {7, 7, 0, 0, 0},
		{3, 2, 6, 3, 0}, {2, 5, 3, 2, 2}, {6, 5, 2, 1, 0},
		{0, 2, 2, 3, 7}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "P", r.Observed, 0.378022, 5e-7)
	near(t, "Pe", r.Expected, 0.212755, 5e-7)
	near(t, "kappa", r.Value, 0.210, 5e-4)
	near(t, "kappa, computed", r.Value, 0.209931, 5e-7)
}

func TestFleissRefuses(t *testing.T) {
	if _, err := FleissKappa([][]int{{3, 0}, {3, 0}}, 0.95); !errors.Is(err, ErrNoKappa) {
		t.Errorf("all in one category: %v", err)
	}
	for _, counts := range [][][]int{{}, {{}}, {{3, 0}, {1, 1}}, {{1, 0}, {0, 1}}, {{3, -1}}, {{1, 1}, {2}}} {
		if _, err := FleissKappa(counts, 0.95); err == nil {
			t.Errorf("took %v", counts)
		}
	}
	// A category that nobody used has no kappa of its own; the rest stands.
	r, err := FleissKappa([][]int{{3, 0, 0}, {0, 3, 0}, {2, 1, 0}}, 0.95)
	if err != nil || !math.IsNaN(r.Categories[2].Value) || math.IsNaN(r.Categories[0].Value) {
		t.Errorf("an unused category: %+v, %v", r.Categories, err)
	}
}

func TestKappaWords(t *testing.T) {
	for k, want := range map[float64]string{-0.1: "poor", 0: "slight", 0.20: "slight", 0.21: "fair", 0.40: "fair", 0.41: "moderate",
		0.61: "substantial", 0.80: "substantial", 0.81: "almost perfect", 1: "almost perfect"} {
		if got := KappaWord(k); got != want {
			t.Errorf("%g: %q, want %q", k, got, want)
		}
	}
}
