package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/bench"
	"finishbench/cmd/inspect/flags"
	"finishbench/cmd/inspect/gauge"
	"finishbench/cmd/inspect/lot"
	"finishbench/cmd/inspect/records"
	"finishbench/cmd/inspect/teach"
	"finishbench/cmd/inspect/unit"
	"finishbench/internal/cli"
)

const rootHelp = `inspect looks at photographs of finished units under controlled light. It
measures the step where faceplate and shell meet, finds bubbles, dust, fibres,
sanding marks, craters and runs in the lacquer, and says whether the unit
passes, why not, and what to do.`

// run is the whole program: it does what args ask and returns what went wrong.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error {
	root := newRootCommand()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return root.ExecuteContext(ctx)
}

// newRootCommand is the command line: inspect with all its commands.
func newRootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:               "inspect",
		Short:             "Measure photographs of finished units",
		Long:              rootHelp,
		Args:              flags.WrongUsage(cobra.NoArgs),
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true},
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: unit, surface, scale, camera, setup, screen, study, check, coach, quiz, learn, atlas, " +
				"records, bench or version (see 'inspect --help')")
		},
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return cli.Usagef("%w (see '%s --help')", err, cmd.CommandPath())
	})
	root.AddCommand(unit.Command(), unit.Surface(), gauge.Scale(), gauge.Camera(), gauge.Setup(), gauge.Screen(bench.ScreenShoot()),
		gauge.Study(), gauge.Check(), teach.Coach(), teach.Quiz(), teach.Learn(), teach.Atlas(), lot.Command(), records.Command(),
		bench.Command(), newVersionCommand())
	return root
}
