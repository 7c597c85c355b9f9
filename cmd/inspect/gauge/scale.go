package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/scaling"
	"finishbench/internal/optics"
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

func targetFlags(o *scaling.TargetOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Kind, "target", "", "chessboard, dots, asymmetric-dots, ruler or disc")
	f.IntVar(&o.Cols, "cols", 0, "marks in a row of the target")
	f.IntVar(&o.Rows, "rows", 0, "rows of marks")
	f.Float64Var(&o.PitchMM, "pitch-mm", 0, "distance between neighbouring marks, mm")
	f.Float64Var(&o.DiameterMM, "diameter-mm", 0, "diameter of the disc or pin, or of each dot, mm")
	f.Float64Var(&o.URel, "u-rel", 0, "relative standard uncertainty of pitch or diameter, from the certificate (0.0005 is 0.05 %)")
	f.StringVar(&o.Identity, "identity", "", "the target's serial or certificate number")
}

// Scale is 'inspect scale'.
func Scale() *cobra.Command {
	var o scaling.Options
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
			return scaling.Run(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	targetFlags(&o.TargetOptions, cmd)
	f := cmd.Flags()
	f.StringVar(&o.Projection, "projection", "", "telecentric or perspective, where you know the lens")
	f.StringVar(&o.Terms, "terms", "",
		`distortion terms to fit: "none", "k1", "k1 k2", "k1 k2 p1 p2", "k1 k2 p1 p2 k3" (default) or "auto"`)
	f.StringVar(&o.Lens, "lens", "", "scale file whose lens is taken as known (one new picture renews the scale)")
	f.StringVar(&o.AtUnit, "at-unit", "", "the picture of the target lying where the unit will be (default: the least tilted)")
	f.StringArrayVar(&o.LeaveOut, "leave-out", nil, "picture to leave out of the fit")
	f.StringVar(&o.Camera, "camera", "", "the camera's name, where the pictures' tags do not tell it")
	f.StringVar(&o.Focus, "focus", "", "the focus setting, as text")
	f.StringVar(&o.Distance, "distance", "", "the working distance, as text")
	f.IntVar(&o.MaxAge, "max-age-days", optics.DefaultMaxAgeDays, "days for which the scale is believed")
	f.StringVar(&o.Name, "name", "scale", "name of the scale file and the page in OUT")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
