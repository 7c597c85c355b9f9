package gauge

import (
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/detection"
	"finishbench/internal/stats/study"
)

const detectionHelp = `detection says from which size on defects are found, and how often something is
called that is not there.

TRUTH holds a folder a unit with truth.json, which says what is on its faceplate,
and on its shell in each turn (a defect counts in each turn that shows it);
RESULTS what 'inspect unit' wrote of the same units. Each known defect has at
most one finding and each finding tells of at most one defect; a finding of the
wrong kind counts as found, and is told. Defects too faint to be seen (a
contrast-to-noise ratio under 5 in all pictures; Rose 1948) are left out and
counted apart, unless --all-contrasts is given.

In place of the two, a table DATA.csv of targets found and missed will do: the
columns size and found (1 or 0, yes or no), and kind where there are several; or
size, found and of where a line is about several targets of one size.

With --draw N, name folders with clean faces photographed before a screen. N faults of
each kind that a mirror shows (bulging bubbles, craters, runs, missed places,
haze), of known shape and of sizes from too small to large, are drawn into those
pictures: the stripes are bent and dulled as the fault would. Then they are looked
for as in any unit. Scale and station are told as for 'inspect unit'; the station
must say how the screen stands.

The size is the diameter of bubbles, dust and craters, and the length of fibres
and sanding marks, in mm. The curve is a logistic regression over the size or its
logarithm; a90/95 is the upper 95 % bound of the size found 9 times in 10, by the
likelihood ratio. Where no such curve exists, what can be said by count is said.`

func newDetectionCommand() *cobra.Command {
	o := detection.Options{Now: time.Now}
	cmd := &cobra.Command{
		Use:   "detection TRUTH RESULTS | DATA.csv | --draw N CLEAN...",
		Short: "From which size on defects are found",
		Long:  detectionHelp,
		Example: `  inspect study detection units results --out study
  inspect study detection units results --kind bubble,dust --all-contrasts
  inspect study detection targets.csv --scale ln --bound wald
  inspect study detection --draw 60 clean1 clean2 --mm-per-px 0.016 --station station.yaml --out study`,
		DisableFlagsInUseLine: true,
		Args: flags.WrongUsage(func(cmd *cobra.Command, args []string) error {
			if o.Draw > 0 {
				return cobra.MinimumNArgs(1)(cmd, args)
			}
			return cobra.RangeArgs(1, 2)(cmd, args)
		}),
		RunE: func(cmd *cobra.Command, args []string) error {
			return detection.Run(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.Kinds, "kind", nil, "kinds of defects to look at (default: all that are known to be there)")
	f.StringVar(&o.By, "by", "kind", "kind, or pattern: each kind apart on plain and patterned faceplates, opaque and see-through shells")
	f.BoolVar(&o.All, "all-contrasts", false, "count faint defects too")
	f.Float64Var(&o.MinCNR, "min-cnr", 5, "contrast-to-noise ratio from which on a defect can be expected to be seen")
	f.Float64Var(&o.Share, "match-share", study.DefaultMatchRule().SlackShare,
		"how far outside a defect's box a finding may lie, as a share of the box")
	f.StringVar(&o.Scale, "scale", "auto", "what the curve is over: size, ln, or auto: the one that fits better")
	f.StringVar(&o.Bound, "bound", "ratio", "how the bound is found: ratio (likelihood ratio), wald (on the curve) or delta")
	f.Float64Var(&o.Probability, "probability", 0.9, "how often a size must be found to be stated")
	f.Float64Var(&o.Confidence, "confidence", 0.95, "confidence of the bounds")
	f.BoolVar(&o.Firth, "firth", false, "where found and missed ones do not overlap in size, fit Firth's penalised likelihood")
	f.IntVar(&o.Draw, "draw", 0, "draw so many faults of each kind into clean sets before a screen, and look for them")
	f.Float64Var(&o.SlopeMRad, "slope-mrad", 10, "steepest slope of the faults that are drawn, mrad")
	f.Float64Var(&o.Look.MMPerPX, "mm-per-px", 0, "with --draw: scale of the pictures, millimetres per pixel")
	f.StringVar(&o.Look.Station, "station", "", "with --draw: file that describes the station: screen, scale")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
