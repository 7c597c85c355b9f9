package records

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/records/upkeep"
)

func newEraseCommand(o *cli.Database) *cobra.Command {
	return &cobra.Command{
		Use:   "erase NAME",
		Short: "Erase what a person is called, everywhere",
		Long: `erase takes the initials or the badge of a person off the database: off
inspections, undone and overruled calls, tests and labels. They stay, under a
number that tells nothing. It cannot be undone. Backups made before, and pages
that were written, still have the name.`,
		Example:               "  inspect records erase B17 --record bench.db",
		Args:                  flags.OneArg("the initials or badge, as recorded"),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return upkeep.RunErase(cmd.Context(), *o, args[0], cmd.OutOrStdout())
		},
	}
}
