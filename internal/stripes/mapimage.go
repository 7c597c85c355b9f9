package stripes

import "finishbench/internal/part"

// MapImage is a map as a picture of the others' size: slopes where they are asked for and can be told.
func MapImage(m *Maps, name string, w, h int) *part.Image {
	if name == part.SlopeMap && !m.Waving() {
		return m.SlopePicture(w, h)
	}
	return m.GlossPicture(w, h)
}
