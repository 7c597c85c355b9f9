package scene

import (
	"fmt"
	"math"

	"finishbench/internal/body"
	"finishbench/internal/capture/outline"
	"finishbench/internal/defects/align"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Picture is one picture of a scene: decoded, and fit to measure.
type Picture struct {
	Shot  part.Shot
	Image *part.Image
	Flat  *optics.FlatField // of this view and light; nil: the light is taken as it is. It must fit the image

	// BlurPX is the standard deviation of what lens, focus and sharpening blur by,
	// full-resolution pixels, and UBlurPX its standard uncertainty: measured, one
	// for all pictures of a scene. 0: not measured.
	BlurPX, UBlurPX float64

	Registration *align.Registration // against the scene's first picture; nil: as it does
}

// Params says how a scene is looked at. Lengths are on the unit, in millimetres.
type Params struct {
	MMPerPX       float64        // scale of the pictures; > 0
	URelScale     float64        // relative standard uncertainty of the scale (0..1)
	SearchMM      float64        // defects are sought in pixels averaged up to about this size (> 0)
	ShapeMM       float64        // and measured in pixels averaged up to about this size (> 0, <= SearchMM)
	BlurMM        float64        // finest smoothing, standard deviation; a JPEG's colour is no finer (> 0)
	CellMM        float64        // side of the cells in which base level and noise are told (> 0)
	RimMM         float64        // the rim ends within this distance of the outline (> 0)
	FalsePerFace  float64        // chance of a false place on a face from noise alone, per look (0..1)
	MinResponse   float64        // a place is at least this many standard deviations (> 0)
	GrowShare     float64        // a place grows down to this share of its threshold (0..1)
	ManyFindings  int            // with more than these the surface as a whole is doubted (> 0)
	Jobs          int            // looks taken side by side (> 0)
	MinConfidence float64        // findings of which the rules are less sure are dropped (0..1)
	Outline       *outline.Curve // of the faceplate in the scene's first picture, where it is known; nil: it is found
	Shell         *body.Seen     // the pictures show this shell, in the first one's pixels; nil: they show a face
	Lit           Lit            // nil: lamps' images are sought
	Call          Caller         // nil: the rules alone say what kind a place is
}

// Lit says of a place of the scene's first picture, full-resolution pixels, whether a lamp's image that is known
// already lies there, and whether it is not to be searched, since that image ends near by or is not there. No other lamp's image is sought then.
type Lit func(x, y float64) (inside, beyond bool)

// Caller says what kind a place is, given its features as a finding has them, the
// rules' call and their confidence. sure (0..1) is how sure that is, should it be
// a defect at all; where ok is false the rules' call stands. It may be called from
// several goroutines at once.
type Caller func(features map[string]float64, rule part.Kind, ruleConfidence float64) (kind part.Kind, confidence float64, ok bool)

// DefaultParams returns the shipped values (the scale's uncertainty is that of
// one taken from a ruled target); all are common practice, no source.
func DefaultParams(mmPerPX float64) Params {
	return Params{
		MMPerPX: mmPerPX, URelScale: 0.002, SearchMM: 0.0315, ShapeMM: 0.0157, BlurMM: 0.018, CellMM: 0.72, RimMM: 0.9,
		FalsePerFace: 0.18, MinResponse: 4.8, GrowShare: 0.55, ManyFindings: 200, Jobs: 2, MinConfidence: 0.05,
	}
}

// Validate refuses a scale, an uncertainty of it or a number of jobs that make no sense.
func (p Params) Validate() error {
	if !(p.MMPerPX > 0) || math.IsInf(p.MMPerPX, 0) {
		return fmt.Errorf("defects: the scale is %v mm per pixel; it must be a positive number", p.MMPerPX)
	}
	if !(p.URelScale >= 0 && p.URelScale < 1) {
		return fmt.Errorf("defects: the scale's relative uncertainty is %v; it must be from 0 to 1", p.URelScale)
	}
	if p.Jobs < 1 {
		return fmt.Errorf("defects: %d jobs; at least one is needed", p.Jobs)
	}
	return nil
}

// factors returns how many full-resolution pixels, per side, are averaged into
// one pixel of the search and one pixel of the shapes.
func (p Params) factors() (search, shape int) {
	return max(1, int(p.SearchMM/p.MMPerPX)), max(1, int(p.ShapeMM/p.MMPerPX))
}
