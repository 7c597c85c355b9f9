package teach

import (
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/teach/coach"
)

const coachHelp = `coach sets what was found on one operator's units beside the others: findings by
kind per 100 units with intervals, so that chance is not taken for skill; the
trend over the weeks; and the pictures worth talking about.

It is for the trainer and the operator. Operators are named by the initials or
the badge that the records have.

Without --from and --to it is the last twelve weeks.`

const coachExamples = `  inspect coach --operator B17 --record bench.db --out results
  inspect coach --operator B17 --stage wet --from 2026-03-02 --to 2026-05-25 --station station.yaml`

// Coach is 'inspect coach'.
func Coach() *cobra.Command {
	var o coach.Options
	cmd := &cobra.Command{
		Use:                   "coach --operator BADGE",
		Short:                 "What one operator could be coached in, chance allowed for",
		Long:                  coachHelp,
		Example:               coachExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return coach.Run(cmd.Context(), o, time.Now(), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Operator, "operator", "", "initials or badge, as in the records")
	f.StringVar(&o.Stage, "stage", "", "trim, wet or cured; without it all together")
	f.StringVar(&o.Lot, "lot", "", "of this lot only")
	f.StringVar(&o.From, "from", "", `from this day on: "2026-03-02"`)
	f.StringVar(&o.To, "to", "", "up to this day")
	flags.Database(&o.Records, f)
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}
