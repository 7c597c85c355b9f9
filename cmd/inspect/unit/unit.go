package unit

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
)

const unitHelp = `unit looks at each folder DIR as one unit, and writes what it finds under
OUT/<folder's name>/: report.html to look at, result.json for other programs,
and the annotated pictures. OUT/units.csv has a line a unit, OUT/index.html
leads to all of them.

Name the pictures of a unit by what they show:

  edge_000.jpg, edge_030.jpg ...   along the faceplate, across the seam, lit
                                   panel behind; the unit turned by so many
                                   degrees (as many or few angles as you like)
  face_diffuse.jpg                 onto the faceplate, under a dome or sheet
  face_raking.jpg                  the same pose, light from low at the side
  shell_diffuse.jpg ...            onto the shell
  shell_090_raking.jpg ...         onto the shell, turned by so many degrees
  face_white.jpg, face_black.jpg,  before a screen that the lacquer mirrors: lit,
  face_stripes_x0.jpg ... y3.jpg   dark, stripes at four phases in two directions

Other names are listed in a unit.yaml in the folder (see docs/formats.md). JPEG,
PNG, TIFF and BMP are read. The scale, in millimetres per pixel, has to be told.`

const unitExamples = `  inspect unit u06-R --out results --mm-per-px 0.015
  inspect unit lot7/*/ --out results --station station.yaml --stage cured
  inspect unit u06-R --out results --mm-per-px 0.015 --json > u06-R.json`

// Command is 'inspect unit'.
func Command() *cobra.Command {
	var o inspection.Options
	cmd := &cobra.Command{
		Use:                   "unit DIR... --out OUT",
		Short:                 "Inspect units, a folder of photographs each",
		Long:                  unitHelp + "\n\n" + cli.ExitHelp,
		Example:               unitExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name at least one unit's folder (see 'inspect unit --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return inspection.Run(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	flags.Run(&o, cmd)
	flags.Record(&o.Record, cmd)
	return cmd
}
