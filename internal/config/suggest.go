package config

import (
	"fmt"
	"strings"
)

// suggest names the nearest known key, or all of them where none is near.
func suggest(word string, known []string) string {
	if near := nearest(word, known); near != "" {
		return fmt.Sprintf("did you mean %s?", near)
	}
	return "the keys here are " + strings.Join(known, ", ")
}

// nearest is the known word with the fewest changes to it, or "" where that is
// more than half of the word.
func nearest(word string, known []string) string {
	if len(word) == 0 || len(word) > 60 {
		return ""
	}
	best, least := "", 1000
	w := strings.ToLower(word)
	for _, k := range known {
		if d := changes(w, k); d < least {
			best, least = k, d
		}
	}
	if 2*least > max(len(word), len(best)) {
		return ""
	}
	return best
}

// changes counts how many letters must be added, left out, replaced or swapped
// with their neighbour to turn a into b: the restricted edit distance of Damerau
// (1964), by the table of Wagner and Fischer (1974).
func changes(a, b string) int {
	x, y := []rune(a), []rune(b)
	d := make([][]int, len(x)+1)
	for i := range d {
		d[i] = make([]int, len(y)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(x)][len(y)]
}
