package lot

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
)

const lotHelp = `lot judges a lot by a sample. Which plan, which units, what was seen on them, who
decided: each step is an event in the records, and none can be changed later.

  inspect lot plan             what a plan looks at, accepts, lets through
  inspect lot design ...       a plan from two points, beside the tables
  inspect lot plan 31 ...      opens lot 31 with it
  inspect lot draw 31 ...      draws the units that are looked at
  inspect lot take 31 ...      takes them, from the records or from pictures
  inspect lot show 31          where it stands
  inspect lot dispose 31 ...   says what becomes of a unit that does not pass
  inspect lot decide 31 ...    accepts or refuses it, signed
  inspect lot step 31 ...      judges the steps by measured values, beside the counts
  inspect lot report 31 ...    all that is to be told of it, as PDF, XLSX, CSV, JSON
  inspect lot chart ...        the process over many lots

Plans, levels and classes come from the station file's key lots.`

const lotExit = `EXIT STATUS
  0    done; with decide: the lot is accepted
  1    it could not be done; the lot is as it was before
  2    wrong usage; nothing was done
  3    with decide: the lot is refused
  4    with take: some unit could not be measured
  130  stopped by ctrl-C; units already taken stay taken`

// Command is 'inspect lot'.
func Command() *cobra.Command {
	var o cli.Database
	cmd := &cobra.Command{
		Use:   "lot",
		Short: "Judge lots by samples: plan, draw, take, decide",
		Long:  lotHelp + "\n\n" + lotExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: lot plan, draw, take, dispose, decide, show, list, step, design, report or chart (see " +
				"'inspect lot --help')")
		},
	}
	f := cmd.PersistentFlags()
	f.StringVar(&o.URL, "record", "",
		"database of lots and inspections: a SQLite file, or postgres://USER@HOST/DATABASE (default: the station file's)")
	f.StringVar(&o.Station, "station", "", "station file: names the database, and how lots are judged")
	cmd.AddCommand(newLotPlanCommand(&o), newLotDrawCommand(&o), newLotTakeCommand(&o), newLotDisposeCommand(&o), newLotDecideCommand(&o),
		newLotShowCommand(&o), newLotListCommand(&o), newLotStepCommand(&o), newLotDesignCommand(), newLotReportCommand(&o),
		newLotChartCommand(&o))
	return cmd
}
