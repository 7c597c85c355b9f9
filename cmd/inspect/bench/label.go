package bench

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
)

const labelHelp = `label writes a PDF with a label for each name, a page of the label's size each: a QR
code that any bench knows without a pattern in its station file, and the name. Print it
at its own size (100 %), not fitted to the page.`

// newLabelCommand is 'inspect bench label'.
func newLabelCommand() *cobra.Command {
	var o station.LabelOptions
	cmd := &cobra.Command{
		Use:   "label NAME... --out FILE",
		Short: "Print QR labels of units, badges, lots or batches of faceplates",
		Long:  labelHelp,
		Example: "  inspect bench label P-01-L P-01-R --out labels.pdf\n  inspect bench label B17 B18 --of badge --size 54x30 --out " +
			"badges.pdf",
		Args: flags.WrongUsage(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.Out == "" {
				return cli.Usagef("name the file to write: --out labels.pdf")
			}
			return station.RunLabels(o, args, cmd.OutOrStdout())
		},
		DisableFlagsInUseLine: true,
	}
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "file to write; it must not be there yet")
	f.StringVar(&o.Kind, "of", "unit", "what the names are of: unit, badge, lot or faceplate")
	f.StringVar(&o.Size, "size", "50x25", "width and height of a label, mm")
	f.SortFlags = false
	return cmd
}
