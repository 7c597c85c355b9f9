package capture

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/capture/outline"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Names of what can be wrong with a picture: part.Problem.Name.
const (
	Unread      = "unreadable"   // the file could not be read; Remedy says why
	TooSmall    = "too_small"    // value and limit in px (the unit) or Mpx (the picture)
	TooDark     = "too_dark"     // linear light, 0..1
	TooBright   = "too_bright"   // share of the unit's pixels
	OutOfFocus  = "out_of_focus" // 10-90 % edge width, px
	Moved       = "moved"        // px
	NoUnit      = "no_unit"      //
	SeveralUnit = "several_units"
	CutOff      = "cut_off"
	WrongView   = "wrong_view"   // length of the straight side, share of the unit
	PanelUneven = "panel_uneven" // relative change of light
	PanelDirty  = "panel_dirty"  // share of the panel
	SameLight   = "same_light"   // as another picture of the pose
)

// Check says whether a picture is fit to measure. The report's state is ok
// unless a problem that is no mere warning was found. Sharpness and clipped
// share are given wherever they can be measured.
//
// What is looked at: size; clipped pixels on the unit; light on the unit or of
// the panel; the outline's edge width and its difference by direction; number of
// units; framing; the view's shape against the shot's view; and, where an edge
// picture has a bright background, how even and clean that is. A picture that is
// not searched ([part.Shot.Searched]) is told as such and not checked.
func Check(im *part.Image, shot part.Shot, lim part.FitLimits) part.PictureReport {
	r := newReport(shot)
	if err := im.Validate(); err != nil {
		return Unreadable(shot, err)
	}
	r.WidthPX, r.HeightPX = im.W, im.H
	c := checker{r: &r, lim: lim, shot: shot}
	if !shot.Searched() {
		c.add(part.NotLookedAt, none, none, "", true, notLookedAt(shot))
		return r
	}
	c.size(im)
	if !shot.Light.ShowsUnit() { // where there is a white picture, that is checked; what is clipped is left out
		return r
	}
	s, err := outline.Find(im)
	if err != nil && !errors.Is(err, outline.ErrNoUnit) {
		return Unreadable(shot, err)
	}
	if err != nil && !(shot.View == part.Face && c.lit(s)) {
		c.nothing(s)
		return r
	}
	if shot.View == part.Face && misled(s, lim) {
		if f, err := outline.Face([]*part.Image{im}); err == nil && !secondUnit(s, f.Points()) {
			s = outline.Within(im, f.Points())
		} else if s.Pieces == 0 {
			c.nothing(s)
			return r
		}
	}
	c.unit(im, s)
	return r
}

// evenGround is the scatter, in levels, up to which a ground is plain: what stands
// out from it is then believed. Common practice, no source.
const evenGround = 4

// misled says that a rough silhouette may be that of a patterned ground rather
// than a unit's.
func misled(s *outline.Silhouette, lim part.FitLimits) bool {
	sides := 0
	for _, yes := range [4]bool{s.Touches.Top, s.Touches.Right, s.Touches.Bottom, s.Touches.Left} {
		if yes {
			sides++
		}
	}
	// what touches three sides of the frame is rather a ground of two colours
	return s.Pieces != 1 || sides >= 3 || max(s.Box[2], s.Box[3]) < lim.MinUnitPX || s.Noise > evenGround && s.Touches.Any()
}

// secondUnit says that beside what an outline encloses there is more of the size of
// a unit: not pins or putty, which stand out where a faceplate is like its ground.
func secondUnit(s *outline.Silhouette, points []part.Point) bool {
	return s.Pieces > 1 && 4*s.Beside(points) >= outline.Area(points)
}

// secondUnitIn is secondUnit for a picture.
func secondUnitIn(im *part.Image, points []part.Point) bool {
	s, err := outline.Find(im)
	return err == nil && secondUnit(s, points)
}

// unit checks all that there is to check where a unit is seen.
func (c *checker) unit(im *part.Image, s *outline.Silhouette) {
	c.framing(s)
	grid := newCoarse(s)
	light := lookAtLight(im, s, grid)
	c.r.Clipped = part.Num(light.clipped)
	c.light(s, light)
	c.focus(im, s)
	if c.shot.View == part.Edge && s.Bright {
		c.panel(lookAtPanel(s, grid))
	}
}

// notLookedAt says what to do about a picture that is only read.
func notLookedAt(shot part.Shot) part.Phrase {
	if shot.Light.OfScreen() {
		if shot.View == part.Face {
			return part.Say("fit.whole_set")
		}
		return part.Say("fit.shell_before_screen")
	}
	return part.Say("fit.lit_from_behind")
}

// CheckSurface is Check for a picture that is surface all over, a flat test
// panel: there is no outline to look for. Sharpness is not measured.
func CheckSurface(im *part.Image, shot part.Shot, lim part.FitLimits) part.PictureReport {
	if err := im.Validate(); err != nil {
		return Unreadable(shot, err)
	}
	r := newReport(shot)
	r.WidthPX, r.HeightPX = im.W, im.H
	c := checker{r: &r, lim: lim, shot: shot}
	c.size(im)
	light := lookAll(im)
	r.Clipped = part.Num(light.clipped)
	c.light(nil, light)
	return r
}

// Unreadable is the report for a file that Read refused: not measured, with the
// reason as its one problem.
func Unreadable(shot part.Shot, err error) part.PictureReport {
	r := newReport(shot)
	r.State = part.PictureNoOK
	msg := err.Error()
	// The report names the file already.
	msg = strings.TrimPrefix(msg, fmt.Sprintf("capture: read %s: ", shot.Path))
	remedy, ok := lang.PhraseOf(err)
	if !ok {
		remedy = part.Text(strings.Join(strings.Fields(msg), " "))
	}
	r.Problems = append(r.Problems, part.Problem{Name: Unread, Remedy: lang.English().Say(&remedy), RemedyPhrase: &remedy})
	return r
}

func newReport(shot part.Shot) part.PictureReport {
	return part.PictureReport{File: shot.File, View: shot.View, Light: shot.Light, AngleDeg: shot.AngleDeg, State: part.PictureOK,
		Problems: []part.Problem{}}
}

// checker gathers problems into a report.
type checker struct {
	r    *part.PictureReport
	lim  part.FitLimits
	shot part.Shot
}

// add notes a problem. NaN for value or limit leaves it out.
func (c *checker) add(name string, value, limit float64, unit string, warn bool, remedy part.Phrase) {
	if !warn {
		c.r.State = part.PictureNoOK
	}
	c.r.Problems = append(c.r.Problems, part.Problem{
		Name: name, Value: part.Num(value), Limit: part.Num(limit), Unit: unit, Remedy: lang.English().Say(&remedy), RemedyPhrase: &remedy,
		Warn: warn,
	})
}

var none = math.NaN()

// Numbers as remedies tell them: whole, to a tenth, and with two significant digits.
func whole(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) }
func tenth(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
func two(v float64) string   { return fmt.Sprintf("%.2g", v) }

func (c *checker) size(im *part.Image) {
	if im.W*im.H < c.lim.MinPixels {
		mpx, least := float64(im.W*im.H)/1e6, float64(c.lim.MinPixels)/1e6
		c.add(TooSmall, mpx, least, "Mpx", false, part.Say("fit.few_pixels",
			"width_px", strconv.Itoa(im.W), "height_px", strconv.Itoa(im.H), "size_mpx", two(mpx), "least_mpx", two(least)))
	}
}

// nothing is said of a picture without a unit. A picture in the dark shows
// nothing either.
func (c *checker) nothing(s *outline.Silhouette) {
	if l := brightest(s); l < c.lim.MinLevel {
		c.add(TooDark, l, c.lim.MinLevel, "of full scale", false, part.Say("fit.dark"))
		return
	}
	c.add(NoUnit, none, none, "", false, part.Say("fit.no_unit"))
}

// lit says whether anything in the picture has light.
func (c *checker) lit(s *outline.Silhouette) bool { return brightest(s) >= c.lim.MinLevel }

// brightest is the most linear light in the picture, by one sample in sixteen.
func brightest(s *outline.Silhouette) float64 {
	most := 0.0
	w, h := s.Size()
	for j := 0; j < h; j += 4 {
		for i := 0; i < w; i += 4 {
			most = max(most, s.Level(i, j)+s.Difference(i, j))
		}
	}
	return linearOf(int(min(most, 255)))
}

func (c *checker) framing(s *outline.Silhouette) {
	if size := max(s.Box[2], s.Box[3]); size < c.lim.MinUnitPX && !s.Touches.Any() { // how large what is cut off is, is not known
		c.add(TooSmall, size, c.lim.MinUnitPX, "px", false, part.Say("fit.too_small", "size_px", whole(size), "least_px",
			whole(c.lim.MinUnitPX)))
	}
	n := s.Pieces
	if c.shot.View == part.Shell { // the parts in a clear shell, under its faceplate, are no units
		n = s.Apart + 1
	}
	if n > 1 {
		c.add(SeveralUnit, float64(n), 1, "units", false, part.Say("fit.several_units", "n", strconv.Itoa(n)))
	}
	if s.Touches.Any() {
		far := c.shot.View == part.Edge && onlyFarEnd(s)
		key := "fit.cut_off"
		if far {
			key = "fit.end_cut_off"
		}
		c.add(CutOff, none, none, "", far, part.Say(key).With("sides", sideWords(s.Touches)...))
	}
	looks, straight := viewLooks(s)
	switch {
	case c.shot.View == part.Edge && looks == part.Face:
		c.add(WrongView, straight, roundAsFace, "of the unit's width", false, part.Say("fit.no_edge"))
	case c.shot.View == part.Face && looks == part.Edge:
		c.add(WrongView, straight, flatAsEdge, "of the unit's width", false, part.Say("fit.no_face"))
	}
}

// onlyFarEnd reports that only the shell's far end is outside: one side of the
// frame is touched, and the faceplate's flat side is opposite.
func onlyFarEnd(s *outline.Silhouette) bool {
	share, heading := straightSide(s)
	if share < flatAsEdge {
		return false
	}
	up, down := math.Abs(heading+90) < 10, math.Abs(heading-90) < 10
	return up && s.Touches == (outline.Sides{Bottom: true}) || down && s.Touches == (outline.Sides{Top: true})
}

func sideWords(t outline.Sides) []part.Phrase {
	var w []part.Phrase
	for _, s := range []struct {
		yes  bool
		word string
	}{{t.Top, "top"}, {t.Right, "right"}, {t.Bottom, "bottom"}, {t.Left, "left"}} {
		if s.yes {
			w = append(w, part.Say("frame."+s.word))
		}
	}
	return w
}

// maxPanelClipped is the share of a lit panel at full scale over which the
// reader is told. Common practice, no source.
const maxPanelClipped = 0.5

// maxClipped is the share of a face or shell at full scale over which a picture
// is refused altogether. Under it, what is clipped is left out of what is looked
// at, and the share that was looked at says so. Common practice, no source.
const maxClipped = 0.5

// light checks brightness; s is nil where the whole picture is surface.
func (c *checker) light(s *outline.Silhouette, e exposure) {
	if s != nil && s.Bright && e.panelClipped > maxPanelClipped {
		c.add(TooBright, e.panelClipped, maxPanelClipped, "share of the panel", true,
			part.Say("fit.panel_clipped", "share_percent", whole(100*e.panelClipped)))
	}
	share, limit := e.clipped, c.lim.Clipped
	where := "unit"
	if c.shot.Light == part.Raking {
		share, limit, where = e.inner, c.lim.ClippedRaking, "inner"
	}
	if s == nil {
		where = "surface"
	}
	clipped := func(key string, limit float64) part.Phrase {
		return part.Say(key, "share_percent", two(100*share), "where", lang.Word("fit.where.", where), "limit_percent", two(100*limit))
	}
	switch surface := c.shot.View != part.Edge; {
	case surface && share > limit && share <= maxClipped:
		c.add(TooBright, share, limit, "share of the unit", true, clipped("fit.clipped_left_out", limit))
	case surface && share > limit:
		c.add(TooBright, share, maxClipped, "share of the unit", false, clipped("fit.clipped", maxClipped))
	case share > limit:
		c.add(TooBright, share, limit, "share of the unit", false, clipped("fit.clipped", limit))
	case share > c.lim.Warn*limit:
		c.add(TooBright, share, limit, "share of the unit", true, clipped("fit.clipped_a_little", limit))
	}
	got, least, what := e.unit, c.lim.MinLevel, "unit"
	if s == nil {
		what = "surface"
	} else if s.Bright && c.shot.View == part.Edge { // a ground is no panel
		got, least, what = e.panel, c.lim.MinPanel, "background"
	}
	if got < least {
		c.add(TooDark, got, least, "of full scale", false, part.Say("fit.too_dark",
			"what", lang.Word("fit.what.", what), "level_percent", two(100*got), "least_percent", two(100*least)))
	}
}

// softMotion widens the limit for motion where the outline is soft by itself
// and its widths scatter. Common practice, no source.
const softMotion = 2.5

// softWidth is how many times the limit an edge must be wide to be out of focus
// where the outline is soft by itself and nothing sharp or unsharp was seen
// inside: no rim is as soft as that. Common practice, no source.
const softWidth = 2.2

// focusing is what a picture says of focus and motion, with its limits, px.
type focusing struct {
	sharpness
	limit float64 // of the width
	still float64 // of the motion
}

// lookAtFocus measures sharpness and motion on the outline and, where that may
// be soft by itself, inside.
func lookAtFocus(im *part.Image, s *outline.Silhouette, view part.View, lim part.FitLimits) focusing {
	size := max(s.Box[2], s.Box[3])
	f := focusing{limit: max(lim.EdgeWidthPX, lim.EdgeWidthShare*size), still: max(lim.MotionPX, lim.MotionShare*size)}
	// The outline is cut out sharply by a lit panel. On a dark ground a rim's own
	// shading may soften it; then what is inside is asked, too.
	soft := view != part.Edge || !s.Bright
	if soft {
		f.still *= softMotion
	}
	f.sharpness = judgeEdges(edgeFits(im, s, soft), soft)
	if soft && (f.width > lim.Warn*f.limit || f.motion > f.still) {
		f.correctByInside(insideEdges(im, s))
	}
	return f
}

// focus checks sharpness and motion.
func (c *checker) focus(im *part.Image, s *outline.Silhouette) {
	sh := lookAtFocus(im, s, c.shot.View, c.lim)
	limit, still := sh.limit, sh.still
	c.r.SharpnessPX = part.Num(sh.width)
	if sh.width != sh.width {
		return
	}
	if sh.smeared(still) {
		c.add(Moved, sh.motion, still, "px", false, part.Say("fit.moved",
			"motion_px", tenth(sh.motion), "heading_deg", whole(sh.heading), "limit_px", tenth(still)))
	}
	width := sh.width
	if sh.smeared(still) {
		width = min(width, sh.minor) // motion is told already
	}
	if width > limit {
		c.add(OutOfFocus, width, limit, "px", !sh.clear && width < softWidth*limit,
			part.Say("fit.unsharp", "width_px", tenth(width), "limit_px", tenth(limit)))
	} else if width > c.lim.Warn*limit {
		c.add(OutOfFocus, width, limit, "px", true, part.Say("fit.hardly_sharp", "width_px", tenth(width), "limit_px", tenth(limit)))
	}
}

// panel checks the lit panel of an edge picture.
func (c *checker) panel(p panel) {
	uneven := func(key string) part.Phrase {
		return part.Say(key, "change_percent", whole(100*p.uneven), "limit_percent", whole(100*c.lim.PanelUneven))
	}
	if p.uneven > c.lim.PanelUneven {
		c.add(PanelUneven, p.uneven, c.lim.PanelUneven, "relative", false, uneven("fit.panel_uneven"))
	} else if p.uneven > c.lim.Warn*c.lim.PanelUneven {
		c.add(PanelUneven, p.uneven, c.lim.PanelUneven, "relative", true, uneven("fit.panel_hardly_even"))
	}
	if p.near > c.lim.PanelDirt {
		c.add(PanelDirty, p.near, c.lim.PanelDirt, "share of the panel", false,
			part.Say("fit.panel_dirty", "share_percent", two(100*p.near), "limit_percent", two(100*c.lim.PanelDirt)))
	} else if d := max(p.near, p.far); d > 0.1*c.lim.PanelDirt {
		c.add(PanelDirty, d, c.lim.PanelDirt, "share of the panel", true, part.Say("fit.panel_spots", "share_percent", two(100*d)))
	}
}
