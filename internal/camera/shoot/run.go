package shoot

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/rig"
	"finishbench/internal/camera/sources"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
	"finishbench/internal/proof"
)

// Check says whether a picture is fit to measure.
type Check func(*part.Image, part.Shot) part.PictureReport

// run is one unit under way.
type run struct {
	*Plan
	check Check
	say   func(Progress)
	pedal <-chan struct{}
	steps []Step
	shots []part.Photo
	last  *Step      // before this one: what the unit and the light stand at
	shown part.Light // on the screen, as far as this run knows
	unfit string     // why the picture is taken once more; "": it is not
}

// Run photographs a unit. kept are its shots from an attempt that broke off: they
// are not taken again; without any, a replay goes on to its next unit. The shots
// are returned in the plan's order, beside an error too: what was taken is kept.
// say is not called after Run has returned. pedal brings the operator's presses.
//
// Errors: ctx's; a camera or line that stayed away for longer than Patience; what
// the controller refused. When Run returns the lights are out and the screen, where
// the plan has steps before one, is white, unless they cannot be reached.
func (p *Plan) Run(ctx context.Context, kept []part.Photo, check Check, say func(Progress), pedal <-chan struct{}) ([]part.Photo, error) {
	if err := p.begin(len(kept) == 0); err != nil {
		return kept, err
	}
	p.markSets()
	r := &run{Plan: p, check: check, say: say, pedal: pedal, steps: p.unit}
	defer r.white(ctx)
	if p.Rig != nil {
		defer r.lightsOut(ctx)
	}
	had := map[part.Shot]part.Photo{}
	for _, k := range kept {
		had[picture(k.Shot)] = k
	}
	for i, s := range r.steps {
		if k, ok := had[picture(s.Shot())]; ok {
			r.shots = append(r.shots, k)
			continue
		}
		shot, err := r.shoot(ctx, s)
		if err != nil {
			// Kept shots of later steps are not lost by a fault in this one.
			for _, s := range r.steps[i+1:] {
				if k, ok := had[picture(s.Shot())]; ok {
					r.shots = append(r.shots, k)
				}
			}
			return r.shots, err
		}
		r.shots = append(r.shots, shot)
		r.tell(Progress{Step: s, Taken: &shot})
	}
	return r.shots, nil
}

// begin settles the steps of the unit.
func (p *Plan) begin(newUnit bool) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if !newUnit && p.unit != nil {
		return nil
	}
	p.unit = slices.Clone(p.Steps)
	for name, c := range p.Cameras {
		f, ok := c.(sources.Follower)
		if !ok {
			continue
		}
		shots, err := f.NextUnit()
		if err != nil {
			return fmt.Errorf("shoot: camera %s: %w", name, err)
		}
		if len(p.Steps) == 0 && name == p.follower() {
			p.unit = nil
			for _, s := range shots {
				p.unit = append(p.unit, Step{View: s.View, Light: s.Light, AngleDeg: s.AngleDeg, Turned: s.View == part.Shell,
					Camera: name})
			}
		}
	}
	return nil
}

// markSets finds out which steps make up a set before a screen: their pictures are
// looked into, and so checked.
func (p *Plan) markSets() {
	shots := make([]*part.Shot, len(p.unit))
	for i, s := range p.unit {
		shot := s.Shot()
		shots[i] = &shot
	}
	part.MarkSets(shots)
	for i := range p.unit {
		p.unit[i].set = shots[i].Set
	}
}

func (r *run) tell(p Progress) {
	p.Done, p.Total = len(r.shots), len(r.steps)
	r.say(p)
}

// lightsOut puts the lights out, on the way out of a cancelled unit too.
func (r *run) lightsOut(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lightsOut)
	defer cancel()
	if err := r.Rig.Light(ctx, rig.Off); err != nil {
		r.tell(Progress{Problem: ProblemRig, Why: inWords(err)})
	}
}

// white leaves the screen white, likewise.
func (r *run) white(ctx context.Context) {
	if r.shown == "" || r.shown == part.White {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lightsOut)
	defer cancel()
	if err := r.Screen.Show(ctx, part.White); err != nil {
		r.tell(Progress{Problem: ProblemScreen, Why: inWords(err)})
	}
}

// inWords finds the trouble in an error.
func inWords(err error) *part.Trouble {
	var why *part.Trouble
	if errors.As(err, &why) {
		return why
	}
	return trouble.Newf(trouble.Other, "%v", err)
}

// shoot takes the picture of one step, once more where it is not fit.
func (r *run) shoot(ctx context.Context, s Step) (part.Photo, error) {
	r.tell(Progress{Step: s})
	if err := r.pose(ctx, s); err != nil {
		return part.Photo{}, err
	}
	for try := 1; ; try++ {
		shot, err := r.take(ctx, s)
		if err != nil {
			return part.Photo{}, err
		}
		if shot.Report.State == part.PictureOK || try == 2 || r.follows(s) {
			r.last = &s
			return shot, nil
		}
		r.unfit = whyUnfit(shot.Report)
		r.tell(Progress{Step: s, Problem: ProblemUnfit, Unfit: r.unfit})
		if r.Drop != nil {
			r.Drop(shot.Image)
		}
		if r.unfit == proof.SameTurn || r.unfit == proof.SameLight { // it did not stand or was not lit as it should
			if err := r.pose(ctx, s); err != nil {
				return part.Photo{}, err
			}
		}
		r.unfit = ""
	}
}

// whyUnfit is the name of the first problem for which a picture is not fit; "": none is told.
func whyUnfit(r part.PictureReport) string {
	for _, p := range r.Problems {
		if !p.Warn {
			return p.Name
		}
	}
	return ""
}

// follows reports whether the camera is a replay: it would show the same again.
func (r *run) follows(s Step) bool {
	_, ok := r.Cameras[s.Camera].(sources.Follower)
	return ok
}

// pose brings light and unit to where the step wants them.
func (r *run) pose(ctx context.Context, s Step) error {
	if f, ok := r.Cameras[s.Camera].(sources.Follower); ok {
		f.Expect(s.Shot())
		return nil
	}
	if r.Rig == nil {
		return r.byHand(ctx, s)
	}
	if s.Place && (r.last == nil || r.last.View != s.View) && len(r.shots) > 0 {
		if err := r.ask(ctx, s, AskPose); err != nil {
			return err
		}
	}
	if r.last != nil && bothOfScreen(*r.last, s) && samePose(*r.last, s) {
		return nil // the screen changes, and nothing else
	}
	light := string(s.Light)
	if s.Light == part.NoLight || s.Light.OfScreen() {
		light = rig.Off
	}
	if err := r.onRig(ctx, s, func() error { return r.Rig.Light(ctx, light) }); err != nil {
		return err
	}
	if !turns(s, r.steps) {
		return nil
	}
	return r.onRig(ctx, s, func() error { return r.Rig.Turn(ctx, s.AngleDeg) })
}

// turns says whether a step of a plan wants the unit at an angle: an edge does, and a
// shell where the plan has it at several.
func turns(s Step, steps []Step) bool {
	return s.View == part.Edge || s.View == part.Shell && slices.ContainsFunc(steps, func(s Step) bool { return s.Turned })
}

// bothOfScreen says whether one light of the screen follows another.
func bothOfScreen(a, b Step) bool { return a.Light.OfScreen() && b.Light.OfScreen() }

// samePose says whether the unit stays as it is between two steps.
func samePose(a, b Step) bool { return a.Shot().Pose() == b.Shot().Pose() }

// byHand asks the operator for what differs from the step before. The press that
// started the unit says that it is placed for the first step.
func (r *run) byHand(ctx context.Context, s Step) error {
	if _, drops := r.Cameras[s.Camera].(sources.Dropper); drops {
		return nil // asked for with the release
	}
	if r.last == nil && len(r.shots) == 0 {
		return nil
	}
	if what := between(r.last, s); what != "" {
		return r.ask(ctx, s, what)
	}
	return nil
}

// between is what a person does between two steps, one of the Ask words; "": nothing.
// last is nil where it is not known how the unit stands.
func between(last *Step, s Step) string {
	if last == nil || last.View != s.View {
		return AskPose
	}
	sameLight, sameAngle := last.Light == s.Light || bothOfScreen(*last, s), samePose(*last, s)
	switch {
	case sameLight && sameAngle:
		return ""
	case sameLight:
		return AskTurn
	case sameAngle:
		return AskLight
	}
	return AskPose
}

// ask waits for the pedal. Presses from before the question do not count.
func (r *run) ask(ctx context.Context, s Step, what string) error {
	for empty := false; !empty; {
		select {
		case <-r.pedal:
		default:
			empty = true
		}
	}
	p := Progress{Step: s, Asking: what}
	if r.unfit != "" {
		p.Problem, p.Unfit = ProblemUnfit, r.unfit
	}
	r.tell(p)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-r.pedal:
		r.tell(Progress{Step: s})
		return nil
	}
}

// onRig does something on the rig; while its line is lost it says so and waits.
func (r *run) onRig(ctx context.Context, s Step, do func() error) error {
	wait := &wait{}
	for {
		err := do()
		var lost *rig.LostError
		var why *part.Trouble
		zero, byHand := r.Rig.(interface{ Zero(context.Context) error })
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.As(err, &lost):
			if err := r.waitOut(ctx, wait, err, Progress{Step: s, Problem: ProblemRig, Why: lost.Why, NextTry: lost.NextTry}); err != nil {
				return err
			}
		case errors.As(err, &why) && why.Key == trouble.NoPosition && byHand:
			if err := r.ask(ctx, s, AskZero); err != nil {
				return err
			}
			if err := r.onRig(ctx, s, func() error { return zero.Zero(ctx) }); err != nil {
				return err
			}
		default:
			return fmt.Errorf("shoot: %s: %w", s.File(), err)
		}
	}
}

// screenFor is what a screen shows during a step of a plan; "" where the plan has none
// before it. It is dark for steps under the rig's lamps; where it may itself be what
// lights the unit, it is white.
func (p *Plan) screenFor(s Step, steps []Step) part.Light {
	switch {
	case s.Light.OfScreen():
		return s.Light
	case !slices.ContainsFunc(steps, func(s Step) bool { return s.Light.OfScreen() }):
		return ""
	case p.Rig != nil && s.Light != part.NoLight:
		return part.Black
	}
	return part.White
}

// show has the screen show what a step needs. While no screen shows it, that is said
// and waited for.
func (r *run) show(ctx context.Context, s Step) error {
	want := r.screenFor(s, r.steps)
	// Stripes are shown anew for a second try: the screen may have slept.
	if want == "" || r.follows(s) || want == r.shown && !s.Light.OfScreen() {
		return nil
	}
	wait := &wait{}
	for {
		r.shown = want // asked for, at least
		err := r.Screen.Show(ctx, want)
		var dark *part.Trouble
		switch {
		case err == nil:
			if !wait.began.IsZero() {
				r.tell(Progress{Step: s})
			}
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.As(err, &dark):
			if err := r.waitOut(ctx, wait, err, Progress{Step: s, Problem: ProblemScreen, Why: dark}); err != nil {
				return err
			}
		default:
			return fmt.Errorf("shoot: %s: show %s on the screen: %w", s.File(), want, err)
		}
	}
}

// wait bounds how long something lost is waited for.
type wait struct {
	began    time.Time // zero: nothing was lost so far
	reported string
	until    time.Time // the next try that was told
}

// waitOut tells a loss, when it is new, and waits a moment. The error says that
// it has lasted too long.
func (r *run) waitOut(ctx context.Context, w *wait, err error, p Progress) error {
	patience := r.Patience
	if patience <= 0 {
		patience = defaultPatience
	}
	if w.began.IsZero() {
		w.began = time.Now()
	}
	if time.Since(w.began) >= patience {
		return fmt.Errorf("shoot: %s: waited for %s: %w", p.Step.File(), patience, err)
	}
	if p.Why.Error() != w.reported || !p.NextTry.Equal(w.until) {
		w.reported, w.until = p.Why.Error(), p.NextTry
		r.tell(p)
	}
	if !retry.Sleep(ctx, lookAgain) {
		return ctx.Err()
	}
	return nil
}

// take waits until all has settled and takes the newest frame from after that.
func (r *run) take(ctx context.Context, s Step) (part.Photo, error) {
	src := r.Cameras[s.Camera]
	_, drops := src.(sources.Dropper)
	wait := &wait{}
	for {
		if err := r.show(ctx, s); err != nil {
			return part.Photo{}, err
		}
		if !retry.Sleep(ctx, s.Settle) {
			return part.Photo{}, ctx.Err()
		}
		if drops {
			r.tell(Progress{Step: s, Asking: AskRelease})
		} else if !wait.began.IsZero() {
			r.tell(Progress{Step: s})
		}
		f, err := r.newest(ctx, src, drops)
		var lost *sources.LostError
		var why *part.Trouble
		switch {
		case err == nil:
			return r.photo(s, f), nil
		case ctx.Err() != nil:
			return part.Photo{}, ctx.Err()
		case errors.As(err, &lost):
			if err := r.lost(ctx, wait, s, src, err, lost); err != nil {
				return part.Photo{}, err
			}
		case errors.Is(err, context.DeadlineExceeded):
			err := fmt.Errorf("camera %s: no new frame has come for %s", s.Camera, r.frame())
			p := Progress{Step: s, Problem: ProblemCamera, Camera: s.Camera,
				Why: trouble.New(trouble.Silent, "no new frame has come for "+r.frame().String(), "seconds",
					fmt.Sprint(r.frame().Seconds()))}
			if err := r.waitOut(ctx, wait, err, p); err != nil {
				return part.Photo{}, err
			}
		case errors.As(err, &why) && why.Key == trouble.BadPicture && r.follows(s):
			return unreadable(s, why), nil
		case errors.As(err, &why) && drops:
			r.tell(Progress{Step: s, Problem: ProblemFile, Camera: s.Camera, Why: why})
		default:
			return part.Photo{}, fmt.Errorf("shoot: %s: camera %s: %w", s.File(), s.Camera, err)
		}
	}
}

func (r *run) frame() time.Duration {
	if r.Frame > 0 {
		return r.Frame
	}
	return defaultFrame
}

// newest asks for a frame from now on. A person with a camera of his own takes
// the time that he needs.
func (r *run) newest(ctx context.Context, src sources.Camera, drops bool) (sources.Frame, error) {
	if drops {
		return src.Newest(ctx, time.Now())
	}
	within, cancel := context.WithTimeout(ctx, r.frame())
	defer cancel()
	return src.Newest(within, time.Now())
}

// lost tells that a camera is lost, and waits until it delivers or patience ends.
func (r *run) lost(ctx context.Context, w *wait, s Step, src sources.Camera, err error, l *sources.LostError) error {
	p := Progress{Step: s, Problem: ProblemCamera, Camera: s.Camera, Why: l.Why, NextTry: l.NextTry}
	for {
		if err := r.waitOut(ctx, w, err, p); err != nil {
			return err
		}
		st := src.State()
		if st.Ready || st.Why == nil {
			return nil
		}
		p.Why, p.NextTry = st.Why, st.NextTry
	}
}

// endings of files, by what they are.
var endings = map[string]string{"image/jpeg": ".jpg", "image/png": ".png", "image/tiff": ".tif", "image/bmp": ".bmp"}

// photo looks at a frame. What is played back came at no time of the bench's.
func (r *run) photo(s Step, f sources.Frame) part.Photo {
	out := part.Photo{Shot: s.Shot(), Camera: s.Camera, Image: f.Image, Raw: f.Raw, MIME: f.MIME, Came: time.Now()}
	out.File = s.File() + ending(f)
	if r.follows(s) {
		out.Came = time.Time{}
		if f.Name != "" {
			out.File = f.Name
		}
	}
	out.Report = r.check(f.Image, out.Shot)
	return out
}

func ending(f sources.Frame) string {
	if e := endings[f.MIME]; e != "" {
		return e
	}
	if e := strings.ToLower(filepath.Ext(f.Name)); e != "" {
		return e
	}
	return ".png" // as which samples are kept
}

// unreadable is the photo of a file that cannot be read: not measured.
func unreadable(s Step, why *part.Trouble) part.Photo {
	p := part.Photo{Shot: s.Shot(), Camera: s.Camera}
	p.File = why.Args["file"]
	p.Report = part.PictureReport{File: p.File, View: p.View, Light: p.Light, AngleDeg: p.AngleDeg, State: part.PictureNoOK,
		Problems: []part.Problem{{Name: "unreadable", Remedy: why.Args["detail"]}}}
	return p
}
