package teach

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/teach"
	"finishbench/internal/teach/atlas"
)

const atlasHelp = `atlas makes a page for each kind of defect: what it is, what causes it, how to
see it, how to put it right at each stage, and pictures from just visible to
severe, all at one scale, with a clean place beside.

The pictures are from the records: spread over size, confirmed ones and sure ones
first. Where the records have none of a kind, those of units with known defects
(--units) are taken, else drawn ones, and the page says so.

pin, hide, caption and free change what is shown. A finding is named by its
inspection's number and its own: 1204/3.`

const atlasExamples = `  inspect atlas --record bench.db --out atlas
  inspect atlas --units testdata/images --out atlas --language zh-Hans
  inspect atlas hide 1204/3 --record bench.db --by B17
  inspect atlas caption 1204/3 "the brush was new" --record bench.db --by B17
  inspect atlas wall --stage wet --out atlas`

// Atlas is 'inspect atlas'.
func Atlas() *cobra.Command {
	var o atlas.Options
	cmd := &cobra.Command{
		Use:                   "atlas --out DIR",
		Short:                 "What each kind of defect looks like, to teach and to print",
		Long:                  atlasHelp,
		Example:               atlasExamples,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return atlas.Run(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	p := cmd.PersistentFlags()
	flags.Database(&o.Records, p)
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "folder for the pages; made where it is missing")
	f.StringVar(&o.Units, "units", "", "folder of units with known defects (truth.json), for kinds that the records lack")
	flags.Language(&o.Language, f)
	f.IntVar(&o.N, "pictures", 6, "pictures of each kind, 2 to 20")
	cmd.AddCommand(newAtlasMarkCommand(&o, teach.Pin, "pin I/N", "Always show a finding"),
		newAtlasMarkCommand(&o, teach.Hide, "hide I/N", "Never show a finding"),
		newAtlasMarkCommand(&o, teach.Free, "free I/N", "Let the program choose again"),
		newAtlasMarkCommand(&o, teach.Caption, "caption I/N TEXT", "Put words under a finding"), newAtlasWallCommand(&o))
	return cmd
}

// newAtlasMarkCommand is one of pin, hide, free and caption.
func newAtlasMarkCommand(o *atlas.Options, kind, use, short string) *cobra.Command {
	args := 1
	if kind == teach.Caption {
		args = 2
	}
	cmd := &cobra.Command{Use: use, Short: short, Args: flags.WrongUsage(cobra.ExactArgs(args)), DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return atlas.RunMark(cmd.Context(), *o, kind, args, cmd.OutOrStdout())
		}}
	cmd.Flags().StringVar(&o.By, "by", "", "initials or badge of the trainer")
	return cmd
}

func newAtlasWallCommand(o *atlas.Options) *cobra.Command {
	cmd := &cobra.Command{Use: "wall --out DIR", Short: "Boundary samples at true size, to print on A4",
		Args: flags.WrongUsage(cobra.NoArgs), DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, _ []string) error { return atlas.RunWall(*o, cmd.OutOrStdout()) }}
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "folder for the page; made where it is missing")
	f.StringVar(&o.Stage, "stage", "wet", "trim, wet or cured: whose limits")
	f.StringVar(&o.Limits, "limits", "", "file with the limits (default: the built-in ones)")
	flags.Language(&o.Language, f)
	return cmd
}
