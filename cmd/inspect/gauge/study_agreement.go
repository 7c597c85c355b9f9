package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/studies"
)

const agreementHelp = `agreement says how well people, and the program, call parts the same: each with
themselves, with one another, and with what the parts are known to be.

DATA.csv has a line a call, with the columns part, appraiser, call and, where
there are any, trial and reference, in any order. A program is an appraiser like
another. Each appraiser calls each part equally often; how often may differ
between appraisers.

  part,appraiser,trial,call,reference
  1,Ann,1,pass,pass
  1,tool,1,rework,pass

An appraiser is acceptable with at least 90 % of the parts called right in every
trial, at most 2 % of bad parts' calls good and at most 5 % of good parts' calls
bad; marginal with 80, 5 and 10 % (AIAG, Measurement Systems Analysis).`

func newAgreementCommand() *cobra.Command {
	var o studies.AgreementOptions
	cmd := &cobra.Command{
		Use:   "agreement DATA.csv",
		Short: "How well people and the program call parts the same",
		Long:  agreementHelp,
		Example: `  inspect study agreement calls.csv --out study
  inspect study agreement calls.csv --good pass,rework --json`,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return studies.RunAgreement(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.Good, "good", nil, "calls that mean a good part (default: pass, good, ok, accept and the like, or 1 of 0 and 1)")
	f.Float64Var(&o.Confidence, "confidence", 0.95, "confidence of the intervals")
	f.BoolVar(&o.Exact, "exact", false, "intervals by Clopper and Pearson, in place of Wilson's")
	f.BoolVar(&o.Drop, "drop-incomplete", false, "leave out parts that lack calls, instead of refusing them")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
