package lots

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

// These tests derive whole tables by rules that are not read off their files: the rules, and what
// of the standards is in them, are from memory.

// TestReducedByRule builds Table II-C of MIL-STD-105E from the normal table's series. Samples and
// AQLs are both steps of the series R5 (1, 1.6, 2.5, 4, 6.3), so that n times the AQL, the expected
// count, is the same along a diagonal; and Ac depends on that product alone. The reduced sample
// is the normal one of two letters before (A, B and C all have 2), so that the reduced Ac stands
// two diagonals below the normal one.
func TestReducedByRule(t *testing.T) {
	series := map[int]string{}
	for k, v := range diagonals[Normal] {
		series[k] = v
	}
	series[16] = "1" // between Ac 0 and 1 the normal table has arrows; the reduced one, whose counts may fall into a gap, has 1
	// The pair of a cell: "0/1", or "d" and "u" for the arrows.
	pair := func(i, j int) string {
		k := i + j                     // the diagonal in the table
		count := max(0, i-2) + j       // the diagonal of n times the AQL
		last := map[bool]int{true: 26, // the largest counts end before letter F, as in Tables II-A and II-B
			false: 24}[i <= 4]
		switch {
		case k < 14:
			return "d"
		case k == 14:
			return "0/1" // the diagonal on which one lot in about ten of the AQL's share is refused by one unit
		case k == 15 && i > 0:
			return "u"
		case k == 16 && i < len(Letters)-1 || k == 15:
			return "d" // nothing above A,
		case k == 16 || k > last || i == 0 && k > 25:
			return "u" // nothing below R
		case k == 17 && i > 0:
			return "0/2" // half of the normal table's first pair 1/2
		}
		ac := atoi(series[count])
		// The gap between Ac and Re: none where the sample is the normal one (A); 2 of B's 3 units, and the first
		// pairs of all others, have 2; then 3.
		gap := 3
		switch {
		case i == 0 || i == 1 && k > 20:
			gap = 1
		case i == 1 || k < 19:
			gap = 2
		}
		return fmt.Sprintf("%d/%d", ac, ac+gap)
	}
	cells := 0
	for i := range len(Letters) {
		for j, aql := range preferredAQLs {
			k := i
			for steps := 0; (pair(k, j) == "d" || pair(k, j) == "u") && steps < len(Letters); steps++ {
				if pair(k, j) == "d" {
					k++
				} else {
					k--
				}
			}
			c := tables().cells[Reduced][cellKey{Letters[i : i+1], aql}]
			want := fmt.Sprintf("%c %d %s", Letters[k], sampleSizes[Normal][max(0, k-2)], pair(k, j))
			if k > i {
				want += " down"
			} else if k < i {
				want += " up"
			}
			if got := strings.TrimSpace(fmt.Sprintf("%s %d %d/%d %s", c.letter, c.n, c.ac, c.re, c.arrow)); got != want {
				t.Errorf("%c AQL %v: %s, the rule says %s", Letters[i], aql, got, want)
			}
			cells++
		}
	}
	if cells != 416 {
		t.Errorf("%d cells", cells)
	}
	// R5: ten times in five steps. The printed numbers are rounded by 5 % at most, of small samples by half a unit.
	for i, n := range sampleSizes[Normal] {
		if want := 2 * math.Pow(10, float64(i)/5); math.Abs(float64(n)-want) > math.Max(0.5, 0.05*want) {
			t.Errorf("sample %d, step %d of R5 is %.1f", n, i, want)
		}
	}
	for j, aql := range preferredAQLs {
		if want := 0.01 * math.Pow(10, float64(j)/5); math.Abs(aql-want) > 0.06*want {
			t.Errorf("AQL %v, step %d of R5 is %.3f", aql, j, want)
		}
	}
}

// TestCodeLettersByRule builds Table I of MIL-STD-105E: level II takes the letters in turn, III is
// the next one (1.6 times the units), I two letters below (0.4 times), in small lots one; and
// the special levels rise by a letter every 4, 3, 2 and 1.5 rows.
func TestCodeLettersByRule(t *testing.T) {
	ends := []int{8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10000, 35000, 150000, 500000, 1e9} // Table I, from memory
	from := 2
	for row, to := range ends {
		for level, letter := range map[Level]int{"S-1": row / 4, "S-2": row / 3, "S-3": row / 2, "S-4": 2 * row / 3,
			"I": max(0, row-1-min(1, row/4)), "II": row, "III": row + 1} {
			for _, lot := range []int{from, to} {
				if got, err := Letter(lot, level); err != nil || got != Letters[letter:letter+1] {
					t.Errorf("a lot of %d at level %s: %s, %v; the rule says %c", lot, level, got, err, Letters[letter])
				}
			}
		}
		from = to + 1
	}
}

// mostOutside is M of MIL-STD-414, Table B-3, in percent, by the sample and in the order of the
// normal AQLs from 0.04 on; 0 where there is an arrow. From memory.
var mostOutside = map[int][14]float64{
	3:   {0, 0, 0, 0, 0, 0, 0, 0, 0, 7.59, 18.86, 26.94, 33.69, 40.47},
	4:   {0, 0, 0, 0, 0, 0, 0, 1.53, 5.50, 10.92, 16.45, 22.86, 29.45, 36.90},
	5:   {0, 0, 0, 0, 0, 0, 1.33, 3.32, 5.83, 9.80, 14.39, 20.19, 26.56, 33.99},
	7:   {0, 0, 0, 0, 0.422, 1.06, 2.14, 3.55, 5.35, 8.40, 12.20, 17.35, 23.29, 30.50},
	10:  {0, 0, 0, 0.349, 0.716, 1.30, 2.17, 3.26, 4.77, 7.29, 10.54, 15.17, 20.74, 27.57},
	15:  {0.099, 0.186, 0.312, 0.503, 0.818, 1.31, 2.11, 3.05, 4.31, 6.56, 9.46, 13.71, 18.94, 25.61},
	20:  {0.135, 0.228, 0.365, 0.544, 0.846, 1.29, 2.05, 2.95, 4.09, 6.17, 8.92, 12.99, 18.03, 24.53},
	25:  {0.155, 0.250, 0.380, 0.551, 0.877, 1.29, 2.00, 2.86, 3.97, 5.97, 8.63, 12.57, 17.51, 23.97},
	30:  {0.179, 0.280, 0.413, 0.581, 0.879, 1.29, 1.98, 2.83, 3.91, 5.86, 8.47, 12.36, 17.24, 23.58},
	35:  {0.170, 0.264, 0.388, 0.535, 0.847, 1.23, 1.87, 2.68, 3.70, 5.57, 8.10, 11.87, 16.65, 22.91},
	40:  {0.179, 0.275, 0.401, 0.566, 0.873, 1.26, 1.88, 2.71, 3.72, 5.58, 8.09, 11.85, 16.61, 22.86},
	50:  {0.163, 0.250, 0.363, 0.503, 0.789, 1.17, 1.71, 2.49, 3.45, 5.20, 7.61, 11.23, 15.87, 22.00},
	75:  {0.147, 0.228, 0.330, 0.467, 0.720, 1.07, 1.60, 2.29, 3.20, 4.87, 7.15, 10.63, 15.13, 21.11},
	100: {0.145, 0.220, 0.317, 0.447, 0.689, 1.02, 1.53, 2.20, 3.07, 4.69, 6.91, 10.32, 14.75, 20.66},
	150: {0.134, 0.203, 0.293, 0.413, 0.638, 0.949, 1.43, 2.05, 2.89, 4.43, 6.57, 9.88, 14.20, 20.02},
	200: {0.135, 0.204, 0.294, 0.414, 0.637, 0.945, 1.42, 2.04, 2.87, 4.40, 6.53, 9.81, 14.12, 19.92},
}

// TestVariablesByRule derives each k of MIL-STD-414, Table B-1, from another table of the standard,
// B-3: both are the same limit, and M is what k makes of the estimate of the share outside, which
// has the symmetric beta distribution with n/2-1 twice (Lieberman and Resnikoff 1955). So
// k = (1 - 2 x) (n-1)/sqrt(n), where x is that distribution's quantile at M.
func TestVariablesByRule(t *testing.T) {
	normal := variables().aqls[Normal]
	if len(normal) != 14 {
		t.Fatalf("AQLs %v", normal)
	}
	k := func(m float64, n int) float64 {
		h := float64(n)/2 - 1
		return (1 - 2*mathext.InvRegIncBeta(h, h, m/100)) * float64(n-1) / math.Sqrt(float64(n))
	}
	last := func(m float64) float64 { // half a unit of the last printed place
		if m < 1 {
			return 0.0005
		}
		return 0.005
	}
	held := 0
	for i, letter := range "BCDEFGHIJKLMNOPQ" {
		n := []int{3, 4, 5, 7, 10, 15, 20, 25, 30, 35, 40, 50, 75, 100, 150, 200}[i]
		for j, aql := range normal {
			v, err := VariablesByLetter(string(letter), aql, Normal)
			if err != nil {
				t.Fatal(err)
			}
			m := mostOutside[n][j]
			if arrow := v.PlanLetter != string(letter); arrow != (m == 0) {
				t.Errorf("%c AQL %v: the plan is %s, M %v", letter, aql, v.PlanLetter, m)
				continue
			} else if arrow {
				continue
			}
			held++
			low, high := k(m+last(m), n)-0.005, k(m-last(m), n)+0.005
			if v.K < low-1e-9 || v.K > high+1e-9 {
				t.Errorf("%c n %d AQL %v: k %v; M %v %% makes it %.4f to %.4f", letter, n, aql, v.K, m, low, high)
			}
		}
	}
	if held != 195 {
		t.Errorf("%d plans are without an arrow, 195 wanted", held)
	}
}
