package station

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/camera/shoot"
	"finishbench/internal/camera/sources"
	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/codec"
	"finishbench/internal/gauge/screen"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// ScreenShoot is what 'screen shoot' takes; the zero value: nothing.
type ScreenShoot struct{ What, Dir string }

// ShootWedge is the word for the pictures of a wedge.
const ShootWedge = "wedge"

// Greys of a wedge, and for how long a light page is waited for until it is opened.
const (
	greyApart    = 16
	lightAwaited = 10 * time.Minute
)

// folder is where the pictures go.
func (t ScreenShoot) folder() string {
	if t.What == ShootWedge {
		return t.Dir
	}
	return filepath.Join(t.Dir, t.What)
}

// run takes the pictures, and says how it goes on.
func (t ScreenShoot) run(ctx context.Context, plan *shoot.Plan, screens *bench.Screens, light Screen, stdout io.Writer) error {
	i := slices.IndexFunc(plan.Steps, func(s shoot.Step) bool { return s.View == part.Face && s.Light.OfScreen() })
	if i < 0 {
		return cli.Usagef("the station's plan has no step {view: face, light: screen}, which tells the camera before the screen")
	}
	step := plan.Steps[i]
	if _, played := plan.Cameras[step.Camera].(sources.Follower); played {
		return cli.Usagef("camera %s plays stored units: name one that looks at the screen", step.Camera)
	}
	step.Place = false
	dir, err := cli.OpenOut(t.folder())
	if err != nil {
		return err
	}
	if there, err := capture.Pictures(t.folder()); err != nil || len(there) > 0 {
		return cli.Usagef("folder %s holds %s already: name another, or clear it", t.folder(),
			cli.Counted(len(there), "picture", "pictures"))
	}
	fmt.Fprintln(stdout, strings.Join(screen.Cautions(lang.English()), "\n"))
	fmt.Fprintln(stdout, "Open the page /light of this bench on the screen, and press Start the light there.")
	one := *plan
	one.Patience, one.Rig = lightAwaited, nil
	if t.What != ShootWedge {
		one.Steps, one.Screen = shoot.BeforeScreen(step, part.ScreenLights), light
		if err := t.take(ctx, &one, dir, func(s part.Photo) string { return s.File }, stdout); err != nil {
			return err
		}
		_, err = fmt.Fprintf(stdout,
			"The set is in %s. With flat, tilted_x and tilted_y there: inspect screen mirror %s --gauge-um T --span-mm L\n", t.folder(), t.Dir)
		return err
	}
	step.Light = part.White
	one.Steps = []shoot.Step{step}
	shown := map[int]int{}
	for _, level := range GreysToShow() {
		shown[level]++
		name := fmt.Sprintf("grey_%03d", level)
		if n := shown[level]; n > 1 {
			name = fmt.Sprintf("%s_%d", name, n)
		}
		one.Screen = greyScreen{light, screens.Grey(level)}
		if err := t.take(ctx, &one, dir, func(s part.Photo) string { return name + filepath.Ext(s.File) }, stdout); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(stdout, "The greys are in %s: inspect screen wedge %s --station FILE --out FOLDER\n", t.Dir, t.Dir)
	return err
}

// GreysToShow are the levels of a wedge in their order: white, black, up to white again.
func GreysToShow() []int {
	out := []int{255}
	for l := 0; l < 255; l += greyApart {
		out = append(out, l)
	}
	return append(out, 255)
}

// greyScreen shows a grey where white is asked for.
type greyScreen struct {
	Screen
	grey bench.Pattern
}

// Show is [shoot.Screen].
func (g greyScreen) Show(ctx context.Context, _ part.Light) error { return g.screens.Show(ctx, g.grey) }

// take carries a plan out and writes its pictures.
func (t ScreenShoot) take(ctx context.Context, plan *shoot.Plan, dir *cli.OutDir, name func(part.Photo) string, stdout io.Writer) error {
	fits := func(_ *part.Image, s part.Shot) part.PictureReport { // dark ones too
		return part.PictureReport{File: s.File, View: s.View, Light: s.Light, State: part.PictureOK}
	}
	warning := ""
	say := func(p shoot.Progress) {
		text := ""
		switch {
		case p.Asking == shoot.AskRelease:
			text = fmt.Sprintf("Press the camera's release (%d of %d).", p.Done+1, p.Total)
		case p.Why != nil:
			text = "Waiting: " + p.Why.Error()
		}
		if text != "" && text != warning {
			fmt.Fprintln(stdout, text)
		}
		warning = text
	}
	shots, err := plan.Run(ctx, nil, fits, say, nil)
	for _, s := range shots {
		if err == nil {
			err = keepShot(dir, name(s), s)
		}
		if s.Image != nil {
			capture.Release(s.Image)
		}
	}
	return err
}

// keepShot writes a picture as it came, or as PNG.
func keepShot(dir *cli.OutDir, name string, s part.Photo) error {
	data := s.Raw
	if data == nil {
		var err error
		if data, err = codec.EncodePNG(s.Image); err != nil {
			return err
		}
	}
	return dir.ReplaceFile(name, data)
}
