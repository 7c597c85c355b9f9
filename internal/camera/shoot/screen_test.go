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

	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// tablet plays a screen.
type tablet struct {
	log  *[]string
	dark func() *part.Trouble // nil: it always shows
	err  error
}

func (s *tablet) Show(_ context.Context, l part.Light) error {
	if s.err != nil {
		return s.err
	}
	if s.dark != nil {
		if why := s.dark(); why != nil {
			return why
		}
	}
	time.Sleep(50 * time.Millisecond)
	*s.log = append(*s.log, "show "+string(l))
	return nil
}

var faceStep = Step{View: part.Face, Camera: "edge", Settle: 50 * time.Millisecond}

// beforeScreen is a plan of a face before a screen, with played devices.
func beforeScreen() (*Plan, *camera, *tablet, *[]string) {
	p, c, _, log := bed()
	s := &tablet{log: log}
	p.Steps, p.Screen = BeforeScreen(faceStep, part.ScreenLights), s
	return p, c, s, log
}

// theSet is what is done for a full set, in order, and its files: the names are those of the
// table in docs/formats.md.
var (
	setLights = strings.Fields("white black stripes_x0 stripes_x1 stripes_x2 stripes_x3 stripes_y0 stripes_y1 stripes_y2 stripes_y3")
	setFiles  = "face_white.png face_black.png face_stripes_x0.png face_stripes_x1.png face_stripes_x2.png face_stripes_x3.png " +
		"face_stripes_y0.png face_stripes_y1.png face_stripes_y2.png face_stripes_y3.png"
)

func theSet() []string { return aSet(setLights) }

func aSet(lights []string) (did []string) {
	for _, l := range lights {
		did = append(did, "show "+l, "shoot")
	}
	return did
}

func TestSetNames(t *testing.T) {
	full, short := part.ScreenLights, part.ShortLights
	for _, c := range []struct {
		s      Step
		lights []part.Light
		want   string
	}{
		{faceStep, full, "face_white face_black face_stripes_x0 face_stripes_x1 face_stripes_x2 face_stripes_x3 face_stripes_y0 " +
			"face_stripes_y1 face_stripes_y2 face_stripes_y3"},
		{faceStep, short, "face_stripes_x0 face_stripes_x1 face_stripes_x2 face_stripes_y0 face_stripes_y1 face_stripes_y2"},
		{Step{View: part.Shell, AngleDeg: 45, Turned: true}, short,
			"shell_045_stripes_x0 shell_045_stripes_x1 shell_045_stripes_x2 " +
				"shell_045_stripes_y0 shell_045_stripes_y1 shell_045_stripes_y2"},
		{Step{View: part.Shell, AngleDeg: 45, Turned: true}, full,
			"shell_045_white shell_045_black shell_045_stripes_x0 shell_045_stripes_x1 shell_045_stripes_x2 shell_045_stripes_x3 " +
				"shell_045_stripes_y0 shell_045_stripes_y1 shell_045_stripes_y2 shell_045_stripes_y3"},
	} {
		var got []string
		for _, s := range BeforeScreen(c.s, c.lights) {
			got = append(got, s.File())
			if s.Camera != c.s.Camera || s.Settle != c.s.Settle {
				t.Errorf("%+v is not shot as %+v", s, c.s)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s, want %s", strings.Join(got, " "), c.want)
		}
	}
}

// Lamps out once, each pattern before its picture, white at the end.
func TestFaceBeforeScreen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, log := beforeScreen()
		began := time.Now()
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		if err != nil || files(shots) != setFiles {
			t.Fatalf("%s, %v", files(shots), err)
		}
		want := append(append([]string{"light off"}, theSet()...), "light off", "show white")
		if !slices.Equal(*log, want) {
			t.Errorf("did %q\nwant %q", *log, want)
		}
		if d := c.taken[9].Sub(began); d != 2*time.Second { // ten times screen, settle and frame
			t.Errorf("took %v, want 2 s", d)
		}
	})
}

// The short set: six pictures, in 6/10 of the time.
func TestShortSetBeforeScreen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, c, _, log := beforeScreen()
		p.Steps = BeforeScreen(faceStep, part.ShortLights)
		began := time.Now()
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		want := slices.Concat([]string{"light off"},
			aSet(strings.Fields("stripes_x0 stripes_x1 stripes_x2 stripes_y0 stripes_y1 stripes_y2")), []string{"light off", "show white"})
		if err != nil || len(shots) != 6 || !slices.Equal(*log, want) {
			t.Errorf("%d shots, %v, did %q\nwant %q", len(shots), err, *log, want)
		}
		if d := c.taken[5].Sub(began); d != 1200*time.Millisecond { // six times screen, settle and frame
			t.Errorf("took %v, want 1.2 s", d)
		}
	})
}

// What a plan says of the time for which the unit stands still is what it takes, here by
// the clock of the test: played devices that take 50 ms for a light, 100 ms for a picture.
func TestStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		times := Times{Picture: map[string]time.Duration{"edge": 100 * time.Millisecond}, Show: 50 * time.Millisecond}
		p, c, s, _ := beforeScreen()
		full, short := BeforeScreen(faceStep, part.ScreenLights), BeforeScreen(faceStep, part.ShortLights)
		raking, diffuse := Step{View: part.Face, Light: part.Raking, Camera: "edge"}, Step{View: part.Face, Light: part.Diffuse,
			Camera: "edge"}
		shell := BeforeScreen(Step{View: part.Shell, AngleDeg: 90, Turned: true, Camera: "edge"}, part.ShortLights)
		table := p.Rig
		for _, x := range []struct {
			what  string
			steps []Step
			hand  bool
			least bool
		}{
			{"full set", full, false, false},
			{"short set", short, false, false},
			{"short set by hand", short, true, false},
			{"under lamps and before the screen", slices.Concat([]Step{raking, diffuse}, full), false, false},
			{"switched by hand", slices.Concat(full, []Step{raking}), true, true},
			{"turned", shell, false, true},
			{"under lamps alone", []Step{raking, diffuse}, false, false},
		} {
			p.Steps, p.Rig, c.taken = x.steps, table, nil
			if x.hand {
				p.Rig = nil
			}
			pedal := make(chan struct{}, 1)
			began := time.Now()
			if _, err := p.Run(t.Context(), nil, fit, func(p Progress) {
				if p.Asking != "" {
					time.AfterFunc(0, func() { pedal <- struct{}{} }) // no time: what a person takes is not known
				}
			}, pedal); err != nil {
				t.Fatal(err)
			}
			took := c.taken[len(c.taken)-1].Sub(began)
			if d, least := p.Stopped(times); d != took || least != x.least {
				t.Errorf("%s: %v, at least: %v; it took %v", x.what, d, least, took)
			}
		}
		// A screen that keeps each light for 400 ms, a camera that nothing is known of.
		p.Steps, p.Rig, p.Screen = short, table, s
		times.Hold = 400 * time.Millisecond
		if d, least := p.Stopped(times); d != 5*450*time.Millisecond+200*time.Millisecond || least { // the last is not waited out
			t.Errorf("held: %v, %v", d, least)
		}
		times.Picture = nil
		if d, least := p.Stopped(times); d != 5*450*time.Millisecond+100*time.Millisecond || !least {
			t.Errorf("camera not known: %v, %v", d, least)
		}
	})
}

// A shell before a screen, at two turns and then under a lamp without one: the turntable
// turns once for each set, and back to 0; without a rig the operator is asked to, once each.
func TestShellTurnsBeforeScreen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := beforeScreen()
		turn := func(deg float64) []Step {
			return BeforeScreen(Step{View: part.Shell, AngleDeg: deg, Turned: true, Camera: "edge"}, part.ScreenLights)
		}
		p.Steps = slices.Concat(turn(0), turn(90), []Step{{View: part.Shell, Light: part.Raking, Camera: "edge"}})
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		want := slices.Concat([]string{"light off", "turn 0"}, theSet(), []string{"light off", "turn 90"}, theSet(),
			[]string{"light raking", "turn 0", "show black", "shoot", "light off", "show white"})
		if err != nil || len(shots) != 21 || !slices.Equal(*log, want) {
			t.Errorf("%d shots, %v; did %q\nwant %q", len(shots), err, *log, want)
		}
		if got := shots[19]; got.File != "shell_090_stripes_y3.png" || got.Shot.Pose() != part.PoseOf(part.Shell, 90) {
			t.Errorf("%+v", got)
		}
		p.Rig, *log = nil, nil
		var asked []string
		pedal := make(chan struct{}, 1)
		shots, err = p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking != "" {
				asked = append(asked, p.Asking+" "+p.Step.File())
				time.AfterFunc(time.Second, func() { pedal <- struct{}{} })
			}
		}, pedal)
		if err != nil || len(shots) != 21 || !slices.Equal(asked, []string{"turn shell_090_white", "pose shell_raking"}) {
			t.Errorf("by hand: %d shots, %v, asked %q", len(shots), err, asked)
		}
	})
}

// Four turns of the shell under two lights: turn by turn the table turns four times, light
// by light eight; Turns tells. By hand the operator turns three times and switches between; a shot that was
// kept is not taken again, at whatever whole turn its angle was told.
func TestShellTurnsUnderLamps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := bed()
		at := func(deg float64, l part.Light) Step {
			return Step{View: part.Shell, Light: l, AngleDeg: deg, Turned: true, Camera: "edge"}
		}
		var byTurn, byLight []Step
		for _, deg := range []float64{0, 90, 180, -90} {
			byTurn = append(byTurn, at(deg, part.Diffuse), at(deg, part.Raking))
		}
		for _, l := range []part.Light{part.Diffuse, part.Raking} {
			for _, deg := range []float64{0, 90, 180, 270} {
				byLight = append(byLight, at(deg, l))
			}
		}
		edge := []Step{{View: part.Edge, Light: part.Back, AngleDeg: 30, Camera: "edge"},
			{View: part.Face, Light: part.Diffuse, Camera: "edge"}}
		for _, x := range []struct {
			steps    []Step
			n, least int
		}{{byTurn, 4, 4}, {byLight, 8, 4}, {slices.Concat(edge, byTurn), 5, 5}, {edge, 1, 1},
			{BeforeScreen(at(90, ""), part.ShortLights), 1, 1}} {
			p.Steps = x.steps
			if n, least := p.Turns(); n != x.n || least != x.least {
				t.Errorf("%d steps: %d turns, %d at least; want %d, %d", len(x.steps), n, least, x.n, x.least)
			}
		}
		p.Steps = byTurn
		kept := []part.Photo{{Shot: at(0, part.Raking).Shot()}, {Shot: at(270, part.Diffuse).Shot()}}
		kept[0].File, kept[1].File = "shell_000_raking.png", "shell_270_diffuse.png"
		shots, err := p.Run(t.Context(), kept, fit, quiet, nil)
		if want := "light diffuse turn 0 shoot light diffuse turn 90 shoot light raking turn 90 shoot light diffuse turn 180 shoot light " +
			"raking turn 180 shoot light raking turn -90 shoot light off"; err != nil || strings.Join(*log, " ") != want {
			t.Errorf("%v; did %q\nwant %q", err, *log, want)
		}
		if got, want := files(shots),
			"shell_000_diffuse.png shell_000_raking.png shell_090_diffuse.png shell_090_raking.png shell_180_diffuse.png "+
				"shell_180_raking.png shell_270_diffuse.png shell_-90_raking.png"; got != want {
			t.Errorf("%s, want %s", got, want)
		}
		if last := shots[7].Shot; last.AngleDeg != 270 || last.Pose() != shots[6].Shot.Pose() {
			t.Errorf("%+v", last)
		}
		p.Rig = nil
		var asked []string
		pedal := make(chan struct{}, 1)
		if _, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking != "" {
				asked = append(asked, p.Asking)
				time.AfterFunc(time.Second, func() { pedal <- struct{}{} })
			}
		}, pedal); err != nil || strings.Join(asked, " ") != "light pose light pose light pose light" {
			t.Errorf("by hand: %v, asked %q", err, asked)
		}
	})
}

// Beside steps under lamps: while these light, the screen is dark; while none does, it
// may itself light the unit.
func TestScreenBesideLamps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := beforeScreen()
		p.Steps = slices.Concat([]Step{{View: part.Edge, Camera: "edge"}, {View: part.Face, Light: part.Raking, Camera: "edge"}}, p.Steps,
			[]Step{{View: part.Face, Light: part.Diffuse, Camera: "edge"}})
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		want := slices.Concat([]string{"light off", "turn 0", "show white", "shoot", "light raking", "show black", "shoot", "light off"},
			theSet(), []string{"light diffuse", "show black", "shoot", "light off", "show white"})
		if err != nil || len(shots) != 13 || !slices.Equal(*log, want) {
			t.Errorf("%d shots, %v; did %q\nwant %q", len(shots), err, *log, want)
		}
	})
}

// Without a rig the operator is not asked for what the screen does by itself.
func TestScreenByHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := beforeScreen()
		p.Rig = nil
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking != "" {
				t.Fatalf("asked %q for %s", p.Asking, p.Step.File())
			}
		}, nil)
		if err != nil || len(shots) != 10 || !slices.Equal(*log, append(theSet(), "show white")) {
			t.Errorf("%d shots, %v, did %q", len(shots), err, *log)
		}
		// From lamps to the screen and back they are asked for, once each.
		*log = nil
		p.Steps = slices.Concat([]Step{{View: part.Face, Light: part.Raking, Camera: "edge"}}, p.Steps,
			[]Step{{View: part.Face, Light: part.Diffuse, Camera: "edge"}})
		var asked []string
		pedal := make(chan struct{}, 1)
		shots, err = p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Asking != "" {
				asked = append(asked, p.Asking+" "+p.Step.File())
				time.AfterFunc(time.Second, func() { pedal <- struct{}{} })
			}
		}, pedal)
		want := slices.Concat([]string{"show white", "shoot"}, theSet(), []string{"show white", "shoot"})
		if err != nil || len(shots) != 12 || !slices.Equal(asked, []string{"light face_white", "light face_diffuse"}) ||
			!slices.Equal(*log, want) {
			t.Errorf("%d shots, %v, asked %q, did %q", len(shots), err, asked, *log)
		}
	})
}

// A tablet that is missing, then asleep: each told once, waited for; when it is back
// that is told, and nothing is taken twice or under no light.
func TestScreenLostAndBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, s, log := beforeScreen()
		began := time.Now()
		s.dark = func() *part.Trouble {
			switch d := time.Since(began); {
			case d < 500*time.Millisecond:
				return nil
			case d < 5*time.Second:
				return trouble.New("screen.problem.none", "no page is open")
			case d < 20*time.Second:
				return trouble.New("screen.problem.hidden", "it is asleep")
			}
			return nil
		}
		var told []string
		lost := false
		shots, err := p.Run(t.Context(), nil, fit, func(p Progress) {
			if p.Problem != "" {
				told, lost = append(told, p.Problem+" "+p.Why.Error()), true
			} else if lost {
				told, lost = append(told, fmt.Sprintf("well before picture %d", p.Done+1)), false
			}
		}, nil)
		if err != nil || len(shots) != 10 || !slices.Equal(*log, slices.Concat([]string{"light off"}, theSet(),
			[]string{"light off", "show white"})) {
			t.Errorf("%d shots, %v, did %q", len(shots), err, *log)
		}
		if want := []string{"screen no page is open", "screen it is asleep", "well before picture 4"}; !slices.Equal(told, want) {
			t.Errorf("told %q, want %q", told, want)
		}
	})
}

// Away for longer than patience: the lamps are out, the shots stay, and a second run
// takes only what is missing.
func TestScreenStaysAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, s, log := beforeScreen()
		p.Patience = 20 * time.Second
		began := time.Now()
		away := true
		s.dark = func() *part.Trouble {
			if away && time.Since(began) > 500*time.Millisecond {
				return trouble.New("screen.problem.none", "no page is open")
			}
			return nil
		}
		shots, err := p.Run(t.Context(), nil, fit, quiet, nil)
		var dark *part.Trouble
		if !errors.As(err, &dark) || !strings.Contains(err.Error(), "face_stripes_x1: waited for 20s") ||
			files(shots) != "face_white.png face_black.png face_stripes_x0.png" {
			t.Fatalf("%v, kept %s", err, files(shots))
		}
		if d := time.Since(began); d < 20*time.Second || d > 21*time.Second {
			t.Errorf("gave up after %v", d)
		}
		if (*log)[len(*log)-1] != "light off" {
			t.Errorf("did %q; the lights stayed on", *log)
		}
		*log, away = nil, false
		shots, err = p.Run(t.Context(), shots, fit, quiet, nil)
		if want := slices.Concat([]string{"light off"}, theSet()[6:], []string{"light off", "show white"}); err != nil ||
			files(shots) != setFiles || !slices.Equal(*log, want) {
			t.Errorf("second run: %v, %s, did %q\nwant %q", err, files(shots), *log, want)
		}
	})
}

// A picture that is not fit may be that of a screen that slept: its pattern is shown
// anew before the second try.
func TestScreenShownAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, log := beforeScreen()
		tries := 0
		_, err := p.Run(t.Context(), nil, func(_ *part.Image, s part.Shot) part.PictureReport {
			if s.Light == part.White {
				if tries++; tries == 1 {
					return part.PictureReport{State: part.PictureNoOK}
				}
			}
			return part.PictureReport{State: part.PictureOK}
		}, quiet, nil)
		if want := []string{"light off", "show white", "shoot", "show white", "shoot", "show black"}; err != nil ||
			!slices.Equal((*log)[:6], want) {
			t.Errorf("%v, did %q", err, *log)
		}
	})
}

// What no screen can show ends the unit; a broken-off unit leaves the screen white too.
func TestScreenRefuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, s, log := beforeScreen()
		s.err = errors.New("a period of 0")
		if _, err := p.Run(t.Context(), nil, fit, quiet, nil); err == nil ||
			!strings.Contains(err.Error(), "face_white: show white on the screen: a period of 0") {
			t.Errorf("%v", err)
		}
		s.err, *log = nil, nil
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(520*time.Millisecond, cancel) // while the third pattern settles
		if _, err := p.Run(ctx, nil, fit, quiet, nil); !errors.Is(err, context.Canceled) ||
			!slices.Equal((*log)[len(*log)-2:], []string{"light off", "show white"}) {
			t.Errorf("%v, did %q", err, *log)
		}
	})
}

func TestScreenWanted(t *testing.T) {
	p, _, _, _ := beforeScreen()
	p.Screen = nil
	if err := p.Validate(); err == nil || !strings.Contains(err.Error(), "face_white: there is no screen") {
		t.Errorf("%v", err)
	}
}

// The pictures of a set are checked as such that are looked into, those of a part of one,
// and of a shell, as such that are not.
func TestSetsChecked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _, _, _ := beforeScreen()
		searched := 0
		look := func(_ *part.Image, s part.Shot) part.PictureReport {
			if s.Searched() {
				searched++
			}
			return part.PictureReport{State: part.PictureOK}
		}
		full, short := BeforeScreen(faceStep, part.ScreenLights), BeforeScreen(faceStep, part.ShortLights)
		for _, c := range []struct {
			steps []Step
			want  int
		}{{full, 10}, {short, 6}, {short[1:], 0}, {BeforeScreen(Step{View: part.Shell, Camera: "edge"}, part.ScreenLights), 0}} {
			searched, p.Steps = 0, c.steps
			if _, err := p.Run(t.Context(), nil, look, quiet, nil); err != nil || searched != c.want {
				t.Errorf("%s and more: %d are looked into, want %d; %v", c.steps[0].File(), searched, c.want, err)
			}
		}
	})
}
