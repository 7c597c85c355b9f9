// Package assign gives each of some things a partner of its own among others,
// so that the costs add up to the least. Pure Go.
package assign

import "math"

// Unmatched costs more than any number of close pairs can save, so that one pair
// more always wins. It is the cost of a pair that cannot be.
const Unmatched = 1e6

// Least gives each row of cost a column of its own, from 0, so that the costs
// add up to the least; -1 for rows without one. Each row has as many costs as
// there are columns, none above Unmatched; a row whose column costs Unmatched has
// no partner, though a number may stand there. The Hungarian method with
// potentials, one row at a time (Kuhn 1955, Nav. Res. Logist. Q. 2:83; Jonker &
// Volgenant 1987, Computing 38:325).
func Least(cost [][]float64, columns int) []int {
	rows := len(cost)
	n := max(rows, columns)
	at := func(i, j int) float64 { // i, j from 1; what is padded costs as much as no pair
		if i > rows || j > columns {
			return Unmatched
		}
		return cost[i-1][j-1]
	}
	u, v := make([]float64, n+1), make([]float64, n+1)
	owner, from := make([]int, n+1), make([]int, n+1)
	for i := 1; i <= n; i++ {
		least, seen := make([]float64, n+1), make([]bool, n+1)
		for j := range least {
			least[j] = math.Inf(1)
		}
		owner[0] = i
		j0 := 0
		for owner[j0] != 0 {
			seen[j0] = true
			delta, j1 := math.Inf(1), 0
			for j := 1; j <= n; j++ {
				if seen[j] {
					continue
				}
				if c := at(owner[j0], j) - u[owner[j0]] - v[j]; c < least[j] {
					least[j], from[j] = c, j0
				}
				if least[j] < delta {
					delta, j1 = least[j], j
				}
			}
			for j := range seen {
				if seen[j] {
					u[owner[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			j0 = j1
		}
		for j0 != 0 {
			owner[j0] = owner[from[j0]]
			j0 = from[j0]
		}
	}
	result := make([]int, rows)
	for i := range result {
		result[i] = -1
	}
	for j := 1; j <= columns; j++ {
		if i := owner[j]; i >= 1 && i <= rows {
			result[i-1] = j - 1
		}
	}
	return result
}
