package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/codec"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// aSynthShell is a drawn shell's diffuse picture of 680 x 450 at 36 um per pixel.
func aSynthShell(mod func(*synth.ShellParams)) *part.Image {
	p := synth.DefaultShell()
	p.W, p.H, p.MMPerPX, p.SeamYPX, p.Ground, p.Rig = 680, 450, 0.036, 110, "dark", "panels"
	mod(&p)
	d, _, _ := synth.Shell(p)
	return d
}

// shellFolder is a unit's folder with these pictures, by turn.
func shellFolder(t *testing.T, turns map[int]*part.Image) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "u")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for turn, im := range turns {
		data, err := codec.EncodePNG(im)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("shell_%03d_diffuse.png", turn)), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func inspectedShell(t *testing.T, dir string) part.Result {
	t.Helper()
	out := t.TempDir()
	_, _, stderr := runCode(t, "unit", dir, "--out", out, "--mm-per-px", "0.036")
	var r part.Result
	readJSON(t, filepath.Join(out, filepath.Base(dir), "result.json"), &r)
	if len(r.Pictures) == 0 {
		t.Fatal(stderr)
	}
	return r
}

// TestShellBadPictures: each picture that shows no whole shell from the side, faceplate up, is not measured, and says what to do.
func TestShellBadPictures(t *testing.T) {
	good := aSynthShell(func(p *synth.ShellParams) {})
	with := func(from func(x, y int) (int, int)) *part.Image {
		to := &part.Image{W: good.W, H: good.H, C: 3, Pix8: make([]uint8, len(good.Pix8))}
		for y := range to.H {
			for x := range to.W {
				u, v := from(x, y)
				u, v = max(0, min(u, good.W-1)), max(0, min(v, good.H-1))
				copy(to.Pix8[3*(y*to.W+x):][:3], good.Pix8[3*(v*good.W+u):][:3])
			}
		}
		return to
	}
	f := synth.DefaultFace()
	f.W, f.H, f.MMPerPX, f.SizeMM = good.W, good.H, 0.036, 11
	face, _, _ := synth.Face(f)
	r := inspectedShell(t, shellFolder(t, map[int]*part.Image{
		0:   with(func(x, y int) (int, int) { return x, good.H - 1 - y }), // upside down
		60:  face,
		120: with(func(x, y int) (int, int) { return x % 340 * 2, 2*y - 100 }), // two units
		180: with(func(x, y int) (int, int) { return x, y - 190 }),             // out of the frame below
		240: with(func(x, y int) (int, int) { return x + 250, y }),             // to the left
		300: aSynthShell(func(p *synth.ShellParams) { p.TurnDeg, p.StemMM = 300, 0 }),
	}))
	for _, p := range r.Pictures {
		var why []string
		for _, q := range p.Problems {
			why = append(why, q.Name+": "+q.Remedy)
		}
		if p.AngleDeg == 300 { // without a holder: nothing is wrong with it
			if p.State != part.PictureOK {
				t.Errorf("%s, without a holder: %q", p.File, why)
			}
			continue
		}
		want := map[float64][]string{0: {"cut_off", "surface_not_found"}, 60: {"surface_not_found"}, 120: {"several_units"},
			180: {"cut_off"}, 240: {"cut_off"}}[p.AngleDeg]
		if p.State == part.PictureOK || !slices.ContainsFunc(p.Problems, func(q part.Problem) bool {
			return slices.Contains(want, q.Name) &&
				q.Remedy != ""
		}) {
			t.Errorf("%s: %s, %q", p.File, p.State, why)
		}
	}
	for _, f := range r.Findings {
		if !strings.HasPrefix(f.Image, "shell_300") {
			t.Errorf("found in a picture that is not fit: %+v", f)
		}
	}
}

// TestShellTurnOfAnotherUnit: the turn that is another unit's is named, as far as two turns show the same sides: 0 and 180 deg do,
// and either may be
// the wrong one. A unit whose turns are all its own is told nothing.
func TestShellTurnOfAnotherUnit(t *testing.T) {
	turn := func(deg float64, seed uint64, radius float64) *part.Image {
		return aSynthShell(func(p *synth.ShellParams) { p.TurnDeg, p.Seed, p.RadiusMM, p.StemMM = deg, seed, radius, 0 })
	}
	first := turn(0, 1, 7.6)
	for _, other := range []bool{false, true} {
		second := turn(180, 1, 7.6)
		if other {
			second = turn(180, 2, 6.6)
		}
		r := inspectedShell(t, shellFolder(t, map[int]*part.Image{0: first, 180: second}))
		said := 0
		for _, w := range r.Warnings {
			if strings.Contains(w, "does not match its other turns") {
				said++
				if strings.Contains(w, "turned by 180 deg") {
					said += 10
				}
			}
		}
		if (said >= 10) != other || !other && said > 0 {
			t.Errorf("another unit at 180: %v, %q", other, r.Warnings)
		}
		if !other && (r.Shell == nil || r.Shell.LookedAt < 0.4) { // two turns show 2/3 of a round shell down to where it mirrors its holder
			t.Errorf("%+v", r.Shell)
		}
	}
}
