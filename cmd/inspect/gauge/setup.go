package gauge

import (
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/walk"
	"finishbench/internal/lang"
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

// Setup is 'inspect setup'.
func Setup() *cobra.Command {
	var o walk.Options
	cmd := &cobra.Command{
		Use:                   "setup [PICTURE|FOLDER...] [--watch FOLDER]",
		Short:                 "Put the bench in order: panel, exposure, focus, height, perspective, squareness, scale",
		Long:                  setupHelp + "\n\n" + strings.Join(walk.SetupCautions(lang.English()), "\n") + "\n\n" + setupExit,
		Example:               setupExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return walk.Run(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Watch, "watch", "", "folder into which the camera puts its pictures")
	f.StringVar(&o.Station, "station", "", "file that describes the station: its limits and scale (see configs/station.yaml)")
	f.StringVar(&o.Scale, "scale", "", "scale file in force (default: the station file's)")
	f.StringVar(&o.View, "view", "edge",
		"edge or face: what pictures show whose names do not tell it; edge has a lit panel behind the unit")
	f.StringSliceVar(&o.Steps, "step", nil, "only this step, or these: panel, exposure, focus, height, perspective, squareness, scale")
	targetFlags(&o.TargetOptions, cmd)
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
