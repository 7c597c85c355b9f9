package station

import (
	"context"
	"errors"
	"os"
	"slices"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/camera/shoot"
	"finishbench/internal/camera/sources"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/capture"
	"finishbench/internal/codec"
	"finishbench/internal/config"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// stillCamera gives one picture of a stored unit again and again, as samples; it
// can be lost.
type stillCamera struct {
	path string
	lost bool
}

func (c *stillCamera) Name() string { return "still" }
func (c *stillCamera) Close() error { return nil }
func (c *stillCamera) State() sources.State {
	if c.lost {
		return sources.State{Why: trouble.New(trouble.Silent, "no frame for 3 s", "seconds", "3")}
	}
	return sources.State{Ready: true}
}

func (c *stillCamera) Newest(context.Context, time.Time) (sources.Frame, error) {
	if c.lost {
		return sources.Frame{}, &sources.LostError{Name: "still", Why: c.State().Why}
	}
	im, err := capture.Read(c.path)
	return sources.Frame{Image: im, Taken: time.Now()}, err
}

func stillShooter(c *stillCamera) *planShooter {
	p := &shoot.Plan{
		Cameras: map[string]sources.Camera{"still": c},
		Steps: []shoot.Step{{View: part.Face, Light: part.Diffuse, Camera: "still"},
			{View: part.Face, Light: part.Raking, Camera: "still"}},
		Patience: 300 * time.Millisecond,
	}
	shipped, _ := config.LoadStation("") // a test of config holds that it loads
	return newPlanShooter(p, p, shipped.Fit)
}

// A plan without a rig asks; what came as samples is on record without loss; a
// camera that stays away is told with its name.
func TestPlanAtTheBench(t *testing.T) {
	c := &stillCamera{path: "../../../testdata/images/u01-L/face_diffuse.jpg"}
	s := stillShooter(c)
	defer s.Close()
	asked := []string{}
	press := func(p bench.Progress) {
		if p.Asking != nil {
			asked = append(asked, p.Asking.Key)
			s.Press()
		}
	}
	shots, err := s.Shoot(t.Context(), part.UnitInfo{}, nil, press)
	if err != nil || len(shots) != 2 {
		t.Fatalf("%d shots, %v", len(shots), err)
	}
	if len(asked) == 0 || !slices.Contains(asked, "ask.pose") && !slices.Contains(asked, "ask.light") {
		t.Errorf("the operator was asked %v", asked)
	}
	for _, x := range shots {
		back, err := decodeBytes(t, x.Raw)
		if err != nil || x.MIME != "image/png" || !slices.Equal(back.Pix8, x.Image.Pix8) {
			t.Errorf("%s: %s of %d bytes is not the picture (%v)", x.File, x.MIME, len(x.Raw), err)
		}
	}
	if jpeg, aid, err := s.Live("still"); err != nil || len(jpeg) < 1000 || !(aid.Focus.V > 0) {
		t.Errorf("live: %d bytes, %+v, %v", len(jpeg), aid, err)
	}
	s.Release(shots)

	c.lost = true
	shots, err = s.Shoot(t.Context(), part.UnitInfo{}, nil, press)
	var told *part.Trouble
	if len(shots) != 0 || !errors.As(err, &told) || told.Key != "problem.camera_given_up" || told.Parts["why"][0].Key != "trouble.silent" {
		t.Errorf("lost: %d shots, %v", len(shots), err)
	}
	if cams := s.Cameras(); len(cams) != 1 || cams[0].Ready || cams[0].Why.Key != "trouble.silent" {
		t.Errorf("%+v", cams)
	}
}

// All that a plan may ask or tell has its words.
func TestPlanHasItsWords(t *testing.T) {
	l, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	x := l.Choose("en", "")
	for _, step := range []shoot.Step{{View: part.Edge, Light: part.Diffuse, AngleDeg: 30}, {View: part.Face, Light: part.Diffuse},
		{View: part.Shell, Light: part.Raking, AngleDeg: 30, Turned: true}} {
		v := step.View
		for _, ask := range []string{shoot.AskTurn, shoot.AskLight, shoot.AskPose, shoot.AskRelease, shoot.AskZero} {
			p := progressOf(shoot.Progress{Step: step, Asking: ask})
			said := p.Asking
			if said == nil {
				said = p.Problem
			}
			if said == nil || !x.Has(said.Key) {
				t.Errorf("%s, %s: %+v", v, ask, said)
			}
		}
		for _, bad := range []string{shoot.ProblemCamera, shoot.ProblemRig, shoot.ProblemUnfit, shoot.ProblemFile} {
			p := progressOf(shoot.Progress{Step: step, Problem: bad, Why: trouble.New(trouble.Silent, "x", "seconds", "3")})
			if !x.Has(p.Problem.Key) || !x.Has(p.Problem.Parts["why"][0].Key) {
				t.Errorf("%s: %+v", bad, p.Problem)
			}
		}
	}
	// Before a screen a person is told of the screen, and of the shell's turn, not of the stripes.
	ask := progressOf(shoot.Progress{Step: shoot.Step{View: part.Shell, Light: part.StripesX0, AngleDeg: 90, Turned: true},
		Asking: shoot.AskPose})
	if said := x.Say(ask.Asking); said != "Place the unit: shell 90°, the screen" {
		t.Errorf("asked %q", said)
	}
	// A screen's trouble has the screens' own words, with what goes into them.
	p := progressOf(shoot.Progress{Step: shoot.Step{View: part.Face, Light: part.StripesX1}, Problem: shoot.ProblemScreen,
		Why: trouble.New("screen.problem.late", "x", "s", "6")})
	if w := p.Problem.Parts["why"][0]; !x.Has(p.Problem.Key) || !x.Has(w.Key) || w.Args["s"] != "6" {
		t.Errorf("%+v, %+v", p.Problem, w)
	}
	for _, k := range []string{trouble.Starting, trouble.NoProgram, trouble.Ended, trouble.Over, trouble.Silent, trouble.Frozen,
		trouble.NoDevice, trouble.Control, trouble.NoControl, trouble.OutOfRange, trouble.Busy,
		trouble.NoRight, trouble.Away, trouble.BadPicture, trouble.NoUnit, trouble.NoShot, trouble.Unplugged, trouble.NoAnswer,
		trouble.Refused, trouble.Garbage, trouble.Restarted, trouble.NoPosition, trouble.NoLight, trouble.Other} {
		if !x.Has(k) {
			t.Errorf("%s has no words", k)
		}
	}
}

func decodeBytes(t *testing.T, data []byte) (*part.Image, error) {
	t.Helper()
	file := t.TempDir() + "/x.png"
	if err := os.WriteFile(file, data, 0o644); err != nil {
		return nil, err
	}
	return capture.Read(file)
}

// BenchmarkEncodePNG is what a picture that came as samples costs to keep.
func BenchmarkEncodePNG(b *testing.B) {
	im, err := capture.Read("../../../testdata/images/u01-L/face_diffuse.jpg")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		_, err := codec.EncodePNG(im)
		if err != nil {
			b.Fatal(err)
		}
	}
}
