package station

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/camera/rig"
	"finishbench/internal/camera/shoot"
	"finishbench/internal/camera/sources"
	"finishbench/internal/capture"
	"finishbench/internal/codec"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/proof"
)

// planShooter carries the station's shooting plans out for the bench.
type planShooter struct {
	plan  *shoot.Plan
	wet   *shoot.Plan // for units at stage wet: the same devices, and mostly the same plan
	fit   part.FitLimits
	pedal chan struct{}
	keep  *underway // nil: pictures are kept in memory alone
	log   func(format string, a ...any)

	mu    sync.Mutex
	last  map[string]livePicture       // of cameras that cannot be looked through between shots
	files map[*part.Image]*pictureFile // of pictures of the unit under way that came as samples
}

// pictureFile is a PNG in the making.
type pictureFile struct {
	done chan struct{}
	data []byte
	err  error
}

// liveWait is how long a live picture is waited for.
const liveWait = 400 * time.Millisecond

// newPlanShooter takes pictures by a plan, and by wet at stage wet.
func newPlanShooter(p, wet *shoot.Plan, fit part.FitLimits) *planShooter {
	s := &planShooter{plan: p, wet: wet, fit: fit, pedal: make(chan struct{}, 1), last: map[string]livePicture{},
		files: map[*part.Image]*pictureFile{}}
	drop := func(im *part.Image) {
		s.fileOf(im) // nobody reads its pixels any more after this
		capture.Release(im)
	}
	p.Drop, wet.Drop = drop, drop
	return s
}

// steps are those of both plans.
func (s *planShooter) steps() []shoot.Step {
	if s.wet == s.plan {
		return s.plan.Steps
	}
	return slices.Concat(s.plan.Steps, s.wet.Steps)
}

// Shoot is [bench.Shooter].
func (s *planShooter) Shoot(ctx context.Context, u part.UnitInfo, kept []part.Photo, say func(bench.Progress)) ([]part.Photo, error) {
	select {
	case <-s.pedal: // pressed for the unit before
	default:
	}
	seen := &inspection.SeenShots{}
	for _, k := range kept {
		if k.Image != nil && k.Report.State == part.PictureOK {
			seen.Differs(k.Shot, proof.Look(k.Image, k.Shot))
		}
	}
	check := func(im *part.Image, shot part.Shot) part.PictureReport {
		if s.samples(shot) {
			s.beginFile(im)
		}
		r := capture.Check(im, shot, s.fit)
		if r.State == part.PictureOK && shot.Searched() && !shot.Light.OfScreen() {
			if d := seen.Differs(shot, proof.Look(im, shot)); d != nil {
				inspection.Refuse(&r, d.Name, d.Remedy)
			}
		}
		return r
	}
	plan := s.plan
	if u.Stage == part.Wet {
		plan = s.wet
	}
	var keeping sync.WaitGroup
	shots, err := plan.Run(ctx, kept, check, func(p shoot.Progress) {
		if p.Taken != nil && s.keep != nil {
			taken, file := *p.Taken, s.begunFile(p.Taken.Image)
			if file == nil { // kept before it is told of
				s.keepTaken(taken, nil)
			} else { // its file takes a moment, in which the next picture is taken
				keeping.Go(func() { s.keepTaken(taken, file) })
			}
		}
		say(progressOf(p))
	}, s.pedal)
	keeping.Wait() // none is kept for the next unit
	for _, x := range shots {
		s.keepLast(x)
	}
	unkept := s.keepSamples(shots) // also of a unit that broke off: its pixels are free then
	if err != nil {
		return shots, inWords(err)
	}
	return shots, unkept
}

// samples says whether a shot's camera gives samples rather than files.
func (s *planShooter) samples(shot part.Shot) bool {
	for _, st := range s.steps() {
		if p := st.Shot(); p.Pose() == shot.Pose() && p.Light == shot.Light {
			return !shotsOnly(s.plan.Cameras[st.Camera])
		}
	}
	return false
}

// beginFile makes a picture's file while the next one is being taken: a PNG,
// which loses nothing.
func (s *planShooter) beginFile(im *part.Image) {
	f := &pictureFile{done: make(chan struct{})}
	s.mu.Lock()
	s.files[im] = f
	s.mu.Unlock()
	go func() {
		defer close(f.done)
		f.err = inspection.Guard(func() (err error) { f.data, err = codec.EncodePNG(im); return err })
	}()
}

// begunFile is a picture's file in the making; nil where there is none.
func (s *planShooter) begunFile(im *part.Image) *pictureFile {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.files[im]
}

// keepTaken keeps a picture for the case that the program ends before the unit does.
func (s *planShooter) keepTaken(x part.Photo, file *pictureFile) {
	raw := x.Raw
	if raw == nil && file != nil {
		<-file.done
		raw = file.data
	}
	if raw == nil { // it could not be read, and is taken again then
		return
	}
	if err := s.keep.add(x, raw); err != nil {
		s.log("bench: %s would not survive the program's end: %v", x.File, err)
	}
}

// fileOf waits for a picture's file; nil where none was begun.
func (s *planShooter) fileOf(im *part.Image) *pictureFile {
	s.mu.Lock()
	f := s.files[im]
	delete(s.files, im)
	s.mu.Unlock()
	if f != nil {
		<-f.done
	}
	return f
}

// keepSamples gives the pictures that came as samples their files.
func (s *planShooter) keepSamples(shots []part.Photo) error {
	for i := range shots {
		x := &shots[i]
		if x.Raw != nil || x.Image == nil {
			continue
		}
		f := s.fileOf(x.Image)
		if f == nil {
			f = &pictureFile{}
			f.data, f.err = codec.EncodePNG(x.Image)
		}
		if f.err != nil {
			return f.err
		}
		x.Raw, x.MIME = f.data, "image/png"
	}
	return nil
}

// progressOf puts a plan's progress into phrases.
func progressOf(p shoot.Progress) bench.Progress {
	b := bench.Progress{Done: p.Done, Total: p.Total, View: p.Step.View, Light: p.Step.Light, AngleDeg: p.Step.AngleDeg}
	args := map[string]string{"angle": strconv.FormatFloat(p.Step.AngleDeg, 'f', -1, 64), "view": "@view." + string(p.Step.View),
		"light": "@light." + string(p.Step.Light), "camera": p.Camera}
	if p.Asking != "" && p.Step.Light.OfScreen() {
		args["light"] = "@light.screen" // what it shows is not the operator's to switch
	}
	pose := func(key string) *part.Phrase {
		if p.Step.View == part.Edge {
			key += "_edge"
		} else if p.Step.Turned {
			key += "_turn"
		}
		return &part.Phrase{Key: key, Args: args}
	}
	switch p.Asking {
	case shoot.AskTurn, shoot.AskLight, shoot.AskZero:
		b.Asking = &part.Phrase{Key: "ask." + p.Asking, Args: args}
	case shoot.AskPose:
		b.Asking = pose("ask.pose")
	case shoot.AskRelease:
		b.Problem = pose("ask.release") // the camera's own release: a press here does nothing
	}
	if p.Problem != "" {
		if p.Why != nil {
			args["file"] = p.Why.Args["file"]
		}
		why := part.Say("problem.other")
		if p.Why != nil {
			why = p.Why.Phrase
		} else if p.Unfit == proof.SameTurn || p.Unfit == proof.SameLight {
			why = part.Say("problem." + p.Unfit)
		}
		b.Problem = &part.Phrase{Key: "problem." + p.Problem, Args: args, Parts: map[string][]part.Phrase{"why": {why}}}
	}
	return b
}

// inWords gives an error of the plan its phrase.
func inWords(err error) error {
	var camera *sources.LostError
	var line *rig.LostError
	var why *part.Trouble
	switch {
	case errors.As(err, &camera):
		return &part.Trouble{Phrase: part.Say("problem.camera_given_up", "camera", camera.Name).With("why", camera.Why.Phrase), Err: err}
	case errors.As(err, &line):
		return &part.Trouble{Phrase: part.Say("problem.rig_given_up").With("why", line.Why.Phrase), Err: err}
	case errors.As(err, &why):
		return &part.Trouble{Phrase: part.Say("problem.shooter").With("why", why.Phrase), Err: err}
	}
	return err
}

// Press is the operator's answer to what was asked.
func (s *planShooter) Press() {
	select {
	case s.pedal <- struct{}{}:
	default:
	}
}

// names are the cameras, in the order of the plan's steps, then by name.
func (s *planShooter) names() []string {
	var out []string
	for _, st := range s.steps() {
		if s.plan.Cameras[st.Camera] != nil && !slices.Contains(out, st.Camera) {
			out = append(out, st.Camera)
		}
	}
	var rest []string
	for name := range s.plan.Cameras {
		if !slices.Contains(out, name) {
			rest = append(rest, name)
		}
	}
	slices.Sort(rest)
	return append(out, rest...)
}

func (s *planShooter) Cameras() []bench.CameraState {
	var out []bench.CameraState
	for _, name := range s.names() {
		st := s.plan.Cameras[name].State()
		c := bench.CameraState{Name: name, Ready: st.Ready}
		if st.Why != nil {
			c.Why = &st.Why.Phrase
		}
		out = append(out, c)
	}
	return out
}

// errNoLive says that a camera has no picture yet.
var errNoLive = errors.New("no picture yet")

// Live is what a camera sees. A camera that only drops files, and a replay, show
// their last shot: looking would take the next one away.
func (s *planShooter) Live(camera string) ([]byte, bench.Aid, error) {
	src := s.plan.Cameras[camera]
	if src == nil {
		return nil, bench.Aid{}, errNoLive
	}
	if shotsOnly(src) {
		s.mu.Lock()
		defer s.mu.Unlock()
		l, ok := s.last[camera]
		if !ok {
			return nil, bench.Aid{}, errNoLive
		}
		return l.jpeg, l.aid, nil
	}
	ctx, stop := context.WithTimeout(context.Background(), liveWait)
	defer stop()
	f, err := src.Newest(ctx, time.Time{})
	if err != nil {
		return nil, bench.Aid{}, err
	}
	defer capture.Release(f.Image)
	jpeg, err := liveJPEG(f.Image)
	return jpeg, aidOf(f.Image, s.shotOf(camera), s.fit), err
}

// shotsOnly says whether a camera gives its shots as files and nothing else.
func shotsOnly(src sources.Camera) bool {
	_, follows := src.(sources.Follower)
	_, drops := src.(sources.Dropper)
	return follows || drops
}

// shotOf is what a camera is for: its first step.
func (s *planShooter) shotOf(camera string) part.Shot {
	for _, st := range s.steps() {
		if st.Camera == camera {
			return st.Shot()
		}
	}
	return part.Shot{View: part.Face}
}

// keepLast keeps a shot as its camera's live picture, where there is no other.
func (s *planShooter) keepLast(x part.Photo) {
	if x.Image == nil || !shotsOnly(s.plan.Cameras[x.Camera]) {
		return
	}
	jpeg, err := liveJPEG(x.Image)
	if err != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last[x.Camera] = livePicture{jpeg, aidOf(x.Image, x.Shot, s.fit)}
}

func (s *planShooter) Release(shots []part.Photo) { releaseShots(shots) }

// Close ends the cameras and the rig.
func (s *planShooter) Close() error {
	var errs []error
	for _, name := range s.names() {
		errs = append(errs, s.plan.Cameras[name].Close())
	}
	if s.plan.Rig != nil {
		errs = append(errs, s.plan.Rig.Close())
	}
	return errors.Join(errs...)
}
