package records

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/records/rework"
)

const ticketHelp = `ticket prints what is to be done about a unit, by its latest inspection on record, as a
PDF of one page that goes with it: serial and QR code, the work plan's steps, a sketch of
where, what to take care of, what was not looked at. A unit that passes has none. Where
a person called otherwise than the tool, it says so, and has none of the tool's steps.`

// newTicketCommand is a command under 'inspect records'.
func newTicketCommand(where *cli.Database) *cobra.Command {
	var o rework.Options
	cmd := &cobra.Command{
		Use:   "ticket SERIAL --out FILE",
		Short: "Print a unit's rework ticket",
		Long:  ticketHelp,
		Example: "  inspect records ticket A-1001-R --record bench.db --out A-1001-R.pdf\n" +
			"  inspect records ticket A-1001-R --station station.yaml --language zh-Hans --out A-1001-R.pdf",
		Args:                  flags.OneArg("the unit's serial, such as A-1001-R"),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return rework.Run(cmd.Context(), *where, o, args[0], cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&o.Out, "out", "", "file to write; it must not be there yet")
	flags.Language(&o.Language, cmd.Flags())
	return cmd
}
