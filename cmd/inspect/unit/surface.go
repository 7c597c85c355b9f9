package unit

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
)

const surfaceHelp = `surface looks at pictures of flat lacquered test panels: the whole picture is
surface, and there is no seam. Results go to OUT/<panel's name>/, as with unit.

Pictures of one pose under two lights are one panel: name them
<panel>_diffuse.jpg and <panel>_raking.jpg. Two lights tell more than one: what
looks the same in both is the panel's own pattern. A picture of another name is
a panel by itself, under one light.`

const surfaceExamples = `  inspect surface p1_diffuse.jpg p1_raking.jpg --out results --mm-per-px 0.015
  inspect surface panels/*.png --out results --station station.yaml`

// Surface is 'inspect surface'.
func Surface() *cobra.Command {
	var o inspection.Options
	cmd := &cobra.Command{
		Use:                   "surface PICTURE... --out OUT",
		Short:                 "Inspect flat lacquered test panels",
		Long:                  surfaceHelp + "\n\n" + cli.ExitHelp,
		Example:               surfaceExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name at least one picture (see 'inspect surface --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return inspection.RunSurface(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	flags.Run(&o, cmd)
	return cmd
}
