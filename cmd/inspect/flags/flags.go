package flags

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"finishbench/internal/cli"
)

// Sheet are the flags of the commands that make one sheet.
func Sheet(o *cli.SheetOptions, cmd *cobra.Command) {
	SheetOut(o, cmd)
	Language(&o.Language, cmd.Flags())
}

// SheetOut are those of a command that has its language from the one above it.
func SheetOut(o *cli.SheetOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "folder for the page with its plots; made where it is missing")
	f.BoolVar(&o.JSON, "json", false, "write the numbers to standard output as JSON, in place of the text")
	f.SortFlags = false
}

// Language says in which language a command writes its pages. What finds other words for it reads
// cli.Language.
func Language(tag *string, f *pflag.FlagSet) {
	f.StringVar(tag, "language", "", cli.LanguageUse)
}

// WrongUsage makes a check of the arguments a usage error.
func WrongUsage(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			// Cobra adds its suggestions on further lines; one line is enough.
			first, _, _ := strings.Cut(err.Error(), "\n")
			return cli.Usagef("%s (see '%s --help')", first, cmd.CommandPath())
		}
		return nil
	}
}

// OneArg wants one argument and says what it is.
func OneArg(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return cli.Usagef("%s (see '%s --help')", what, cmd.CommandPath())
		}
		return nil
	}
}
