package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotDisposeHelp = `dispose says what becomes of a unit of the sample of LOT that does not pass, or could
not be measured and was replaced, by its serial:

  --reworked     it was mended and looked at again, and passed: the records must have
                 that inspection, after the one that counts
  --scrapped     it is taken out of the lot for good
  --concession   it is used as it is, with the reason and the customer's reference

The counts of the sample stay as they are: they tell of the lot as it was presented.`

const lotDisposeExamples = `  inspect lot dispose 31 --unit u0412-L --scrapped --by 'inspector 2' --record bench.db
  inspect lot dispose 31 --unit u0007-R --concession --why 'nib under the label' --reference C-118 --by 'inspector 2' --record bench.db`

func newLotDisposeCommand(r *cli.Database) *cobra.Command {
	o := book.DisposeOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "dispose LOT --unit SERIAL --by NAME",
		Short:                 "Say what becomes of a unit that does not pass, signed",
		Long:                  lotDisposeHelp + "\n\n" + lotExit,
		Example:               lotDisposeExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return book.RunDispose(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Unit, "unit", "", "the unit, as the lot's list has it")
	f.BoolVar(&o.Reworked, "reworked", false, "mended, looked at again, and passed")
	f.BoolVar(&o.Scrapped, "scrapped", false, "taken out of the lot for good")
	f.BoolVar(&o.Concession, "concession", false, "used as it is, by the customer's leave")
	f.StringVar(&o.Reference, "reference", "", "the customer's, of a concession")
	f.StringVar(&o.Why, "why", "", "in words, for the records")
	f.StringVar(&o.By, "by", "", "who decides")
	answer(&o.Answer, f, "write the lot's state as JSON")
	f.SortFlags = false
	return cmd
}
