package lot

import (
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
)

const lotStepHelp = `step judges a lot by how large its steps are, rather than by counting: sampling by
variables, spread not known (s-method, MIL-STD-414), by the worst step of each unit
with its sign. It needs far fewer units than counting, but holds only where the
values are normal, which is tested and told. Lay down AQL and limits before the
lot is looked at. It stands beside the lot's decision and does not enter it.

Without values it tells the plan: sample, k, M, and what it lets through. Limits are
those from which a step is major, unless --low and --high say otherwise.

EXIT STATUS
  0    the plan is told, or the steps are accepted
  3    the steps are refused
  4    too few units were measured`

const lotStepExamples = `  inspect lot step --size 500 --aql 1
  inspect lot step 31 --aql 1 --record bench.db --out step
  inspect lot step --size 40 --aql 1 --values steps.txt --high 50`

func newLotStepCommand(r *cli.Database) *cobra.Command {
	o := book.StepOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "step [LOT]",
		Short:                 "Judge the steps of a lot by measured values",
		Long:                  lotStepHelp,
		Example:               lotStepExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Stdin = cmd.InOrStdin()
			return book.RunStep(cmd.Context(), o, strings.Join(args, ""), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.Size, "size", 0, "units in the lot (default: the lot's)")
	f.Float64Var(&o.AQL, "aql", 1, "acceptance quality limit, percent of units with a step beyond the limits")
	f.StringVar(&o.Level, "level", "IV", "inspection level of MIL-STD-414: I to V")
	f.StringVar(&o.Mode, "mode", string(lots.Normal), "normal or tightened")
	f.StringVar(&o.Low, "low", "", "lowest step, um, below 0 recessed; none: no limit")
	f.StringVar(&o.High, "high", "", "highest step, um, above 0 proud; none: no limit")
	f.StringVar(&o.Values, "values", "", "file with a step a line, um, in the draw's order; - for standard input")
	f.StringVar(&o.Stage, "stage", "", "trim, wet or cured: whose limits (default: the lot's, else cured)")
	f.StringVar(&o.Limit, "limits", "", "file with the limits (default: the built-in ones)")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
