package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
)

const lotDesignHelp = `design finds the plan with the smallest sample that keeps two risks: of lots as good
as --good at most --producer percent are refused, of lots as bad as --bad at most
--consumer percent are accepted. Qualities are percent of nonconforming units; for
--law poisson, nonconformities per 100 units.

With --zero not one may be found: the smallest sample of a lot of --size of which lots
as bad as --bad pass at most --consumer percent of the time.

The plan is no table's: 'inspect lot plan' opens lots by the tables only.`

const lotDesignExamples = `  inspect lot design --good 1 --producer 5 --bad 6.5 --consumer 10
  inspect lot design --good 1 --producer 5 --bad 6.5 --consumer 10 --law hypergeometric --size 500
  inspect lot design --zero --bad 1 --consumer 5 --size 500`

func newLotDesignCommand() *cobra.Command {
	var o book.DesignOptions
	cmd := &cobra.Command{
		Use:                   "design --bad P --consumer RISK",
		Short:                 "A plan from two points: what should pass, what should not",
		Long:                  lotDesignHelp,
		Example:               lotDesignExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return book.RunDesign(o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.Good, "good", 0, "quality that should pass, percent")
	f.Float64Var(&o.Producer, "producer", 5, "risk that it is refused, percent")
	f.Float64Var(&o.Bad, "bad", 0, "quality that should not pass, percent")
	f.Float64Var(&o.Consumer, "consumer", 10, "risk that it is accepted, percent")
	f.StringVar(&o.Law, "law", string(lots.Binomial), "binomial (a process), hypergeometric (this one lot, with --size) or poisson")
	f.IntVar(&o.Size, "size", 0, "units in the lot")
	f.BoolVar(&o.Zero, "zero", false, "not one nonconforming unit may be found; with --size")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
