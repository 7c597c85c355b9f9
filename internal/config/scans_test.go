package config

import (
	"strings"
	"testing"

	"finishbench/internal/scan"
)

func TestScans(t *testing.T) {
	s, err := parseStation("station.yaml", []byte(`version: 1
scans:
  prefix: "~"
  unit: ['[A-Z]-\d{4}(?:-[LR])?']
  badge: ['B(\d{3})']
  faceplate: ['FP-.+', '\(01\)09501101530003\(10\)(.+)']
`), mustShipped(t))
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.Scans.Rules()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]scan.Code{
		"~A-1001-L": {Kind: scan.Unit, Value: "A-1001", Side: "L"}, "~B017": {Kind: scan.Badge, Value: "017"},
		"~FP-7": {Kind: scan.Faceplate, Value: "FP-7"}, "~010950110153000310FX": {Kind: scan.Faceplate, Value: "FX"},
	} {
		if got, err := r.Read(text, ""); err != nil || got != want {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
	}
	for bad, want := range map[string]string{
		`unit: ['(']`:                 "missing closing",
		`badge: ['a', 'b*']`:          "scans.badge[1]",
		`lot: ['(a)(b)']`:             "write (?: ... )",
		`prefix: "a b"`:               "scans.prefix",
		`suffix: "壳"`:                 "scans.suffix",
		`prefix: "12345678901"`:       "up to 10 signs",
		`units: []`:                   "unit",
		`faceplate: '[A-Z]+'`:         "wants a list",
		`unit: ['[A-Z']`:              "in \"[A-Z\"",
		`unit: ['(?P<serial>[A-Z]+']`: "missing closing",
	} {
		_, err := parseStation("station.yaml", []byte("version: 1\nscans:\n  "+bad+"\n"), mustShipped(t))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v; %q wanted", bad, err, want)
		}
	}
}
