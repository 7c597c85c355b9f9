package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotDecideHelp = `decide accepts or refuses LOT, as its counts say, and signs with the name given. A
decision is made once and stays. A lot may be refused although its counts accept it
(--refuse, with a reason), never the other way round.

Refusal is certain as soon as a count reaches its number, so that it may be decided
before the sample is finished; acceptance needs the whole sample. A lot is not accepted
either while a unit of its sample does not pass and nobody has said what becomes of it:
'inspect lot dispose LOT'.

A refused lot is screened, every unit of it, or returned: --screened, with the serials
of the units taken out, or --returned tells which. A screened lot may be presented
again, with the units that are left: 'inspect lot plan LOT --again'.`

const lotDecideExamples = `  inspect lot decide 31 --by 'inspector 2' --record bench.db
  inspect lot decide 31 --screened --taken-out u0012-L,u0412-R --by 'inspector 2' --record bench.db`

func newLotDecideCommand(r *cli.Database) *cobra.Command {
	o := book.DecideOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "decide LOT --by NAME",
		Short:                 "Accept or refuse a lot, signed",
		Long:                  lotDecideHelp + "\n\n" + lotExit,
		Example:               lotDecideExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return book.RunDecide(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.By, "by", "", "who decides")
	f.StringVar(&o.Why, "why", "", "in words, for the records")
	f.BoolVar(&o.Accept, "accept", false, "only if the counts accept it")
	f.BoolVar(&o.Refuse, "refuse", false, "refuse it, whatever the counts say")
	f.BoolVar(&o.Screened, "screened", false, "of a refused lot: every unit was looked at")
	f.BoolVar(&o.Returned, "returned", false, "of a refused lot: it went back")
	f.StringSliceVar(&o.Out, "taken-out", nil, "serials of the units that the screening took out and did not put back")
	answer(&o.Answer, f, "write the lot's state as JSON")
	f.SortFlags = false
	return cmd
}
