package gauge

import (
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/screen"
	"finishbench/internal/lang"
	"finishbench/internal/stripes"
)

const screenHelp = `screen measures the tablet or spare monitor that lights the unit (docs/gauge.md,
"The screen, measured"), in place of taking it for granted:

  screen wedge    its own light curve, so that stripes are drawn as cosines of light
  screen mirror   how many radians of phase a radian of slope makes, from a flat mirror
  screen shoot    the pictures for both, by the station's camera and the bench's light page

Each writes a file that the station file names (screen: curve, mirror). What is
refused writes none. Do the wedge first.`

const screenExit = `EXIT STATUS
  0    measured
  1    anything else went wrong
  2    wrong usage
  3    measured, rated poor
  4    not measured: it says why, and no file is written`

// Screen is 'inspect screen'; the command that takes pictures is given.
func Screen(shoot *cobra.Command) *cobra.Command {
	cmd := &cobra.Command{
		Use:                   "screen wedge|mirror|shoot",
		Short:                 "Measure the screen that lights the unit: its light curve, and how it stands",
		Long:                  screenHelp + "\n\n" + strings.Join(screen.Cautions(lang.English()), "\n"),
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: screen wedge, mirror or shoot (see 'inspect screen --help')")
		},
	}
	cmd.AddCommand(newScreenWedgeCommand(), newScreenMirrorCommand(), shoot)
	return cmd
}

const wedgeHelp = `screen wedge tells a screen's own light curve from pictures of plain greys, dark to
white: grey_000.png to grey_255.png in a folder, named by the level that the screen
showed all over. What the camera sees may be the screen mirrored in a mirror or a
plate of black glass, or a matt white card that the screen lights. Nine to seventeen
greys are enough. Show white first, and once more at the end (grey_255_2.png): that
tells whether the screen dims by itself. 'inspect screen shoot wedge' takes them.

The camera's exposure, gain and white balance are set by hand and stay; white is just
not clipped; other lamps are out; the screen is at full brightness, its night mode
off. Screen and camera are measured together, as phases want it: measure again with
another camera.

The file goes beside the station file, which names it: screen: {curve: screen-curve.json}.
The bench then draws its stripes by it.`

func screenFlags(o *screen.Options, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "",
		"file that describes the station: the screen's stripes, and how it stands (see configs/station.yaml)")
	f.IntVar(&o.MaxAge, "max-age-days", stripes.MaxAgeDays, "days for which the file is believed")
	flags.Sheet(&o.SheetOptions, cmd)
}

func newScreenWedgeCommand() *cobra.Command {
	var o screen.Options
	cmd := &cobra.Command{
		Use:                   "wedge DIR",
		Short:                 "Tell a screen's light curve from pictures of greys",
		Long:                  wedgeHelp + "\n\n" + strings.Join(screen.Cautions(lang.English()), "\n") + "\n\n" + screenExit,
		Example:               "  inspect screen wedge greys --station station.yaml --out .",
		DisableFlagsInUseLine: true,
		Args:                  oneFolder("with the pictures of the greys"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return screen.RunWedge(cmd.Context(), o, args[0], cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	screenFlags(&o, cmd)
	return cmd
}

const mirrorHelp = `screen mirror tells how many radians of phase one radian of slope makes, along x and
y: what slopes in mrad and depths in um are made of. A flat mirror lies where the
faceplate lies, its edges along the picture's, and the set before the screen
(face_stripes_x0 to x3, face_stripes_y0 to y3) is taken three times, into three
folders of DIR; between them nothing but the mirror is touched:

  flat       the mirror lies flat
  tilted_x   a feeler gauge lifts its edge that is nearest the screen
  tilted_y   the same gauge lifts its upper or its lower edge in the picture

--gauge-um is the gauge's thickness, --span-mm the way from the gauge to the edge on
which the mirror then stands, along x and along y (one number where both are alike).
The stripes should move by a quarter of a period: the gauge's thickness is about
span x period / distance / 8 (150 um for 30 mm, stripes of 6 mm, 160 mm off); a longer
mirror takes a thicker gauge, which is known better. Where it would be too thick the
command says which one to take.

A first-surface mirror, or a plate of black glass or polished black acrylic, which
mirrors as little as lacquer does, so that the exposure stays. Float glass with its
silver behind mirrors twice: do not use it. The ruler's distance_mm in the station
file is the first guess; tilt_deg should be there too. Do 'screen wedge' first.

The file goes beside the station file, which names it: screen: {mirror: screen-mirror.json}.
It holds for that period, distance and tilt, and until somebody moves screen or camera.`

func newScreenMirrorCommand() *cobra.Command {
	var o screen.MirrorOptions
	cmd := &cobra.Command{
		Use:                   "mirror DIR --gauge-um T --span-mm L",
		Short:                 "Tell how mirrored stripes move with slope, from a flat mirror in three positions",
		Long:                  mirrorHelp + "\n\n" + strings.Join(screen.Cautions(lang.English()), "\n") + "\n\n" + screenExit,
		Example:               "  inspect screen mirror mirror --gauge-um 150 --span-mm 30 --station station.yaml --out .",
		DisableFlagsInUseLine: true,
		Args:                  oneFolder("that holds flat, tilted_x and tilted_y"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return screen.RunMirror(cmd.Context(), o, args[0], cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.GaugeUM, "gauge-um", 0, "thickness of the feeler gauge, um, 10 to 2000")
	f.Float64Var(&o.UGaugeUM, "u-gauge-um", 3,
		"its standard uncertainty, um; of limits +-a, a / 1.73 (default: common practice, no source)")
	f.Float64SliceVar(&o.SpanMM, "span-mm", nil,
		"from the gauge to the edge on which the mirror stands, mm, 5 to 500; along x and y where they differ: 30,40")
	f.Float64Var(&o.USpanMM, "u-span-mm", 0.3, "its standard uncertainty, mm (default: common practice, no source)")
	screenFlags(&o.Options, cmd)
	return cmd
}

// oneFolder wants one folder's name.
func oneFolder(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return cli.Usagef("name one folder, %s (see '%s --help')", what, cmd.CommandPath())
		}
		return nil
	}
}
