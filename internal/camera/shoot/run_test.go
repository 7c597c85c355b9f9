package shoot

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"finishbench/internal/camera/rig"
	"finishbench/internal/camera/sources"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// camera plays a source that has a frame every 100 ms.
type camera struct {
	log   *[]string
	lost  *part.Trouble
	mute  bool // ready, but no frame comes
	taken []time.Time
}

func (c *camera) Name() string { return "edge" }
func (c *camera) Close() error { return nil }
func (c *camera) State() sources.State {
	return sources.State{Ready: c.lost == nil, Why: c.lost}
}
func (c *camera) Newest(ctx context.Context, after time.Time) (sources.Frame, error) {
	if c.lost != nil {
		return sources.Frame{}, &sources.LostError{Name: "edge", Why: c.lost}
	}
	if c.mute {
		<-ctx.Done()
		return sources.Frame{}, ctx.Err()
	}
	time.Sleep(100 * time.Millisecond)
	*c.log = append(*c.log, "shoot")
	c.taken = append(c.taken, time.Now())
	return sources.Frame{Image: &part.Image{W: 1, H: 1, C: 1, Pix8: []uint8{1}}, Taken: time.Now()}, nil
}

// table plays a rig.
type table struct {
	log  *[]string
	fail func(what string) error // nil: never
	zero bool
}

func (r *table) do(what string) error {
	if r.fail != nil {
		if err := r.fail(what); err != nil {
			return err
		}
	}
	*r.log = append(*r.log, what)
	return nil
}
func (r *table) Light(_ context.Context, name string) error { return r.do("light " + name) }
func (r *table) Turn(_ context.Context, deg float64) error  { return r.do(fmt.Sprintf("turn %g", deg)) }
func (r *table) Home(context.Context) error                 { return r.do("home") }
func (r *table) Zero(context.Context) error                 { r.zero = true; return r.do("zero") }
func (r *table) State() rig.State                           { return rig.State{Ready: true} }
func (r *table) Close() error                               { return nil }

func fit(*part.Image, part.Shot) part.PictureReport { return part.PictureReport{State: part.PictureOK} }

func quiet(Progress) {}

var threeSteps = []Step{
	{View: part.Edge, Light: part.Back, Camera: "edge", Settle: 50 * time.Millisecond},
	{View: part.Edge, Light: part.Back, AngleDeg: 30, Camera: "edge", Settle: 50 * time.Millisecond},
	{View: part.Face, Light: part.Raking, Camera: "edge", Settle: 50 * time.Millisecond},
}

func files(shots []part.Photo) string {
	var out []string
	for _, s := range shots {
		out = append(out, s.File)
	}
	return strings.Join(out, " ")
}

// bed is a plan with played devices.
func bed() (*Plan, *camera, *table, *[]string) {
	log := &[]string{}
	c, r := &camera{log: log}, &table{log: log}
	return &Plan{Steps: threeSteps, Cameras: map[string]sources.Camera{"edge": c}, Rig: r}, c, r, log
}

func TestUnit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, log := bed()
		began := time.Now()
		var last Progress
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) { last = p }, nil)
		if err != nil || files(shots) != "edge_000.png edge_030.png face_raking.png" {
			t.Fatalf("%s, %v", files(shots), err)
		}
		want := []string{"light back", "turn 0", "shoot", "light back", "turn 30", "shoot", "light raking", "shoot", "light off"}
		if !slices.Equal(*log, want) {
			t.Errorf("did %q, want %q", *log, want)
		}
		if d := c.taken[2].Sub(began); d != 450*time.Millisecond { // three times settle and frame
			t.Errorf("took %v, want 450 ms", d)
		}
		if last.Done != 3 || last.Total != 3 {
			t.Errorf("last told %+v", last)
		}
	})
}

// Not fit: once more, told, the first picture handed back; then on it goes.
func TestRetryOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, _ := bed()
		dropped := 0
		p.Drop = func(*part.Image) { dropped++ }
		told := 0
		tries := map[part.View]int{}
		shots, err := p.Run(t.Context(), nil, func(_ *part.Image, s part.Shot) part.PictureReport {
			tries[s.View]++
			if s.View == part.Face {
				return part.PictureReport{State: part.PictureNoOK}
			}
			return part.PictureReport{State: part.PictureOK}
		}, func(p Progress) {
			if p.Problem == ProblemUnfit {
				told++
			}
		}, nil)
		if err != nil || tries[part.Edge] != 2 || tries[part.Face] != 2 || shots[2].Report.State != part.PictureNoOK || dropped != 1 ||
			told != 1 {
			t.Errorf("%v; tries %v, %d dropped, %d told", err, tries, dropped, told)
		}
	})
}

// A camera lost in the middle: told at once, waited for, nothing taken twice.
func TestCameraLostAndBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, log := bed()
		var told []string
		go func() {
			time.Sleep(180 * time.Millisecond) // in the second step
			c.lost = trouble.New(trouble.Ended, "the plug is loose")
			time.Sleep(10 * time.Second)
			c.lost = nil
		}()
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Problem != "" {
				told = append(told, p.Problem+" "+p.Camera+": "+p.Why.Error())
			}
		}, nil)
		if err != nil || len(shots) != 3 || strings.Count(strings.Join(*log, " "), "shoot") != 3 {
			t.Errorf("%v, %d shots, %q", err, len(shots), *log)
		}
		if !slices.Equal(told, []string{"camera edge: the plug is loose"}) {
			t.Errorf("told %q, want it once", told)
		}
	})
}

// Away for longer than patience: the shots so far come back, and a second run
// takes only what is missing.
func TestCameraStaysAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, log := bed()
		p.Patience = 20 * time.Second
		time.AfterFunc(180*time.Millisecond, func() { c.lost = trouble.New(trouble.Ended, "the plug is loose") })
		began := time.Now()
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		var lost *sources.LostError
		if !errors.As(err, &lost) || files(shots) != "edge_000.png" {
			t.Fatalf("%v, kept %s", err, files(shots))
		}
		if d := time.Since(began); d < 20*time.Second || d > 21*time.Second {
			t.Errorf("gave up after %v", d)
		}
		if (*log)[len(*log)-1] != "light off" {
			t.Errorf("did %q; the lights stayed on", *log)
		}
		*log = nil
		c.lost = nil
		shots, err = p.Run(t.Context(), shots, fit, quiet, nil)
		if err != nil || files(shots) != "edge_000.png edge_030.png face_raking.png" ||
			strings.Count(strings.Join(*log, " "), "shoot") != 2 {
			t.Errorf("second run: %v, %s, did %q", err, files(shots), *log)
		}
	})
}

// A camera that claims to be well and sends nothing.
func TestNoFrame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, _ := bed()
		c.mute = true
		p.Patience = 12 * time.Second
		var why string
		_, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Why != nil {
				why = p.Why.Error()
			}
		}, nil)
		if err == nil || why != "no new frame has come for 5s" {
			t.Errorf("%v, told %q", err, why)
		}
	})
}

func TestRigLostAndBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, r, log := bed()
		began := time.Now()
		r.fail = func(what string) error {
			if what == "turn 30" && time.Since(began) < 8*time.Second {
				return &rig.LostError{Why: trouble.New(trouble.Unplugged, "the line went away")}
			}
			return nil
		}
		told := 0
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Problem == ProblemRig {
				told++
			}
		}, nil)
		if err != nil || len(shots) != 3 || told != 1 || strings.Count(strings.Join(*log, ","), "turn 30") != 1 {
			t.Errorf("%v, %d shots, told %d times, did %q", err, len(shots), told, *log)
		}
	})
}

// What the controller refuses ends the unit; the shots stay.
func TestRigRefuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, r, _ := bed()
		r.fail = func(what string) error {
			if what == "light raking" {
				return trouble.New(trouble.Refused, "the controller refused M3: error:9")
			}
			return nil
		}
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		if err == nil || !strings.Contains(err.Error(), "face_raking: the controller refused M3: error:9") || len(shots) != 2 {
			t.Errorf("%v, %d shots", err, len(shots))
		}
	})
}

// Where the table stands is not known: the operator turns it to zero.
func TestZeroByHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, r, _ := bed()
		r.fail = func(what string) error {
			if strings.HasPrefix(what, "turn") && !r.zero {
				return trouble.New(trouble.NoPosition, "not known")
			}
			return nil
		}
		pedal := make(chan struct{}, 1)
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking == AskZero {
				pedal <- struct{}{}
			}
		}, pedal)
		if err != nil || len(shots) != 3 || !r.zero {
			t.Errorf("%v, %d shots, zero %v", err, len(shots), r.zero)
		}
	})
}

func TestCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := bed()
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(170*time.Millisecond, cancel) // while the second step settles
		shots, err := p.Run(ctx, nil, fit, quiet, nil)
		if !errors.Is(err, context.Canceled) || len(shots) != 1 || (*log)[len(*log)-1] != "light off" {
			t.Errorf("%v, %d shots, did %q", err, len(shots), *log)
		}
	})
}

// Without a rig the operator is asked for what changes, and for nothing else. A
// press from before the question does not count.
func TestByHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, _ := bed()
		p.Rig = nil
		p.Steps = append(slices.Clone(threeSteps), Step{View: part.Face, Light: part.Diffuse, Camera: "edge"})
		pedal := make(chan struct{}, 1)
		pedal <- struct{}{} // too early
		var asked []string
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking != "" {
				asked = append(asked, p.Asking)
				time.AfterFunc(time.Second, func() { pedal <- struct{}{} })
			}
		}, pedal)
		if err != nil || len(shots) != 4 || !slices.Equal(asked, []string{AskTurn, AskPose, AskLight}) {
			t.Errorf("%v, %d shots, asked %q", err, len(shots), asked)
		}
	})
}

// played is a replay that gives one unit after the other.
type played struct {
	camera
	units int
	want  part.Shot
}

func (p *played) NextUnit() ([]part.Shot, error) {
	p.units++
	return []part.Shot{{File: "edge_000.jpg", View: part.Edge}, {File: "face_raking.jpg", View: part.Face, Light: part.Raking}}, nil
}
func (p *played) Expect(s part.Shot) { p.want = s }
func (p *played) Newest(context.Context, time.Time) (sources.Frame, error) {
	if p.want.View == part.Face {
		return sources.Frame{}, trouble.New(trouble.BadPicture, "face_raking.jpg is cut off", "file", "face_raking.jpg", "detail",
			"cut off")
	}
	return sources.Frame{Image: &part.Image{W: 1, H: 1, C: 1, Pix8: []uint8{1}}, Raw: []byte("x"), MIME: "image/jpeg",
		Name: "edge_000.jpg"}, nil
}

// A replay is the plan where there is none; nobody is asked to turn anything; a
// file that cannot be read is a shot that is not measured.
func TestReplay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &played{}
		p := &Plan{Cameras: map[string]sources.Camera{"edge": c}}
		began := time.Now()
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		if err != nil || files(shots) != "edge_000.jpg face_raking.jpg" || time.Since(began) != 0 {
			t.Fatalf("%v, %s after %v", err, files(shots), time.Since(began))
		}
		if s := shots[1]; s.Image != nil || s.Report.State != part.PictureNoOK || s.Report.Problems[0].Remedy != "cut off" {
			t.Errorf("the file that cannot be read: %+v", s)
		}
		// What is kept stays with its unit; a new one goes on.
		if _, err := p.Run(t.Context(), shots[:1], fit, quiet, nil); err != nil || c.units != 1 {
			t.Errorf("%v, %d units begun, want 1", err, c.units)
		}
		if _, err := p.Run(t.Context(), nil, fit, quiet, nil); err != nil || c.units != 2 {
			t.Errorf("%v, %d units begun, want 2", err, c.units)
		}
	})
}

func TestStepFiles(t *testing.T) {
	for _, c := range []struct {
		s    Step
		want string
	}{
		{Step{View: part.Edge}, "edge_000"}, {Step{View: part.Edge, AngleDeg: 22.5}, "edge_022.5"},
		{Step{View: part.Edge, AngleDeg: 330}, "edge_330"}, {Step{View: part.Edge, AngleDeg: -30}, "edge_-30"},
		{Step{View: part.Shell, Light: part.Diffuse}, "shell_diffuse"},
		{Step{View: part.Shell, Light: part.Diffuse, Turned: true}, "shell_000_diffuse"},
		{Step{View: part.Shell, Light: part.StripesX1, AngleDeg: 45, Turned: true}, "shell_045_stripes_x1"},
	} {
		if got := c.s.File(); got != c.want {
			t.Errorf("%+v: %s, want %s", c.s, got, c.want)
		}
	}
}

func TestPlanRefused(t *testing.T) {
	p, _, _, _ := bed()
	p.Steps = append(slices.Clone(threeSteps), threeSteps[0])
	if err := p.Validate(); err == nil || !strings.Contains(err.Error(), "edge_000 is there twice") {
		t.Errorf("%v", err)
	}
	p.Steps = []Step{{View: part.Edge, Camera: "top"}}
	if err := p.Validate(); err == nil || !strings.Contains(err.Error(), `there is no camera "top"`) {
		t.Errorf("%v", err)
	}
	if err := (&Plan{}).Validate(); err == nil {
		t.Error("an empty plan was taken")
	}
}
