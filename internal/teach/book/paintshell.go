package book

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/synth"
	"finishbench/internal/truth"
)

// PaintShellKinds are the kinds that are drawn on shells.
var PaintShellKinds = []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run, part.Missed, part.Haze}

// paintedTurns are the turns in which a drawn shell is shown: between them they show most of it.
var paintedTurns = []float64{0, 120, 240}

// paintShell draws one unit's shell in turns: clean, or with a defect of a kind on it and up to
// four more of those that are asked.
func paintShell(dir, name string, clean bool, kind part.Kind, o PaintOptions, rng *rand.Rand) error {
	p := synth.DefaultShell()
	p.Rig = []string{"dome", "ring", "panels"}[rng.IntN(3)]
	for c := range 3 {
		p.ShellRGB[c] = 0.02 + 0.6*rng.Float64()
	}
	p.Seed = rng.Uint64()
	if !clean {
		n := map[part.Kind]int{kind: 1}
		for range rng.IntN(5) {
			n[o.Kinds[rng.IntN(len(o.Kinds))]]++
		}
		p.Marks = synth.RandomMarks(p, n, rng.Uint64())
		for i := range p.Marks {
			if d := &p.Marks[i].Defect; d.Kind != part.Haze && d.Kind != part.Crater { // these keep sizes of their own
				resize(d, o.Difficulty, rng)
			}
		}
	}
	t := paintedTruth{Unit: name, Made: paintedMade, MMPerPX: p.MMPerPX, Shell: "opaque"}
	pictures := map[string]*part.Image{}
	for _, turn := range paintedTurns {
		p.TurnDeg = turn
		diffuse, raking, drawn := synth.Shell(p)
		s := truth.Surface{AngleDeg: turn, Files: map[string]string{}, Defects: []truth.Defect{}}
		for light, im := range map[part.Light]*part.Image{part.Diffuse: diffuse, part.Raking: raking} {
			file := fmt.Sprintf("shell_%03.0f_%s.jpg", turn, light)
			s.Files[string(light)], pictures[file] = file, im
		}
		for _, m := range drawn.Marks {
			if m.Box[2] > 0 && m.Box[3] > 0 {
				s.Defects = append(s.Defects, known(m.Kind, m.Box, m.DiameterMM, m.LengthMM, m.WidthMM, m.CNRDiffuse, m.CNRRaking))
			}
		}
		t.Shells = append(t.Shells, s)
	}
	return writePainted(dir, t, pictures)
}

// known is a drawn defect as truth.json has it.
func known(kind part.Kind, box part.Box, diameterMM, lengthMM, widthMM, cnrDiffuse, cnrRaking float64) truth.Defect {
	k := truth.Defect{Kind: string(kind), Box: slices.Clone(box[:]),
		CNR: map[string]float64{"diffuse": shownCNR(cnrDiffuse), "raking": shownCNR(cnrRaking)}}
	if diameterMM > 0 {
		k.Diameter = &diameterMM
	} else {
		k.Length, k.Width = &lengthMM, &widthMM
	}
	return k
}
