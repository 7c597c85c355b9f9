package gauge

import (
	"math"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/studies"
)

const biasHelp = `bias weighs measurements of reference pieces with certified values: whether the
gauge is off, and whether it is off by more at one end of its range (linearity).

PIECES.csv has a line a measurement: reference (the certified value) and value,
and may have u (the certified value's standard uncertainty, k = 1: half the
certificate's figure where that says k = 2) and piece (its name).`

const biasExamples = `  inspect study bias pieces.csv --unit um --out results
  inspect study bias pieces.csv --variation 60`

func newStudyBiasCommand() *cobra.Command {
	var o studies.BiasOptions
	cmd := &cobra.Command{
		Use:                   "bias PIECES.csv",
		Short:                 "Bias and linearity against reference pieces",
		Long:                  biasHelp + "\n\n" + studyExitHelp,
		Example:               biasExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("variation") {
				o.Variation = math.NaN()
			}
			return studies.RunBias(o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Unit, "unit", "", "the readings' unit, for labels")
	f.Float64Var(&o.Variation, "variation", 0,
		"the process's variation (six standard deviations) or the tolerance, to tell bias and linearity as shares of it")
	f.Float64Var(&o.Level, "confidence", 0.95, "level of the confidence intervals")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
