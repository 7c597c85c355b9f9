package defects

import (
	"fmt"
	"math"

	"finishbench/internal/part"
)

// Picture is one picture of a scene: decoded, and fit to measure.
type Picture struct {
	Shot  part.Shot
	Image *part.Image
}

// Params says how a scene is looked at. Lengths are on the unit, in millimetres.
type Params struct {
	MMPerPX       float64 // scale of the pictures; > 0
	WorkMM        float64 // pictures finer than this are averaged down towards it (> 0)
	CellMM        float64 // side of the cells in which base colour and noise are told (> 0)
	BlurMM        float64 // finest smoothing, standard deviation; chroma of JPEG is no finer (> 0)
	RimMM         float64 // the rim is looked for within this distance of the outline (> 0)
	MarginMM      float64 // pictures' outline is no sharper than this; not looked at (>= 0)
	FalsePerFace  float64 // false seeds expected on a face from noise alone (0..1)
	MinResponse   float64 // seeds are at least this many standard deviations (> 0)
	GrowShare     float64 // a seed grows down to this share of its threshold (0..1)
	MaxFindings   int     // more than these and the surface as a whole is named instead (> 0)
	MaxShortSide  int     // reserved size guard: pictures larger after averaging are refused
	MinConfidence float64 // findings below it are dropped (0..1)
}

// DefaultParams returns the shipped values; all are common practice, no source.
func DefaultParams(mmPerPX float64) Params {
	return Params{
		MMPerPX: mmPerPX, WorkMM: 0.0135, CellMM: 0.72, BlurMM: 0.018, RimMM: 0.9, MarginMM: 0.06,
		FalsePerFace: 0.12, MinResponse: 4.8, GrowShare: 0.55, MaxFindings: 200, MaxShortSide: 4000, MinConfidence: 0.05,
	}
}

func (p Params) validate() error {
	if !(p.MMPerPX > 0) || math.IsInf(p.MMPerPX, 0) {
		return fmt.Errorf("defects: the scale is %v mm per pixel; it must be a positive number", p.MMPerPX)
	}
	return nil
}

// Result is what was found in a scene.
type Result struct {
	Findings []part.Finding // no severity, advice or number yet
	Outline  []part.Point   // the faceplate's outline as seen, full-resolution pixels
	Warnings []string
}
