package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/detection"
	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
	"finishbench/internal/teach/book"
	"finishbench/internal/truth"
)

// Shells drawn in turns are asked turn by turn, are shown in the atlas, and are what a study of
// detection counts by: a finding tells of a defect in each turn in which it shows.
func TestPaintedShells(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "drawn")
	code, _, stderr := runCode(t, "quiz", "paint", dir, "--shell", "--number", "1", "--clean", "0", "--kinds", "run", "--seed", "3")
	if code != cli.ExitPass {
		t.Fatal(stderr)
	}
	unit := filepath.Join(dir, "drawn-3-001")
	items, err := book.PoolUnits([]string{unit}, part.Cured, grade.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	var k truth.Unit
	if err := cli.ReadJSONFile(filepath.Join(unit, truth.File), &k); err != nil {
		t.Fatal(err)
	}
	shown := 0
	for i, s := range k.Shells {
		shown += len(s.Defects)
		if it := items[i]; len(it.Known) != len(s.Defects) || len(it.Pictures) != 2 || it.Verdict == part.NotMeasured {
			t.Errorf("turn %g: %+v", s.AngleDeg, it)
		}
	}
	if len(items) != 3 || items[1].Key != "drawn-3-001-shell-120" || shown == 0 {
		t.Fatalf("%d items, %d defects", len(items), shown)
	}

	out := filepath.Join(dir, "atlas")
	pictures := "2" // of each kind: drawing them takes most of this test's time
	if os.Getenv("FINISHBENCH_LONG") != "" {
		pictures = "6"
	}
	if code, stdout, stderr := runCode(t, "atlas", "--units", dir, "--out", out, "--pictures", pictures); code != cli.ExitPass {
		t.Errorf("%d %s%s", code, stdout, stderr)
	} else if page, err := os.ReadFile(filepath.Join(out, "run.html")); err != nil ||
		!strings.Contains(string(page), "of units with known defects") {
		t.Errorf("the atlas does not show the shell: %v", err)
	} else {
		seen := map[string]bool{}
		for i, p := range strings.Split(string(page), ";base64,")[1:] {
			if p, _, _ = strings.Cut(p, `"`); seen[p] {
				t.Errorf("picture %d of the atlas is there twice", i+1)
			}
			seen[p] = true
		}
	}

	// The run in all turns by one finding, and one finding where there is nothing.
	r := part.Result{MMPerPX: k.MMPerPX}
	var one part.Finding
	for _, s := range k.Shells {
		for _, file := range s.Files {
			r.Pictures = append(r.Pictures, part.PictureReport{File: file, View: part.Shell, AngleDeg: s.AngleDeg, State: part.PictureOK})
		}
		for _, d := range s.Defects {
			at := part.Sighting{Image: s.Files["raking"], Box: part.Box(d.Box)}
			if one.Image == "" {
				one = part.Finding{Kind: part.Run, Image: at.Image, Box: at.Box}
			} else if !slices.ContainsFunc(one.AlsoIn, func(x part.Sighting) bool { return x.Image == at.Image }) && at.Image != one.Image {
				one.AlsoIn = append(one.AlsoIn, at)
			}
		}
	}
	r.Findings = []part.Finding{one, {Kind: part.Dust, Image: k.Shells[0].Files["diffuse"], Box: part.Box{2, 2, 5, 5}}}
	s := detection.Set{Patterns: map[string]int{}}
	if err := s.Add("u", truth.File, k, r, study.DefaultMatchRule(), 0); err != nil {
		t.Fatal(err)
	}
	found, turns := 0, map[string]bool{}
	for _, x := range s.Targets {
		found += x.Target.Found
	}
	for _, x := range append([]part.Sighting{{Image: one.Image}}, one.AlsoIn...) {
		turns[x.Image] = true
	}
	if found != len(turns) || len(s.Targets) != shown || len(s.False) != 1 || s.Units != 1 || s.Patterns[truth.OpaqueShell] != 1 ||
		s.Targets[0].Where() != truth.OpaqueShell {
		t.Errorf("found %d of %d in %d turns, false %+v, units %d of %v", found, len(s.Targets), len(turns), s.False, s.Units, s.Patterns)
	}

	// A truth without any surface is said.
	if _, err := (truth.Unit{}).Surfaces("truth.json"); err == nil ||
		!strings.Contains(err.Error(), "nothing of the faceplate or the shell") {
		t.Error(err)
	}
}
