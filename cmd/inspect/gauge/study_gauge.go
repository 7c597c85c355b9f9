package gauge

import (
	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/gauge/studies"
	"finishbench/internal/study"
)

const gaugeHelp = `gauge weighs a crossed study: the same parts, each measured several times by
each appraiser (a person, a shift, a station, a set-up). It says which share of
the variation is the gauge's own.

DATA.csv has the columns part, appraiser, trial and value, in any order. Without
appraiser all readings are by one, and without trial they count up.

With --folders, DIR/<appraiser>/<trial>/<unit>/ holds the pictures of a unit, or
a result.json that 'inspect unit' wrote; folders of pictures are inspected first,
into OUT/runs/<appraiser>/<trial>/. Take each unit out and put it back between
two trials, else the study does not see what that adds. Each station of a unit is
a part, its step the value; with --part worst each unit is, with its worst step.`

const gaugeExamples = `  inspect study gauge readings.csv --tolerance 60
  inspect study gauge --folders study/ --out results --mm-per-px 0.015 --tolerance 60`

const studyExitHelp = `EXIT STATUS
  0    the gauge is good enough, or may do
  1    anything else went wrong
  2    wrong usage, or a table that cannot be used
  3    the gauge is not good enough, or the check piece is out of limits
  4    the study does not tell`

func newStudyGaugeCommand() *cobra.Command {
	var o studies.GaugeOptions
	def := study.DefaultGaugeOptions()
	cmd := &cobra.Command{
		Use:                   "gauge DATA.csv | gauge --folders DIR --out OUT",
		Short:                 "Repeatability and reproducibility of a gauge",
		Long:                  gaugeHelp + "\n\n" + studyExitHelp,
		Example:               gaugeExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.ToleranceOn = cmd.Flags().Changed("tolerance")
			return studies.RunGauge(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.Tolerance, "tolerance", 0, "upper limit minus lower limit, in the readings' unit")
	f.StringVar(&o.UnitName, "unit", "", "the readings' unit, for labels (with --folders: um)")
	f.Float64Var(&o.StudySDs, "sds", def.SDs, "standard deviations that count as all of a variation (some use 5.15)")
	f.Float64Var(&o.PoolAbove, "pool-above", def.PoolAbove, "part x appraiser counts with the repeats where its p is above this (1: never)")
	f.StringVar(&o.ErrorTerm, "error-term", string(def.ErrorTerm), "what parts and appraisers are tested against: interaction or equipment")
	f.Float64Var(&o.Level, "confidence", def.Level, "level of the confidence intervals")
	f.BoolVar(&o.LeaveOut, "leave-out-incomplete", false, "go on without the parts that lack readings (with --folders always)")
	f.StringVar(&o.Folders, "folders", "", "folder with <appraiser>/<trial>/<unit>/, in place of DATA.csv")
	f.StringVar(&o.Part, "part", "station", "with --folders: what a part is, station or worst (a unit's worst step)")
	flags.Sheet(&o.SheetOptions, cmd)
	f.Float64Var(&o.Inspect.MMPerPX, "mm-per-px", 0, "with --folders: scale of the pictures, millimetres per pixel")
	f.StringVar(&o.Inspect.Station, "station", "", "with --folders: file that describes the station")
	f.StringVar(&o.Inspect.Stage, "stage", "", "with --folders: trim, wet or cured (default wet)")
	f.IntVar(&o.Inspect.Jobs, "jobs", 0, "with --folders: pictures at a time (default: one for each processor)")
	return cmd
}
