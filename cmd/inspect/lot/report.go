package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots/book"
)

const lotReportHelp = `report writes what is to be told of LOT: plan, standard and edition, switching,
sample list with its seed, results of each unit, decision, the gauge and its
uncertainty, and what the process behind it shows. The formats:

  pdf    to read and to sign for, with plots; its fonts are inside
  xlsx   a sheet each for plan, units, findings and stations
  csv    the same tables, a file each
  json   all of it

The same lot with the same --at gives the same bytes.`

const lotReportExamples = `  inspect lot report 31 --out reports --record bench.db
  inspect lot report 31 --out reports --format pdf --language zh-Hans --station station.yaml
  inspect lot report 31 --out reports --gauge-study gauge.json --at "2026-03-02 16:30" --record bench.db`

func newLotReportCommand(r *cli.Database) *cobra.Command {
	o := book.ReportOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "report LOT --out DIR",
		Short:                 "The report of a lot, as PDF, XLSX, CSV and JSON",
		Long:                  lotReportHelp,
		Example:               lotReportExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.OneArg("name the lot"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return book.RunReport(cmd.Context(), o, args[0], cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "folder for the files; made where it is missing")
	f.StringSliceVar(&o.Formats, "format", book.Formats(), "pdf, xlsx, csv, json, or some of them")
	flags.Language(&o.Language, f)
	f.StringVar(&o.Study, "gauge-study", "", "the gauge study in force: what 'inspect study gauge --json' wrote")
	f.StringVar(&o.CheckLog, "check-log", "", "the check piece's log (default: the station file's)")
	f.StringVar(&o.At, "at", "", `time stamp of the report, such as "2026-03-02 16:30" (default: now)`)
	f.BoolVar(&o.JSON, "json", false, "write the report as JSON to standard output")
	f.SortFlags = false
	return cmd
}
