package defects

import (
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// lampFace is a drawn faceplate with a lamp's image in its dome picture.
func lampFace(pattern string, seed uint64, slope, waveMM float64) []scene.Picture {
	p := synth.SmallFace()
	p.Pattern, p.Seed, p.PeelSlope, p.PeelMM = pattern, seed, slope, waveMM
	p.LampMM = part.Box{-1.5, -2.2, 2.2, 3.8}
	p.Defects = synth.RandomDefects(p, map[part.Kind]int{part.Dust: 3, part.Bubble: 3, part.Crater: 1, part.Fibre: 1}, seed)
	d, r, _ := synth.Face(p)
	return []scene.Picture{
		{Shot: part.Shot{File: "face_diffuse.png", View: part.Face, Light: part.Diffuse}, Image: d},
		{Shot: part.Shot{File: "face_raking.png", View: part.Face, Light: part.Raking}, Image: r},
	}
}

func isPeel(f part.Finding) bool { return f.Kind == part.OrangePeel }

// TestOrangePeel: told where a lamp's edge is mirrored, over the common wavelengths; not on smooth faces; and where no edge is
// mirrored it is said that it was not
// looked for.
func TestOrangePeel(t *testing.T) {
	found, faces := 0, 0
	for i, pattern := range []string{"plain", "plain", "plain", "granite", "marble"} {
		for _, tc := range []struct{ slope, wave float64 }{{0, 0}, {0.01, 0.4}, {0.03, 0.8}} {
			if pattern != "plain" && tc.slope > 0 {
				continue // on a small face with veins too little is told of the lamp
			}
			res, err := Find(lampFace(pattern, uint64(43+i), tc.slope, tc.wave), scene.DefaultParams(0.015))
			if err != nil {
				t.Fatal(err)
			}
			k := slices.IndexFunc(res.Findings, isPeel)
			switch {
			case tc.slope > 0:
				faces++
				if k >= 0 {
					found++
					f := res.Findings[k]
					t.Logf("%s, slope %g, wave %g: %v mm2, %v; %d other findings", pattern, tc.slope, tc.wave, *f.AreaMM2, f.Features,
						len(res.Findings)-1)
				}
			case k >= 0:
				t.Errorf("orange peel on a smooth %s face: %v", pattern, res.Findings[k].Features)
			}
		}
	}
	if found < faces*8/10 {
		t.Errorf("orange peel told on %d of %d faces", found, faces)
	}
	res, err := Find(func() []scene.Picture { s, _, _ := facePair("plain", 3, nil, nil); return s }(), scene.DefaultParams(0.015))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(lang.English().SayAll(res.Warnings),
		func(w string) bool { return strings.Contains(w, "orange peel was not looked for") }) {
		t.Errorf("nothing is said of orange peel on a face without a lamp's edge: %v", res.Warnings)
	}
}
