package charts

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rule is a pattern that hardly arises by chance. It is met at the point that
// completes it.
type Rule struct {
	Name string // as chosen by: "beyond"
	Text string // as told to a person
	met  func(z []float64) bool
	need int // points that it looks at
	// Number is the rule's number in the set by which it was chosen: "W4" for
	// Western Electric's fourth, "N2" for Nelson's second, "I2" for ISO 7870-2.
	Number string
}

// Signal is a point at which a rule is met.
type Signal struct {
	Point int // from 0
	Rule  Rule
}

// allRules, by Western Electric, "Statistical Quality Control Handbook", 1956
// (as in NIST/SEMATECH e-Handbook 6.3.2) and Nelson, Journal of Quality
// Technology 16, 1984, 237-239. z is the distance from the centre in standard
// deviations, the last point last.
func allRules() []Rule {
	return []Rule{
		{"beyond", "a point beyond three standard deviations", func(z []float64) bool { return math.Abs(z[0]) > 3 }, 1, "N1"},
		{"two-of-three", "two of three points beyond two standard deviations on one side", share(2, 2), 3, "N5"},
		{"four-of-five", "four of five points beyond one standard deviation on one side", share(4, 1), 5, "N6"},
		{"run7", "seven points in a row on one side of the centre", share(7, 0), 7, "I2"},
		{"run8", "eight points in a row on one side of the centre", share(8, 0), 8, "W4"},
		{"run9", "nine points in a row on one side of the centre", share(9, 0), 9, "N2"},
		{"trend6", "six points in a row rising or falling", trend, 6, "N3"},
		{"trend7", "seven points in a row rising or falling", trend, 7, "I3"},
		{"alternating14", "fourteen points in a row going up and down by turns", alternating, 14, "N4"},
		{"close15", "fifteen points in a row within one standard deviation",
			func(z []float64) bool { return all(z, func(v float64) bool { return math.Abs(v) < 1 }) }, 15, "N7"},
		{"far8", "eight points in a row with none within one standard deviation, on both sides", far, 8, "N8"},
	}
}

// ruleSets are rules that go together. "iso7870" is from memory (ISO 7870-2:2013,
// its typical patterns without the one that is judged by eye).
//
// The default has two rules, for a log that stops the bench: a large jump and a
// lasting shift. They call falsely after 217 points on average, all of Nelson's
// rules after 74 (see [FalseSignals]).
var ruleSets = map[string][]string{
	"default":          {"beyond", "run9"},
	"beyond":           {"beyond"},
	"western-electric": {"beyond", "two-of-three", "four-of-five", "run8"},
	"nelson":           {"beyond", "run9", "trend6", "alternating14", "two-of-three", "four-of-five", "close15", "far8"},
	"iso7870":          {"beyond", "run7", "trend7"},
}

// setLetters begin the numbers of the rules of the sets whose authors numbered
// them; the sets have them in that order.
var setLetters = map[string]string{"western-electric": "W", "nelson": "N", "iso7870": "I"}

// RuleWords are the words that [Rules] knows: sets, then single rules.
func RuleWords() []string {
	words := []string{"default", "western-electric", "nelson", "iso7870"}
	for _, r := range allRules() {
		words = append(words, r.Name)
	}
	return words
}

// Rules are the rules that a list of words names: sets or single rules,
// separated by commas; "" is the default set.
func Rules(list string) ([]Rule, error) {
	if strings.TrimSpace(list) == "" {
		list = "default"
	}
	want, number := map[string]bool{}, map[string]string{}
	for w := range strings.SplitSeq(list, ",") {
		w = strings.TrimSpace(w)
		if set, ok := ruleSets[w]; ok {
			for i, name := range set {
				want[name] = true
				if l, ok := setLetters[w]; ok {
					number[name] = l + strconv.Itoa(i+1)
				}
			}
			continue
		}
		want[w] = true
	}
	var rules []Rule
	for _, r := range allRules() {
		if want[r.Name] {
			if n, ok := number[r.Name]; ok {
				r.Number = n
			}
			rules = append(rules, r)
			delete(want, r.Name)
		}
	}
	for w := range want {
		return nil, fmt.Errorf("charts: no rule is called %q: use %s", w, strings.Join(RuleWords(), ", "))
	}
	return rules, nil
}

// Apply finds the points of a chart at which rules are met, in order. A value
// that is NaN ends every run and trend. Where the limits' standard deviation is
// 0, only points off the centre stand out.
func Apply(values []float64, l Limits, rules []Rule) []Signal {
	z := make([]float64, len(values))
	for i, v := range values {
		z[i] = distance(v, l)
	}
	return applyZ(z, 0, rules)
}

// distance is how many standard deviations a value is off the centre.
func distance(v float64, l Limits) float64 {
	if v == l.Centre {
		return 0
	}
	return (v - l.Centre) / l.Sigma
}

// applyZ finds where rules are met; first is the number of the first point.
func applyZ(z []float64, first int, rules []Rule) []Signal {
	var out []Signal
	since := 0 // values in a row that are there
	for i := range z {
		since++
		if math.IsNaN(z[i]) {
			since = 0
		}
		for _, r := range rules {
			if since >= r.need && r.met(z[i+1-r.need:i+1]) {
				out = append(out, Signal{first + i, r})
			}
		}
	}
	return out
}

// share is met where the last point and at least k of all lie beyond limit on
// one side.
func share(k int, limit float64) func(z []float64) bool {
	return func(z []float64) bool {
		up, down := 0, 0
		for _, v := range z {
			if v > limit {
				up++
			}
			if v < -limit {
				down++
			}
		}
		last := z[len(z)-1]
		return (up >= k && last > limit) || (down >= k && last < -limit)
	}
}

func trend(z []float64) bool {
	up, down := true, true
	for i := 1; i < len(z); i++ {
		up, down = up && z[i] > z[i-1], down && z[i] < z[i-1]
	}
	return up || down
}

func alternating(z []float64) bool {
	for i := 2; i < len(z); i++ {
		if (z[i]-z[i-1])*(z[i-1]-z[i-2]) >= 0 {
			return false
		}
	}
	return true
}

// far has points on both sides: on one side alone it is a run.
func far(z []float64) bool {
	up, down := false, false
	for _, v := range z {
		if math.Abs(v) <= 1 {
			return false
		}
		up, down = up || v > 0, down || v < 0
	}
	return up && down
}

func all(z []float64, ok func(float64) bool) bool {
	for _, v := range z {
		if !ok(v) {
			return false
		}
	}
	return true
}
