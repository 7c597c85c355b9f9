package part

// Faceplate is what face pictures say of the faceplate as a whole.
type Faceplate struct {
	Image     string       `json:"image"`                // the picture that it was taken from
	Light     Light        `json:"light,omitempty"`      // of that picture
	OutlinePX [][2]float64 `json:"outline_px,omitempty"` // its outline as seen: x, y, full-resolution pixels, closed
	Colour    *Colour      `json:"colour,omitempty"`
	NoColour  string       `json:"no_colour,omitempty"` // why its colour was not measured
}

// Colour is the mean colour of a surface in CIELAB (D65, 2 degrees).
type Colour struct {
	L  float64 `json:"l"` // 0 black to 100 white
	A  float64 `json:"a"` // towards red
	B  float64 `json:"b"` // towards yellow
	UL float64 `json:"u_l"`
	UA float64 `json:"u_a"`
	UB float64 `json:"u_b"` // standard uncertainties of the mean over this surface, k = 1; the camera's own colours are no part of it
	// Spread is how far places 0.25 mm wide differ from the mean around them:
	// median CIEDE2000. Large on a patterned faceplate.
	Spread float64 `json:"spread"`
	Share  float64 `json:"share"` // of the outline's area that counted, 0..1
	// White says that a white reference was known. Without one these are the
	// camera's colours, to be compared only with each other under the same light
	// and exposure.
	White bool `json:"white"`
}

// Outline returns the outline's points; nil for no faceplate.
func (f *Faceplate) Outline() []Point {
	if f == nil {
		return nil
	}
	var pts []Point
	for _, p := range f.OutlinePX {
		pts = append(pts, Point{p[0], p[1]})
	}
	return pts
}
