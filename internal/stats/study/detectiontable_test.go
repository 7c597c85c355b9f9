package study

import (
	"strings"
	"testing"
)

func TestReadTargets(t *testing.T) {
	got, err := ReadTargets(strings.NewReader("kind;size_mm;hit\nbubble;0.1;1\nbubble;0.05;no\ndust;0.2;yes\n"))
	if err != nil || len(got) != 3 || got[0] != (KindTarget{"bubble", Target{0.1, 1, 1}}) || got[1].Found != 0 ||
		got[2] != (KindTarget{"dust", Target{0.2, 1, 1}}) {
		t.Errorf("%v, %v", got, err)
	}
	got, err = ReadTargets(strings.NewReader("size,n,found\n1.6907,59,6\n"))
	if err != nil || len(got) != 1 || got[0].Target != (Target{1.6907, 59, 6}) {
		t.Errorf("%v, %v", got, err)
	}
}

func TestReadTargetsRefuses(t *testing.T) {
	for csv, want := range map[string]string{
		"":                              "first line must name",
		"size,of\n1,2\n":                "no column is called found",
		"size,found\n":                  "has no targets",
		"size,found\n0.1,1\nsmall,1\n":  `line 3, column size: "small" is not a number`,
		"size,found\n0,1\n":             `line 2, column size: "0" is no size`,
		"size,found\n-1,1\n":            "must be above 0",
		"size,found\n,1\n":              "line 2, column size: nothing there",
		"size,found\n1,\n":              "line 2, column found: nothing there",
		"size,found\n1,maybe\n":         `line 2, column found: "maybe" is not a number`,
		"size,found\n1,2\n":             "more than the 1",
		"size,found\n1,0.5\n":           "not a count",
		"size,found,of\n1,0,0\n":        "one at least",
		"size,found,of\n1,1,1\n2,5,3\n": "line 3, column found",
	} {
		if _, err := ReadTargets(strings.NewReader(csv)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; %q is wanted", csv, err, want)
		}
	}
}
