package teach

import (
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/teach/label"
)

const learnFitHelp = `fit fits a model to all labels of the records (or to those of a table, --labels),
after it has tried it: the units are dealt into groups, each group's findings are
called by a model that was fitted to the others, and the calls are set beside those
of now. It refuses where there are too few labels, saying how many more of which
kind, and where nothing is gained beyond chance. Labels that contradict each other
are told.

The model starts from the rules: with few labels it calls what they call. It is
kept in the records, and in force only from 'inspect learn accept' on. With --out it
is also written to OUT/model.json, for 'inspect unit --kind-model', beside the page
OUT/learn.html with what would be called differently.`

func newLearnFitCommand(r *cli.Database, tag *string) *cobra.Command {
	var o label.FitOptions
	cmd := &cobra.Command{
		Use:   "fit",
		Short: "Fit a model to all labels, and try it on units left out",
		Long:  learnFitHelp + "\n\n" + learnExit,
		Example: `  inspect learn fit --record bench.db --by AK --out learned
  inspect learn fit --labels labels.csv --out learned`,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.Language = *tag
			return label.RunFit(cmd.Context(), *r, o, time.Now(), cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&o.Labels, "labels", "",
		"table of labelled findings, as 'inspect learn table' writes it (default: the labels of the records)")
	learnByFlags(&o.By, cmd)
	flags.SheetOut(&o.SheetOptions, cmd)
	return cmd
}
