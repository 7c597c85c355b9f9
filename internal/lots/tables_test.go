package lots

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
)

// The tables are held against what they are not made from: the structure rule, by which an
// acceptance number depends on the diagonal only, here and in rules_test.go.

// diagonals is the structure rule of MIL-STD-105E, Tables II: with the letter's
// index i (A = 0) and the AQL's j (0.010 = 0), what stands at i+j. "d" and "u"
// are arrows. The numbers are the standard's series of acceptance numbers, as
// the reference lists them.
var diagonals = map[Mode]map[int]string{
	Normal:    {14: "0", 15: "u", 16: "d", 17: "1", 18: "2", 19: "3", 20: "5", 21: "7", 22: "10", 23: "14", 24: "21", 25: "30", 26: "44"},
	Tightened: {15: "0", 16: "d", 17: "d", 18: "1", 19: "2", 20: "3", 21: "5", 22: "8", 23: "12", 24: "18", 25: "27", 26: "41"},
}

var sampleSizes = map[Mode][]int{ // ibid.
	Normal:    {2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000},
	Tightened: {2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000},
}

var preferredAQLs = []float64{0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10, 15, 25, 40, 65,
	100, 150, 250, 400, 650, 1000}

// TestStructure builds Tables II-A and II-B from the rule, follows the arrows by
// itself, and compares every cell.
func TestStructure(t *testing.T) {
	if got := tables().aqls; fmt.Sprint(got) != fmt.Sprint(preferredAQLs) {
		t.Fatalf("AQLs %v", got)
	}
	for mode, rule := range diagonals {
		last := 24 // the highest diagonal that holds below letter E
		grid := func(i, j int) string {
			k := i + j
			switch {
			case k < 14 || mode == Tightened && k < 15:
				return "d"
			case k > 26 || k > last && i > 4:
				return "u"
			case mode == Tightened && i == 0 && preferredAQLs[j] == 10:
				return "d" // "A at AQL 10 is an arrow, not 0/1" (ibid.)
			case i == 0 && rule[k] == "u":
				return "d" // there is nothing above A,
			case i == len(Letters)-1 && rule[k] == "d" && preferredAQLs[j] != 0.025:
				return "u" // nor below R, but for S of the tightened table
			}
			return rule[k]
		}
		cells := 0
		for i := range len(Letters) {
			for j := range preferredAQLs {
				c := tables().cells[mode][cellKey{Letters[i : i+1], preferredAQLs[j]}]
				k := i
				for k >= 0 && k < len(Letters) && (grid(k, j) == "d" || grid(k, j) == "u") {
					if grid(k, j) == "d" {
						k++
					} else {
						k--
					}
				}
				cells++
				if k < 0 || k >= len(Letters) {
					if mode != Tightened || c.letter != "S" || c.n != 3150 || c.ac != 1 {
						t.Errorf("%s %c AQL %v: the rule leads out of the table, the table has %+v", mode, Letters[i], preferredAQLs[j], c)
					}
					continue
				}
				want := fmt.Sprintf("%c %d %s", Letters[k], sampleSizes[mode][k], grid(k, j))
				if got := fmt.Sprintf("%s %d %d", c.letter, c.n, c.ac); got != want || c.re != c.ac+1 {
					t.Errorf("%s %c AQL %v: %s Re %d, the rule says %s", mode, Letters[i], preferredAQLs[j], got, c.re, want)
				}
			}
		}
		if cells != 416 {
			t.Errorf("%s: %d cells", mode, cells)
		}
	}
}

func readCSV(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// TestWholeTables: all 3 x 416 printed cells come out of Lookup, with lots large
// enough that no sample is the lot. That the cells themselves are right, other
// tests say, by the tables' diagonals and by their operating characteristics.
func TestWholeTables(t *testing.T) {
	// A lot size and level that lead to each letter, by Table I as printed.
	way := map[string]struct {
		lot   int
		level Level
	}{"A": {2, "II"}, "B": {10, "II"}, "C": {20, "II"}, "D": {30, "II"}, "E": {60, "II"}, "F": {100, "II"}, "G": {200, "II"},
		"H": {300, "II"}, "J": {600, "II"},
		"K": {2000, "II"}, "L": {5000, "II"}, "M": {20000, "II"}, "N": {100000, "II"}, "P": {200000, "II"}, "Q": {600000, "II"},
		"R": {600000, "III"}}
	for _, mode := range Modes {
		cells := 0
		for _, r := range readCSV(t, "tables/"+string(mode)+"_single.csv") {
			w, ok := way[r[0]]
			if !ok {
				continue // the tightened table's S, which no lot leads to
			}
			cells++
			aql, _ := strconv.ParseFloat(r[2], 64)
			s, err := LookupPerHundred(w.lot, w.level, aql, mode)
			if err != nil {
				t.Fatal(err)
			}
			got := fmt.Sprintf("%s,%s,%d,%d,%d", s.Letter, s.PlanLetter, s.TableN, s.Ac, s.Re)
			if want := fmt.Sprintf("%s,%s,%s,%s,%s", r[0], r[4], r[5], r[6], r[7]); got != want {
				t.Errorf("%s: %s AQL %s: %s, the reference has %s", mode, r[0], r[2], got, want)
			}
			if n := min(s.TableN, w.lot); s.N != n || s.All != (s.TableN >= w.lot) {
				t.Errorf("%s: %s AQL %s: of %d units n is %d, all %v", mode, r[0], r[2], w.lot, s.N, s.All)
			}
		}
		if cells != 416 {
			t.Errorf("%s: %d cells of 416", mode, cells)
		}
	}
}

// TestWholeLetters: both ends of each of the 15 rows of Table I, 7 levels.
func TestWholeLetters(t *testing.T) {
	rows := readCSV(t, "tables/code_letters.csv")
	if len(rows) != 15 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, r := range rows {
		for _, end := range []string{r[0], r[1]} {
			if end == "" {
				end = "100000000"
			}
			n, _ := strconv.Atoi(end)
			for k, level := range []Level{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"} {
				if got, err := Letter(n, level); err != nil || got != r[2+k] {
					t.Errorf("a lot of %d at level %s: %s, %v; the reference has %s", n, level, got, err, r[2+k])
				}
			}
		}
	}
}

// TestLookup: single values that are printed with the standard.
func TestLookup(t *testing.T) {
	for _, c := range []struct {
		lot           int
		level         Level
		aql           float64
		mode          Mode
		letter, plan  string
		n, ac, re     int
		all           bool
		arrow, source string
	}{
		{5000, "II", 1.5, Normal, "L", "L", 200, 7, 8, false, "", "reference section 1, look-up check value"},
		{40, "II", 2.5, Normal, "D", "C", 5, 0, 1, false, "up", "ibid., disagreement 1: n of the plan the arrow points to, not 8"},
		{40, "II", 1.0, Normal, "D", "E", 13, 0, 1, false, "down", "105E Table II-A"},
		{20, "II", 6.5, Tightened, "C", "E", 13, 1, 2, false, "down", "ibid., disagreement 2: the first of two down-arrow cells"},
		{600000, "III", 0.025, Tightened, "R", "S", 3150, 1, 2, false, "down", "ibid.: the extra letter S"},
		{5000, "II", 1.5, Reduced, "L", "L", 80, 3, 6, false, "", "105E Table II-C"},
		{10, "II", 0.65, Normal, "B", "F", 10, 0, 1, true, "down", "ibid., rules: n >= lot is every unit; F has n = 20"},
		{20, "II", 0.65, Normal, "C", "F", 20, 0, 1, true, "down", "ibid.: n equal to the lot"},
	} {
		s, err := Lookup(c.lot, c.level, c.aql, c.mode)
		if err != nil {
			t.Fatal(err)
		}
		if s.Letter != c.letter || s.PlanLetter != c.plan || s.N != c.n || s.Ac != c.ac || s.Re != c.re || s.All != c.all ||
			s.Arrow != c.arrow {
			t.Errorf("%d %s %v %s: %+v (%s)", c.lot, c.level, c.aql, c.mode, s, c.source)
		}
	}
}

func TestLookupRefuses(t *testing.T) {
	for _, c := range []struct {
		lot   int
		level Level
		aql   float64
		mode  Mode
		says  string
	}{
		{-3, "II", 1, Normal, "can not have -3 units"},
		{0, "II", 1, Normal, "has no units"},
		{1, "II", 1, Normal, "one unit has no sampling plan"},
		{100, "II", 1.2, Normal, "nearest are 1 and 1.5"},
		{100, "II", 0.001, Normal, "smallest is 0.01"},
		{100, "II", 15, Normal, "nonconformities per 100 units only"},
		{100, "IV", 1, Normal, `no inspection level "IV"`},
		{100, "II", 1, "lax", `no mode "lax"`},
	} {
		if _, err := Lookup(c.lot, c.level, c.aql, c.mode); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	if _, err := LookupPerHundred(100, "II", 2000, Normal); err == nil || !strings.Contains(err.Error(), "largest is 1000") {
		t.Error(err)
	}
	if s, err := LookupPerHundred(100, "II", 15, Normal); err != nil || s.OC().Law != Poisson {
		t.Errorf("%+v, %v", s, err)
	}
}
