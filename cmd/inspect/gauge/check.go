package gauge

import (
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/studies"
)

const checkHelp = `check keeps the log of the check piece: measure the same piece at the start of
each shift, write its value here, and see whether the gauge is still what it was.
Out of limits, 'inspect unit' passes no unit (station file, key check_log) until
a line in the log says who dealt with it, and how.

--value may be given several times: these are one check. --unit takes the value
from a result that 'inspect unit' wrote: the worst step, or the station named
with --station, such as "030 left".`

const checkExamples = `  inspect check checks.csv --value 12.3
  inspect check checks.csv --unit results/check-piece --station "030 left"
  inspect check checks.csv --dealt-with "finisher 3: cleaned the lens"
  inspect check checks.csv --new-baseline "setter 1: new lens"
  inspect check checks.csv                           (only tells the state)`

// Check is 'inspect check'.
func Check() *cobra.Command {
	var o studies.CheckOptions
	cmd := &cobra.Command{
		Use:                   "check LOG.csv",
		Short:                 "Log a check piece and tell whether the gauge is stable",
		Long:                  checkHelp + "\n\n" + studyExitHelp,
		Example:               checkExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			return studies.RunCheck(o, args, time.Now(), cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.Values, "value", nil, "what the check piece measured; several times for repeats of one check")
	f.StringVar(&o.Unit, "unit", "", "folder with the check piece's result.json, in place of --value")
	f.StringVar(&o.Station, "station", "", `with --unit: the station, such as "030 left" (default: the worst step)`)
	f.BoolVar(&o.Failed, "not-measured", false, "the check piece could not be measured")
	f.StringVar(&o.DealtWith, "dealt-with", "", `who did what about a check out of limits: "name: what was done"`)
	f.StringVar(&o.NewBaseline, "new-baseline", "", `the same, and the piece's level is another one from here on`)
	f.BoolVar(&o.Json, "json", false, "write the state to standard output as JSON")
	flags.Language(&o.Language, f)
	f.SortFlags = false
	return cmd
}
