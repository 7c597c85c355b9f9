package inspection

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

func TestPanels(t *testing.T) {
	dir := t.TempDir()
	var files []string
	for _, f := range []string{"p1_diffuse.png", "p2.png", "p1_raking.png"} {
		f = filepath.Join(dir, f)
		if err := os.WriteFile(f, nil, 0o666); err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	jobs, err := panels(files)
	if err != nil {
		t.Fatal(err)
	}
	if len(jobs) != 2 || jobs[0].name != "p1" || len(jobs[0].Folder.Shots) != 2 || jobs[1].name != "p2" {
		t.Errorf("%+v", jobs)
	}
	if s := jobs[0].Folder.Shots; s[0].Light != part.Diffuse || s[1].Light != part.Raking {
		t.Errorf("lights %q, %q", s[0].Light, s[1].Light)
	}
	for _, bad := range [][]string{{"a/p.png", "b/p.png"}, {"p.png", "./p.png"}, {"p.png", "p.jpg"}, {".png"}} {
		var usage cli.UsageError
		if _, err := panels(bad); !errors.As(err, &usage) {
			t.Errorf("%q: %v, want a usage error", bad, err)
		}
	}
}

func TestNameUnits(t *testing.T) {
	units, err := NameUnits([]string{"a/u1", "./b/u2/", "."})
	if err != nil {
		t.Fatal(err)
	}
	wd, _ := os.Getwd()
	var names []string
	for _, u := range units {
		names = append(names, u.name)
	}
	if want := []string{"u1", "u2", filepath.Base(wd)}; !slices.Equal(names, want) {
		t.Errorf("names %q, want %q", names, want)
	}
	for _, bad := range [][]string{{"a/u1", "b/u1"}, {"a", "a/"}, {"a", "a"}, {"/"}} {
		var usage cli.UsageError
		if _, err := NameUnits(bad); !errors.As(err, &usage) {
			t.Errorf("%q: %v, want a usage error", bad, err)
		}
	}
}
