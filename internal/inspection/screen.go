package inspection

import (
	"fmt"
	"math"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/capture"
	"finishbench/internal/capture/outline"
	"finishbench/internal/cli"
	"finishbench/internal/defects"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/stripes"
)

// unfitStripes is the problem of pictures before a screen that cannot be measured together.
const unfitStripes = "stripes_unfit"

// screenFalsePerFace is the chance of a false place in the paint, per look: one light alone
// shows it, and slopes, which a second light would, are the mirror's (common practice, no source).
const screenFalsePerFace = 0.03

// lookInScreen finds the defects of a face before a screen: what the paint shows in the
// picture under the white screen, and what the lacquer mirrors of the stripes.
func (u *Unit) lookInScreen(s *Scene) {
	images := map[part.Light]*part.Image{}
	var shown *Picture // shows the paint, and names it in what is found: the white screen's, or of a short set the first
	for _, p := range s.pictures {
		if !p.fit() {
			continue
		}
		images[p.Shot.Light] = p.Image
		if p.Shot.Light == part.White || shown == nil && p.Shot.Light == part.StripesX0 {
			shown = p
		}
	}
	if shown == nil {
		s.refuse(part.Say("fit.no_outline_picture"))
		return
	}
	l, _ := u.lengthsOf(s.pose.View)
	params := u.searchParams(l)
	params.FalsePerFace = screenFalsePerFace
	white := images[part.White]
	mean, err := stripes.Paint(white, images)
	if err != nil {
		s.refuse(cli.Why(err))
		return
	}
	under := shown.Shot
	under.Light = part.White
	look, sharp := shown.Image, shown.Report
	if white == nil { // stripes are in it; they add up to an even screen
		if look, sharp = mean, capture.Check(mean, under, u.Fit); sharp.State != part.PictureOK {
			s.refuse(unfitFor(sharp).Phrase())
			return
		}
	}
	blur, uBlur, _ := capture.Blur([]*part.PictureReport{&sharp})
	around, err := outline.Face([]*part.Image{look})
	if err != nil {
		s.refuse(part.Say("fit.no_faceplate").With("why", cli.Why(err)))
		return
	}
	how := stripes.DefaultParams(l.MMPerPX)
	how.Screen, how.LensMM = u.Screen, blur*l.MMPerPX
	set, err := stripes.Open(images, around.Points(), how)
	if err != nil {
		s.refuse(cli.Why(err))
		return
	}
	params.Outline = around
	if p := set.Plate; p != nil {
		params.Outline = &outline.Curve{Middle: p.Middle, RadiusN: p.RadiusN}
	}
	params.Lit = set.Lit
	var mirror stripes.Result
	var paint defects.Result
	var both errgroup.Group
	both.Go(func() (err error) {
		mirror, err = set.Measure()
		return err
	})
	both.Go(func() (err error) {
		paint, err = defects.Find([]scene.Picture{{Shot: under, Image: mean, BlurPX: blur, UBlurPX: uBlur}}, params)
		return err
	})
	if err := both.Wait(); err != nil {
		s.refuse(cli.Why(err))
		return
	}
	l.straighten(paint.Findings) // before they are joined, here or with those under lamps
	l.straighten(mirror.Findings)
	for i := range mirror.Findings {
		f := &mirror.Findings[i]
		f.Image, f.AlsoIn = s.fileOf(part.StripesX0), []part.Sighting{{Image: part.GlossMap, Box: f.Box}}
		if !mirror.Maps.Waving() {
			f.AlsoIn = append(f.AlsoIn, part.Sighting{Image: part.SlopeMap, Box: f.Box})
		}
	}
	s.Mirror, s.Paint, s.Around, s.ShownIn, s.Look = &mirror, paint.Findings, around.Points(), under.File, how
	s.found = paint
	s.found.Findings = mirror.Join(paint.Findings, under.File)
	s.known = append(s.known, mirror.Warnings...)
	s.found.Seen = bothSeen(paint.Seen, mirror.Seen)
	s.plate = faceplateOf([]scene.Picture{{Shot: under, Image: look}}, paint, l.MMPerPX)
	s.looked = true
	if black := images[part.Black]; black != nil && white != nil {
		if share := stripes.OtherLight(black, white, paint.Outline); share > stripes.OtherLightLimit {
			s.known = append(s.known, part.Say("stripes.warn.other_light", "percent", fmt.Sprintf("%.0f", 100*share)))
		}
	}
}

// sameOutlinePX is how far the outlines of two poses' pictures may lie apart on each side
// where they are one pose (common practice, no source).
const sameOutlinePX = 6

// joinScreen is what was found of a face under lamps and before a screen, one place one
// finding; nil where there are not both, or the pictures do not show the face in one place.
func (u *Unit) joinScreen() []part.Finding {
	var lamps, screen *Scene
	for _, s := range u.Scenes {
		switch {
		case s.pose.View != part.Face || !s.looked:
		case s.Screen:
			screen = s
		default:
			lamps = s
		}
	}
	if lamps == nil || screen == nil {
		return nil
	}
	a, b := part.BoundsOf(lamps.found.Outline), part.BoundsOf(screen.Around)
	for _, d := range [4]float64{a[0] - b[0], a[1] - b[1], a[0] + a[2] - b[0] - b[2], a[1] + a[3] - b[1] - b[3]} {
		if !(math.Abs(d) <= sameOutlinePX) {
			return nil
		}
	}
	return screen.Mirror.Join(stripes.Merge(lamps.found.Findings, screen.Paint), screen.ShownIn)
}

// mirrorOf is what the result says of the mirror.
func mirrorOf(r *stripes.Result) *part.Mirror {
	w, round := r.Waves, func(v float64) *float64 { return part.Num(math.Round(1e4*v) / 1e4) }
	out := &part.Mirror{LostGloss: math.Round(1000*w.LostShare) / 1000, RangeRad: math.Round(1000*r.Maps.SlopeRange()) / 1000,
		AtLeast: w.AtLeast}
	if mrad, ok := r.Maps.SlopeRangeMRad(); ok {
		out.RangeMRad = round(mrad)
	}
	if !w.Measured {
		return out
	}
	out.PhaseRad, out.UPhaseRad = round(w.RMSRad), round(w.URMSRad)
	if w.SlopeMRad > 0 {
		out.SlopeMRad, out.USlopeMRad = round(w.SlopeMRad), round(w.USlopeMRad)
	}
	if w.MainMM > 0 {
		out.MainMM = round(w.MainMM)
	}
	out.Octaves, out.PerOctave = w.Octaves, w.VarPerOct
	for i := range w.WaveMM {
		out.WaveMM = append(out.WaveMM, *round(w.WaveMM[i]))
	}
	return out
}

// mapPictures are the pictures that are made of a screen scene: gloss and slope, with
// what was not looked at.
func (s *Scene) mapPictures(mmPerPX float64) []mapPicture {
	if s.Mirror == nil {
		return nil
	}
	m := s.Mirror.Maps
	var w, h int
	for _, p := range s.pictures {
		w, h = p.Report.WidthPX, p.Report.HeightPX
	}
	n, k := 4, 0
	cells := make([]bool, (w/n)*(h/n))
	for y := range h / n {
		for x := range w / n {
			q := part.Point{X: float64(x*n) + 1.5, Y: float64(y*n) + 1.5}
			cells[k] = q.Inside(s.found.Outline) && !m.Looked(int(q.X), int(q.Y))
			k++
		}
	}
	over := report.Overlay{FaceOutline: s.found.Outline, Unseen: report.NewUnseen(n, w/n, h/n, cells, mmPerPX)}
	gloss, slope := over, over
	gloss.File, slope.File = part.GlossMap, part.SlopeMap
	out := []mapPicture{{gloss, func() *part.Image { return m.GlossPicture(w, h) }}}
	if !m.Waving() {
		out = append(out, mapPicture{slope, func() *part.Image { return m.SlopePicture(w, h) }})
	}
	return out
}

// mapPicture is one of them: what is drawn over it, and how it is made.
type mapPicture struct {
	over  report.Overlay
	image func() *part.Image
}

// RemedyOf is the remedy of the first problem for which a picture is not measured; "" where it is.
func RemedyOf(r part.PictureReport) string {
	if q := unfitFor(r); q != nil {
		return q.Remedy
	}
	return ""
}

// unfitFor is the first problem for which a picture is not measured; nil where it is.
func unfitFor(r part.PictureReport) *part.Problem {
	for i := range r.Problems {
		if !r.Problems[i].Warn {
			return &r.Problems[i]
		}
	}
	return nil
}

// refuse marks all of a scene's pictures that were fit as not measured.
func (s *Scene) refuse(remedy part.Phrase) {
	for _, p := range s.pictures {
		if p.fit() {
			p.refuse(unfitStripes, remedy)
		}
	}
}

func (s *Scene) fileOf(l part.Light) string {
	for _, p := range s.pictures {
		if p.Shot.Light == l {
			return p.Shot.File
		}
	}
	return ""
}

// bothSeen is what was looked at in the paint and in the mirror. The rounded rim, where nothing
// of the screen is mirrored, is searched in the paint alone.
func bothSeen(paint, mirror part.Surface) part.Surface {
	a, b := paint.LookedAt, mirror.LookedAt
	out := part.Surface{LookedAt: min(a, b), OneLight: max(a, b) - min(a, b), NotLookedAt: 1 - max(a, b), Why: map[part.Why]float64{}}
	for why, share := range paint.Why {
		out.Why[why] = share
	}
	if b < a {
		out.Why[part.Steep] = a - b
	}
	return out
}
