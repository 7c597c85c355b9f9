package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/synth"
)

// Pictures of a face that cannot be judged, or only in part, name the cause, say
// which share was looked at, and where that is not enough never let a unit pass,
// be its plate without a defect as here. No edge picture is asked for, so that
// nothing else bars the pass; an ordinary pair shows that it can. The sentences are
// ours, the shares common practice, no source.
func TestUnfitFaces(t *testing.T) {
	limits := filepath.Join(t.TempDir(), "limits.yaml")
	if err := os.WriteFile(limits, []byte("version: 1\nrequired: []\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := synth.SmallFace()
	p.Defects = []synth.Defect{}
	units := t.TempDir()
	args := []string{"unit", "--mm-per-px", "0.015", "--limits", limits, "--out", filepath.Join(units, "out")}
	for _, name := range append([]string{"ordinary", "lamp_clipped"}, synth.UnfitSets...) {
		set := map[string]*part.Image{}
		switch name {
		case "ordinary":
			set["face_diffuse"], set["face_raking"], _ = synth.Face(p)
		case "lamp_clipped":
			set = synth.Unfit("lamp", p)
			pix := set["face_diffuse"].Pix8
			for i, v := range pix {
				pix[i] = uint8(min(255, 5*int(v)/4))
			}
		default:
			set = synth.Unfit(name, p)
		}
		dir := filepath.Join(units, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for file, im := range set {
			data, err := report.EncodeJPEG(im, 97)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, file+".jpg"), data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		args = append(args, dir)
	}
	if code, _, stderr := runCode(t, args...); code != cli.ExitUnmeasured {
		t.Errorf("exit status %d: %s", code, stderr)
	}
	for _, c := range []struct {
		name    string
		verdict part.Verdict
		says    string  // in a reason, a warning or a picture's problem
		least   float64 // share looked at in all lights: at least,
		most    float64 // and at most
	}{
		{"ordinary", part.Pass, "in both lights", 0.8, 1},
		{"lamp", part.Pass, "of the unit is clipped", 0.3, 0.8},
		{"lamp_clipped", part.NotMeasured, "% of the unit is clipped, limit 50 %", 0.8, 1}, // in the other light
		{"cropped", part.NotMeasured, "move away if it fills the frame", 0, 0},
		{"mirror", part.NotMeasured, "a plate like a mirror", 0, 0},
		{"white", part.Pass, "in both lights", 0.8, 1},
		{"twice", part.NotMeasured, "it shows the same as face_diffuse.jpg", 0.8, 1},
		{"almost_twice", part.NotMeasured, "it shows the same as face_diffuse.jpg", 0.8, 1},
		{"three_lights", part.Pass, "lit from behind a surface shows its outline alone", 0.8, 1},
	} {
		var r part.Result
		readJSON(t, filepath.Join(units, "out", c.name, "result.json"), &r)
		said := strings.Join(append(r.Reasons, r.Warnings...), "\n")
		for _, q := range r.Pictures {
			for _, problem := range q.Problems {
				said += "\n" + problem.Remedy
			}
		}
		if r.Verdict != c.verdict || !strings.Contains(said, c.says) || len(r.Surfaces) != 1 || r.Surfaces[0].LookedAt < c.least ||
			r.Surfaces[0].LookedAt > c.most {
			t.Errorf("%s: %s, %+v, want %s and %.2f to %.2f looked at, and %q in\n%s", c.name, r.Verdict, r.Surfaces, c.verdict, c.least,
				c.most, c.says, said)
		}
	}
}
