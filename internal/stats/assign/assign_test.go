package assign

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestLeastIsThatOfTryingAll compares with the least of all ways there are.
func TestLeastIsThatOfTryingAll(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		rows, columns := r.IntN(5), r.IntN(5)
		cost := make([][]float64, rows)
		for i := range cost {
			cost[i] = make([]float64, columns)
			for j := range cost[i] {
				if cost[i][j] = r.Float64(); r.IntN(3) == 0 {
					cost[i][j] = Unmatched
				}
			}
		}
		got := Least(cost, columns)
		seen := map[int]bool{}
		total := 0.0
		for i, j := range got {
			if j < 0 {
				total += Unmatched
				continue
			}
			if seen[j] {
				t.Fatalf("column %d given twice: %v", j, got)
			}
			seen[j] = true
			total += cost[i][j]
		}
		if want := leastOf(cost, 0, map[int]bool{}); math.Abs(total-want) > 1e-6 {
			t.Fatalf("%v: costs add up to %v, the least is %v", cost, total, want)
		}
	}
}

// leastOf tries all columns that are left for row i, and none.
func leastOf(cost [][]float64, i int, taken map[int]bool) float64 {
	if i == len(cost) {
		return 0
	}
	best := Unmatched + leastOf(cost, i+1, taken)
	for j, c := range cost[i] {
		if !taken[j] {
			taken[j] = true
			best = math.Min(best, c+leastOf(cost, i+1, taken))
			delete(taken, j)
		}
	}
	return best
}
