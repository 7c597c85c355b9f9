package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotTakeHelp = `take notes what was seen on the units of LOT's sample.

Without DIR it takes each unit that is still to be looked at from the records: its
latest inspection at the lot's stage that was neither withdrawn nor corrected. What
was overruled, corrected or withdrawn since it was taken is taken again.

With DIR... each folder is looked at as by 'inspect unit', recorded, and taken. A DIR
of folders stands for the folders of the drawn units in it; what was not drawn is
left alone. It may be stopped at any time: the same command goes on where it was, and
looks at no unit twice.

A unit that could not be measured counts neither way: the sample is unfinished until
it is photographed again, or replaced ('inspect lot draw --replace').`

const lotTakeExamples = `  inspect lot take 31 --record bench.db
  inspect lot take 31 pictures/lot31 --out results --station station.yaml --by 'inspector 2'
  inspect lot take 31 --unit u0412-L --why 'wiped and photographed again' --by 'inspector 2' --record bench.db`

func newLotTakeCommand(r *cli.Database) *cobra.Command {
	o := book.TakeOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "take LOT [DIR... --out OUT]",
		Short:                 "Take the units of the sample from the records, or from pictures",
		Long:                  lotTakeHelp,
		Example:               lotTakeExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name the lot (see 'inspect lot take --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Run.Station = cli.First(o.Run.Station, o.Station)
			o.Station = o.Run.Station
			return book.RunTake(cmd.Context(), o, args[0], args[1:], cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Run.Record.Operator, "by", "", "who inspects")
	flags.BuiltIn(&o.Run.Record, cmd)
	f.StringVar(&o.Unit, "unit", "", "this unit only, taken again from its latest inspection")
	f.StringVar(&o.Why, "why", "", "why it is taken again")
	flags.Run(&o.Run, cmd)
	f.Lookup("stage").Usage = "trim, wet or cured (default: the lot's)"
	f.Lookup("limits").Usage = "file with the limits that the lot was opened with (default: the built-in ones)"
	f.Lookup("json").Usage = "write what was taken, and where the lot stands, as JSON"
	f.Lookup("out").Usage = "folder for the results of units whose pictures are looked at; made where it is missing"
	return cmd
}
