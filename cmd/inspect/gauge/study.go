package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
)

const studyHelp = `study says whether the gauge is good enough for what it is asked, from
measurements that were made for this purpose.`

// Study is 'inspect study'.
func Study() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "study",
		Short: "Say how far the gauge can be believed",
		Long:  studyHelp,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.Usagef("say which study (see '%s --help')", cmd.CommandPath())
		},
	}
	// One line a study.
	cmd.AddCommand(
		newStudyGaugeCommand(),
		newStudyBiasCommand(),
		newStudyStabilityCommand(),
		newAgreementCommand(),
		newDetectionCommand(),
	)
	return cmd
}
