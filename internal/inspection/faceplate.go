package inspection

import (
	"math"

	"finishbench/internal/cli"
	"finishbench/internal/compare"
	"finishbench/internal/defects"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// faceplateOf is the faceplate's outline and colour. The colour is that of the
// picture under the softest light there is: raking light has the faceplate's
// shape in it. nil where no outline was found.
func faceplateOf(pictures []scene.Picture, found defects.Result, mmPerPX float64) *part.Faceplate {
	if len(found.Outline) == 0 || len(pictures) == 0 {
		return nil
	}
	best := pictures[0]
	for _, p := range pictures[1:] {
		if softness(p.Shot.Light) > softness(best.Shot.Light) {
			best = p
		}
	}
	f := &part.Faceplate{Image: best.Shot.File, Light: best.Shot.Light}
	outline := found.OutlineIn(best.Shot.File)
	for _, q := range outline {
		f.OutlinePX = append(f.OutlinePX, [2]float64{math.Round(q.X*10) / 10, math.Round(q.Y*10) / 10})
	}
	plate := compare.Plate{Image: best.Image, Outline: outline, MMPerPX: mmPerPX}
	for _, fd := range found.Findings {
		plate.Findings = append(plate.Findings, fd.Box)
	}
	c, err := compare.PlateColour(plate, compare.DefaultPlateParams())
	if err != nil {
		f.NoColour = cli.Plain(err)
		return f
	}
	round := func(v *float64) { *v = math.Round(*v*1000) / 1000 }
	for _, v := range []*float64{&c.L, &c.A, &c.B, &c.UL, &c.UA, &c.UB, &c.Spread, &c.Share} {
		round(v)
	}
	f.Colour = &c
	return f
}

// softness puts lights in order for telling colour.
func softness(l part.Light) int {
	switch l {
	case part.Diffuse:
		return 2
	case part.NoLight:
		return 1
	}
	return 0
}
