package lot

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

func newLotShowCommand(r *cli.Database) *cobra.Command {
	var a book.Answer
	cmd := &cobra.Command{
		Use:   "show LOT",
		Short: "Where a lot stands",
		Long: "show tells where LOT stands: its plan, its counts against it, what it waits for, who\ndecided. It draws " +
			"the sample again from the seed and says whether it is the same.",
		Example:               "  inspect lot show 31 --record bench.db",
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return book.RunShow(cmd.Context(), r, a, args[0], cmd.OutOrStdout())
		},
	}
	answer(&a, cmd.Flags(), "write it as JSON")
	return cmd
}

func newLotListCommand(r *cli.Database) *cobra.Command {
	var a book.Answer
	var product string
	cmd := &cobra.Command{
		Use:                   "list",
		Short:                 "All lots, the latest first, and the mode that is due",
		Example:               "  inspect lot list --record bench.db",
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return book.RunList(cmd.Context(), r, a, product, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&product, "product", "", "lots of this product only")
	answer(&a, cmd.Flags(), "write it as JSON")
	return cmd
}

// answer are the flags of a command that tells where lots stand.
func answer(a *book.Answer, f *pflag.FlagSet, json string) {
	f.BoolVar(&a.JSON, "json", false, json)
	flags.Language(&a.Language, f)
}
