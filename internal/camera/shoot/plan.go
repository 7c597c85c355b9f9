package shoot

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"finishbench/internal/camera/rig"
	"finishbench/internal/camera/sources"
	"finishbench/internal/part"
)

// Step is one picture of the plan.
type Step struct {
	View     part.View
	Light    part.Light
	AngleDeg float64        // edge and shell pictures, as the turntable is told
	Turned   bool           // a shell picture with its turn in its name
	Camera   string         // name of the source
	Settle   time.Duration  // from light and turn to the picture
	Place    bool           // the operator places the unit first: the rig cannot
	set      part.ScreenSet // see part.Shot.Set; Run finds out
}

// File is the step's file name without its ending, as capture.Scan reads it:
// edge_030, face_raking, shell_045_raking.
func (s Step) File() string {
	if s.View != part.Edge && !s.Turned {
		return string(s.View) + "_" + string(s.Light)
	}
	deg := strconv.FormatFloat(s.AngleDeg, 'f', -1, 64)
	for s.AngleDeg >= 0 && len(whole(deg)) < 3 {
		deg = "0" + deg
	}
	if s.Turned {
		return "shell_" + deg + "_" + string(s.Light)
	}
	return "edge_" + deg
}

// whole is the part of a number before its point.
func whole(s string) string {
	for i := range s {
		if s[i] == '.' {
			return s[:i]
		}
	}
	return s
}

// Shot is the step's picture, before it has a file.
func (s Step) Shot() part.Shot {
	shot := part.Shot{View: s.View, Light: s.Light, AngleDeg: s.AngleDeg, Set: s.set}
	if s.View == part.Shell {
		shot.AngleDeg = part.Turn(s.AngleDeg)
	}
	return shot
}

// picture is what two shots of the same have in common, be they a plan's or kept: an edge
// picture's light is not in its name.
func picture(s part.Shot) part.Shot {
	s.File, s.Path, s.Set = "", "", part.NoSet
	if s.View == part.Edge {
		s.Light = part.NoLight
	}
	return s
}

// Progress is told as the plan is carried out.
type Progress struct {
	Done, Total int
	Step        Step
	Asking      string        // what the operator is to do: one of the Ask words; "": nothing
	Problem     string        // one of the Problem words; "": nothing is wrong at the moment
	Unfit       string        // of a ProblemUnfit: the name of what is wrong with the picture; "": not told
	Camera      string        // of a ProblemCamera
	Why         *part.Trouble // the problem in words; nil with ProblemUnfit
	NextTry     time.Time     // when what is lost is tried again; zero: now, or not known
	Taken       *part.Photo   // the step's picture, once it is there
}

// What the operator is asked to do, then presses the pedal. The step says which
// view, light and angle.
const (
	AskTurn    = "turn"    // turn the unit to the step's angle
	AskLight   = "light"   // switch to the step's light
	AskPose    = "pose"    // place the unit for the step's view, light and angle
	AskRelease = "release" // press the camera's own release; no pedal
	AskZero    = "zero"    // turn the turntable to its zero by hand: where it stands is not known
)

// Kinds of problem.
const (
	ProblemCamera = "camera" // a camera does not deliver; it is waited for
	ProblemRig    = "rig"    // lights and turntable do not answer; they are waited for
	ProblemScreen = "screen" // no screen shows what it is to show; it is waited for
	ProblemUnfit  = "unfit"  // the picture is not fit; it is taken once more
	ProblemFile   = "file"   // the file that came cannot be used; another is waited for
)

// Screen gives the light of the steps before a screen.
type Screen interface {
	// Show returns once one of [part.ScreenLights] is seen on the screen. While no
	// screen can show it, or none has told so, the error is a [part.Trouble]: it is
	// worth waiting for.
	Show(ctx context.Context, l part.Light) error
}

// BeforeScreen is a step before a screen, once under each of a set's lights
// ([part.ScreenLights], [part.ShortLights]).
func BeforeScreen(s Step, lights []part.Light) []Step {
	set := make([]Step, len(lights))
	for i, l := range lights {
		set[i] = s
		set[i].Light = l
	}
	return set
}

// Plan is how a unit is photographed. One unit at a time.
type Plan struct {
	Steps    []Step // empty: the steps of the unit that the replay plays
	Cameras  map[string]sources.Camera
	Rig      rig.Rig           // nil: the operator turns and switches
	Screen   Screen            // for steps before a screen; nil where there are none
	Patience time.Duration     // a lost camera or line is waited for so long; 0: 60 s
	Frame    time.Duration     // a frame must come within so long of being asked for; 0: 5 s
	Drop     func(*part.Image) // gets pictures that were taken once more; nil: nobody

	unit []Step // of the unit under way
}

// The waits that hold where none is set. Common practice, no source.
const (
	defaultPatience = 60 * time.Second
	defaultFrame    = 5 * time.Second
	lightsOut       = 5 * time.Second // for the lights to go out at the end, and the screen to turn white
	lookAgain       = 100 * time.Millisecond
)

// Validate says what cannot be carried out: a step without its camera or screen, two
// steps with the same picture.
func (p *Plan) Validate() error {
	seen := map[part.Shot]bool{}
	for i, s := range p.Steps {
		if p.Cameras[s.Camera] == nil {
			return fmt.Errorf("shoot: step %d, %s: there is no camera %q", i+1, s.File(), s.Camera)
		}
		if s.Light.OfScreen() && p.Screen == nil {
			return fmt.Errorf("shoot: step %d, %s: there is no screen", i+1, s.File())
		}
		if seen[picture(s.Shot())] {
			return fmt.Errorf("shoot: step %d: %s is there twice", i+1, s.File())
		}
		seen[picture(s.Shot())] = true
	}
	if len(p.Steps) == 0 && p.follower() == "" {
		return errors.New("shoot: the plan has no steps")
	}
	return nil
}

// follower is the name of the replay, "" where there is none.
func (p *Plan) follower() string {
	for _, name := range slices.Sorted(maps.Keys(p.Cameras)) {
		if _, ok := p.Cameras[name].(sources.Follower); ok {
			return name
		}
	}
	return ""
}
