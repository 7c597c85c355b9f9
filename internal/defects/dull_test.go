package defects

import (
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// dullFaces draws faces with one kind each, and returns how many that can be seen were found, and
// how many of them by their name; and how often the name was given to something else.
func dullFaces(t *testing.T, kind part.Kind, others map[part.Kind]int, faces int, mod func(i int, p *synth.FaceParams)) (
	visible, found, right, wrong int) {
	t.Helper()
	for i := range faces {
		kinds := map[part.Kind]int{kind: 3}
		for k, n := range others {
			kinds[k] = n
		}
		pictures, truth, mm := facePair("plain", uint64(300+i), func(p *synth.FaceParams) { mod(i, p) }, kinds)
		res, err := Find(pictures, scene.DefaultParams(mm))
		if err != nil {
			t.Fatal(err)
		}
		called := make([]bool, len(res.Findings))
		for _, d := range truth.Defects {
			if d.Kind != kind || max(d.CNRDiffuse, d.CNRRaking) < rose {
				continue
			}
			visible++
			hit, named := false, false
			for k, f := range res.Findings {
				if d.Box.Meets(f.Box) {
					hit, called[k] = true, true
					if kind == part.Haze && f.Kind == kind && f.UDiamMM != nil {
						t.Logf("face %d: diameter %.2f, drawn %.2f, u %.3f mm", i, *f.DiameterMM, d.DiameterMM, *f.UDiamMM)
					}
					named = named || f.Kind == kind
					if f.Kind != kind {
						t.Logf("face %d: %s of %.2f x %.2f mm called %s %v", i, kind, d.DiameterMM+d.LengthMM, d.WidthMM, f.Kind,
							f.Features)
					}
				}
			}
			if hit {
				found++
			} else {
				t.Logf("face %d: missed %s of %.2f mm, cnr %.0f %.0f", i, kind, d.DiameterMM+d.LengthMM, d.CNRDiffuse, d.CNRRaking)
			}
			if named {
				right++
			}
		}
		for k, f := range res.Findings {
			if f.Kind == kind && !called[k] {
				wrong++
				t.Logf("face %d: called %s, and is none: %v %v", i, kind, f.Box, f.Features)
			}
		}
	}
	return visible, found, right, wrong
}

// grounds are faceplates from dark to pale.
func grounds(i int, p *synth.FaceParams) {
	g := [][3]float64{{0.02, 0.02, 0.03}, {0.12, 0.03, 0.2}, {0.3, 0.3, 0.32}, {0.05, 0.15, 0.1}, {0.45, 0.3, 0.12}}[i%5]
	p.BaseRGB = g
}

// TestDullKinds: dull patches are called haze, places without gloss and with an edge of lacquer missed places, bites out of
// the faceplate's edge chips; dust, bubbles and more beside them are not. The bar is the issue's.
func TestDullKinds(t *testing.T) {
	for kind, others := range map[part.Kind]map[part.Kind]int{
		part.Haze:   {part.Dust: 3, part.Bubble: 2, part.Sanding: 1},
		part.Missed: {part.Dust: 3, part.Bubble: 2, part.Crater: 1},
		part.Chip:   {part.Dust: 4, part.Bubble: 2},
	} {
		t.Run(string(kind), func(t *testing.T) {
			synth.Sampled(t, 2)
			visible, found, right, wrong := dullFaces(t, kind, others, 5, grounds)
			if visible < 10 || right*10 < visible*8 || wrong > 0 {
				t.Errorf("%d of %d found, %d called by their name; %d others called so", found, visible, right, wrong)
			}
		})
	}
}
