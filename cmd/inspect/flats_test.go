package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// writeFlat writes a flat-field file of evenly lit pictures of w x h pixels,
// made so many days ago.
func writeFlat(t *testing.T, dir, name string, w, h int, days int) {
	t.Helper()
	card := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	for i := range card.Pix8 {
		card.Pix8[i] = 180
	}
	flat, err := optics.NewFlatField([]optics.Named{{Name: "card.png", Image: card}}, nil, optics.DefaultFlatFieldOptions())
	if err != nil {
		t.Fatal(err)
	}
	flat.Made, flat.MaxAgeDays = time.Now().Add(-time.Duration(days)*24*time.Hour), 90
	flat.Pictures = []optics.FlatFieldPicture{{File: "card.png", SHA256: strings.Repeat("0", 64)}}
	f, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := optics.WriteFlatField(f, flat); err != nil {
		t.Fatal(err)
	}
}

// The station's flat field is used for its view and light; one of another size,
// or past its age, is refused.
func TestFlatFieldOfStation(t *testing.T) {
	t.Parallel()
	const text = "mm_per_px: 0.015\nflats: [{view: face, light: raking, file: flat.json}]\n"
	path := stationFile(t, text)
	writeFlat(t, filepath.Dir(path), "flat.json", 1600, 1200, 1)
	even, _ := resultOf(t, cli.ExitFails, "u08-R", "--station", path)
	bare, _ := resultOf(t, cli.ExitFails, "u08-R", "--mm-per-px", "0.015")
	if len(even.Findings) != len(bare.Findings) || len(even.Warnings) != len(bare.Warnings) {
		t.Errorf("an even field changes %d findings to %d, warnings %q to %q", len(bare.Findings), len(even.Findings), bare.Warnings,
			even.Warnings)
	}
	writeFlat(t, filepath.Dir(path), "flat.json", 1600, 1200, 80)
	if r, _ := resultOf(t, cli.ExitFails, "u08-R", "--station", path); len(r.Warnings) == 0 ||
		!strings.Contains(r.Warnings[0], "again soon") {
		t.Errorf("warnings %q do not tell its age", r.Warnings)
	}
	writeFlat(t, filepath.Dir(path), "flat.json", 800, 600, 1)
	r, _ := resultOf(t, cli.ExitUnmeasured, "u08-R", "--station", path)
	for _, p := range r.Pictures {
		if refused := p.State != part.PictureOK; refused != (p.Light == part.Raking) {
			t.Errorf("%s is %s: %+v", p.File, p.State, p.Problems)
		}
	}
	writeFlat(t, filepath.Dir(path), "flat.json", 1600, 1200, 100)
	if _, stderr := resultOf(t, cli.ExitUsage, "u08-R", "--station", path); !strings.Contains(stderr, "days old") {
		t.Errorf("%q does not tell its age", stderr)
	}
}
