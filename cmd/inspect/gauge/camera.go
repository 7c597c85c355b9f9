package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/camera"
)

const cameraHelp = `camera looks at what a camera, its lens and its light can do, before units are
measured with them. Give at least one of:

--white   pictures of a clean white card that fills the view, evenly lit, out of
          focus, the brightest part at about 70 % of full. Three or more, the card
          moved between them, tell dust on the sensor from dust on the card.
          Result: how light falls off, and with --out a flat-field file.
--dark    pictures with the lens covered, for the same flat field.
--edge    a picture with straight, clean edges at 2 to 10 degrees to the picture's
          border: a chessboard, a blade or the lit panel's edge, turned by about 5
          degrees. Result: sharpness as MTF50, by the slanted-edge steps of ISO 12233.
--exposures SERIES.csv
          two pictures at each of several exposures, from dark to clipped, nothing
          else changed, and two with the lens covered. Result: linearity, noise,
          gain and saturation, in the quantities of EMVA 1288.

SERIES.csv has a line a picture, with the columns file and exposure_ms and, where
there are any, kind (light or dark) and photons (a pixel, from the light's measured
irradiance). Files are named from the table's own folder.

  file,exposure_ms,kind
  e01a.png,1,light
  e01b.png,1,light
  d01a.png,1,dark
  d01b.png,1,dark

Pictures are taken as sRGB-coded; --linear says that samples are proportional to
light, as raw pictures are.`

const cameraExitHelp = `EXIT STATUS
  0    all that was asked for was measured, and is good or fair
  1    anything else went wrong
  2    wrong usage, or a table or picture that cannot be read
  3    something is poor
  4    something was not measured: the page says why (4 wins over 3)`

// Camera is 'inspect camera'.
func Camera() *cobra.Command {
	var o camera.Options
	cmd := &cobra.Command{
		Use:   "camera",
		Short: "Sharpness, light, linearity and noise of a camera",
		Long:  cameraHelp + "\n\n" + cameraExitHelp,
		Example: `  inspect camera --white w1.png,w2.png,w3.png --dark d1.png --out camera
  inspect camera --edge board.png --mm-per-px 0.015
  inspect camera --exposures series.csv --linear --out camera`,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, args []string) error {
			return camera.Run(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.White, "white", nil, "pictures of a white card, separated by commas")
	f.StringSliceVar(&o.Dark, "dark", nil, "pictures with the lens covered, for the flat field")
	f.StringSliceVar(&o.Edge, "edge", nil, "pictures with straight slanted edges")
	f.StringVar(&o.Exposures, "exposures", "", "table of an exposure series (CSV)")
	f.BoolVar(&o.Linear, "linear", false, "samples are proportional to light; else sRGB-coded")
	f.Float64Var(&o.MmPerPX, "mm-per-px", 0, "scale, for sharpness in line pairs a millimetre")
	f.StringVar(&o.Name, "camera", "", "name of the camera, for the page")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
