package teach

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/teach/label"
)

const learnHelp = `learn fits the calling of kinds to what people say that findings are. It changes
nothing by itself: a model that was fitted is kept, and in force only from when
someone accepts it; going back is one command.

  inspect learn label   say what a finding is
  inspect learn fit     fit a model to all labels, and try it on units left out
  inspect learn accept  put a model in force
  inspect learn back    go back to what was in force before
  inspect learn list    all models, and when each was in force
  inspect learn show    one model, as JSON
  inspect learn table   the labelled findings with their features, as CSV

'inspect unit' and 'inspect bench' use the model in force of the records that they
write to, and name it in each result. Whoever gives labels or accepts a model is
told by initials or badge. What a trainer confirmed of a unit for blind tests
('inspect quiz confirm') counts as labels too.`

const learnExit = `EXIT STATUS
  0    done
  3    fit: refused; nothing was kept
  1    it could not be done
  2    wrong usage; nothing was done`

// Learn is 'inspect learn'.
func Learn() *cobra.Command {
	var o cli.Database
	var tag string
	cmd := &cobra.Command{
		Use:   "learn",
		Short: "Fit the calling of kinds to what people say",
		Long:  learnHelp + "\n\n" + learnExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: learn label, fit, accept, back, list, show or table (see 'inspect learn --help')")
		},
	}
	f := cmd.PersistentFlags()
	flags.Database(&o, f)
	flags.Language(&tag, f)
	cmd.AddCommand(newLearnLabelCommand(&o), newLearnFitCommand(&o, &tag), newLearnAcceptCommand(&o, &tag),
		newLearnBackCommand(&o, &tag), newLearnListCommand(&o, &tag), newLearnShowCommand(&o), newLearnTableCommand(&o))
	return cmd
}

func learnByFlags(b *label.By, cmd *cobra.Command) {
	cmd.Flags().StringVar(&b.Initials, "by", "", "who does this: initials")
	cmd.Flags().StringVar(&b.Badge, "badge", "", "and badge, or the badge alone; - where others have the same initials and you have none")
}

func newLearnAcceptCommand(o *cli.Database, tag *string) *cobra.Command {
	var by label.By
	cmd := &cobra.Command{
		Use:     "accept MODEL --by INITIALS",
		Short:   "Put a model in force",
		Long:    "accept puts a model that 'inspect learn fit' kept in force, from the next unit on.",
		Example: "  inspect learn accept 2026-03-02-1f6c0a9d --by AK --record bench.db",
		Args:    flags.OneArg("name the model: 'inspect learn list' lists them"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return label.RunAccept(cmd.Context(), *o, *tag, by, args[0], cmd.OutOrStdout())
		},
	}
	learnByFlags(&by, cmd)
	return cmd
}

func newLearnBackCommand(o *cli.Database, tag *string) *cobra.Command {
	var by label.By
	cmd := &cobra.Command{
		Use:   "back --by INITIALS",
		Short: "Go back to what was in force before",
		Long: "back puts in force what was before the model that is: the one before it, or the rules\nalone. Results that were " +
			"written keep their calls, and name the model that made\nthem.",
		Example: "  inspect learn back --by AK --record bench.db",
		Args:    flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return label.RunBack(cmd.Context(), *o, *tag, by, cmd.OutOrStdout())
		},
	}
	learnByFlags(&by, cmd)
	return cmd
}

func newLearnListCommand(o *cli.Database, tag *string) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "All models, and when each was in force",
		Long:    "list lists all models that were fitted, and when each was in force.",
		Example: "  inspect learn list --record bench.db",
		Args:    flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return label.RunList(cmd.Context(), *o, *tag, cmd.OutOrStdout())
		},
	}
}

func newLearnShowCommand(o *cli.Database) *cobra.Command {
	return &cobra.Command{
		Use:   "show [MODEL]",
		Short: "One model, as JSON",
		Long: `show writes a model as JSON: what it was fitted to, its test, and each weight. Without
MODEL it is the one in force. 'inspect unit --kind-model FILE' uses such a file
where there are no records.`,
		Example: "  inspect learn show --record bench.db > model.json",
		Args:    flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return label.RunShow(cmd.Context(), *o, args, cmd.OutOrStdout())
		},
	}
}
