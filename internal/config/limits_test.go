package config

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"finishbench/configs"
	"finishbench/internal/grade"
	"finishbench/internal/part"
)

func TestShippedLimitsEqualDefaults(t *testing.T) {
	want := grade.DefaultLimits()
	got, err := LoadLimits("../../configs/limits.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("configs/limits.yaml and grade.DefaultLimits differ:\n got %+v\nwant %+v", got, want)
	}
	embedded, err := ParseLimits("embedded", configs.LimitsYAML)
	if err != nil || !reflect.DeepEqual(embedded, want) {
		t.Errorf("the embedded limits.yaml and grade.DefaultLimits differ (%v)", err)
	}
	none, err := LoadLimits("")
	if err != nil || !reflect.DeepEqual(none, want) {
		t.Errorf("without a path: not the defaults (%v)", err)
	}
}

// The equality above would hold for any file if keys that are left out fell
// back to the defaults; so every key must really be in the shipped file.
func TestShippedLimitsLeaveNothingOut(t *testing.T) {
	root, err := parse("limits.yaml", configs.LimitsYAML)
	if err != nil {
		t.Fatal(err)
	}
	var empty grade.Limits
	s := newSchema()
	s.check(root, &empty)
	for _, key := range leaves(empty) {
		if s.lines[key] == 0 {
			t.Errorf("configs/limits.yaml lacks %s", key)
		}
	}
}

// leaves lists the keys of a settings struct, down to what is not a struct.
func leaves(v any) []string {
	var out []string
	var walk func(t reflect.Type, key string)
	walk = func(t reflect.Type, key string) {
		for i := range t.NumField() {
			f := t.Field(i)
			name := join(key, f.Tag.Get("mapstructure"))
			if f.Type.Kind() == reflect.Struct {
				walk(f.Type, name)
				continue
			}
			out = append(out, name)
		}
	}
	walk(reflect.TypeOf(v), "")
	return out
}

// Every shipped number says that it has no source.
func TestShippedLimitsSayWhereFrom(t *testing.T) {
	for i, line := range strings.Split(string(configs.LimitsYAML), "\n") {
		code, comment, _ := strings.Cut(line, "#")
		if strings.ContainsAny(code, "0123456789") && !strings.HasPrefix(code, "version") && !strings.Contains(comment, "common practice, no source") {
			t.Errorf("limits.yaml:%d: a number without \"common practice, no source\": %s", i+1, line)
		}
	}
}

func TestGoodLimits(t *testing.T) {
	l, err := LoadLimits("testdata/score_only.good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	want := grade.DefaultLimits()
	want.ScoreLimit = 35.5
	if !reflect.DeepEqual(l, want) {
		t.Errorf("score_only: got %+v, want the defaults with score_limit 35.5", l)
	}

	l, err = LoadLimits("testdata/own_seam.good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if l.Decision.Rule != grade.GuardedAcceptance || l.Cluster.Count != 0 || len(l.Required) != 0 {
		t.Errorf("own_seam: got %+v, %+v, %+v", l.Decision, l.Cluster, l.Required)
	}
	// A list replaces the whole list: one row, not one row and what was shipped.
	if len(l.Seam) != 1 || len(l.Seam[0].Stages) != len(part.Stages) {
		t.Fatalf("own_seam: seam has %+v, want one row for all stages", l.Seam)
	}
	proud, gap := l.Seam[0].By[0], l.Seam[0].By[2]
	if proud.Minor != nil || proud.Major == nil || *proud.Major != 40 || proud.Critical != nil {
		t.Errorf("own_seam: proud_um is %+v, want major 40 alone", proud)
	}
	if gap.Minor == nil || *gap.Minor != 0 {
		t.Errorf("own_seam: gap_um's minor is %v, want a bound of 0, which is not the same as none", gap.Minor)
	}
	if !reflect.DeepEqual(l.Surface, grade.DefaultLimits().Surface) {
		t.Error("own_seam: surface is not as shipped")
	}
}

// A list of what must be looked at replaces the shipped one; an empty one asks for
// nothing.
func TestLookedAtLimits(t *testing.T) {
	l, err := LoadLimits("testdata/looked_at.good.yaml")
	want := []grade.LookedAt{
		{Stages: []part.Stage{part.Trim, part.Wet}, Views: []part.View{part.Face, part.Shell}, Least: 0.9},
		{Stages: []part.Stage{part.Cured}, Views: []part.View{part.Face}, Least: 0},
	}
	if err != nil || !reflect.DeepEqual(l.LookedAt, want) {
		t.Errorf("%+v, %v; want %+v", l.LookedAt, err, want)
	}
	l, err = ParseLimits("limits.yaml", []byte("version: 1\nlooked_at: []\n"))
	if err != nil || len(l.LookedAt) != 0 {
		t.Errorf("an empty list: %+v, %v", l.LookedAt, err)
	}
}

// badLimits are the files of testdata that must be refused, and each line of the
// message.
var badLimits = map[string][]string{
	"a_list":             {`:1: wants keys with values, such as version: 1`},
	"anchors":            {`:3: required[0].stages: anchors (&) and aliases (*) are not used here: write the value out`, `:5: required[1].stages: anchors (&) and aliases (*) are not used here: write the value out`},
	"comments_only":      {`: the file is empty`},
	"covered_twice":      {`:3: seam: no row for proud_um at stage cured, nor for 3 more`, `:9: seam[1]: proud_um at stage wet is already in seam[0]; each may be there once`},
	"dotted_key":         {`:2: cluster.count: no such key; did you mean cluster?`},
	"empty":              {`: the file is empty`},
	"fraction_for_whole": {`:2: cluster.count: wants a whole number, not 2.5`},
	"hexadecimal":        {`:2: score_limit: wants a number, not 0x14`},
	"infinite":           {`:2: score_limit: wants a number, not .inf`},
	"looked_at":          {`:5: looked_at[2].least: wants a number, not the text "most"`},
	"looked_at_words": {`:3: looked_at[0].least: 1.2 is not between 0 and 1`,
		`:4: looked_at[1].views[1]: "edge" is not known; use face, shell`,
		`:4: looked_at[1]: view face at stage wet is already in looked_at[0]; each may be there once`,
		`:5: looked_at[2].views: is missing or empty; use face, shell`},
	"map_for_list": {`:2: seam: wants a list, such as [a, b], not keys with values`},
	"mend": {`:3: mend[0].up_to_mm: does not fit "proud": proud, recessed, gap and bead take up_to_um, the others up_to_mm`,
		`:3: mend: no row for chip at stage trim, nor for 2 more`,
		`:4: mend[1].up_to_mm: has no meaning where mendable is false`},
	"misspelt":        {`:2: score_limt: no such key; did you mean score_limit?`},
	"misspelt_deep":   {`:6: seam[0].by[1].mjor: no such key; did you mean major?`},
	"negative":        {`:2: score_limit: -1 is not between 0 and 10000`},
	"no_mendable":     {`:3: mend[0].mendable: is missing: write true or false`},
	"no_value":        {`:2: cluster: has no value`},
	"no_version":      {`:1: version: is missing: write version: 1`},
	"not_a_number":    {`:2: score_limit: wants a number, not .nan`},
	"not_yaml":        {`: not YAML: yaml: line 1: did not find expected ',' or ']'`},
	"nothing_near":    {`:2: decision.weather: no such key; the keys here are rule, k`},
	"nul_byte":        {`: not YAML: yaml: control characters are not allowed`},
	"octal":           {`:2: score_limit: 020 would be read as an octal number: write it without the leading zero`},
	"quoted_number":   {`:2: score_limit: wants a number, not the text "30"`},
	"text_for_list":   {`:3: required[0].stages: wants a list, such as [a, b], not the text "trim"`},
	"text_for_number": {`:2: score_limit: wants a number, not the text "abc"`},
	"twice":           {`:4: score_limit: is there twice, first on line 2`},
	"two_documents":   {`:2: wants one document, but there is more after a line ---`},
	"unknown_words": {`:2: decision.rule: "guarded_aceptance" is not known; did you mean guarded_acceptance?`,
		`:3: cluster.up_to: "majr" is not known; did you mean major?`,
		`:3: cluster.kinds[0]: "bubbel" is not known; did you mean bubble?`,
		`:5: required[0].stages[0]: "wett" is not known; did you mean wet?`,
		`:5: required[0].views[0]: "faec" is not known; did you mean face?`},
	"unordered": {`:5: seam[0].by[0].moderate: 20 is not above minor (30): a worse class starts higher`,
		`:6: seam[0].by[1].major: 30 is not above minor (30): a worse class starts higher`,
		`:7: seam[0].by[2]: has no class: give minor, moderate, major or critical`,
		`:8: seam[0].by[3].major: -60 is not between 0 and 10000`},
	"upper_case":   {`:2: Score_Limit: no such key; did you mean score_limit?`},
	"version_2":    {`:1: version: 2, but this program reads version 1`},
	"yes_for_true": {`:3: mend[0].mendable: wants true or false, not the text "yes"`},
}

func TestBadLimits(t *testing.T) {
	files, err := filepath.Glob("testdata/*.bad.yaml")
	if err != nil || len(files) != len(badLimits) {
		t.Fatalf("%d files in testdata, %d in the table (%v)", len(files), len(badLimits), err)
	}
	for name, lines := range badLimits {
		path := "testdata/" + name + ".bad.yaml"
		l, err := LoadLimits(path)
		var fe *FileError
		if !errors.As(err, &fe) {
			t.Errorf("%s: error %v, want a FileError", name, err)
			continue
		}
		want := path + strings.Join(lines, "\n"+path)
		if err.Error() != want {
			t.Errorf("%s:\n got %s\nwant %s", name, err, want)
		}
		if !reflect.DeepEqual(l, grade.Limits{}) {
			t.Errorf("%s: limits came back along with the error", name)
		}
	}
}

func TestLimitsFileThatCannotBeRead(t *testing.T) {
	if _, err := LoadLimits("testdata/absent.yaml"); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "absent.yaml") {
		t.Errorf("absent file: %v", err)
	}
	if _, err := LoadLimits("testdata"); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("folder: %v", err)
	}
	large := filepath.Join(t.TempDir(), "large.yaml")
	if err := os.WriteFile(large, []byte("version: 1\n#"+strings.Repeat("x", maxBytes)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadLimits(large); err == nil || !strings.Contains(err.Error(), "larger than 1 MiB") {
		t.Errorf("large file: %v", err)
	}
}

func TestManyMistakesAreCutShort(t *testing.T) {
	text := "version: 1\n"
	for range 30 {
		text += "score_limt: 1\n"
	}
	_, err := ParseLimits("many.yaml", []byte(text))
	if err == nil {
		t.Fatal("accepted")
	}
	lines := strings.Split(err.Error(), "\n")
	if len(lines) != 11 || lines[10] != "many.yaml: and 20 more" {
		t.Errorf("%d lines, the last %q; want 11, ending in and 20 more", len(lines), lines[len(lines)-1])
	}
}

func TestNearest(t *testing.T) {
	// Distances counted by hand.
	for _, c := range []struct{ word, want string }{
		{"score_limt", "score_limit"},  // 1 added
		{"socre_limit", "score_limit"}, // 1 swapped
		{"SCORE_LIMIT", "score_limit"}, // case does not count
		{"k", "k"},
		{"weather", ""}, // far from all
		{"", ""},
		{strings.Repeat("score", 1000), ""},
	} {
		if got := nearest(c.word, []string{"score_limit", "decision", "k"}); got != c.want {
			t.Errorf("nearest(%.20q) = %q, want %q", c.word, got, c.want)
		}
	}
}

func TestChanges(t *testing.T) {
	// kitten to sitting takes 3: the usual textbook example (from memory). The
	// others are counted by hand.
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"", "abc", 3}, {"abc", "", 3}, {"ab", "ba", 1}, {"same", "same", 0}} {
		if got := changes(c.a, c.b); got != c.want {
			t.Errorf("changes(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

// Whatever the bytes, reading limits ends in an error of a few short lines or in
// limits that are valid and can judge.
func FuzzLimits(f *testing.F) {
	f.Add(configs.LimitsYAML)
	files, _ := filepath.Glob("testdata/*.yaml")
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ParseLimits("fuzz.yaml", data)
		if err != nil {
			if s := err.Error(); strings.Count(s, "\n") > 10 || len(s) > 20000 {
				t.Errorf("message of %d bytes and %d lines", len(s), strings.Count(s, "\n")+1)
			}
			return
		}
		if err := l.Validate(); err != nil {
			t.Fatalf("accepted, but not valid: %v", err)
		}
		r := part.Result{Stage: part.Wet, MMPerPX: 0.015,
			Seam:     part.Seam{Stations: []part.StepStation{{Image: "edge_000.jpg", Side: part.Left, State: part.Measured, StepUM: part.Num(60), UUM: part.Num(2)}}},
			Findings: []part.Finding{{Image: "face_raking.jpg", Kind: part.Dust, Zone: part.ZoneFace, Confidence: 1, DiameterMM: part.Num(0.3)}},
			Pictures: []part.PictureReport{{File: "edge_000.jpg", View: part.Edge, State: part.PictureOK}, {File: "face_raking.jpg", View: part.Face, State: part.PictureOK}},
		}
		grade.Judge(&r, l)
		if r.Score == nil || *r.Score < 0 {
			t.Errorf("score %v", r.Score)
		}
	})
}
