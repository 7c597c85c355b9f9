package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/lampedge"
	"finishbench/internal/part"
)

// flakeMostMM is the size up to which what shines in one light alone is flakes; larger, it is islands of a
// lamp's image (common practice, no source).
const (
	flakeMostMM = 0.4
	islandMM    = 0.5  // a cut off piece lies so near to the rest,
	islandElse  = 0.25 // and shows in other lights by less than this share
)

// tellPeel adds orange peel to what was found, or says that there was nothing to judge it by.
func (f *face) tellPeel(out *Result) {
	e := f.Peel.Waves
	switch {
	case !f.Peel.Asked:
	case f.Peel.Blind:
		out.Warnings = append(out.Warnings, part.Say("defects.peel_clear"))
	case f.Sparkles && f.FlakeMM <= flakeMostMM:
		out.Warnings = append(out.Warnings, part.Say("defects.peel_flakes"))
	case !e.Enough():
		out.Warnings = append(out.Warnings, part.Say("defects.peel_short", "needed_mm", part.Fixed(lampedge.LeastMM, 0),
			"surface", f.Name()).With("length", length(e.LengthMM)))
	case e.OrangePeel():
		out.Findings = append(slices.DeleteFunc(out.Findings, f.isIsland), f.peelFinding())
	}
}

// isIsland says whether a finding is a piece of a lamp's image that waves have cut off: beside
// wavy edges, and next to nothing in other lights.
func (f *face) isIsland(fd part.Finding) bool {
	name := func(pic int) string { return "contrast_" + string(f.Pictures[pic].Shot.Light) }
	own, ok := fd.Features[name(f.Peel.Pic)]
	for pic := range f.Pictures {
		if c := fd.Features[name(pic)]; pic != f.Peel.Pic && math.Abs(c) > islandElse*math.Abs(own) {
			return false
		}
	}
	near := fd.Box.Grow(islandMM / f.Params.MMPerPX)
	return ok && fd.Image == f.Pictures[f.Peel.Pic].Shot.File && slices.ContainsFunc(f.Peel.Waves.Wavy, func(q part.Point) bool {
		return near.Meets(f.BoxIn(f.Peel.Pic, f.searchBox(part.Box{q.X - 0.5, q.Y - 0.5, 1, 1})))
	})
}

func length(mm float64) part.Phrase {
	if mm < 0.1 {
		return part.Say("defects.nothing")
	}
	return part.Say("defects.length", "length_mm", part.Fixed(mm, 1))
}

// peelFinding is the face's orange peel: as large as the square millimetres in which edges wave.
func (f *face) peelFinding() part.Finding {
	e := f.Peel.Waves
	cells := map[[2]int]bool{}
	for _, q := range e.Wavy {
		cells[[2]int{int(q.X * f.MMPX), int(q.Y * f.MMPX)}] = true
	}
	perMM := float64(e.Bends) / e.LengthMM
	rms, mainMM := e.RMSMM()
	b := part.BoundsOf(e.Wavy)
	out := part.Finding{
		Image: f.Pictures[f.Peel.Pic].Shot.File, Kind: part.OrangePeel, Zone: f.zoneOfAll(),
		AreaMM2:    part.Num(float64(len(cells))),
		Confidence: math.Round(100*logistic(3*(perMM/lampedge.BendsPerMM-0.7))) / 100,
		Features: map[string]float64{
			"edge_length_mm": round3(e.LengthMM), "edge_bends_per_mm": round3(perMM), "edge_strays_mm": round3(rms),
			"wave_mm": round3(mainMM),
		},
	}
	out.Box = f.BoxIn(f.Peel.Pic, f.searchBox(b))
	return out
}

// searchBox is a box of search pixels in full-resolution pixels of the scene's first picture.
func (f *face) searchBox(b part.Box) part.Box {
	k := float64(f.Factor)
	return part.Box{(b[0]+float64(f.Surface.X0)+0.5)*k - 0.5, (b[1]+float64(f.Surface.Y0)+0.5)*k - 0.5, b[2] * k, b[3] * k}
}
