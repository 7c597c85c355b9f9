package config

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"finishbench/configs"
	"finishbench/internal/part"
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
	if err != nil || !reflect.DeepEqual(fromFile, s) {
		t.Errorf("configs/station.yaml is not what is embedded: %+v, %v", fromFile, err)
	}
}

// What a file leaves out of fit stays as shipped.
func TestStationKeepsTheRestOfFit(t *testing.T) {
	want, err := LoadStation("")
	if err != nil {
		t.Fatal(err)
	}
	want.Fit.Clipped = 0.01
	got, err := parseStation("station.yaml", []byte("version: 1\nfit: {clipped: 0.01}\n"), mustShipped(t))
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v, want %+v", got, err, want)
	}
}

func mustShipped(t *testing.T) Station {
	t.Helper()
	s, err := LoadStation("")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Every number of fit, made absurd, is refused with its key.
func TestNoFitNumberGoesUnchecked(t *testing.T) {
	for i := range reflect.TypeOf(part.FitLimits{}).NumField() {
		key := "fit." + reflect.TypeOf(part.FitLimits{}).Field(i).Tag.Get("mapstructure")
		for _, bad := range []float64{math.NaN(), -1, 1e9} {
			s := mustShipped(t)
			f := reflect.ValueOf(&s.Fit).Elem().Field(i)
			switch f.Kind() {
			case reflect.Int:
				if math.IsNaN(bad) {
					continue
				}
				f.SetInt(int64(bad))
			default:
				f.SetFloat(bad)
			}
			if err := s.Validate(); err == nil || !strings.Contains(err.Error(), key) {
				t.Errorf("%s = %v: error %v, want one that names the key", key, bad, err)
			}
		}
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
		{"version: 1\nmm_per_px: 0.015\nfit: {clipped: 0.01}\n", ""},
		{"version: 1\nfit: {cliped: 0.01}\n", ":2: fit.cliped: no such key; did you mean clipped?"},
		{"version: 1\nfit:\n  motion_px: 0\n", ":3: fit.motion_px: 0 is not between 0.5 and 50"},
		{"version: 1\njobs: two\n", `:2: jobs: wants a whole number, not the text "two"`},
		{"version: 1\njobs: 08\n", ":2: jobs: 08 would be read as an octal number: write it without the leading zero"},
		{"version: 1\njobs: 99999999999999999999\n", ":2: jobs: wants a whole number, not 99999999999999999999"},
		{"version: 1\njobs: -1\n", ":2: jobs: -1 is not between 0 and 256"},
		{"version: 1\nmm_per_px: 0.015\nscales: []\n", ""},
		{"version: 1\nflats: [{view: edge, light: raking, file: f.json}]\n",
			`:2: flats[0].view: "edge" is no view of a surface; use face, shell`},
		{"version: 1\nflats: [{view: face, light: rakin, file: f.json}]\n",
			`:2: flats[0].light: "rakin" is no light; did you mean raking?`},
		{"version: 1\nflats: [{view: face, light: raking}]\n",
			":2: flats[0].file: is missing: name a flat-field file, made by inspect camera"},
		{"version: 1\nscales: [{view: egde, file: a.json}]\n", `:2: scales[0].view: "egde" is no view; did you mean edge?`},
		{"version: 1\nscales: [{view: edge}]\n", ":2: scales[0].file: is missing: name a scale file, made by inspect scale"},
		{"version: 1\nscales:\n  - {view: edge, file: a.json}\n  - {view: edge, file: b.json}\n",
			":4: scales[1].view: two scale files for the same view"},
		{"version: 1\nmm_per_px: 0.015\nscales: [{view: edge, file: a.json}]\n",
			":2: mm_per_px: is set beside scale files: leave it at 0, or take out scales"},
		{"version: 1\nmm_per_px: 0.015\nlens_distance_mm: 180\n", ""},
		{"version: 1\nmm_per_px: 0.015\nprojection: telecentric\n", ""},
		{"version: 1\nlens_distance_mm: 20\n", ":2: lens_distance_mm: 20 is not between 50 and 5000 (0: not set)"},
		{"version: 1\nlens_distance_mm: 180\nprojection: telecentric\n",
			":3: projection: is telecentric beside lens_distance_mm: such a lens sees the same from any distance; leave one of them out"},
		{"version: 1\nprojection: flat\n", ":2: projection: \"flat\" is not known here; use telecentric, perspective"},
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

// Files that a station names lie beside it, wherever the program is started.
func TestStationPaths(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "station.yaml")
	text := "version: 1\nscales: [{view: \"\", file: s/edge.json}, {view: face, file: /a/face.json}]\ncheck_log: checks.csv\nrecords: " +
		"sqlite:bench.db\nscreen: {curve: c.json, mirror: /m.json}\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := LoadStation(path)
	if err != nil {
		t.Fatal(err)
	}
	want := []Scale{{"", filepath.Join(dir, "s/edge.json")}, {"face", "/a/face.json"}}
	if s.Screen.Curve != filepath.Join(dir, "c.json") || s.Screen.Mirror != "/m.json" {
		t.Errorf("the screen's files are %s and %s", s.Screen.Curve, s.Screen.Mirror)
	}
	if !reflect.DeepEqual(s.Scales, want) || s.CheckLog != filepath.Join(dir, "checks.csv") ||
		s.Records != "sqlite:"+filepath.Join(dir, "bench.db") {
		t.Errorf("got %v, %s and %s", s.Scales, s.CheckLog, s.Records)
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
