package records

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/records/shift"
)

const shiftHelp = `shift prints what came over the bench in a shift: units, how many passed at
their first look, findings by kind, the trend of the step, units an hour, calls
overruled. With --out a page to print, A4, with its plots.

Times are this machine's. Without --from and --to it is the last twelve hours.`

const shiftExamples = `  inspect records shift --record bench.db --from "2026-03-02 06:00" --to "2026-03-02 14:00" --out results
  inspect records shift --station station.yaml --lot 4711 --language zh-Hans --out results`

// newRecordsShiftCommand is a command under 'inspect records'.
func newRecordsShiftCommand(where *cli.Database) *cobra.Command {
	var o shift.Options
	cmd := &cobra.Command{
		Use:                   "shift",
		Short:                 "A shift in figures, to print",
		Long:                  shiftHelp,
		Example:               shiftExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return shift.Run(cmd.Context(), *where, o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.From, "from", "", `from this time on: "2026-03-02 06:00" or "2026-03-02"`)
	f.StringVar(&o.To, "to", "", "up to this time")
	f.StringVar(&o.Lot, "lot", "", "of this lot only")
	f.StringVar(&o.Bench, "bench", "", "of this bench only")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
