package teach

import (
	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach/label"
)

const learnLabelHelp = `label says what a finding is: its kind, whether or not the tool calls it so; or
none, where it is no defect. SERIAL is the unit (u06-R), of which the latest
inspection is taken, unless --inspection says which; FINDING is its number there,
as drawn in the pictures. The last word of each person counts.

With --csv all labels of a table are given, or none: columns serial, finding, type,
and, where wanted, inspection and note.`

func newLearnLabelCommand(r *cli.Database) *cobra.Command {
	var o label.LabelOptions
	cmd := &cobra.Command{
		Use:   "label SERIAL FINDING KIND --by INITIALS",
		Short: "Say what a finding is",
		Long:  learnLabelHelp + "\n\nKinds: " + part.JoinKinds(records.LabelKinds()) + ".",
		Example: `  inspect learn label u06-R 3 dust --by AK --record bench.db
  inspect learn label --csv labels.csv --by AK --station station.yaml`,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if (o.Csv == "" && len(args) != 3) || (o.Csv != "" && len(args) > 0) {
				return cli.Usagef("give SERIAL FINDING KIND, or --csv FILE (see 'inspect learn label --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return label.RunLabel(cmd.Context(), *r, o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Csv, "csv", "", "table of labels")
	f.Int64Var(&o.Inspection, "inspection", 0, "the inspection's number (default: the unit's latest)")
	f.StringVar(&o.Note, "note", "", "in your words")
	learnByFlags(&o.By, cmd)
	return cmd
}
