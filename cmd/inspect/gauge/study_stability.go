package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/stats/study"
)

const stabilityHelp = `stability puts a check piece's log on a control chart: the same piece, measured
at the start of each shift. A jump or a lasting shift is the gauge's, since the
piece does not change.

LOG.csv has the columns time, value, event and note; 'inspect check' writes it.
Lines of one time are one check. The first checks fix the limits (--baseline), or
--centre and --sigma give them. Remarks in the log settle the same for all who
read it, 'inspect unit' too:

  # baseline: 25
  # centre: 12.3
  # sigma: 0.4
  # rules: western-electric
  # max_age_hours: 24

A check out of limits stays so until a line says who did what: 'inspect check
LOG.csv --dealt-with "name: what was done"', or --new-baseline where the piece's
level is another one from then on (a new lens, a new piece).`

const stabilityExamples = `  inspect study stability checks.csv --unit um --out results
  inspect study stability checks.csv --rules nelson`

func newStudyStabilityCommand() *cobra.Command {
	var o studies.StabilityOptions
	cmd := &cobra.Command{
		Use:                   "stability LOG.csv",
		Short:                 "A check piece's log on a control chart",
		Long:                  stabilityHelp + "\n\n" + studyExitHelp,
		Example:               stabilityExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Given = map[string]bool{}
			for _, name := range []string{"baseline", "centre", "sigma", "rules"} {
				o.Given[name] = cmd.Flags().Changed(name)
			}
			return studies.RunStability(o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Unit, "unit", "", "the values' unit, for labels")
	f.IntVar(&o.Baseline, "baseline", study.DefaultStabilityOptions().Baseline, "the first checks, which fix the limits")
	f.Float64Var(&o.Centre, "centre", 0, "the piece's level, where it is given")
	f.Float64Var(&o.Sigma, "sigma", 0, "standard deviation within a check, where it is given")
	f.StringVar(&o.Rules, "rules", "default",
		"what stands out: default, western-electric, nelson, iso7870, or single rules separated by commas (beyond, run9 ...)")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
