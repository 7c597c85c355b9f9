package flags

import (
	"github.com/spf13/cobra"

	"finishbench/internal/inspection"
)

// Run are the flags that unit and surface share.
func Run(o *inspection.Options, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Out, "out", "", "folder for the results; made where it is missing")
	f.Float64Var(&o.MMPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel")
	f.StringArrayVar(&o.Scales, "scale", nil,
		"scale file of the pictures, made by 'inspect scale'; VIEW=FILE for the edge, face or shell pictures only")
	f.StringVar(&o.Stage, "stage", "", "trim, wet or cured (default wet)")
	f.StringVar(&o.Limits, "limits", "", "file with the limits (default: the built-in ones, see configs/limits.yaml)")
	f.StringVar(&o.Station, "station", "", "file that describes the station: scale, thresholds (see configs/station.yaml)")
	f.StringVar(&o.KindModel, "kind-model", "",
		"file of a learned model by which kinds are called, or none (default: the one in force of the records, if any; see 'inspect "+
			"learn')")
	f.IntVar(&o.Jobs, "jobs", 0, "pictures at a time (default: one for each processor)")
	f.BoolVar(&o.JSON, "json", false, "write the results to standard output, as one JSON array")
	Language(&o.Language, f)
	f.BoolVar(&o.Budget, "budget", false,
		"tell how the uncertainty of the worst step and of a typical size comes about; result.json then has all budgets")
	f.SortFlags = false
}

// Record say where inspections are recorded, and what is known of them.
func Record(o *inspection.RecordOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.URL, "record", "",
		"database that keeps each inspection: a SQLite file, or postgres://USER@HOST/DATABASE; none: none (default: the station file's)")
	f.StringVar(&o.Operator, "operator", "", "who inspects, for the records")
	f.StringVar(&o.Lot, "lot", "", "lot of the units, for the records")
	BuiltIn(o, cmd)
	f.StringVar(&o.Side, "side", "", "L or R, for the records (default: the end of the unit's name, as in u06-R)")
}

// BuiltIn are what the units are made of, so that findings can be set beside it.
func BuiltIn(o *inspection.RecordOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.Faceplate, "faceplate", "", "which faceplate the units have, for the records: a pattern, an article, a batch")
	f.StringVar(&o.Resin, "resin", "", "batch of resin that the units are made with, for the records")
}
