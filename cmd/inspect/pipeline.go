package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/body"
	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/defects"
	"finishbench/internal/grade"
	"finishbench/internal/outline"
	"finishbench/internal/part"
	"finishbench/internal/proof"
	"finishbench/internal/seam"
	"finishbench/internal/stripes"
)

// settings are what a run is told, the same for all its units.
type settings struct {
	number       lengths      // where no scale file is used
	scales       []*scaleFile // at most one a view
	camera       string       // of pictures whose tags name none
	focus        string       //
	stage        part.Stage
	limits       grade.Limits
	fit          capture.FitLimits
	seam         seam.Params
	screen       stripes.Screen
	screenDoubts []string   // what a reader must know of how that was measured
	flats        []flatFile // flat fields by view and light
	kinds        *kindModel // nil: the rules alone call kinds
	barred       string     // why the gauge must pass no unit; "": it may
	panel        bool       // flat test panels, not units: the whole picture is surface
	jobs         int        // pieces of work at a time
	budget       bool       // tell how uncertainties come about
	generated    string     // when the run began, as text for the pages
}

// inspector carries units through the pipeline, several at once.
type inspector struct {
	settings
	slots slots
}

// picture is one picture of a unit on its way through the pipeline.
type picture struct {
	shot   part.Shot
	image  *part.Image // nil where it could not be read, or was let go
	given  bool        // it came decoded and checked: whoever gave it keeps its pixels
	report part.PictureReport
	doubts []string         // whether the scale is for it
	sight  *proof.Sight     // what it shows, small; nil: nothing that could be held against the others
	seam   seam.Measurement // edge pictures
}

func (p *picture) fit() bool { return p.report.State == part.PictureOK }

// scene is all pictures of one pose. The picture that arrives last looks for
// the defects, in the slot it has, so that the longest piece of work starts as
// early as it can.
type scene struct {
	pose     part.Pose // of a face, or a shell at one turn
	screen   bool      // before a screen
	pictures []*picture
	missing  atomic.Int32
	found    defects.Result
	mirror   *stripes.Result // before a screen, where it could be measured,
	paint    []part.Finding  // what the paint alone shows there,
	shownIn  string          // in which picture,
	around   []part.Point    // the outline that was found first,
	look     stripes.Params  // and how the mirror was looked at
	looked   bool            // found says what was found, and how much was looked at
	side     *body.View      // of a turn of the shell; nil where it was not found
	plate    *part.Faceplate // of a face scene; nil where there is no outline
}

// maxKeptBytes bounds the decoded pictures that a unit keeps between measuring
// and drawing. What is beyond it is let go and read again.
const maxKeptBytes = 64 << 20

// unit is one unit on its way.
type unit struct {
	*inspector
	folder   part.Folder
	pictures []*picture // in the folder's order
	scenes   []*scene
	kept     atomic.Int64
	unproved []string // what of the pictures' names could not be tested
}

// inspect measures a unit and judges it. Call release when its pictures are no
// longer needed.
func (in *inspector) inspect(ctx context.Context, folder part.Folder) (*unit, *part.Result, error) {
	var pictures []*picture
	for _, s := range folder.Shots {
		pictures = append(pictures, &picture{shot: s})
	}
	return in.inspectPictures(ctx, folder, pictures)
}

// inspectPictures is inspect for pictures of which some may be given already.
func (in *inspector) inspectPictures(ctx context.Context, folder part.Folder, pictures []*picture) (*unit, *part.Result, error) {
	u := &unit{inspector: in, folder: folder, pictures: pictures}
	u.group()
	if err := u.each(ctx, u.workOrder(), u.measure); err != nil {
		u.release()
		return nil, nil, err
	}
	u.prove()
	r := u.result()
	grade.Judge(r, in.limits)
	bar(r, in.barred)
	normalise(r)
	return u, r, nil
}

// bar keeps a unit from passing while the gauge may not be believed. What is
// wrong with a unit stays wrong, but the reader is told.
func bar(r *part.Result, why string) {
	if why == "" {
		return
	}
	r.Warnings = append([]string{why}, r.Warnings...)
	if r.Verdict == part.Pass {
		r.Verdict = part.NotMeasured
		r.Reasons = append([]string{why}, r.Reasons...)
	}
}

// group puts face and shell pictures into scenes, in the order of their poses.
func (u *unit) group() {
	shots := make([]*part.Shot, len(u.pictures)) // the bench's are marked nowhere else
	for i, p := range u.pictures {
		shots[i] = &p.shot
	}
	part.MarkSets(shots)
	for _, p := range u.pictures {
		if p.shot.View == part.Edge || !p.shot.Searched() {
			continue
		}
		i := slices.IndexFunc(u.scenes, func(s *scene) bool { return s.holds(p) })
		if i < 0 {
			i = len(u.scenes)
			u.scenes = append(u.scenes, &scene{pose: p.shot.Pose(), screen: p.shot.Light.OfScreen()})
		}
		u.scenes[i].pictures = append(u.scenes[i].pictures, p)
		u.scenes[i].missing.Add(1)
	}
	slices.SortStableFunc(u.scenes, func(a, b *scene) int {
		if c := a.pose.Compare(b.pose); c != 0 || a.screen == b.screen {
			return c
		}
		if a.screen {
			return 1
		}
		return -1
	})
}

// holds says whether a picture is one of the scene's.
func (s *scene) holds(p *picture) bool {
	return p.shot.Pose() == s.pose && p.shot.Searched() && p.shot.Light.OfScreen() == s.screen
}

// workOrder lists scenes' pictures first: they have the longest way to go. Those of one
// scene follow each other, so that few scenes wait for the rest of their pictures.
func (u *unit) workOrder() []*picture {
	order := slices.Clone(u.pictures)
	slices.SortStableFunc(order, func(a, b *picture) int { return u.rank(a) - u.rank(b) })
	return order
}

// rank is a picture's place in the work: its scene's, then edges, then what is only read.
func (u *unit) rank(p *picture) int {
	n := len(u.scenes)
	switch {
	case !p.shot.Searched():
		return n + 1
	case p.shot.View == part.Edge:
		return n
	}
	return slices.IndexFunc(u.scenes, func(s *scene) bool { return s.holds(p) })
}

// each does f for the pictures, in order, as slots come free. The first error
// ends it.
func (u *unit) each(ctx context.Context, pictures []*picture, f func(*picture) error) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, p := range pictures {
		if err := u.slots.take(ctx); err != nil {
			_ = g.Wait() // nothing of this unit may go on after it is given up
			return firstError(context.Cause(ctx), err)
		}
		g.Go(func() error {
			defer u.slots.give()
			return guard(func() error { return f(p) })
		})
	}
	return g.Wait()
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// measure reads a picture, checks it, and measures what it shows.
func (u *unit) measure(p *picture) error {
	u.read(p)
	if !p.shot.Searched() {
		u.keepOrLetGo(p)
		return nil
	}
	if p.shot.View == part.Edge {
		if p.fit() {
			p.seam = seam.Measure(p.image, p.shot, u.seam)
		}
		u.keepOrLetGo(p)
		return nil
	}
	for _, s := range u.scenes {
		if s.holds(p) && s.missing.Add(-1) == 0 {
			if s.screen {
				u.lookInScreen(s)
			} else {
				u.look(s)
			}
			for _, p := range s.pictures {
				u.keepOrLetGo(p)
			}
		}
	}
	return nil
}

// read decodes a picture and checks whether it is fit to measure.
func (u *unit) read(p *picture) {
	if !p.given {
		im, err := capture.Read(p.shot.Path)
		if err != nil {
			p.report = capture.Unreadable(p.shot, err)
			return
		}
		p.image = im
		if u.panel {
			p.report = capture.CheckSurface(im, p.shot, u.fit)
		} else {
			p.report = capture.Check(im, p.shot, u.fit)
		}
	}
	if !p.shot.Searched() {
		return
	}
	u.checkScale(p)
	u.checkFlat(p)
	if !u.panel && !p.shot.Light.OfScreen() {
		p.sight = proof.Look(p.image, p.shot)
	}
}

// look finds the defects of a scene, in those of its pictures that are fit.
func (u *unit) look(s *scene) {
	var reports []*part.PictureReport
	var images []*part.Image
	var shots []part.Shot
	for _, p := range s.pictures {
		reports, images, shots = append(reports, &p.report), append(images, p.image), append(shots, p.shot)
	}
	var flanks *outline.Flanks
	if u.panel {
		capture.RefuseCopies(reports, images)
	} else {
		flanks = capture.SharePose(reports, images, shots, u.fit)
		proveLights(s.pictures)
		if slices.ContainsFunc(reports, func(r *part.PictureReport) bool { return r.State != part.PictureOK }) {
			flanks = nil // the search looks at others than those in which they were sought
		}
	}
	blur, uBlur, _ := capture.Blur(reports)
	var fit []defects.Picture
	for _, p := range s.pictures {
		if p.fit() {
			fit = append(fit, defects.Picture{Shot: p.shot, Image: p.image, Flat: u.flatOf(p.shot), BlurPX: blur, UBlurPX: uBlur})
		}
	}
	if len(fit) == 0 {
		return
	}
	find := defects.Find
	if u.panel {
		find = defects.FindPanel
	}
	l, _ := u.lengthsOf(s.pose.View)
	params := u.searchParams(l)
	var err error
	var found defects.Result
	if s.pose.View == part.Shell && !u.panel {
		err = s.aim(&params, fit, flanks)
	}
	if err == nil {
		found, err = find(fit, params)
	}
	if err != nil {
		for _, p := range s.pictures {
			p.notInspected(err)
		}
		return
	}
	if s.pose.View == part.Face && !u.panel {
		s.plate = faceplateOf(fit, found, l.mmPerPX)
	}
	l.straighten(found.Findings)
	s.found, s.looked = found, true
}

// searchParams are how a surface is searched at a scale.
func (u *unit) searchParams(l lengths) defects.Params {
	p := defects.DefaultParams(l.mmPerPX)
	if l.uRel > 0 {
		p.URelScale = l.uRel
	}
	p.Call = u.kinds.caller()
	return p
}

// notInspected marks a picture that was fit, but in which nothing could be
// looked for: it must not count as a picture without defects.
func (p *picture) notInspected(err error) {
	if p.fit() {
		p.refuse("surface_not_found", cli.Plain(err))
	}
}

// keepOrLetGo keeps a picture's pixels for drawing while there is room.
func (u *unit) keepOrLetGo(p *picture) {
	if p.image == nil || p.given {
		return
	}
	n := int64(len(p.image.Pix8) + 2*len(p.image.Pix16))
	if u.kept.Add(n) > maxKeptBytes {
		u.kept.Add(-n)
		u.letGo(p)
	}
}

func (u *unit) letGo(p *picture) {
	if p.given {
		return
	}
	capture.Release(p.image)
	p.image = nil
}

// release hands all pixels back.
func (u *unit) release() {
	for _, p := range u.pictures {
		u.letGo(p)
	}
}

// result gathers what was measured.
func (u *unit) result() *part.Result {
	r := &part.Result{Schema: schema, Unit: u.folder.Name, Stage: u.stage, MMPerPX: u.scaleOfFirst(), Scales: u.scaleUses(), KindModel: u.kinds.use(), Warnings: slices.Concat(u.scaleWarnings(), u.flatWarnings(), u.screenDoubts)}
	for _, p := range u.pictures {
		if l, ok := u.lengthsOf(p.shot.View); ok && l.mmPerPX != r.MMPerPX {
			p.report.MMPerPX = part.Num(l.mmPerPX)
		}
		r.Pictures = append(r.Pictures, p.report)
		for _, d := range p.doubts {
			if w := fmt.Sprintf("%s pictures: %s", p.shot.View, d); !slices.Contains(r.Warnings, w) {
				r.Warnings = append(r.Warnings, w)
			}
		}
		if p.shot.View != part.Edge {
			continue
		}
		if p.fit() {
			r.Seam.Stations = append(r.Seam.Stations, p.seam.Stations[:]...)
			continue
		}
		for _, side := range []part.Side{part.Left, part.Right} {
			r.Seam.Stations = append(r.Seam.Stations, part.Station{
				Image: p.shot.File, AngleDeg: p.shot.AngleDeg, Side: side, State: part.Unmeasured, Reason: whyUnfit(p.report),
			})
		}
	}
	r.Seam.Shape = seam.ShapeOf(r.Seam.Stations)
	var told []string
	if r.Shell, told = u.unroll(); len(told) > 0 {
		r.Warnings = append(r.Warnings, told...)
	}
	r.Surfaces = u.surfaces()
	joined := u.joinScreen()
	for _, s := range u.scenes {
		if joined == nil || s.pose.View != part.Face {
			r.Findings = append(r.Findings, s.found.Findings...)
		} else if s.screen {
			r.Findings = append(r.Findings, joined...)
		}
		if s.plate != nil {
			r.Faceplate = s.plate
		}
		if s.mirror != nil {
			r.Screen = mirrorOf(s.mirror)
		}
	}
	r.Warnings = append(r.Warnings, u.sceneWarnings()...)
	return r
}

// sceneWarnings are what was said of the scenes, each with its pose; what was said of several
// turns of the shell, once with all of these.
func (u *unit) sceneWarnings() []string {
	var said, ofShell []string
	turns := map[string][]float64{} // of the shell, by what was said
	for _, s := range u.scenes {
		for _, w := range s.found.Warnings {
			if s.pose.View != part.Shell {
				said = append(said, fmt.Sprintf("%s: %s", s.pose, w))
				continue
			}
			if len(s.pictures) == 1 {
				w = strings.TrimPrefix(w, s.pictures[0].shot.File+": ") // the turn tells which
			}
			if turns[w] == nil {
				ofShell = append(ofShell, w)
			}
			turns[w] = append(turns[w], s.pose.TurnDeg)
		}
	}
	for _, w := range ofShell {
		said = append(said, fmt.Sprintf("%s at %s: %s", part.Shell, part.Degrees(turns[w]...), w))
	}
	return slices.Concat(said, capture.TurnDoubts(u.folder.Shots), u.unproved)
}

// surfaces says how much was looked at of each face, and of each turn of the shell
// of which there is a picture.
func (u *unit) surfaces() []part.Surface {
	var out []part.Surface
	at := func(p part.Pose) int {
		return slices.IndexFunc(out, func(o part.Surface) bool { return o.Pose() == p })
	}
	for _, s := range u.scenes {
		seen := part.UnsearchedSurface(s.pose.View, s.pose.TurnDeg)
		if s.looked {
			seen = s.found.Seen
			seen.View, seen.AngleDeg = s.pose.View, s.pose.TurnDeg
		}
		if k := at(s.pose); k >= 0 {
			if seen.Seen() > out[k].Seen() { // before a screen and under lamps
				out[k] = seen.Rounded()
			}
			continue
		}
		out = append(out, seen.Rounded())
	}
	for _, p := range u.pictures {
		if pose := p.shot.Pose(); pose.View != part.Edge && at(pose) < 0 {
			out = append(out, part.UnsearchedSurface(pose.View, pose.TurnDeg))
		}
	}
	slices.SortStableFunc(out, func(a, b part.Surface) int { return a.Pose().Compare(b.Pose()) })
	return out
}

// scaleOfFirst is the scale of the first picture that has one, mm per pixel; of
// edge pictures where there are none.
func (u *unit) scaleOfFirst() float64 {
	for _, p := range u.pictures {
		if l, ok := u.lengthsOf(p.shot.View); ok {
			return l.mmPerPX
		}
	}
	l, _ := u.lengthsOf(part.Edge)
	return l.mmPerPX
}

// schema is the number of result.json's layout.
const schema = 1

func whyUnfit(r part.PictureReport) string {
	for _, p := range r.Problems {
		if !p.Warn {
			return "the picture is not fit to measure: " + p.Remedy
		}
	}
	return "the picture is not fit to measure"
}

// normalise makes empty lists of absent ones, so that result.json always has
// them.
func normalise(r *part.Result) {
	notNil(&r.Reasons)
	notNil(&r.Warnings)
	notNil(&r.Findings)
	notNil(&r.Pictures)
	notNil(&r.Seam.Stations)
	for i := range r.Pictures {
		notNil(&r.Pictures[i].Problems)
	}
}

func notNil[T any](s *[]T) {
	if *s == nil {
		*s = []T{}
	}
}
