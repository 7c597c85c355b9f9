package capture

import "finishbench/internal/part"

// sameCopy is the rms difference of a copy, of full scale: half a level of 8 bits.
const sameCopy = 0.002

// RefuseCopies refuses pictures of a surface without outline (a flat test panel) that
// are copies of one before them: one light under two names tells no more than one. A plain one looks alike under
// any light, but for its noise. Of a unit's pictures package proof tells more.
func RefuseCopies(reports []*part.PictureReport, images []*part.Image) {
	for i, r := range reports {
		for j, o := range reports[:i] {
			if r.State == part.PictureOK && images[j] != nil && (o.State == part.PictureOK || has(o, SameLight)) &&
				copied(images[i], images[j]) {
				c := checker{r: r}
				c.add(SameLight, none, none, "", false, part.Say("fit.same_picture", "file", o.File))
			}
		}
	}
}

// copied says whether one picture is a copy of the other.
func copied(a, b *part.Image) bool {
	if a.W != b.W || a.H != b.H || a.C != b.C {
		return false
	}
	square, n := 0.0, 0.0
	for y := 0; y < a.H; y += 5 {
		for x := 0; x < a.W; x += 5 {
			d := levelAt(a, x, y) - levelAt(b, x, y)
			square, n = square+d*d, n+1
		}
	}
	return square < sameCopy*sameCopy*n
}
