package teach

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/teach/label"
)

func newLearnTableCommand(r *cli.Database) *cobra.Command {
	var o label.TableOptions
	cmd := &cobra.Command{
		Use:   "table",
		Short: "The labelled findings with their features, as CSV",
		Long: `table writes a line for each labelled finding: unit, which finding, what it is, who
says so, what the rules call it, and its features. 'inspect learn fit --labels'
reads such a table. With --truth and --results it is the findings of units of which
the defects are known (truth.json).`,
		Example: `  inspect learn table --record bench.db > labels.csv
  inspect learn table --truth units --results results > labels.csv`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return label.RunTable(cmd.Context(), *r, o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Truth, "truth", "", "folder of units with known defects, a truth.json each")
	f.StringVar(&o.Results, "results", "", "folder of their results, as 'inspect unit' writes them")
	return cmd
}
