package defects

import (
	"fmt"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// Find looks at one scene: the pictures of one pose of a faceplate, all of one
// size, each under another light. It returns the findings in no particular order,
// without severity, advice or number. Errors say what is wrong with the scene.
func Find(scene []Picture, p Params) (Result, error) { return find(scene, p, false) }

// FindPanel looks at a flat lacquered test panel that fills the whole picture.
func FindPanel(scene []Picture, p Params) (Result, error) { return find(scene, p, true) }

func find(scene []Picture, p Params, panel bool) (Result, error) {
	if err := p.validate(); err != nil {
		return Result{}, err
	}
	if err := checkScene(scene); err != nil {
		return Result{}, err
	}
	ready, err := prepare(scene, p, panel)
	if err != nil {
		return Result{}, err
	}
	f := &face{searchFace: searchFace{sceneFace: *ready, lone: panel && len(scene) == 1}}
	if f.apart {
		return f.findApart(panel)
	}
	var out Result
	var found []sighted
	views := f.views()
	for k, v := range views {
		own, sub, err := f.as(v)
		if err != nil {
			if k > 0 {
				continue // too little to learn from: it stays not looked at
			}
			return Result{}, err
		}
		f.sparkles, f.flakeMM = f.sparkles || sub.sparkles, max(f.flakeMM, sub.flakeMM)
		f.looked = append(f.looked, looked{own: own, dist: sub.surf.dist, pics: v.pics})
		places, err := sub.places(own)
		if err != nil {
			return Result{}, err
		}
		f.told = sub.told
		for _, pl := range f.withoutOpening(sub, v, own, places) {
			found = append(found, sighted{sub, pl, k})
		}
	}
	if f.clear {
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
	out.Warnings = append(append(out.Warnings, f.told...), f.warnings(len(out.Findings))...)
	out.Seen, out.Unseen = f.seen()
	out.Clear = f.clear
	for _, q := range f.surf.outline {
		k := float64(f.factor)
		out.Outline = append(out.Outline, part.Point{X: (q.X+0.5)*k - 0.5, Y: (q.Y+0.5)*k - 0.5})
	}
	out.lies = map[string]*registration{}
	for _, p := range f.scene {
		if p.lies.moved() {
			out.lies[p.Shot.File] = p.lies
		}
	}
	return out, nil
}

// face is a face while places are sought on it.
type face struct {
	searchFace
	looked []looked // what was searched
	spots  bool     // opaque spots alone are sought in it, over parts inside, too
}

// as is the face as a view's pictures show it, and where these are all that do.
func (f *face) as(v view) (own []bool, sub *face, err error) {
	s, own, err := f.with(v)
	if err != nil {
		return nil, nil, err
	}
	return own, &face{searchFace: *s, spots: f.spots}, nil
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
	r, err := f.respond()
	if err != nil {
		return nil, err
	}
	f.tellUneven(r)
	var places []*place
	for _, pixels := range segment(r.ratio, float32(f.p.GrowShare), 1) {
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
	near := spotReachMM / f.shapeMM()
	var out []sighted
	for i, a := range found {
		again := false
		for j, b := range found {
			if a.view != b.view && a.pl.all.gapTo(&b.pl.all) <= near && (b.pl.peak > a.pl.peak || b.pl.peak == a.pl.peak && j < i) {
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
	for _, p := range f.scene {
		p.lies = nil
		r, err := find([]Picture{p}, f.p, panel)
		if err != nil {
			last = err
			f.told = append(f.told, fmt.Sprintf("%s: nothing was looked for in it by itself: %s", p.Shot.File, strings.TrimPrefix(err.Error(), "defects: ")))
			continue
		}
		out.Findings, out.Unseen = append(out.Findings, r.Findings...), append(out.Unseen, r.Unseen...)
		if none {
			out.Outline, out.Seen, none = r.Outline, r.Seen, false
		} else if r.Seen.LookedAt < out.Seen.LookedAt {
			out.Seen = r.Seen
		}
		for _, w := range r.Warnings {
			if !strings.Contains(w, oneLightOnly) {
				out.Warnings = append(out.Warnings, w)
			}
		}
	}
	if none {
		return Result{}, last
	}
	out.Warnings = append(out.Warnings, f.told...)
	return out, nil
}

// oneLightOnly is how the warning of a single light begins.
const oneLightOnly = "one light only"

// checkScene refuses pictures that do not belong together.
func checkScene(scene []Picture) error {
	if len(scene) == 0 {
		return fmt.Errorf("defects: a scene without pictures")
	}
	for _, s := range scene {
		if err := s.Image.Validate(); err != nil {
			return fmt.Errorf("defects: %s: %w", s.Shot.File, err)
		}
		if s.Flat != nil {
			if err := s.Flat.Fits(s.Image); err != nil {
				return fmt.Errorf("defects: %s: %w", s.Shot.File, err)
			}
		}
		if a, b := s.Image, scene[0].Image; a.W != b.W || a.H != b.H {
			return fmt.Errorf("defects: %s is %dx%d and %s is %dx%d: pictures of one pose must be of one size; photograph them without moving the camera",
				s.Shot.File, a.W, a.H, scene[0].Shot.File, b.W, b.H)
		}
	}
	return nil
}

// warnings are what a reader of the findings must know.
func (f *face) warnings(n int) []string {
	var out []string
	if len(f.scene) == 1 && f.scene[0].Shot.Light != part.White { // a white screen has its stripes beside it
		out = append(out, fmt.Sprintf("%s: "+oneLightOnly+"; faint bubbles and craters, and defects that look like the pattern, may be missed: photograph the same pose under a second light", f.scene[0].Shot.File))
	}
	if f.sparkles {
		out = append(out, fmt.Sprintf("the %s sparkles: what is bright under one light alone and no longer than %.2f mm is taken for its flakes; a bubble's or a crater's glint of that size cannot be told from them", f.name(), f.flakeMM))
	}
	if f.p.MMPerPX > f.p.SearchMM {
		out = append(out, fmt.Sprintf("%.3f mm per pixel is coarse: defects under %.2f mm may be missed", f.p.MMPerPX, 4*f.p.MMPerPX))
	}
	if n > f.p.ManyFindings {
		out = append(out, fmt.Sprintf("%d places found: the surface as a whole may be unfit (orange peel, haze, no lacquer), or the pictures may not belong together", n))
	}
	return out
}
