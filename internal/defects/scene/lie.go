package scene

import (
	"math"
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/defects/align"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// BoxIn is a box of the scene's first picture in another one, in that one's own
// pixels.
func (f *Face) BoxIn(pic int, b part.Box) part.Box {
	r := f.Pictures[pic].Registration
	if !r.Moved() {
		return b
	}
	c, s := r.To.Of(b.Centre()), math.Hypot(r.To.A, r.To.B)
	return part.Box{c.X - s*b[2]/2, c.Y - s*b[3]/2, s * b[2], s * b[3]}
}

// note keeps how picture i lies.
func (f *Face) note(i int, r align.Registration) {
	f.Pictures[i].Registration = &r
	f.Apart = f.Apart || r.Apart
	file, first := f.Pictures[i].Shot.File, f.Pictures[0].Shot.File
	switch {
	case r.Apart:
		f.Warnings = append(f.Warnings, part.Say("defects.apart", "file", file, "other", first,
			"apart_px", part.Fixed(r.ResidualPX, 1), "limit_px", part.Fixed(align.ApartPX, 0)))
	case r.By == align.ByNothing:
		f.Warnings = append(f.Warnings, OfFile(file, part.Say("defects.lie_unknown", "other", first)))
	}
}

// registerPanel registers a panel's pictures on what shows all over them.
func (f *Face) registerPanel() {
	if len(f.Pictures) < 2 {
		return
	}
	im := f.Pictures[0].Image
	w, h := float64(im.W-1), float64(im.H-1)
	inside := []part.Point{{}, {X: w}, {X: w, Y: h}, {Y: h}}
	first := align.NewBand(im)
	for i := 1; i < len(f.Pictures); i++ {
		if r := align.Detail(first, align.NewBand(f.Pictures[i].Image), inside); r.By == align.ByDetail {
			f.note(i, r)
		} // a plain panel has nothing to tell by, and nothing to be put right
	}
}

// placed is an outline in the first picture of a scene.
type placed struct {
	points []part.Point
	middle part.Point
}

// registerFace finds the faceplate's outline and how the pictures lie, and returns
// the outline in the first one.
func (f *Face) registerFace() (placed, error) {
	var images []*part.Image
	for _, p := range f.Pictures {
		images = append(images, p.Image)
	}
	c := f.Params.Outline
	if c == nil {
		var err error
		if c, err = outline.Face(images); err != nil {
			return placed{}, lang.ErrorBy(err, part.Say("defects.no_faceplate"))
		}
	}
	points := c.Points()
	if len(f.Pictures) > 1 {
		first := align.NewBand(images[0])
		own := c
		if c.Picture != 0 {
			own = c.In(images[0])
		}
		for i := 1; i < len(images); i++ {
			r := align.Detail(first, align.NewBand(images[i]), points)
			if r.By == align.ByNothing && own != nil && f.Params.Shell == nil { // a shell's region has no edge to be seen
				other := c
				if c.Picture != i {
					other = c.In(images[i])
				}
				if other != nil {
					if r = align.Outlines(own, other); r.Apart {
						r = align.OwnOutlines(images[0], images[i])
					}
				}
			}
			f.note(i, r)
		}
	}
	p := placed{points: points, middle: c.Middle}
	if r := f.Pictures[c.Picture].Registration; r.Moved() {
		p.middle = r.To.Back(p.middle)
		p.points = slices.Clone(points)
		for i, q := range points {
			p.points[i] = r.To.Back(q)
		}
	}
	return p, nil
}
