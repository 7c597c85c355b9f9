package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/seam"
	"finishbench/internal/setup"
)

const setupHelp = `setup leads through putting the bench in order, one thing at a time:

  panel       the lit panel is bright, even and clean
  exposure    enough light, and nothing of the unit at full scale
  focus       edges are sharp, and nothing moved
  height      the seam stands at the height of the lens's axis
  perspective the seam is seen straight, from far enough
  squareness  the camera looks squarely at the target
  scale       the target's scale is that of the scale file in force

Each has its value, its limit and a bar with the zone to bring it into. Limits are
those of the station file. Height and perspective need an edge picture of a unit and a
scale; squareness and scale need a target: see 'inspect scale --help' for --target
and what goes with it.

With pictures, or folders of them, all steps are judged and the first thing to do
stands on top. Names tell what a picture shows (edge_030, face_raking); with
--target, pictures of other names are taken as the target's.

With --watch it waits for pictures that a tethered camera puts into a folder,
shows the step to work at, says whether the last turn made it better, and goes on
by itself when a step has been in its zone for two pictures in a row. A step that
goes out again comes up again. ctrl-C ends it.`

const setupExamples = `  inspect setup edge_000.jpg face_diffuse.jpg --station station.yaml
  inspect setup --watch /camera --station station.yaml --target chessboard --cols 9 --rows 6 --pitch-mm 2
  inspect setup --watch /camera --step focus`

const setupExit = `EXIT STATUS
  0    every step is in its zone
  1    anything else went wrong
  2    wrong usage
  3    some step is outside of its zone
  4    some step, or picture, could not be measured (4 wins over 3)
  130  stopped by ctrl-C before all steps were in order`

// setupOptions are the flags of setup.
type setupOptions struct {
	cli.SheetOptions
	targetOptions
	watch   string
	station string
	scale   string
	view    string
	steps   []string
}

func newSetupCommand() *cobra.Command {
	var o setupOptions
	cmd := &cobra.Command{
		Use:                   "setup [PICTURE|FOLDER...] [--watch FOLDER]",
		Short:                 "Put the bench in order: panel, exposure, focus, height, perspective, squareness, scale",
		Long:                  setupHelp + "\n\n" + strings.Join(setupCautions(), "\n") + "\n\n" + setupExit,
		Example:               setupExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSetup(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.watch, "watch", "", "folder into which the camera puts its pictures")
	f.StringVar(&o.station, "station", "", "file that describes the station: its limits and scale (see configs/station.yaml)")
	f.StringVar(&o.scale, "scale", "", "scale file in force (default: the station file's)")
	f.StringVar(&o.view, "view", "edge", "edge or face: what pictures show whose names do not tell it; edge has a lit panel behind the unit")
	f.StringSliceVar(&o.steps, "step", nil, "only this step, or these: panel, exposure, focus, height, perspective, squareness, scale")
	targetFlags(&o.targetOptions, cmd)
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

func runSetup(ctx context.Context, o setupOptions, pictures []string, stdout, stderr io.Writer) error {
	b, err := o.bench(time.Now())
	if err != nil {
		return err
	}
	names, err := o.names(b)
	if err != nil {
		return err
	}
	switch {
	case o.watch != "" && len(pictures) > 0:
		return cli.Usagef("give pictures, or --watch FOLDER, not both")
	case o.watch != "":
		src, err := capture.NewWatch(o.watch, capture.DefaultWatchOptions())
		if err != nil {
			return cli.Usagef("--watch: %s", cli.Plain(err))
		}
		defer src.Close()
		return setupWatch(ctx, src, b, names, o, stdout, stderr)
	case len(pictures) == 0:
		return cli.Usagef("name pictures or a folder of them, or say --watch FOLDER (see 'inspect setup --help')")
	}
	return setupStored(ctx, b, names, o, pictures, stdout)
}

// names are the steps asked for, in their order. A view without a lit panel has
// no step for it.
func (o setupOptions) names(b *setupBench) ([]setup.Name, error) {
	all := setup.Names()
	for _, s := range o.steps {
		if !slices.Contains(all, setup.Name(s)) {
			return nil, cli.Usagef("--step %s: give panel, exposure, focus, height, perspective, squareness or scale", s)
		}
	}
	if len(o.steps) == 0 {
		if b.view == part.Face {
			all = slices.DeleteFunc(all, ofEdgePictures)
		}
		return all, nil
	}
	var names []setup.Name
	for _, n := range all {
		if slices.Contains(o.steps, string(n)) {
			names = append(names, n)
		}
	}
	if i := slices.IndexFunc(names, ofEdgePictures); b.view == part.Face && i >= 0 {
		return nil, cli.Usagef("--view face has no lit panel to look at: leave --step %s out, or say --view edge", names[i])
	}
	return names, nil
}

// ofEdgePictures says whether a step is seen in edge pictures alone.
func ofEdgePictures(n setup.Name) bool {
	return n == setup.Panel || n == setup.Height || n == setup.Perspective
}

// bench reads what the flags name.
func (o setupOptions) bench(now time.Time) (*setupBench, error) {
	b := &setupBench{view: part.View(o.view)}
	if b.view != part.Edge && b.view != part.Face {
		return nil, cli.Usagef("--view %s: give edge or face", o.view)
	}
	st, err := config.LoadStation(o.station)
	if err != nil {
		return nil, cli.UsageError{Err: err}
	}
	b.fit = capture.FitLimits(st.Fit)
	b.camera, b.focus = st.Camera, st.Focus
	b.limits = setup.Limits{PanelUneven: b.fit.PanelUneven, PanelDirt: b.fit.PanelDirt, MinPanel: b.fit.MinPanel, MinLevel: b.fit.MinLevel,
		Warn: b.fit.Warn, URelScale: st.URelScale, SlantMost: seam.SlantMostDeg}
	b.lensMM = st.LensMM()
	if err := b.chooseScale(o.scale, st, now); err != nil {
		return nil, err
	}
	if o.targetOptions == (targetOptions{}) {
		return b, nil
	}
	t, err := o.target()
	if err != nil {
		return nil, err
	}
	b.target, b.limits.Target = &t, true
	return b, nil
}

// chooseScale finds the scale in force: the flag's, the station file's for the
// view, or its number. None is no mistake here: the scale may be still to make.
func (b *setupBench) chooseScale(flag string, st config.Station, now time.Time) error {
	file := flag
	for _, s := range st.Scales {
		if flag == "" && (s.View == string(b.view) || s.View == "" && file == "") {
			file = s.File
		}
	}
	if file == "" {
		if st.MMPerPX > 0 {
			b.limits.Scale = &setup.Scale{Name: "the station file's scale", MMPerPX: st.MMPerPX, U: st.URelScale * st.MMPerPX, AgeDays: math.NaN(), MaxAgeDays: math.NaN()}
		}
		return nil
	}
	f, err := inspection.LoadScaleAnyAge(file)
	if err != nil {
		return err
	}
	b.scale = f
	age := f.AgeState(now)
	in := &setup.Scale{Name: filepath.Base(file), MMPerPX: f.MMPerPX, U: f.UMMPerPX, AgeDays: math.Floor(max(0, age.Days)), MaxAgeDays: float64(f.MaxAgeDays), AgeText: age.Sentence}
	if age.State == optics.AgeOver && !(age.DaysLeft < 0) {
		in.AgeDays = math.NaN() // its date cannot be right
	}
	b.limits.Scale = in
	return nil
}

// setupStored judges pictures that were taken before.
func setupStored(ctx context.Context, b *setupBench, names []setup.Name, o setupOptions, args []string, stdout io.Writer) error {
	paths, err := storedPictures(args)
	if err != nil {
		return err
	}
	var readings []setup.Reading
	for _, path := range paths {
		if err := ctx.Err(); err != nil {
			return err
		}
		readings = append(readings, b.stored(path))
	}
	s := setupResult{names: names, readings: readings}
	for _, n := range names {
		s.steps = append(s.steps, b.limits.Worst(n, readings))
	}
	if err := o.SheetOptions.Write("setup", s.sheet(), s.json(), stdout); err != nil {
		return err
	}
	return s.code()
}

// storedPictures are the pictures named, and those in folders named.
func storedPictures(args []string) ([]string, error) {
	var paths []string
	for _, a := range args {
		st, err := os.Stat(a)
		switch {
		case errors.Is(err, os.ErrNotExist):
			return nil, cli.Usagef("there is no picture or folder %s", a)
		case err != nil:
			return nil, cli.Usagef("%s: %w", a, cli.PlainPath(err))
		case !st.IsDir():
			paths = append(paths, a)
			continue
		}
		in, err := capture.Pictures(a)
		if err != nil {
			return nil, cli.Usagef("%s", cli.Plain(err))
		}
		if len(in) == 0 {
			return nil, cli.Usagef("folder %s holds no picture", a)
		}
		paths = append(paths, in...)
	}
	return paths, nil
}

// code is the exit code for how the steps stand.
func (s setupResult) code() error {
	code := cli.ExitPass
	for _, st := range s.steps {
		switch st.State() {
		case setup.NotMeasured:
			return cli.ExitCode(cli.ExitUnmeasured)
		case setup.Outside:
			code = cli.ExitFails
		}
	}
	if s.unclear() > 0 {
		code = cli.ExitUnmeasured
	}
	if code != cli.ExitPass {
		return cli.ExitCode(code)
	}
	return nil
}

// setupCautions are what a person must know before reaching into the bench.
func setupCautions() []string {
	return []string{
		"Ultraviolet lamps and curing boxes harm eyes and skin: keep them off or shut while you set up, wear eyewear for ultraviolet light, never look in.",
		"Flashing light can set off seizures: no strobe or flicker between 3 and 60 flashes a second in anyone's view.",
		"A laser line or pointer is of class 1 or 2, and nobody looks into it.",
		"Local codes and licensed practice come first.",
	}
}

func setupSentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + strings.TrimRight(s[1:], ".") + "."
}

// setupMeasured is a measure on one line: what, how much, how much is wanted.
func setupMeasured(m setup.Measure) string {
	line := fmt.Sprintf("%s: %s", m.Name, m.Value())
	if w := m.Wanted(); w != "" {
		line += ", wanted " + w
	}
	return line
}
