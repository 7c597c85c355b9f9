package main

import (
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/report"
)

// shownPicture is a picture with what is drawn over it; nil: none.
type shownPicture struct {
	*part.Image
	over report.Overlay
}

// glossMap is the picture of what the face mirrors of a screen.
func (u *unit) glossMap() shownPicture {
	for _, s := range u.scenes {
		l, _ := u.lengthsOf(s.pose.View)
		for _, m := range s.mapPictures(l.mmPerPX) {
			if m.over.File == part.GlossMap {
				return shownPicture{m.image(), m.over}
			}
		}
	}
	return shownPicture{}
}

// shownOf is the picture in which an answer shows a finding. Stripes hide it from the eye:
// then that is the gloss.
func (u *unit) shownOf(f part.Finding, gloss func() shownPicture) shownPicture {
	i := slices.IndexFunc(u.pictures, func(p *picture) bool { return p.shot.File == f.Image && p.image != nil })
	switch {
	case i < 0:
		return shownPicture{}
	case !u.pictures[i].shot.Light.ShowsUnit():
		return gloss()
	}
	return shownPicture{u.pictures[i].image, u.overlay(u.pictures[i])}
}

// shownFirst is the picture that stands for the unit; where nothing could be measured, the
// first that was not fit.
func (u *unit) shownFirst(v part.Verdict) shownPicture {
	p := u.mainPicture()
	if q := u.firstUnfit(); v == part.NotMeasured && q != nil {
		p = q
	}
	if p == nil {
		return shownPicture{}
	}
	return shownPicture{p.image, u.overlay(p)}
}

func (u *unit) firstUnfit() *picture {
	for _, p := range u.pictures {
		if !p.fit() && p.image != nil {
			return p
		}
	}
	return nil
}
