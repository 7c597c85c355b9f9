package defects

import (
	"fmt"
	"slices"
	"strconv"

	"finishbench/internal/defects/align"
	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/search"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Find looks at one scene: the pictures of one pose of a faceplate, all of one
// size, each under another light. It returns the findings in no particular order,
// without severity, advice or number. Errors say what is wrong with the scene.
func Find(pictures []scene.Picture, p scene.Params) (Result, error) { return find(pictures, p, false) }

// FindPanel looks at a flat lacquered test panel that fills the whole picture.
func FindPanel(pictures []scene.Picture, p scene.Params) (Result, error) {
	return find(pictures, p, true)
}

func find(pictures []scene.Picture, p scene.Params, panel bool) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	if err := checkScene(pictures); err != nil {
		return Result{}, err
	}
	ready, err := scene.Prepare(pictures, p, panel)
	if err != nil {
		return Result{}, err
	}
	f := &face{Face: search.Face{Face: *ready, Lone: panel && len(pictures) == 1}}
	if f.Apart {
		return f.findApart(panel)
	}
	var out Result
	var found []sighted
	views := f.Views()
	for k, v := range views {
		own, sub, err := f.as(v)
		if err != nil {
			if k > 0 {
				continue // too little to learn from: it stays not looked at
			}
			return Result{}, err
		}
		f.Sparkles, f.FlakeMM = f.Sparkles || sub.Sparkles, max(f.FlakeMM, sub.FlakeMM)
		f.looked = append(f.looked, looked{own: own, dist: sub.Surface.Dist, pics: v.Pics})
		places, err := sub.places(own)
		if err != nil {
			return Result{}, err
		}
		f.Warnings = sub.Warnings
		for _, pl := range f.withoutOpening(sub, v, own, places) {
			found = append(found, sighted{sub, pl, k})
		}
	}
	if f.SeeThrough {
		spots, err := f.findSpots(found)
		if err != nil {
			return Result{}, err
		}
		found = append(found, spots...)
	}
	once := f.once(found)
	for _, s := range once {
		if f.ofRun(s, once) {
			continue
		}
		fd := s.f.finding(s.pl)
		if ruleConfidence(fd) >= p.MinConfidence {
			out.Findings = append(out.Findings, fd)
		}
	}
	if err := f.tellHaze(&out); err != nil {
		return Result{}, err
	}
	f.tellPeel(&out)
	out.Warnings = append(append(out.Warnings, f.Warnings...), f.warnings(len(out.Findings))...)
	out.Seen, out.Unseen = f.seen()
	out.Clear = f.SeeThrough
	for _, q := range f.Surface.Outline {
		k := float64(f.Factor)
		out.Outline = append(out.Outline, part.Point{X: (q.X+0.5)*k - 0.5, Y: (q.Y+0.5)*k - 0.5})
	}
	out.lies = map[string]*align.Registration{}
	for _, p := range f.Pictures {
		if p.Registration.Moved() {
			out.lies[p.Shot.File] = p.Registration
		}
	}
	return out, nil
}

// face is a face while places are sought on it.
type face struct {
	search.Face
	looked []looked // what was searched
	spots  bool     // opaque spots alone are sought in it, over parts inside, too
}

// as is the face as a view's pictures show it, and where these are all that do.
func (f *face) as(v search.View) (own []bool, sub *face, err error) {
	s, own, err := f.With(v)
	if err != nil {
		return nil, nil, err
	}
	return own, &face{Face: *s, spots: f.spots}, nil
}

// sighted is a place, the face as the pictures that it was sought in show it,
// and which of the views that was.
type sighted struct {
	f    *face
	pl   *place
	view int
}

// places searches a face and returns what was found where own holds.
func (f *face) places(own []bool) ([]*place, error) {
	r, err := f.Respond()
	if err != nil {
		return nil, err
	}
	f.WarnUneven(r)
	var places []*place
	for _, pixels := range raster.Segment(r.Ratio, float32(f.Params.GrowShare), 1) {
		if !mostly(pixels, own) {
			continue
		}
		pl, err := f.newPlace(pixels, r)
		if err != nil {
			return nil, err
		}
		if pl != nil {
			places = append(places, pl)
		}
	}
	places, err = f.group(places, r)
	return slices.DeleteFunc(places, func(p *place) bool {
		return f.alongRim(p) || f.alongLimb(p) || f.withinBase(p) || f.cutOff(p) || f.mayBeInside(p) || f.isFlake(p)
	}), err
}

// mostly says whether a mask holds for at least half of the pixels.
func mostly(pixels []int, mask []bool) bool {
	n := 0
	for _, i := range pixels {
		if mask[i] {
			n++
		}
	}
	return 2*n >= len(pixels)
}

// once leaves out what is a piece of something stronger that another view shows
// right beside it.
func (f *face) once(found []sighted) []sighted {
	near := spotReachMM / f.ShapeMM()
	var out []sighted
	for i, a := range found {
		again := false
		for j, b := range found {
			if a.view != b.view && a.pl.all.GapTo(&b.pl.all) <= near && (b.pl.peak > a.pl.peak || b.pl.peak == a.pl.peak && j < i) {
				again = true
			}
		}
		if !again {
			out = append(out, a)
		}
	}
	return out
}

// findApart looks at each picture by itself, where they do not lie on each other.
func (f *face) findApart(panel bool) (Result, error) {
	var out Result
	var last error
	none := true
	for _, p := range f.Pictures {
		p.Registration = nil
		r, err := find([]scene.Picture{p}, f.Params, panel)
		if err != nil {
			last = err
			f.Warnings = append(f.Warnings, scene.OfFile(p.Shot.File, part.Say("defects.not_by_itself").With("why", lang.Why(err))))
			continue
		}
		out.Findings, out.Unseen = append(out.Findings, r.Findings...), append(out.Unseen, r.Unseen...)
		if none {
			out.Outline, out.Seen, none = r.Outline, r.Seen, false
		} else if r.Seen.LookedAt < out.Seen.LookedAt {
			out.Seen = r.Seen
		}
		for _, w := range r.Warnings {
			if w.Parts["what"] == nil || w.Parts["what"][0].Key != oneLightOnly {
				out.Warnings = append(out.Warnings, w)
			}
		}
	}
	if none {
		return Result{}, last
	}
	out.Warnings = append(out.Warnings, f.Warnings...)
	return out, nil
}

// oneLightOnly is the warning of a single light.
const oneLightOnly = "defects.one_light"

// checkScene refuses pictures that do not belong together.
func checkScene(pictures []scene.Picture) error {
	if len(pictures) == 0 {
		return fmt.Errorf("defects: a scene without pictures")
	}
	for _, s := range pictures {
		if err := s.Image.Validate(); err != nil {
			return fmt.Errorf("defects: %s: %w", s.Shot.File, err)
		}
		if s.Flat != nil {
			if err := s.Flat.Fits(s.Image); err != nil {
				return fmt.Errorf("defects: %s: %w", s.Shot.File, err)
			}
		}
		if a, b := s.Image, pictures[0].Image; a.W != b.W || a.H != b.H {
			return lang.Error(part.Say("defects.sizes", "file", s.Shot.File, "size", fmt.Sprintf("%dx%d", a.W, a.H),
				"other", pictures[0].Shot.File, "other_size", fmt.Sprintf("%dx%d", b.W, b.H)))
		}
	}
	return nil
}

// warnings are what a reader of the findings must know.
func (f *face) warnings(n int) []part.Phrase {
	var out []part.Phrase
	if len(f.Pictures) == 1 && f.Pictures[0].Shot.Light != part.White { // a white screen has its stripes beside it
		out = append(out, scene.OfFile(f.Pictures[0].Shot.File, part.Say(oneLightOnly)))
	}
	if f.Sparkles {
		out = append(out, part.Say("defects.sparkles", "surface", f.Name(), "flake_mm", part.Fixed(f.FlakeMM, 2)))
	}
	if f.Params.MMPerPX > f.Params.SearchMM {
		out = append(out, part.Say("defects.coarse", "mm_per_px", part.Fixed(f.Params.MMPerPX, 3), "least_mm",
			part.Fixed(4*f.Params.MMPerPX, 2)))
	}
	if n > f.Params.ManyFindings {
		out = append(out, part.Say("defects.many", "n", strconv.Itoa(n)))
	}
	return out
}

// looked is what one search covered: own is what counts of it, dist > 0 where it
// looked.
type looked struct {
	own  []bool
	dist *part.Plane
	pics []int
}
