package defects

import "finishbench/internal/part"

// searchFace is a face as some pictures of its scene show it, with what the search learns of it.
type searchFace struct {
	sceneFace
	lone     bool      // a panel in one light
	sliver   bool      // what is searched is small: nothing large is sought there
	colour   [][3]int  // the channels of each colour picture
	noise    []float64 // per channel
	pal      *palette
	woven    bool        // what looks like noise is a pattern
	filled   bool        // the pattern leaves no ground
	sparkles bool        // some of the pattern shines in one light alone, each flake in its own
	flakeMM  float64     // and nearly all of those flakes are no longer than this
	beside   *part.Plane // of a shell: how far off the nearest edge of a lamp's image lies, search pixels; nil: there is none

	flakesMeet bool              // so many flakes that some of one light lie on one of the other
	rimPixels  map[int][][]int32 // by the width of a map's pixels: those of each block of the rim
}
