package inspection

import (
	"cmp"
	"context"
	"slices"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/body"
	"finishbench/internal/capture"
	"finishbench/internal/capture/outline"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/defects"
	"finishbench/internal/defects/scene"
	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/proof"
	"finishbench/internal/seam"
	"finishbench/internal/stripes"
)

// Settings are what a run is told, the same for all its units.
type Settings struct {
	Station      config.Station
	texts        texts        // of the settings files
	number       Lengths      // where no scale file is used
	Scales       []*ScaleFile // at most one a view
	camera       string       // of pictures whose tags name none
	focus        string       //
	Stage        part.Stage
	Limits       grade.Limits
	Fit          part.FitLimits
	seam         seam.Params
	Screen       stripes.Screen
	screenDoubts []part.Phrase // what a reader must know of how that was measured
	flats        []flatFile    // flat fields by view and light
	Kinds        *KindModel    // nil: the rules alone call kinds
	Barred       *part.Phrase  // why the gauge must pass no unit; nil: it may
	panel        bool          // flat test panels, not units: the whole picture is surface
	Jobs         int           // pieces of work at a time
	budget       bool          // tell how uncertainties come about
	generated    string        // when the run began, as text for the pages
	language     *lang.Lang    // of the pages; results are English
}

// Inspector carries units through the pipeline, several at once.
type Inspector struct {
	Settings
	Slots Slots
}

// Picture is one picture of a unit on its way through the pipeline.
type Picture struct {
	part.Photo
	given  bool             // whoever gave it keeps its pixels
	doubts []part.Phrase    // whether the scale is for it
	sight  *proof.Sight     // what it shows, small; nil: nothing that could be held against the others
	seam   seam.Measurement // edge pictures
}

func (p *Picture) fit() bool { return p.Report.State == part.PictureOK }

// Scene is all pictures of one pose. The picture that arrives last looks for
// the defects, in the slot it has, so that the longest piece of work starts as
// early as it can.
type Scene struct {
	pose     part.Pose // of a face, or a shell at one turn
	Screen   bool      // before a screen
	pictures []*Picture
	missing  atomic.Int32
	found    defects.Result
	Mirror   *stripes.Result // before a screen, where it could be measured,
	Paint    []part.Finding  // what the paint alone shows there,
	ShownIn  string          // in which picture,
	Around   []part.Point    // the outline that was found first,
	Look     stripes.Params  // and how the mirror was looked at
	known    []part.Phrase   // what a reader must know of the mirror
	looked   bool            // found says what was found, and how much was looked at
	side     *body.View      // of a turn of the shell; nil where it was not found
	plate    *part.Faceplate // of a face scene; nil where there is no outline
}

// maxKeptBytes bounds the decoded pictures that a unit keeps between measuring
// and drawing. What is beyond it is let go and read again.
const maxKeptBytes = 64 << 20

// Unit is one unit on its way.
type Unit struct {
	*Inspector
	folder   part.Folder
	pictures []*Picture // in the folder's order
	Scenes   []*Scene
	kept     atomic.Int64
	unproved []part.Phrase // what of the pictures' names could not be tested
}

// inspect measures a unit and judges it. Call release when its pictures are no
// longer needed.
func (in *Inspector) inspect(ctx context.Context, folder part.Folder) (*Unit, *part.Result, error) {
	var pictures []*Picture
	for _, s := range folder.Shots {
		pictures = append(pictures, &Picture{Photo: part.Photo{Shot: s}})
	}
	return in.carry(ctx, folder, pictures)
}

// InspectPhotos is inspect for a unit of a name whose pictures came decoded and checked:
// whoever gives them keeps their pixels.
func (in *Inspector) InspectPhotos(ctx context.Context, name string, photos []part.Photo) (*Unit, *part.Result, error) {
	folder := part.Folder{Name: name}
	var pictures []*Picture
	for _, p := range photos {
		folder.Shots = append(folder.Shots, p.Shot)
		pictures = append(pictures, &Picture{Photo: p, given: true})
	}
	return in.carry(ctx, folder, pictures)
}

func (in *Inspector) carry(ctx context.Context, folder part.Folder, pictures []*Picture) (*Unit, *part.Result, error) {
	u := &Unit{Inspector: in, folder: folder, pictures: pictures}
	u.group()
	if err := u.each(ctx, u.workOrder(), u.measure); err != nil {
		u.Release()
		return nil, nil, err
	}
	u.prove()
	r := u.result()
	grade.Judge(r, in.Limits)
	bar(r, in.Barred)
	normalise(r)
	return u, r, nil
}

// bar keeps a unit from passing while the gauge may not be believed. What is
// wrong with a unit stays wrong, but the reader is told.
func bar(r *part.Result, why *part.Phrase) {
	if why == nil {
		return
	}
	r.Warnings, r.WarningPhrases = slices.Insert(r.Warnings, 0, lang.English().Say(why)), slices.Insert(r.WarningPhrases, 0, *why)
	if r.Verdict == part.Pass {
		r.Verdict = part.NotMeasured
		giveReason(r, *why)
		r.Plan = grade.GaugePlan(r.Plan, *why)
	}
}

// giveReason puts a reason before the others.
func giveReason(r *part.Result, why part.Phrase) {
	r.Reasons, r.ReasonPhrases = slices.Insert(r.Reasons, 0, lang.English().Say(&why)), slices.Insert(r.ReasonPhrases, 0, why)
}

// group puts face and shell pictures into scenes, in the order of their poses.
func (u *Unit) group() {
	shots := make([]*part.Shot, len(u.pictures)) // the bench's are marked nowhere else
	for i, p := range u.pictures {
		shots[i] = &p.Shot
	}
	part.MarkSets(shots)
	for _, p := range u.pictures {
		if p.Shot.View == part.Edge || !p.Shot.Searched() {
			continue
		}
		i := slices.IndexFunc(u.Scenes, func(s *Scene) bool { return s.holds(p) })
		if i < 0 {
			i = len(u.Scenes)
			u.Scenes = append(u.Scenes, &Scene{pose: p.Shot.Pose(), Screen: p.Shot.Light.OfScreen()})
		}
		u.Scenes[i].pictures = append(u.Scenes[i].pictures, p)
		u.Scenes[i].missing.Add(1)
	}
	slices.SortStableFunc(u.Scenes, func(a, b *Scene) int {
		if c := a.pose.Compare(b.pose); c != 0 || a.Screen == b.Screen {
			return c
		}
		if a.Screen {
			return 1
		}
		return -1
	})
}

// holds says whether a picture is one of the scene's.
func (s *Scene) holds(p *Picture) bool {
	return p.Shot.Pose() == s.pose && p.Shot.Searched() && p.Shot.Light.OfScreen() == s.Screen
}

// workOrder lists scenes' pictures first: they have the longest way to go. Those of one
// scene follow each other, so that few scenes wait for the rest of their pictures.
func (u *Unit) workOrder() []*Picture {
	order := slices.Clone(u.pictures)
	slices.SortStableFunc(order, func(a, b *Picture) int { return u.rank(a) - u.rank(b) })
	return order
}

// rank is a picture's place in the work: its scene's, then edges, then what is only read.
func (u *Unit) rank(p *Picture) int {
	n := len(u.Scenes)
	switch {
	case !p.Shot.Searched():
		return n + 1
	case p.Shot.View == part.Edge:
		return n
	}
	return slices.IndexFunc(u.Scenes, func(s *Scene) bool { return s.holds(p) })
}

// each does f for the pictures, in order, as slots come free. The first error
// ends it.
func (u *Unit) each(ctx context.Context, pictures []*Picture, f func(*Picture) error) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, p := range pictures {
		if err := u.Slots.take(ctx); err != nil {
			_ = g.Wait() // nothing of this unit may go on after it is given up
			return cmp.Or(context.Cause(ctx), err)
		}
		g.Go(func() error {
			defer u.Slots.give()
			return Guard(func() error { return f(p) })
		})
	}
	return g.Wait()
}

// measure reads a picture, checks it, and measures what it shows.
func (u *Unit) measure(p *Picture) error {
	u.read(p)
	if !p.Shot.Searched() {
		u.keepOrLetGo(p)
		return nil
	}
	if p.Shot.View == part.Edge {
		if p.fit() {
			p.seam = seam.Measure(p.Image, p.Shot, u.seam)
		}
		u.keepOrLetGo(p)
		return nil
	}
	for _, s := range u.Scenes {
		if s.holds(p) && s.missing.Add(-1) == 0 {
			if s.Screen {
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
func (u *Unit) read(p *Picture) {
	if !p.given {
		im, err := capture.Read(p.Shot.Path)
		if err != nil {
			p.Report = capture.Unreadable(p.Shot, err)
			return
		}
		p.Image = im
		if u.panel {
			p.Report = capture.CheckSurface(im, p.Shot, u.Fit)
		} else {
			p.Report = capture.Check(im, p.Shot, u.Fit)
		}
	}
	if !p.Shot.Searched() {
		return
	}
	u.checkScale(p)
	u.checkFlat(p)
	if !u.panel && !p.Shot.Light.OfScreen() {
		p.sight = proof.Look(p.Image, p.Shot)
	}
}

// look finds the defects of a scene, in those of its pictures that are fit.
func (u *Unit) look(s *Scene) {
	var reports []*part.PictureReport
	var images []*part.Image
	var shots []part.Shot
	for _, p := range s.pictures {
		reports, images, shots = append(reports, &p.Report), append(images, p.Image), append(shots, p.Shot)
	}
	var flanks *outline.Flanks
	if u.panel {
		capture.RefuseCopies(reports, images)
	} else {
		flanks = capture.SharePose(reports, images, shots, u.Fit)
		proveLights(s.pictures)
		if slices.ContainsFunc(reports, func(r *part.PictureReport) bool { return r.State != part.PictureOK }) {
			flanks = nil // the search looks at others than those in which they were sought
		}
	}
	blur, uBlur, _ := capture.Blur(reports)
	var fit []scene.Picture
	for _, p := range s.pictures {
		if p.fit() {
			fit = append(fit, scene.Picture{Shot: p.Shot, Image: p.Image, Flat: u.flatOf(p.Shot), BlurPX: blur, UBlurPX: uBlur})
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
		s.plate = faceplateOf(fit, found, l.MMPerPX)
	}
	l.straighten(found.Findings)
	s.found, s.looked = found, true
}

// searchParams are how a surface is searched at a scale.
func (u *Unit) searchParams(l Lengths) scene.Params {
	p := scene.DefaultParams(l.MMPerPX)
	if l.URel > 0 {
		p.URelScale = l.URel
	}
	p.Call = u.Kinds.caller()
	return p
}

// notInspected marks a picture that was fit, but in which nothing could be
// looked for: it must not count as a picture without defects.
func (p *Picture) notInspected(err error) {
	if p.fit() {
		p.refuse("surface_not_found", cli.Why(err))
	}
}

// keepOrLetGo keeps a picture's pixels for drawing while there is room.
func (u *Unit) keepOrLetGo(p *Picture) {
	if p.Image == nil || p.given {
		return
	}
	n := int64(len(p.Image.Pix8) + 2*len(p.Image.Pix16))
	if u.kept.Add(n) > maxKeptBytes {
		u.kept.Add(-n)
		u.letGo(p)
	}
}

func (u *Unit) letGo(p *Picture) {
	if p.given {
		return
	}
	capture.Release(p.Image)
	p.Image = nil
}

// Release hands all pixels back.
func (u *Unit) Release() {
	for _, p := range u.pictures {
		u.letGo(p)
	}
}

// result gathers what was measured.
func (u *Unit) result() *part.Result {
	r := &part.Result{Schema: schema, Unit: u.folder.Name, Stage: u.Stage, MMPerPX: u.scaleOfFirst(), Scales: u.scaleUses(),
		KindModel: u.Kinds.use()}
	warn := func(p part.Phrase) {
		r.Warnings, r.WarningPhrases = append(r.Warnings, lang.English().Say(&p)), append(r.WarningPhrases, p)
	}
	for _, w := range slices.Concat(u.scaleWarnings(), u.flatWarnings(), u.screenDoubts) {
		warn(w)
	}
	for _, p := range u.pictures {
		if l, ok := u.lengthsOf(p.Shot.View); ok && l.MMPerPX != r.MMPerPX {
			p.Report.MMPerPX = part.Num(l.MMPerPX)
		}
		r.Pictures = append(r.Pictures, p.Report)
		for _, d := range p.doubts {
			w := part.Say("file.pictures", "view", "@view."+string(p.Shot.View)).With("what", d)
			if !slices.Contains(r.Warnings, lang.English().Say(&w)) {
				warn(w)
			}
		}
		if p.Shot.View != part.Edge {
			continue
		}
		if p.fit() {
			r.Seam.Stations = append(r.Seam.Stations, p.seam.Stations[:]...)
			continue
		}
		why := whyUnfit(p.Report)
		for _, side := range []part.Side{part.Left, part.Right} {
			r.Seam.Stations = append(r.Seam.Stations, part.StepStation{
				Image: p.Shot.File, AngleDeg: p.Shot.AngleDeg, Side: side, State: part.Unmeasured,
				Reason: lang.English().Say(&why), ReasonPhrase: &why,
			})
		}
	}
	r.Seam.Shape = seam.ShapeOf(r.Seam.Stations)
	var known []part.Phrase
	r.Shell, known = u.unroll()
	for _, w := range known {
		warn(w)
	}
	r.Surfaces = u.surfaces()
	joined := u.joinScreen()
	for _, s := range u.Scenes {
		if joined == nil || s.pose.View != part.Face {
			r.Findings = append(r.Findings, s.found.Findings...)
		} else if s.Screen {
			r.Findings = append(r.Findings, joined...)
		}
		if s.plate != nil {
			r.Faceplate = s.plate
		}
		if s.Mirror != nil {
			r.Screen = mirrorOf(s.Mirror)
		}
	}
	for _, w := range u.sceneWarnings() {
		warn(w)
	}
	return r
}

// sceneWarnings are what was said of the scenes, each with its pose; what was said of several
// turns of the shell, once with all of these.
func (u *Unit) sceneWarnings() []part.Phrase {
	var said []part.Phrase
	var ofShell []part.Phrase
	turns := map[string][]float64{} // of the shell, by what was said in English
	for _, s := range u.Scenes {
		for _, w := range s.known {
			said = append(said, part.Say("pose.says").With("pose", s.pose.Phrase()).With("what", w))
		}
		for _, w := range s.found.Warnings {
			if s.pose.View != part.Shell {
				said = append(said, part.Say("pose.says").With("pose", s.pose.Phrase()).With("what", w))
				continue
			}
			if len(s.pictures) == 1 && w.Key == "file.says" {
				w = w.Parts["what"][0] // the turn tells which
			}
			english := lang.English().Say(&w)
			if turns[english] == nil {
				ofShell = append(ofShell, w)
			}
			turns[english] = append(turns[english], s.pose.TurnDeg)
		}
	}
	for _, w := range ofShell {
		said = append(said, part.Say("turns.say").With("turns", part.Turns(turns[lang.English().Say(&w)]...)).With("what", w))
	}
	return slices.Concat(said, capture.TurnDoubts(u.folder.Shots), u.unproved)
}

// surfaces says how much was looked at of each face, and of each turn of the shell
// of which there is a picture.
func (u *Unit) surfaces() []part.Surface {
	var out []part.Surface
	at := func(p part.Pose) int {
		return slices.IndexFunc(out, func(o part.Surface) bool { return o.Pose() == p })
	}
	for _, s := range u.Scenes {
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
		if pose := p.Shot.Pose(); pose.View != part.Edge && at(pose) < 0 {
			out = append(out, part.UnsearchedSurface(pose.View, pose.TurnDeg))
		}
	}
	slices.SortStableFunc(out, func(a, b part.Surface) int { return a.Pose().Compare(b.Pose()) })
	return out
}

// scaleOfFirst is the scale of the first picture that has one, mm per pixel; of
// edge pictures where there are none.
func (u *Unit) scaleOfFirst() float64 {
	for _, p := range u.pictures {
		if l, ok := u.lengthsOf(p.Shot.View); ok {
			return l.MMPerPX
		}
	}
	l, _ := u.lengthsOf(part.Edge)
	return l.MMPerPX
}
