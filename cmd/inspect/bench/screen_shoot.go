package bench

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/screen"
	"finishbench/internal/lang"
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

// ScreenShoot is 'inspect screen shoot'.
func ScreenShoot() *cobra.Command {
	var o station.Options
	kinds := append([]string{station.ShootWedge}, stripes.Positions[:]...)
	cmd := &cobra.Command{
		Use:   "shoot " + strings.Join(kinds, "|") + " DIR",
		Short: "Take the pictures for wedge and mirror with the station's camera",
		Long:  screenShootHelp + "\n\n" + strings.Join(screen.Cautions(lang.English()), "\n"),
		Example: "  inspect screen shoot wedge greys --station station.yaml --listen 192.168.1.20:8080\n  inspect screen " +
			"shoot flat mirror --station station.yaml --listen 192.168.1.20:8080",
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 || !slices.Contains(kinds, args[0]) {
				return cli.Usagef("say what to take, %s, and into which folder (see 'inspect screen shoot --help')",
					strings.Join(kinds, ", "))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Take, o.Record.URL, o.Remeasures = station.ScreenShoot{What: args[0], Dir: args[1]}, "none", true
			return station.Run(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "", "file that describes the station: its camera, its plan, the screen (see configs/station.yaml)")
	pageFlags(&o, cmd)
	f.Float64Var(&o.MMPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel, where the station file has none")
	f.SortFlags = false
	return cmd
}
