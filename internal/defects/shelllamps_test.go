package defects

import (
	"testing"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/search"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// searched is what is found in two pictures of one turn of a shell.
func searched(t *testing.T, p synth.ShellParams, diffuse, raking *part.Image) Result {
	t.Helper()
	v, err := body.Look([]*part.Image{diffuse, raking}, nil, p.TurnDeg, p.MMPerPX)
	if err != nil {
		t.Fatal(err)
	}
	shape, _, err := body.Fit([]*body.View{v})
	if err != nil {
		t.Fatal(err)
	}
	seen, params := shape.In([]*body.View{v}, 0), scene.DefaultParams(p.MMPerPX)
	params.Shell = &seen
	res, err := Find([]scene.Picture{
		{Shot: part.Shot{File: "d.png", View: part.Shell, Light: part.Diffuse}, Image: diffuse, BlurPX: p.BlurSigmaPX, UBlurPX: 0.1},
		{Shot: part.Shot{File: "r.png", View: part.Shell, Light: part.Raking}, Image: raking, BlurPX: p.BlurSigmaPX, UBlurPX: 0.1},
	}, params)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// TestCameraOpeningMirrored: a dome has an opening for the camera, and a glossy shell mirrors it where it faces the camera, dark on dark
// resin most of all. It is called nothing, and what it covers is said not to have been looked at.
func TestCameraOpeningMirrored(t *testing.T) {
	for _, grey := range []float64{0.02, 0.2} {
		p := shellParams(11)
		p.Rig, p.Ground, p.ShellRGB = "dome", "dark", [3]float64{grey, grey, grey}
		d, r, _ := synth.Shell(p)
		res := searched(t, p, d, r)
		for _, f := range res.Findings {
			if max(f.Box[2], f.Box[3]) > 40 { // the dome's rim is mirrored as long lines
				continue
			}
			t.Errorf("resin of %g: %s at %v, %v", grey, f.Kind, f.Box, f.Features)
		}
		if res.Seen.Why[part.Mirrored] == 0 {
			t.Errorf("resin of %g: nothing is said to be mirrored: %+v", grey, res.Seen)
		}
	}
}

// TestLampCutOffBySeam: a lamp's image 1 mm wide that goes on over the seam is no defect, though images on faces are 2 mm wide and
// more; one that ends below the seam is none either, and is said to be mirrored. The lamp's light and width are common practice, no source.
func TestLampCutOffBySeam(t *testing.T) {
	for name, from := range map[string]float64{"over the seam": 45, "below it": 88} {
		p := shellParams(12)
		p.Rig, p.Ground, p.ShellRGB = "window", "dark", [3]float64{0.5, 0.4, 0.1}
		d, r, _ := synth.Shell(p)
		res := searched(t, p, d, withLamp(r, 360, 395, from, 115, 0.15, 1))
		near := 0
		for _, f := range res.Findings {
			if f.Box.Meets(part.Box{355, 75, 45, 45}) {
				near++
			}
		}
		if near > 0 || from > p.SeamYPX && res.Seen.Why[part.Mirrored] == 0 {
			t.Errorf("%s: %d findings there: %v; looked at: %+v", name, near, res.Findings, res.Seen)
		}
	}
}

// TestFaintLamp: by definition. A lamp's faint image is wide, filled and brighter in one light alone; haze is pale in both, a spot narrow,
// sanding marks fill little, and dust shows in the other light.
func TestFaintLamp(t *testing.T) {
	f := &face{Face: search.Face{Face: scene.Face{ShapeFactor: 1,
		Params: scene.Params{MMPerPX: 0.02, Shell: &body.Seen{View: &body.View{}}}}}}
	for _, c := range []struct {
		what         string
		contrast     []float64
		widePX, fill float64
		want         bool
	}{
		{"a lamp's faint image", []float64{0.14, -0.01}, 40, 0.9, true},
		{"haze", []float64{0.14, 0.1}, 40, 0.9, false},
		{"a glint", []float64{0.14, 0}, 10, 0.9, false},
		{"sanding marks", []float64{0.14, 0}, 40, 0.4, false},
		{"dark in the other light", []float64{0.14, -0.1}, 40, 0.9, false},
		{"one light", []float64{0.14}, 40, 0.9, false},
	} {
		p := &place{contrast: c.contrast}
		p.all.Long, p.all.Across, p.all.Thick = 60, 45, c.widePX
		p.all.Area = c.fill * p.all.Long * p.all.Across
		if got := f.isLamp(p); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}
