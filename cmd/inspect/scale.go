package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/target"
)

const scaleHelp = `scale tells what a pixel is in millimetres, and how well that is known, from one
or more pictures of a target of known size. With --out it writes the scale file
NAME.json, which unit, surface and study take with --scale, and a page that shows
what is left at each mark. A scale that is rated poor is written as
NAME.rejected.json: where it is used all the same, no unit passes.

Targets (--target):

  chessboard       --cols and --rows count inner corners; --pitch-mm is a square's side
  dots             a grid of round dots, dark on light or light on dark
  asymmetric-dots  every other row shifted by half a pitch
  ruler            ticks along one line, 10 or more: a ruler, a graticule; --cols ticks where known
  disc             one disc, ball or gauge pin; --diameter-mm

One picture of a target that lies where the unit will be tells the scale and how
squarely the camera looks at it. Several pictures (8 or more), the target tilted
by 20 to 45 degrees in different directions, tell the lens too: its distortion is
then taken off every length. Add one that lies where the unit will be, and name
it with --at-unit. A telecentric lens needs one picture only: --projection
telecentric.

ChArUco boards cannot be read by this build: use a chessboard or a dot grid.`

const scaleExamples = `  inspect scale dots.png --target dots --cols 21 --rows 15 --pitch-mm 1 --projection telecentric --out station
  inspect scale tilted*.png flat.png --at-unit flat.png --target chessboard --cols 9 --rows 6 --pitch-mm 2.5 --out station
  inspect scale pin.png --target disc --diameter-mm 3 --u-rel 0.0003 --identity "pin 17" --out station`

const scaleExit = `EXIT STATUS
  0    a scale, rated good or fair
  1    anything else went wrong
  2    wrong usage
  3    a scale, rated poor
  4    no picture told a scale`

// scaleOptions are the flags of scale.
type scaleOptions struct {
	cli.SheetOptions
	targetOptions
	name       string
	projection string
	terms      string
	lens       string
	atUnit     string
	leaveOut   []string
	camera     string
	focus      string
	distance   string
	maxAge     int
}

// targetOptions are the flags that describe a target.
type targetOptions struct {
	kind       string
	cols, rows int
	pitchMM    float64
	diameterMM float64
	uRel       float64
	identity   string
}

func targetFlags(o *targetOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.kind, "target", "", "chessboard, dots, asymmetric-dots, ruler or disc")
	f.IntVar(&o.cols, "cols", 0, "marks in a row of the target")
	f.IntVar(&o.rows, "rows", 0, "rows of marks")
	f.Float64Var(&o.pitchMM, "pitch-mm", 0, "distance between neighbouring marks, mm")
	f.Float64Var(&o.diameterMM, "diameter-mm", 0, "diameter of the disc or pin, or of each dot, mm")
	f.Float64Var(&o.uRel, "u-rel", 0, "relative standard uncertainty of pitch or diameter, from the certificate (0.0005 is 0.05 %)")
	f.StringVar(&o.identity, "identity", "", "the target's serial or certificate number")
}

func (o targetOptions) target() (optics.Target, error) {
	t := optics.Target{Kind: o.kind, Cols: o.cols, Rows: o.rows, PitchMM: o.pitchMM, DiameterMM: o.diameterMM, URel: o.uRel, Identity: o.identity}
	switch {
	case o.kind == "":
		return t, cli.Usagef("say what was photographed: --target chessboard, dots, asymmetric-dots, ruler or disc")
	case o.kind == "charuco":
		return t, cli.Usagef("this build cannot read ChArUco boards: use a chessboard or a dot grid")
	case !(o.uRel >= 0 && o.uRel < 0.1):
		return t, cli.Usagef("--u-rel %g: give the relative standard uncertainty of pitch or diameter, 0 to 0.1 (0.0005 is 0.05 %%)", o.uRel)
	}
	if err := target.Check(t); err != nil {
		return t, cli.Usagef("--target %s", strings.TrimPrefix(err.Error(), "target: "))
	}
	return t, nil
}

func newScaleCommand() *cobra.Command {
	var o scaleOptions
	cmd := &cobra.Command{
		Use:                   "scale PICTURE... --target KIND",
		Short:                 "Tell the scale and the lens from pictures of a target",
		Long:                  scaleHelp + "\n\n" + scaleExit,
		Example:               scaleExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name at least one picture of the target (see 'inspect scale --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runScale(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	targetFlags(&o.targetOptions, cmd)
	f := cmd.Flags()
	f.StringVar(&o.projection, "projection", "", "telecentric or perspective, where you know the lens")
	f.StringVar(&o.terms, "terms", "", `distortion terms to fit: "none", "k1", "k1 k2", "k1 k2 p1 p2", "k1 k2 p1 p2 k3" (default) or "auto"`)
	f.StringVar(&o.lens, "lens", "", "scale file whose lens is taken as known (one new picture renews the scale)")
	f.StringVar(&o.atUnit, "at-unit", "", "the picture of the target lying where the unit will be (default: the least tilted)")
	f.StringArrayVar(&o.leaveOut, "leave-out", nil, "picture to leave out of the fit")
	f.StringVar(&o.camera, "camera", "", "the camera's name, where the pictures' tags do not tell it")
	f.StringVar(&o.focus, "focus", "", "the focus setting, as text")
	f.StringVar(&o.distance, "distance", "", "the working distance, as text")
	f.IntVar(&o.maxAge, "max-age-days", optics.DefaultMaxAgeDays, "days for which the scale is believed")
	f.StringVar(&o.name, "name", "scale", "name of the scale file and the page in OUT")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

// runScale makes the scale and writes it. ctx ends it between pictures.
func runScale(ctx context.Context, o scaleOptions, pictures []string, stdout, stderr io.Writer) error {
	m, err := o.making(time.Now())
	if err != nil {
		return err
	}
	if err := m.read(ctx, pictures); err != nil {
		return err
	}
	if err := m.fit(); err != nil {
		var none noScaleError
		if errors.As(err, &none) {
			fmt.Fprintf(stderr, "inspect: %v\n", err)
			return cli.ExitCode(cli.ExitUnmeasured)
		}
		return err
	}
	var file bytes.Buffer
	if err := optics.EncodeScale(&file, m.scale); err != nil {
		return err
	}
	if o.Out != "" {
		dir, err := cli.OpenOut(o.Out)
		if err != nil {
			return err
		}
		if err := dir.ReplaceFile(m.fileName(), file.Bytes()); err != nil {
			return err
		}
	}
	sheet, err := m.sheet()
	if err != nil {
		return err
	}
	if err := o.SheetOptions.Write(o.name, sheet, m.scale, stdout); err != nil {
		return err
	}
	if o.Out != "" && !o.JSON {
		if m.scale.Rating == optics.RatedPoor {
			fmt.Fprintf(stdout, "It is in doubt, and no scale to measure by: no unit passes with it. It was written as %s\n", filepath.Join(o.Out, m.fileName()))
		} else {
			fmt.Fprintf(stdout, "The scale file: %s\n", filepath.Join(o.Out, m.fileName()))
		}
	}
	if m.scale.Rating == optics.RatedPoor {
		return cli.ExitCode(cli.ExitFails)
	}
	return nil
}

// fileName is the scale file's: one in doubt does not take the place of one that is not.
func (m *scaleMaking) fileName() string {
	if m.scale.Rating == optics.RatedPoor {
		return m.o.name + ".rejected.json"
	}
	return m.o.name + ".json"
}

// termWords are what --terms takes.
var termWords = []optics.Terms{optics.TermsNone, optics.TermsK1, optics.TermsRadial, optics.TermsK1K2P, optics.TermsFull, optics.TermsAuto}

// making checks the options that do not depend on the pictures.
func (o scaleOptions) making(now time.Time) (*scaleMaking, error) {
	t, err := o.target()
	if err != nil {
		return nil, err
	}
	m := &scaleMaking{o: o, target: t, made: now.UTC().Truncate(time.Second)}
	switch {
	case o.projection != "" && o.projection != optics.Telecentric && o.projection != optics.Perspective:
		return nil, cli.Usagef("--projection %s: write telecentric or perspective", o.projection)
	case o.terms != "" && !slices.Contains(termWords, optics.Terms(o.terms)):
		return nil, cli.Usagef("--terms %q: write one of %q", o.terms, termWords)
	case o.maxAge < 1 || o.maxAge > 3660:
		return nil, cli.Usagef("--max-age-days %d: give 1 to 3660", o.maxAge)
	case o.name == "" || filepath.Base(o.name) != o.name:
		return nil, cli.Usagef("--name %q: give a plain name, without folders", o.name)
	}
	if o.lens != "" {
		f, err := inspection.LoadScaleAnyAge(o.lens)
		if err != nil {
			return nil, err
		}
		if f.Lens == nil {
			return nil, cli.Usagef("--lens %s: this scale file knows no lens", o.lens)
		}
		m.lens = f
	}
	return m, nil
}
