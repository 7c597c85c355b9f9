package records

import "finishbench/internal/part"

// The columns of the tables, in the order of the rows below. Whole numbers are
// int64, others float64, what was not measured is nil: as both databases give
// them back, so that the check can compare.
const (
	inspectionColumns  = "id, serial, side, lot, bench, operator, stage, started, ended, verdict, score, worst_step_um, program, libraries, result, result_sha256, corrects, client_key, faceplate, resin"
	findingColumns     = "inspection, place, number, image, kind, zone, severity, confidence, diameter_mm, length_mm, width_mm, area_mm2, value_um, station"
	stepStationColumns = "inspection, place, image, angle_deg, side, state, reason, step_um, u_um, gap_um, bead_um"
)

func (r *recorded) row(id int64, result string) []any {
	var corrects any
	if r.Corrects != 0 {
		corrects = r.Corrects
	}
	return []any{id, r.Serial, r.Side, r.Lot, r.Bench, r.Operator, r.Stage, r.Started, r.Ended, r.Verdict, number(r.Score), number(r.WorstStepUM),
		r.Program, r.Libraries, result, r.ResultSHA256, corrects, textOrNull(r.Key), textOrNull(r.Faceplate), textOrNull(r.Resin)}
}

// textOrNull is a text, or nil where it is not told.
func textOrNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func pictureRows(id int64, ps []recordedPicture) [][]any {
	var rows [][]any
	for i, p := range ps {
		rows = append(rows, []any{id, int64(i + 1), p.File, p.View, p.Light, p.AngleDeg, p.SHA256})
	}
	return rows
}

func textRows(id int64, ts []recordedText) [][]any {
	var rows [][]any
	for i, t := range ts {
		rows = append(rows, []any{id, int64(i + 1), t.Role, t.Name, t.SHA256})
	}
	return rows
}

func findingRows(id int64, fs []part.Finding) [][]any {
	var rows [][]any
	for i, f := range fs {
		rows = append(rows, []any{id, int64(i + 1), int64(f.Number), clean(f.Image), clean(string(f.Kind)), clean(string(f.Zone)), clean(string(f.Severity)),
			f.Confidence, number(f.DiameterMM), number(f.LengthMM), number(f.WidthMM), number(f.AreaMM2), number(f.ValueUM), clean(f.StepStation)})
	}
	return rows
}

func stepStationRows(id int64, ss []part.StepStation) [][]any {
	var rows [][]any
	for i, s := range ss {
		rows = append(rows, []any{id, int64(i + 1), clean(s.Image), s.AngleDeg, clean(string(s.Side)), clean(string(s.State)), clean(s.Reason),
			number(s.StepUM), number(s.UUM), number(s.GapUM), number(s.BeadUM)})
	}
	return rows
}

// number is NULL for what was not measured.
func number(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}
