package lot

import (
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotChartHelp = `chart draws a control chart of what the records hold, in order of time.

  p, np    share, or number, of units that did not pass, lot by lot
  c, u     findings, or findings a unit, lot by lot (c: samples of one size)
  demerit  demerits a unit, lot by lot: critical 100, major 50, moderate 10, minor 1
  xbar     mean step of the units, in subgroups, with the chart of their spread
  i        mean step of each unit, with its moving range
  ewma     the same, averaged with weights that fade
  cusum    the same, summed up: small lasting shifts

With --of waviness the last four are of the faceplate's waviness before a screen
(root mean square slope, mrad). Units of which it was not measured, or is only known
to be at least so much, are left out and counted. Their points name the batch of
resin, and --resin keeps to one.

With --baseline the first so many points set the limits, and the others are judged
by them. Points at which a rule is met are named, and how often the rules call
falsely is told.`

const lotChartExamples = `  inspect lot chart --kind p --record bench.db --out charts
  inspect lot chart --kind xbar --subgroup 5 --baseline 20 --from 2026-02-01 --stage cured --record bench.db
  inspect lot chart --kind i --of waviness --baseline 30 --stage cured --record bench.db
  inspect lot chart --kind cusum --target 0 --lot 31 --record bench.db --json`

func newLotChartCommand(r *cli.Database) *cobra.Command {
	o := book.ChartOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "chart --kind KIND",
		Short:                 "Control charts over lots, or of step or waviness over units",
		Long:                  lotChartHelp,
		Example:               lotChartExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return book.RunChart(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Kind, "kind", "", strings.Join(append(book.Kinds(), book.UnitKinds()...), ", "))
	f.StringVar(&o.Of, "of", "step", "what of the units: step, waviness (xbar, i, ewma, cusum)")
	f.StringVar(&o.From, "from", "", `from this time on: "2026-03-02 06:00" or "2026-03-02"`)
	f.StringVar(&o.To, "to", "", "up to this time")
	f.StringVar(&o.Lot, "lot", "", "units of this lot only (xbar, i, ewma, cusum)")
	f.StringVar(&o.Resin, "resin", "", "units of this batch of resin only (xbar, i, ewma, cusum)")
	f.StringVar(&o.Product, "product", "", "lots of this product only (p, np, c, u, demerit)")
	f.StringVar(&o.Stage, "stage", "", "trim, wet or cured only")
	f.IntVar(&o.Subgroup, "subgroup", book.Subgroup, "units of a subgroup, 2 to 25 (xbar)")
	f.IntVar(&o.Baseline, "baseline", 0, "points that set the limits; 0: all")
	f.StringVar(&o.Rules, "rules", "", "western-electric, nelson, iso7870, or single rules (default: beyond,run9)")
	f.StringVar(&o.Target, "target", "",
		"where the step should be, um, or the waviness, mrad (ewma, cusum; default: the mean of the baseline)")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
