package config

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/configs"
)

func TestShippedStation(t *testing.T) {
	s, err := LoadStation("")
	if err != nil {
		t.Fatal(err)
	}
	if s.Version != 1 || s.MMPerPX != 0 || s.Jobs != 0 || s.FaceplateThicknessMM != 0 {
		t.Errorf("shipped station %+v: the scale, the jobs and the thickness must not be set", s)
	}
	if s.URelScale != 0.002 { // common practice, no source
		t.Errorf("u_rel_scale %v, want 0.002", s.URelScale)
	}
	fromFile, err := LoadStation("../../configs/station.yaml")
	if err != nil || fromFile != s {
		t.Errorf("configs/station.yaml is not what is embedded: %+v, %v", fromFile, err)
	}
}

// A key that the shipped file left out would silently be 0.
func TestShippedStationLeavesNothingOut(t *testing.T) {
	root, err := parse("station.yaml", configs.StationYAML)
	if err != nil {
		t.Fatal(err)
	}
	s := newSchema()
	s.check(root, &Station{})
	for _, key := range leaves(Station{}) {
		if s.lines[key] == 0 {
			t.Errorf("configs/station.yaml lacks %s", key)
		}
	}
}

func TestStationFiles(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"version: 1\nmm_per_px: 0.015\n", ""},
		{"version: 1\nmm_per_px: 0.1\nu_rel_scale: 0\njobs: 256\nfaceplate_thickness_mm: 1.4\n", ""},
		{"mm_per_px: 0.015\n", ":1: version: is missing: write version: 1"},
		{"version: 1\nmm_per_pxl: 0.015\n", ":2: mm_per_pxl: no such key; did you mean mm_per_px?"},
		{"version: 1\nmm_per_px: -0.015\n", ":2: mm_per_px: -0.015 is not between 0.001 and 0.1 (0: not set)"},
		{"version: 1\nmm_per_px: 15\n", ":2: mm_per_px: 15 is not between 0.001 and 0.1 (0: not set)"},
		{"version: 1\nu_rel_scale: 0.2\n", ":2: u_rel_scale: 0.2 is not between 0 and 0.1"},
		{"version: 1\njobs: two\n", `:2: jobs: wants a whole number, not the text "two"`},
		{"version: 1\njobs: 08\n", ":2: jobs: 08 would be read as an octal number: write it without the leading zero"},
		{"version: 1\njobs: 99999999999999999999\n", ":2: jobs: wants a whole number, not 99999999999999999999"},
		{"version: 1\njobs: -1\n", ":2: jobs: -1 is not between 0 and 256"},
		{"version: 1\nfaceplate_thickness_mm: 0.1\n", ":2: faceplate_thickness_mm: 0.1 is not between 0.2 and 5 (0: not set)"},
	} {
		path := filepath.Join(t.TempDir(), "station.yaml")
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := LoadStation(path)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%q: %v", c.text, err)
		case c.want == "" && s.MMPerPX == 0:
			t.Errorf("%q: the scale was not read", c.text)
		case c.want != "" && (err == nil || err.Error() != path+c.want):
			t.Errorf("%q:\n got %v\nwant %s", c.text, err, path+c.want)
		}
	}
	if _, err := LoadStation("testdata/absent.yaml"); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "read station") {
		t.Errorf("absent file: %v", err)
	}
}

func FuzzStation(f *testing.F) {
	f.Add(configs.StationYAML)
	f.Add([]byte("version: 1\njobs: 08\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := parseStation("fuzz.yaml", data, Station{})
		if err == nil && s.Validate() != nil {
			t.Fatalf("accepted, but not valid: %v", s.Validate())
		}
	})
}
