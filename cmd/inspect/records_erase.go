package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
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
			return runErase(cmd.Context(), *o, args[0], cmd.OutOrStdout())
		},
	}
}

func runErase(ctx context.Context, o cli.Database, name string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	people, kept, err := s.EraseName(ctx, name)
	switch {
	case err != nil:
		return err
	case kept > 0:
		return fmt.Errorf("records: %s was erased where it can be, but %s of an earlier version of this program hold the name itself, and what is chained cannot be changed; export what you need, and begin a new database",
			name, cli.Counted(kept, "inspection", "inspections"))
	case people == 0:
		return fmt.Errorf("records: nobody is called %q here; capital letters count", name)
	}
	_, err = fmt.Fprintf(stdout, "%s is erased; what was recorded stays, nameless. Backups made before still have the name.\n", name)
	return err
}
