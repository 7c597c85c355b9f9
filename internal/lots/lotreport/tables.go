package lotreport

import (
	"time"
)

// cell is a value of a table: a string, an int, an int64, a float64, a bool, a
// time or, where nothing was measured, nil.
type cell any

// grid is a table with its headings: keys of the language files for the XLSX, and
// the names of columns for the CSV, which are the same in each language.
type grid struct {
	name string // of the CSV file, and language key "lot.sheetname."+name of the sheet
	keys []string
	cols []string
	wide []float64 // widths of the XLSX's columns, letters
	// rows calls put for each row.
	rows func(put func([]cell) error) error
}

func num(v *float64) cell {
	if v == nil {
		return nil
	}
	return *v
}

func text(s string) cell {
	if s == "" {
		return nil
	}
	return s
}

// grids are the tables of units, findings and stations.
func (r *Report) grids() []grid {
	return []grid{r.unitGrid(), r.findingGrid(), r.stepStationGrid()}
}

func (r *Report) unitGrid() grid {
	return grid{"units",
		[]string{"lot.unit.place", "lot.unit.serial", "lot.unit.taken", "lot.unit.when", "lot.unit.by", "lot.unit.inspection", "lot.unit.verdict", "lot.unit.step", "lot.unit.uu", "lot.unit.score",
			"severity.critical", "severity.major", "severity.moderate", "severity.minor", "lot.unit.counts"},
		[]string{"place", "serial", "taken", "at", "by", "inspection", "verdict", "worst_step_um", "u_um", "score", "critical", "major", "moderate", "minor", "counts"},
		[]float64{7, 18, 10, 18, 14, 10, 14, 17, 14, 9, 9, 9, 10, 9, 9},
		func(put func([]cell) error) error {
			for _, u := range r.Units {
				row := []cell{u.Place, u.Serial, u.Taken, nil, text(u.By), nil, nil, num(u.WorstStepUM), num(u.UUM), num(u.Score), nil, nil, nil, nil, nil}
				if u.At != nil {
					row[3] = *u.At
				}
				if u.Inspection != 0 {
					row[5] = u.Inspection
				}
				if u.Taken { // of a unit that nobody looked at no count is told
					row[6], row[10], row[11], row[12], row[13], row[14] = words{"verdict_short.", string(u.Verdict)}, u.Critical, u.Major, u.Moderate, u.Minor, u.Counts
				}
				if err := put(row); err != nil {
					return err
				}
			}
			return nil
		}}
}

func (r *Report) findingGrid() grid {
	return grid{"findings",
		[]string{"lot.unit.serial", "lot.finding.number", "lot.finding.kind", "lot.finding.zone", "lot.finding.place", "lot.finding.turn", "lot.finding.below", "lot.finding.severity", "lot.finding.diameter", "lot.finding.udiameter",
			"lot.finding.length", "lot.finding.ulength", "lot.finding.value", "lot.finding.confidence"},
		[]string{"serial", "number", "kind", "zone", "place", "turn_deg", "below_mm", "severity", "diameter_mm", "u_diameter_mm", "length_mm", "u_length_mm", "value_um", "confidence"},
		[]float64{18, 8, 18, 14, 16, 13, 13, 12, 15, 20, 13, 19, 20, 12},
		func(put func([]cell) error) error {
			for _, f := range r.Findings {
				err := put([]cell{f.Serial, f.Number, words{"kind.", string(f.Kind)}, words{"zone.", string(f.Zone)}, text(f.Place), num(f.TurnDeg), num(f.BelowMM), words{"severity.", string(f.Severity)},
					num(f.DiameterMM), num(f.UDiamMM), num(f.LengthMM), num(f.ULengthMM), num(f.ValueUM), f.Confidence})
				if err != nil {
					return err
				}
			}
			return nil
		}}
}

func (r *Report) stepStationGrid() grid {
	return grid{"stations",
		[]string{"lot.unit.serial", "lot.station.angle", "lot.station.side", "lot.station.step", "lot.unit.uu", "lot.station.gap", "lot.station.bead", "lot.station.reason"},
		[]string{"serial", "angle_deg", "side", "step_um", "u_um", "gap_um", "bead_um", "reason"},
		[]float64{18, 15, 9, 12, 14, 10, 10, 40},
		func(put func([]cell) error) error {
			for _, x := range r.Stations {
				if err := put([]cell{x.Serial, x.AngleDeg, words{"limb.", x.Side}, num(x.StepUM), num(x.UUM), num(x.GapUM), num(x.BeadUM), text(x.Reason)}); err != nil {
					return err
				}
			}
			return nil
		}}
}

// words is a word of a list: as it is in a CSV, by its text in an XLSX.
type words struct{ prefix, word string }

// stamp is a time as CSV has it.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
