package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/bench"
	"finishbench/internal/capture"
	"finishbench/internal/capture/shoot"
	"finishbench/internal/capture/sources"
	"finishbench/internal/cli"
	"finishbench/internal/codec"
	"finishbench/internal/gauge/screen"
	"finishbench/internal/part"
	"finishbench/internal/stripes"
)

const screenShootHelp = `screen shoot takes the pictures for 'screen wedge' and 'screen mirror' with the
station's camera, the one of the plan's step {view: face, light: screen}. It opens the
bench's page /light; open that on the tablet, press Start the light, and the pictures
go on by themselves, fewer than three changes a second. At the end it says what to do next.

  screen shoot wedge DIR       DIR/grey_255, grey_000, grey_016 ... grey_240, grey_255_2
  screen shoot flat DIR        DIR/flat/face_white ... face_stripes_y3, the mirror flat
  screen shoot tilted_x DIR    the same into DIR/tilted_x, the edge nearest the screen lifted
  screen shoot tilted_y DIR    the same into DIR/tilted_y, the upper or lower edge lifted

The camera's exposure must be set by hand (station file), white just not clipped.`

// screenShoot is what 'screen shoot' takes; the zero value: nothing.
type screenShoot struct{ what, dir string }

const shootWedge = "wedge"

// Greys of a wedge, and for how long a light page is waited for until it is opened.
const (
	greyApart    = 16
	lightAwaited = 10 * time.Minute
)

func newScreenShootCommand() *cobra.Command {
	var o benchOptions
	kinds := append([]string{shootWedge}, stripes.Positions[:]...)
	cmd := &cobra.Command{
		Use:                   "shoot " + strings.Join(kinds, "|") + " DIR",
		Short:                 "Take the pictures for wedge and mirror with the station's camera",
		Long:                  screenShootHelp + "\n\n" + strings.Join(screen.Cautions(), "\n"),
		Example:               "  inspect screen shoot wedge greys --station station.yaml --listen 192.168.1.20:8080\n  inspect screen shoot flat mirror --station station.yaml --listen 192.168.1.20:8080",
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 || !slices.Contains(kinds, args[0]) {
				return cli.Usagef("say what to take, %s, and into which folder (see 'inspect screen shoot --help')", strings.Join(kinds, ", "))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.take, o.Record.URL, o.Remeasures = screenShoot{args[0], args[1]}, "none", true
			return runBench(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "", "file that describes the station: its camera, its plan, the screen (see configs/station.yaml)")
	pageFlags(&o, cmd)
	f.Float64Var(&o.MMPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel, where the station file has none")
	f.SortFlags = false
	return cmd
}

// folder is where the pictures go.
func (t screenShoot) folder() string {
	if t.what == shootWedge {
		return t.dir
	}
	return filepath.Join(t.dir, t.what)
}

// run takes the pictures, and says how it goes on.
func (t screenShoot) run(ctx context.Context, plan *shoot.Plan, screens *bench.Screens, light benchScreen, stdout io.Writer) error {
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
		return cli.Usagef("folder %s holds %s already: name another, or clear it", t.folder(), cli.Counted(len(there), "picture", "pictures"))
	}
	fmt.Fprintln(stdout, strings.Join(screen.Cautions(), "\n"))
	fmt.Fprintln(stdout, "Open the page /light of this bench on the screen, and press Start the light there.")
	one := *plan
	one.Patience, one.Rig = lightAwaited, nil
	if t.what != shootWedge {
		one.Steps, one.Screen = shoot.BeforeScreen(step, part.ScreenLights), light
		if err := t.take(ctx, &one, dir, func(s shoot.Shot) string { return s.Step.File() }, stdout); err != nil {
			return err
		}
		_, err = fmt.Fprintf(stdout, "The set is in %s. With flat, tilted_x and tilted_y there: inspect screen mirror %s --gauge-um T --span-mm L\n", t.folder(), t.dir)
		return err
	}
	step.Light = part.White
	one.Steps = []shoot.Step{step}
	shown := map[int]int{}
	for _, level := range greysToShow() {
		shown[level]++
		name := fmt.Sprintf("grey_%03d", level)
		if n := shown[level]; n > 1 {
			name = fmt.Sprintf("%s_%d", name, n)
		}
		one.Screen = greyScreen{light, screens.Grey(level)}
		if err := t.take(ctx, &one, dir, func(shoot.Shot) string { return name }, stdout); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(stdout, "The greys are in %s: inspect screen wedge %s --station FILE --out FOLDER\n", t.dir, t.dir)
	return err
}

// greysToShow are the levels of a wedge in their order: white, black, up to white again.
func greysToShow() []int {
	out := []int{255}
	for l := 0; l < 255; l += greyApart {
		out = append(out, l)
	}
	return append(out, 255)
}

// greyScreen shows a grey where white is asked for.
type greyScreen struct {
	benchScreen
	grey bench.Pattern
}

// Show is [shoot.Screen].
func (g greyScreen) Show(ctx context.Context, _ part.Light) error { return g.show(ctx, g.grey) }

// take carries a plan out and writes its pictures.
func (t screenShoot) take(ctx context.Context, plan *shoot.Plan, dir *cli.OutDir, name func(shoot.Shot) string, stdout io.Writer) error {
	fits := func(_ *part.Image, s part.Shot) part.PictureReport { // dark ones too
		return part.PictureReport{File: s.File, View: s.View, Light: s.Light, State: part.PictureOK}
	}
	told := ""
	say := func(p shoot.Progress) {
		text := ""
		switch {
		case p.Asking == shoot.AskRelease:
			text = fmt.Sprintf("Press the camera's release (%d of %d).", p.Done+1, p.Total)
		case p.Why != nil:
			text = "Waiting: " + strings.TrimPrefix(p.Why.Text, "bench: show a pattern on a screen: ")
		}
		if text != "" && text != told {
			fmt.Fprintln(stdout, text)
		}
		told = text
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
func keepShot(dir *cli.OutDir, name string, s shoot.Shot) error {
	data, ending := s.Raw, map[string]string{"image/jpeg": ".jpg", "image/tiff": ".tif", "image/bmp": ".bmp"}[s.MIME]
	if data == nil {
		var err error
		if data, err = codec.EncodePNG(s.Image); err != nil {
			return err
		}
	}
	if ending == "" {
		ending = ".png"
	}
	return dir.ReplaceFile(name+ending, data)
}
