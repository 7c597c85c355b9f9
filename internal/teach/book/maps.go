package book

import (
	"slices"

	"finishbench/internal/outline"
	"finishbench/internal/part"
	"finishbench/internal/stripes"
	"finishbench/internal/synth"
)

// Mirrored are the kinds of which a mirror shows more than the paint does.
func Mirrored(k part.Kind) bool { return k == part.OrangePeel || slices.Contains(synth.FlawKinds, k) }

// MirrorMaps measures what a face mirrors. around is its outline; nil: it is found in the paint.
func MirrorMaps(of map[part.Light]*part.Image, around []part.Point, mmPerPX float64) (*stripes.Maps, error) {
	if around == nil {
		look := of[part.White]
		if look == nil { // stripes add up to an even screen
			var err error
			if look, err = stripes.Paint(nil, of); err != nil {
				return nil, err
			}
		}
		c, err := outline.Face([]*part.Image{look})
		if err != nil {
			return nil, err
		}
		around = c.Points()
	}
	r, err := stripes.Measure(of, around, stripes.DefaultParams(mmPerPX))
	return r.Maps, err
}
