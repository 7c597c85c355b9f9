package inspection

import (
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/report"
)

// shownPicture is a picture with what is drawn over it; nil: none.
type shownPicture struct {
	*part.Image
	Over report.Overlay
}

// GlossMap is the picture of what the face mirrors of a screen.
func (u *Unit) GlossMap() shownPicture {
	for _, s := range u.Scenes {
		l, _ := u.lengthsOf(s.pose.View)
		for _, m := range s.mapPictures(l.MMPerPX) {
			if m.over.File == part.GlossMap {
				return shownPicture{m.image(), m.over}
			}
		}
	}
	return shownPicture{}
}

// ShownOf is the picture in which an answer shows a finding. Stripes hide it from the eye:
// then that is the gloss.
func (u *Unit) ShownOf(f part.Finding, gloss func() shownPicture) shownPicture {
	i := slices.IndexFunc(u.pictures, func(p *Picture) bool { return p.Shot.File == f.Image && p.Image != nil })
	switch {
	case i < 0:
		return shownPicture{}
	case !u.pictures[i].Shot.Light.ShowsUnit():
		return gloss()
	}
	return shownPicture{u.pictures[i].Image, u.overlay(u.pictures[i])}
}

// ShownFirst is the picture that stands for the unit; where nothing could be measured, the
// first that was not fit.
func (u *Unit) ShownFirst(v part.Verdict) shownPicture {
	p := u.mainPicture()
	if q := u.firstUnfit(); v == part.NotMeasured && q != nil {
		p = q
	}
	if p == nil {
		return shownPicture{}
	}
	return shownPicture{p.Image, u.overlay(p)}
}

func (u *Unit) firstUnfit() *Picture {
	for _, p := range u.pictures {
		if !p.fit() && p.Image != nil {
			return p
		}
	}
	return nil
}
