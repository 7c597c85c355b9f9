package defects

import (
	"finishbench/internal/defects/align"
	"finishbench/internal/part"
)

// Result is what was found in a scene.
type Result struct {
	Findings []part.Finding // no severity, advice or number yet
	Outline  []part.Point   // the faceplate's outline as seen, full-resolution pixels of the scene's first picture
	Warnings []part.Phrase
	Clear    bool         // a shell that lets see what lies inside
	Seen     part.Surface // shares that were looked at; view and angle are the caller's to fill in
	Unseen   []Unseen     // where nothing was looked for, one for each picture of the scene

	lies map[string]*align.Registration // of pictures that do not lie as the first one, by file
}

// OutlineIn is the faceplate's outline in one picture of the scene.
func (r Result) OutlineIn(file string) []part.Point {
	to := r.lies[file]
	if !to.Moved() {
		return r.Outline
	}
	out := make([]part.Point, len(r.Outline))
	for i, q := range r.Outline {
		out[i] = to.To.Of(q)
	}
	return out
}

// Unseen tells where in one picture nothing was looked for. Cell (x, y) covers
// the Step x Step full-resolution pixels from (x*Step, y*Step); In is row by row,
// true where the surface is and was not looked at.
type Unseen struct {
	Image      string
	Step, W, H int
	In         []bool
}
