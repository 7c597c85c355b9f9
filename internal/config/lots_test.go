package config

import (
	"reflect"
	"strings"
	"testing"
)

// The shipped classes: critical none, major AQL 1.0, minor AQL 2.5 (common
// practice, no source).
func TestShippedLots(t *testing.T) {
	s, err := LoadStation("")
	if err != nil {
		t.Fatal(err)
	}
	want := Lots{Product: "shell", Stage: "cured", Level: "II", Standard: "ISO 2859-1:1999", Reduced: "no", LimitNumber: -1,
		Shifts: []string{"06:00", "14:00", "22:00"}, NotPassing: "major", Classes: []LotClass{
			{Severity: "critical", Covers: []string{"critical"}, Accept: "none"},
			{Severity: "major", Covers: []string{"major"}, AQL: 1},
			{Severity: "minor", Covers: []string{"moderate", "minor"}, AQL: 2.5},
		}}
	if !reflect.DeepEqual(s.Lots, want) {
		t.Errorf("%+v", s.Lots)
	}
}

func TestLotsSet(t *testing.T) {
	s, err := LoadStation(written(t,
		"version: 1\nlots:\n  level: S-4\n  limit_number: 3\n  classes:\n    - {severity: critical, covers: [critical], accept: none, "+
			"limit_percent: 1, risk: 0.05}\n    - {severity: major, covers: [major, moderate], aql: 15, count: findings}\n"))
	if err != nil {
		t.Fatal(err)
	}
	if l := s.Lots; l.Level != "S-4" || l.LimitNumber != 3 || len(l.Classes) != 2 || l.Classes[0].LimitPercent != 1 ||
		l.Classes[1].Count != "findings" || l.Stage != "cured" {
		t.Errorf("%+v", l)
	}
}

func TestLotsWrong(t *testing.T) {
	for text, want := range map[string]string{
		"level: IV": ":3: lots.level:", "stage: dry": "lots.stage:", "standard: none": "lots.standard:", "reduced: always": "lots.reduced:",
		"limit_number: -2": "lots.limit_number:",
		"classes: []":      "lots.classes: is empty", "not_passing: grave": "lots.not_passing:",
		"not_passing: minor\n  classes: [{severity: major, covers: [major], aql: 1}]": "lots.not_passing: is " +
			"minor, which no class covers",
		"classes: [{severity: grave, covers: [major], aql: 1}]":                                             "lots.classes[0].severity:",
		"classes: [{severity: major, covers: [], aql: 1}]":                                                  "covers: is empty",
		"classes: [{severity: major, covers: [majr], aql: 1}]":                                              "did you mean major",
		"classes: [{severity: major, covers: [major], aql: 1}, {severity: minor, covers: [major], aql: 1}]": "counts in two classes",
		"classes: [{severity: major, covers: [major]}]":                                                     "lots.classes[0].aql:",
		"classes: [{severity: major, covers: [major], aql: 1, accept: none}]":                               "beside accept: none",
		"classes: [{severity: major, covers: [major], accept: none, risk: 0.1}]":                            "belong together",
		"classes: [{severity: major, covers: [major], aql: 1, risk: 0.1}]":                                  "for accept: none only",
		"classes: [{severity: major, covers: [major], aql: 1, count: pairs}]":                               "lots.classes[0].count:",
		"classes: [{severity: major, covers: [major], accept: none, limit_percent: 200, risk: 0.1}]":        "limit_percent:",
	} {
		if _, err := LoadStation(written(t, "version: 1\nlots:\n  "+text+"\n")); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
