package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotDrawHelp = `draw draws the units of LOT that are looked at. All serials of the lot are given, a
line each, as FILE or "-" for standard input: the names of the units as they are
recorded, u06-R where a unit has a side. --count numbers the units instead, from 1.
The list, the seed and the units drawn are recorded: anyone can draw again, and see
that no one chose. With a LOT that was drawn already it prints the list again.

A unit of the sample that cannot be measured, lost or broken, is replaced by the
next unit of the same draw with --replace UNIT --why WHY; nobody chooses that one.`

const lotDrawExamples = `  inspect lot draw 31 --serials serials.txt --record bench.db --by 'inspector 2'
  ls lot31 | inspect lot draw 31 --serials - --record bench.db
  inspect lot draw 31 --replace u0412-L --why 'shell broken' --by 'inspector 2' --record bench.db`

func newLotDrawCommand(r *cli.Database) *cobra.Command {
	o := book.DrawOptions{Database: r, SeedFrom: book.ChanceSeed}
	cmd := &cobra.Command{
		Use:                   "draw LOT --serials FILE",
		Short:                 "Draw the units that are looked at",
		Long:                  lotDrawHelp,
		Example:               lotDrawExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Stdin = cmd.InOrStdin()
			return book.RunDraw(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Serials, "serials", "", "file with all serials of the lot, a line each; - for standard input")
	f.BoolVar(&o.Count, "count", false, "the units have no serials: number them from 1")
	f.StringVar(&o.Seed, "seed", "", "seed of the draw, a whole number (default: from chance; one that is given is marked as such)")
	f.StringVar(&o.By, "by", "", "who draws")
	f.StringVar(&o.Replace, "replace", "", "unit of the sample that cannot be measured")
	f.StringVar(&o.Why, "why", "", "why it cannot be measured")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
