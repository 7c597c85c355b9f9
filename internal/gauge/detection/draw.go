package detection

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/stats/study"
	"finishbench/internal/stripes"
	"finishbench/internal/synth"
)

// How faults are drawn into pictures of a clean face before a screen (common practice, no source).
const (
	drawnGapMM   = 0.5 // of faults from each other, and from what was found on the clean face
	drawnInsetMM = 0.15
	drawnTries   = 2000
	drawnLost    = 0.2  // share of the gloss that haze takes
	drawnBeyond  = 1.25 // times the sizes between which found and missed ones meet
	maxDraw      = 2000
)

// drawnSizes are the sizes, mm, over which faults are spread evenly in their logarithm: from what is
// never found to what is always (common practice, no source).
var drawnSizes = map[part.Kind][2]float64{
	part.Bubble: {0.06, 0.8}, part.Crater: {0.06, 0.8}, part.Run: {0.15, 2.4}, part.Missed: {0.05, 1.6}, part.Haze: {0.2, 2.4},
}

// drawnFaults is how a set came about whose faults were drawn.
type drawnFaults struct {
	good      []string // the clean sets' names
	sets      int      // drawn from them
	kinds     []part.Kind
	slopeRad  float64
	screen    stripes.Screen
	unplaced  int // faults for which there was no room
	shown     []drawnPicture
	elsewhere int // called in drawn sets where neither a fault was drawn nor the clean set has a finding
}

// cleanSet is a set of pictures before a screen that shows a clean face.
type cleanSet struct {
	name     string
	images   map[part.Light]*part.Image
	seen     *inspection.Scene
	findings []part.Finding
	mmPerPX  float64
}

// drawDetection draws faults into clean sets, looks for them, and says what became of them.
func drawDetection(ctx context.Context, o Options, dirs []string, stderr io.Writer) (Set, error) {
	s := Set{from: strings.Join(dirs, ", "), Patterns: map[string]int{}}
	o.Look.Out = "-" // nothing is written there
	set, err := o.Look.Settings()
	if err != nil {
		return s, err
	}
	if !set.Screen.Known() {
		return s, cli.Usagef("--draw: where the screen stands is not known, so that no slope can be drawn: give --station FILE with the " +
			"screen's period_mm and distance_mm (see configs/station.yaml)")
	}
	d := &drawnFaults{slopeRad: o.SlopeMRad / 1000, screen: set.Screen}
	for _, k := range synth.FlawKinds {
		if len(o.Kinds) == 0 || slices.Contains(o.Kinds, string(k)) {
			d.kinds = append(d.kinds, k)
		}
	}
	if len(d.kinds) == 0 {
		return s, cli.Usagef("--kind %s: none of these can be drawn; use %s", strings.Join(o.Kinds, ","), part.JoinKinds(synth.FlawKinds))
	}
	inspection.TuneMemory()
	in := &inspection.Inspector{Settings: set, Slots: inspection.NewSlots(set.Jobs)}
	good, err := cleanSets(ctx, in, dirs)
	if err != nil {
		return s, err
	}
	for _, g := range good {
		d.good = append(d.good, g.name)
		for _, f := range g.findings {
			s.False = append(s.False, falseCall{unit: g.name, kind: string(f.Kind)})
		}
		if !slices.Contains(s.mmPerPX, g.mmPerPX) {
			s.mmPerPX = append(s.mmPerPX, g.mmPerPX)
		}
	}
	slices.Sort(s.mmPerPX)
	s.from = strings.Join(d.good, ", ")
	s.Units, s.Patterns[""], s.stages, s.drawn = len(good), len(good), []string{string(set.Stage)}, d
	return s, lookForDrawn(ctx, in, &s, good, o, stderr)
}

// cleanSets measures the sets that are said to be clean.
func cleanSets(ctx context.Context, in *inspection.Inspector, dirs []string) ([]*cleanSet, error) {
	units, err := inspection.NameUnits(dirs)
	if err != nil {
		return nil, err
	}
	jobs, err := inspection.ScanAll(units)
	if err != nil {
		return nil, err
	}
	var out []*cleanSet
	for _, j := range jobs {
		if j.Err != nil {
			return nil, cli.Usagef("%s: %w", j.Dir, j.Err)
		}
		g := &cleanSet{name: j.Folder.Name, images: map[part.Light]*part.Image{}}
		var photos []part.Photo
		for _, s := range j.Folder.Shots {
			if s.View != part.Face || !s.Light.OfScreen() {
				continue
			}
			p := part.Photo{Shot: s}
			if p.Image, err = capture.Read(s.Path); err != nil {
				return nil, cli.Usagef("%s cannot be read: %s", s.Path, cli.Plain(err))
			}
			p.Report = capture.Check(p.Image, s, in.Fit)
			photos, g.images[s.Light] = append(photos, p), p.Image
		}
		u, r, err := in.InspectPhotos(ctx, j.Folder.Name, photos)
		if err != nil {
			return nil, err
		}
		for _, s := range u.Scenes {
			if s.Screen && s.Mirror != nil {
				g.seen, g.findings, g.mmPerPX = s, r.Findings, s.Look.MMPerPX
			}
		}
		if g.seen == nil {
			return nil, cli.Usagef("%s: no faults can be drawn into it, for it is no set before a screen that can be measured%s", j.Dir,
				whyNot(r))
		}
		out = append(out, g)
	}
	return out, nil
}

// whyNot is the first remedy that a result's pictures have.
func whyNot(r *part.Result) string {
	for _, p := range r.Pictures {
		if remedy := inspection.RemedyOf(p); remedy != "" {
			return ": " + remedy
		}
	}
	return ""
}

// lookForDrawn draws o.draw faults of each kind, one of each into a set at a time, and looks for them: a third
// over all sizes, the others where found and missed ones meet, for only these tell how steep the curve is.
func lookForDrawn(ctx context.Context, in *inspection.Inspector, s *Set, good []*cleanSet, o Options, stderr io.Writer) error {
	rng := rand.New(rand.NewPCG(12, 6)) // the same faults each time
	sizes := map[part.Kind][2]float64{}
	for _, k := range s.drawn.kinds {
		sizes[k] = drawnSizes[k]
	}
	rule := study.DefaultMatchRule()
	rule.SlackShare = o.Share
	bar := inspection.NewProgress(o.Draw, io.Discard, stderr)
	defer bar.Clear()
	for from, to := 0, (o.Draw+2)/3; from < o.Draw; from, to = to, o.Draw {
		units := make([]flawedUnit, to-from)
		for i := range units {
			units[i].of = good[(from+i)%len(good)]
		}
		for _, k := range s.drawn.kinds {
			for j, i := range rng.Perm(len(units)) {
				at := (float64(j) + rng.Float64()) / float64(len(units))
				f := synth.Flaw{Kind: k, SizeMM: sizes[k][0] * math.Pow(sizes[k][1]/sizes[k][0], at), SlopeRad: s.drawn.slopeRad,
					Lost: drawnLost, AngleDeg: 180 * rng.Float64()}
				if !units[i].place(f, rng) {
					s.drawn.unplaced++
				}
			}
		}
		var one sync.Mutex
		g, ctx := errgroup.WithContext(ctx)
		g.SetLimit(in.AtOnce())
		for i := range units {
			g.Go(func() error {
				defer func() {
					one.Lock()
					defer one.Unlock()
					bar.Skip()
				}()
				return inspection.Guard(func() error { return units[i].look(ctx) })
			})
		}
		if err := g.Wait(); err != nil {
			return err
		}
		for i := range units {
			s.addDrawn(&units[i], rule)
		}
		for _, k := range s.drawn.kinds {
			sizes[k] = s.meet(k)
		}
	}
	if len(s.Targets) == 0 {
		return cli.Usagef("--draw: no fault found room in what was looked at of %s", s.from)
	}
	return s.showDrawn(flawedUnit{of: good[0]}, sizes, rng)
}

// drawnPicture is a fault as it was drawn.
type drawnPicture struct {
	report.SheetPicture
	fault synth.Flaw
}

// pictures are the faults that were drawn, each with its words.
func (d *drawnFaults) pictures(x *lang.Lang) []report.SheetPicture {
	var out []report.SheetPicture
	for _, p := range d.shown {
		p.Caption = x.T("detection.drawn.caption", "kind", x.Named("noun.", string(p.fault.Kind)), "mm",
			fmt.Sprintf("%.2g", p.fault.SizeMM))
		p.Alt = p.Caption
		out = append(out, p.SheetPicture)
	}
	return out
}

// showDrawn makes the pictures of one fault of each kind, of a size at which found and missed ones meet: what a
// statement is about.
func (s *Set) showDrawn(u flawedUnit, sizes map[part.Kind][2]float64, rng *rand.Rand) error {
	for _, k := range s.drawn.kinds {
		u.place(synth.Flaw{Kind: k, SizeMM: sizes[k][1], SlopeRad: s.drawn.slopeRad, Lost: drawnLost, AngleDeg: 30}, rng)
	}
	images, m, err := u.draw()
	if err != nil {
		return err
	}
	x0 := images[part.StripesX0]
	gloss, slopes := stripes.MapImage(m, part.GlossMap, x0.W, x0.H), stripes.MapImage(m, part.SlopeMap, x0.W, x0.H)
	for i, f := range u.flaws {
		hx, hy := f.HalfMM()
		box := part.BoxAround(u.at[i], hx/u.of.mmPerPX, hy/u.of.mmPerPX)
		var panels []report.StripPanel
		for _, im := range []*part.Image{gloss, slopes, x0} {
			panels = append(panels, report.StripPanel{Image: im, Middle: u.at[i], MMPerPX: u.of.mmPerPX, Box: &box})
		}
		p, err := report.MakeStrip(panels, report.StripWindowMM(f.SizeMM))
		if err != nil {
			return err
		}
		s.drawn.shown = append(s.drawn.shown, drawnPicture{p, f})
	}
	return nil
}

// meet is where found and missed ones of a kind meet, mm, and a little beyond; all sizes where all were
// found, or none.
func (s *Set) meet(k part.Kind) [2]float64 {
	missed, found := 0.0, math.Inf(1) // the largest, the smallest
	for _, t := range s.Targets {
		switch {
		case t.Kind != string(k):
		case t.Target.Found > 0:
			found = min(found, t.Target.Size)
		default:
			missed = max(missed, t.Target.Size)
		}
	}
	all := drawnSizes[k]
	if missed == 0 || math.IsInf(found, 1) {
		return all
	}
	return [2]float64{max(all[0], min(missed, found)/drawnBeyond), min(all[1], max(missed, found)*drawnBeyond)}
}

// flawedUnit is a clean set with faults, and what was called in it.
type flawedUnit struct {
	of     *cleanSet
	flaws  []synth.Flaw
	at     []part.Point
	called []part.Finding
}

// place adds a fault where there is room for it, and the mirror was looked at; false where there is none.
func (u *flawedUnit) place(f synth.Flaw, rng *rand.Rand) bool {
	m, px := u.of.seen.Mirror.Maps, u.of.mmPerPX
	hx, hy := f.HalfMM()
	gap := drawnGapMM / px
	for range drawnTries {
		p := part.Point{X: float64(m.X0) + rng.Float64()*float64(m.Depth.W*m.Bin),
			Y: float64(m.Y0) + rng.Float64()*float64(m.Depth.H*m.Bin)}
		free := true
		for k := -1; k < 16 && free; k++ { // the middle, and around
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / 16)
			r := 1.0
			if k < 0 {
				r = 0
			}
			free = m.Looked(int(p.X+r*(hx+drawnInsetMM)/px*cos), int(p.Y+r*(hy+drawnInsetMM)/px*sin))
		}
		own := part.BoxAround(p, hx/px+gap, hy/px+gap)
		for i, q := range u.at {
			x, y := u.flaws[i].HalfMM()
			free = free && !own.Meets(part.BoxAround(q, x/px, y/px))
		}
		for _, c := range u.of.findings {
			free = free && (c.Kind == part.OrangePeel || !own.Meets(c.Box)) // orange peel is all over the face
		}
		if free {
			u.flaws, u.at = append(u.flaws, f), append(u.at, p)
			return true
		}
	}
	return false
}

// look draws the faults and looks for them. The paint is that of the clean set, as it was found there: the
// sum of the phases and the white picture are the same.
func (u *flawedUnit) look(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return context.Cause(ctx)
	}
	_, _, err := u.draw()
	return err
}

// draw is the set's pictures with the faults, and what the mirror shows of them; what is called is kept.
func (u *flawedUnit) draw() (map[part.Light]*part.Image, *stripes.Maps, error) {
	var flaws []stripes.Flaw
	for i, f := range u.flaws {
		hx, hy := f.HalfMM()
		flaws = append(flaws, stripes.Flaw{X: u.at[i].X, Y: u.at[i].Y, ReachMM: math.Hypot(hx, hy), Surface: f.At})
	}
	clean := u.of.seen
	images, err := clean.Mirror.Maps.WithFlaws(u.of.images, flaws)
	if err != nil {
		return nil, nil, err
	}
	r, err := stripes.Measure(images, clean.Around, clean.Look)
	if err != nil {
		return nil, nil, fmt.Errorf("%s with faults drawn in: %w", u.of.name, err)
	}
	u.called = r.Join(clean.Paint, clean.ShownIn)
	return images, r.Maps, nil
}

// addDrawn matches one drawn set.
func (s *Set) addDrawn(u *flawedUnit, rule study.MatchRule) {
	var known []study.Known
	for i, f := range u.flaws {
		hx, hy := f.HalfMM()
		known = append(known, study.Known{Kind: string(f.Kind), Box: study.Box(part.BoxAround(u.at[i], hx/u.of.mmPerPX, hy/u.of.mmPerPX)),
			Size: f.SizeMM})
	}
	var called []study.Called
	for _, f := range u.called {
		if f.Kind != part.OrangePeel && !slices.ContainsFunc(u.of.findings, func(c part.Finding) bool { return f.Box.Meets(c.Box) }) {
			called = append(called, study.Called{Kind: string(f.Kind), Box: study.Box(f.Box)})
		}
	}
	m := study.Match(known, called, rule)
	for i, f := range u.flaws {
		t := Target{unit: u.of.name, Kind: string(f.Kind), measure: "diameter", Target: study.Target{Size: f.SizeMM, Of: 1},
			visible: true, shared: slices.Contains(m.Shared, i)}
		if f.Kind == part.Run {
			t.measure = "length"
		}
		if j := m.Call[i]; j >= 0 {
			t.Target.Found, t.rightKind = 1, called[j].Kind == string(f.Kind)
		}
		s.Targets = append(s.Targets, t)
	}
	s.drawn.sets++
	s.drawn.elsewhere += len(m.False)
	s.repeats += len(m.Repeats)
}

// screenText says how the screen stands.
func (d *drawnFaults) screenText(x *lang.Lang) string {
	if r := d.screen.RadPerRad; r[0] > 0 && r[1] > 0 {
		return x.T("detection.drawn.mirror", "x_rad", fmt.Sprintf("%.3f", r[0]/1000), "y_rad", fmt.Sprintf("%.3f", r[1]/1000))
	}
	return x.T("detection.drawn.screen", "period_mm", fmt.Sprintf("%g", d.screen.PeriodMM), "distance_mm",
		fmt.Sprintf("%g", d.screen.DistanceMM), "tilt_deg", fmt.Sprintf("%g", d.screen.TiltDeg))
}

// conditions are what a statement from drawn faults rests on.
func (d *drawnFaults) conditions(x *lang.Lang) []string {
	um := func(k part.Kind, size float64) string {
		return fmt.Sprintf("%.2g um", math.Abs(synth.Flaw{Kind: k, SizeMM: size, SlopeRad: d.slopeRad}.HeightUM()))
	}
	shapes := map[part.Kind]string{
		part.Crater: x.T("detection.drawn.crater", "um", um(part.Crater, 0.5)),
		part.Bubble: x.T("detection.drawn.bubble", "um", um(part.Bubble, 0.5)),
		part.Run:    x.T("detection.drawn.run", "um", um(part.Run, 1.5)),
		part.Missed: x.T("detection.drawn.missed", "um", um(part.Missed, 1)),
		part.Haze:   x.T("detection.drawn.haze", "percent", fmt.Sprintf("%.0f", 100*drawnLost)),
	}
	var of []string
	for _, k := range d.kinds {
		of = append(of, shapes[k])
	}
	out := []string{
		x.T("detection.drawn.how", "good", strings.Join(d.good, ", "), "sets", strconv.Itoa(d.sets), "screen", d.screenText(x)),
		x.T("detection.drawn.slope", "mrad", fmt.Sprintf("%g", 1000*d.slopeRad), "shapes", strings.Join(of, x.T("join.signals"))),
		x.T("detection.drawn.where"),
	}
	if d.elsewhere > 0 {
		out = append(out, x.T("detection.drawn.elsewhere", "n", strconv.Itoa(d.elsewhere)))
	}
	return out
}
