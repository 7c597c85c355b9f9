package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/camera/rig"
	"finishbench/internal/camera/shoot"
	"finishbench/internal/camera/sources"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/part"
)

// StationPlan makes the shooting plan of a station file: its cameras, its
// controller of lights and turntable, its steps, with the bench's screens. What was
// opened is closed again where something else cannot be. See also wetPlan.
func StationPlan(st config.Station, screens *bench.Screens) (p *shoot.Plan, err error) {
	p = &shoot.Plan{Cameras: map[string]sources.Camera{}, Screen: Screen{screens, st.Screen}}
	defer func() {
		if err != nil {
			err = errors.Join(err, ClosePlan(p))
			p = nil
		}
	}()
	for _, c := range st.Cameras {
		s, err := openCamera(c)
		if err != nil {
			return p, cli.UsageError{Err: err}
		}
		p.Cameras[c.Name] = s
	}
	if p.Rig, err = openRig(st.Rig); err != nil {
		return p, cli.UsageError{Err: err}
	}
	for _, s := range st.Plan {
		p.Steps = append(p.Steps, planSteps(s, st.Cameras)...)
	}
	if err := errors.Join(p.Validate(), wetPlan(p, st).Validate()); err != nil {
		return p, cli.UsageError{Err: err}
	}
	return p, nil
}

// wetPlan is the plan for units at stage wet, with the same devices; the plan itself
// where the station file has none.
func wetPlan(p *shoot.Plan, st config.Station) *shoot.Plan {
	if len(st.PlanWet) == 0 {
		return p
	}
	wet := *p
	wet.Steps = nil
	for _, s := range st.PlanWet {
		wet.Steps = append(wet.Steps, planSteps(s, st.Cameras)...)
	}
	return &wet
}

// ClosePlan lets go of a plan's cameras and lights.
func ClosePlan(p *shoot.Plan) error {
	var errs []error
	for _, c := range p.Cameras {
		errs = append(errs, c.Close())
	}
	if p.Rig != nil {
		errs = append(errs, p.Rig.Close())
	}
	return errors.Join(errs...)
}

// planSteps is an entry of the plan: one picture, or a set before the screen.
func planSteps(s config.PlanStep, cameras []config.Camera) []shoot.Step {
	out := shoot.Step{View: part.View(s.View), Light: part.Light(s.Light), Camera: s.Camera, Settle: millis(s.SettleMS),
		Place: s.Place == "hand"}
	if s.AngleDeg != nil {
		out.AngleDeg, out.Turned = *s.AngleDeg, s.View == string(part.Shell)
	}
	if out.Camera == "" && len(cameras) == 1 {
		out.Camera = cameras[0].Name
	}
	switch s.Light {
	case config.ScreenLight:
		return shoot.BeforeScreen(out, part.ScreenLights)
	case config.ScreenLight6:
		return shoot.BeforeScreen(out, part.ShortLights)
	}
	return []shoot.Step{out}
}

// screenFrames is how long a screen takes for the two frames after which a pattern is
// painted, at 60 a second, as most do.
const screenFrames = 2 * time.Second / 60

// StoppedFor is how long a unit stands still for a plan's pictures, as far as the station
// file tells; nil where its pictures are played. A camera is waited for until a frame was
// begun after it was asked: its longest delay, and on average half the time between two frames.
func StoppedFor(p *shoot.Plan, st config.Station, screens *bench.Screens) *bench.Stopped {
	t := shoot.Times{Picture: map[string]time.Duration{}, Show: screenFrames + screens.Settle, Hold: max(0, screens.Pace-screens.Settle)}
	noFrames := false
	for _, c := range st.Cameras {
		switch c.Source {
		case "replay":
			return nil
		case "folder":
		default:
			t.Picture[c.Name] = delayOf(c)
			if c.PerS > 0 {
				t.Picture[c.Name] += time.Second / time.Duration(2*c.PerS)
			} else {
				noFrames = noFrames || slices.ContainsFunc(p.Steps, func(s shoot.Step) bool { return s.Camera == c.Name })
			}
		}
	}
	d, least := p.Stopped(t)
	return &bench.Stopped{S: d.Seconds(), AtLeast: least || noFrames}
}

// turnNotices says which plans turn the unit more often than they had to.
func turnNotices(s *planShooter) []bench.Notice {
	var out []bench.Notice
	for name, p := range map[string]*shoot.Plan{"plan": s.plan, "plan_wet": s.wet} {
		if n, least := p.Turns(); n > least && (p != s.plan || name == "plan") {
			args := map[string]string{"plan": name, "turns": strconv.Itoa(n), "least": strconv.Itoa(least)}
			out = append(out, bench.Notice{Phrase: part.Phrase{Key: "notice.turns", Args: args}})
		}
	}
	return out
}

func millis(v float64) time.Duration  { return time.Duration(v * float64(time.Millisecond)) }
func seconds(v float64) time.Duration { return time.Duration(v * float64(time.Second)) }

// delayOf is a camera's delay_ms.
func delayOf(c config.Camera) time.Duration {
	if c.DelayMS == 0 {
		return config.DefaultDelay
	}
	return millis(c.DelayMS)
}

// openCamera starts one camera. One that is not there yet is no error: it is
// waited for.
func openCamera(c config.Camera) (sources.Camera, error) {
	stream := sources.PipelineOptions{
		Name: c.Name, Pipeline: c.Pipeline, W: c.WidthPX, H: c.HeightPX, Format: sources.Format(cli.First(c.Format, string(sources.RGB))),
		Bits:  c.Bits,
		Delay: delayOf(c), Silent: seconds(c.SilentS), Frozen: seconds(c.FrozenS),
	}
	switch c.Source {
	case "v4l2":
		return sources.NewV4L2(sources.V4L2Options{PipelineOptions: stream, Device: c.Device, Compressed: c.Stream == "jpeg", PerS: c.PerS,
			Settings: sources.CameraSettings{ExposureUS: c.ExposureUS, Gain: c.Gain, WhiteK: c.WhiteBalanceK, Focus: c.Focus}})
	case "gstreamer":
		return sources.NewPipeline(stream)
	case "folder":
		w, err := capture.NewWatch(c.Folder, capture.DefaultWatchOptions())
		if err != nil {
			return nil, err
		}
		return sources.NewFolder(c.Name, arrivals{w}, capture.Release), nil
	}
	units, err := unitFolders(c.Folder)
	if err != nil {
		return nil, err
	}
	return sources.NewReplay(sources.ReplayOptions{Name: c.Name, Units: units, Loop: c.Loop == "yes", Scan: capture.Scan, Read: readFile,
		Drop: capture.Release})
}

// unitFolders are the folders in a folder of units; the folder itself where it
// holds none.
func unitFolders(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("units to play: folder %s: %w", dir, cli.PlainPath(err))
	}
	var out []string
	for _, e := range entries {
		if e.IsDir() {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	if len(out) == 0 {
		out = []string{dir}
	}
	return out, nil
}

// readFile is a picture as its file has it, and decoded.
func readFile(path string) (sources.Frame, error) {
	raw, err := files.Read(path, files.MostPicture)
	if err != nil {
		return sources.Frame{}, fmt.Errorf("read %s: %w", path, cli.PlainPath(err))
	}
	im, err := capture.Read(path)
	if err != nil {
		return sources.Frame{}, err
	}
	return sources.Frame{Image: im, Raw: raw, MIME: mimeOf(path), Name: filepath.Base(path)}, nil
}

// arrivals gives what comes into a watched folder as [sources.Arrivals].
type arrivals struct{ *capture.Watch }

func (a arrivals) Next(ctx context.Context) (sources.Frame, error) {
	f, err := a.Watch.Next(ctx)
	var bad capture.PictureError
	switch {
	case errors.As(err, &bad):
		return sources.Frame{}, trouble.New(trouble.BadPicture, cli.Plain(bad), "file", filepath.Base(bad.Path), "detail", cli.Plain(bad))
	case errors.Is(err, capture.ErrAway):
		return sources.Frame{}, sources.ErrAway
	case err != nil:
		return sources.Frame{}, err
	}
	raw, err := files.Read(f.Path, files.MostPicture)
	if err != nil { // taken away since: it cannot be put on record
		capture.Release(f.Image)
		return sources.Frame{}, trouble.New(trouble.BadPicture, cli.PlainPath(err).Error(), "file", filepath.Base(f.Path), "detail",
			cli.PlainPath(err).Error())
	}
	return sources.Frame{Image: f.Image, Raw: raw, MIME: mimeOf(f.Path), Name: filepath.Base(f.Path), Taken: f.Came}, nil
}

// openRig starts the controller; nil where the operator turns and switches.
func openRig(r config.Rig) (rig.Rig, error) {
	if r.Device == "" {
		return nil, nil
	}
	o := rig.GCodeOptions{Device: r.Device, Baud: r.Baud, Start: r.Start, Turn: r.Turn, Rest: r.Rest, Home: r.Home, Ask: r.Ask,
		Angle: r.Angle,
		Wake:  seconds(r.WakeS), Answer: seconds(r.AnswerS), Motion: seconds(r.MotionS)}
	for _, l := range r.Lights {
		o.Lights = append(o.Lights, rig.LightLines{Light: l.Light, On: l.On, Off: l.Off})
	}
	g, err := rig.NewGCode(o)
	if err != nil {
		return nil, err // not g: a nil in an interface is not nil
	}
	return g, nil
}
