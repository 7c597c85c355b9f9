package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// UnitsCSVHeader names the columns of units.csv.
func UnitsCSVHeader() []string {
	return []string{"unit", "stage", "verdict", "score", "worst_step_um", "worst_step_u_um", "stations", "stations_measured",
		"findings", "minor", "moderate", "major", "critical", "pictures", "pictures_fit", "mm_per_px", "reasons", "warnings"}
}

// UnitsCSVRow is a unit's line, in the order of [UnitsCSVHeader]. A number that
// was not measured is an empty field. Text that a spreadsheet would take for a
// formula gets an apostrophe in front.
func UnitsCSVRow(r *part.Result) []string {
	measured, worstU := 0, (*float64)(nil)
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.State != part.Measured {
			continue
		}
		measured++
		if w := r.Seam.WorstStepUM; w != nil && s.StepUM != nil && *s.StepUM == *w {
			worstU = s.UUM
		}
	}
	count := map[part.Severity]int{}
	for i := range r.Findings {
		count[r.Findings[i].Severity]++
	}
	fit := 0
	for i := range r.Pictures {
		if r.Pictures[i].State == part.PictureOK {
			fit++
		}
	}
	var scale *float64
	if r.MMPerPX > 0 {
		scale = &r.MMPerPX
	}
	return []string{
		part.CSVText(r.Unit), part.CSVText(string(r.Stage)), part.CSVText(string(r.Verdict)), part.CSVNumber(r.Score),
		part.CSVNumber(r.Seam.WorstStepUM), part.CSVNumber(worstU), strconv.Itoa(len(r.Seam.Stations)), strconv.Itoa(measured),
		strconv.Itoa(len(r.Findings)), strconv.Itoa(count[part.Minor]), strconv.Itoa(count[part.Moderate]),
		strconv.Itoa(count[part.Major]), strconv.Itoa(count[part.Critical]),
		strconv.Itoa(len(r.Pictures)), strconv.Itoa(fit), part.CSVNumber(scale),
		part.CSVText(strings.Join(r.Reasons, "; ")), part.CSVText(strings.Join(r.Warnings, "; ")),
	}
}

// WriteUnitsCSV writes units.csv: the header, then a line a unit (RFC 4180,
// UTF-8, lines ended by a line feed).
func WriteUnitsCSV(w io.Writer, rs []*part.Result) error {
	c := csv.NewWriter(w)
	if err := c.Write(UnitsCSVHeader()); err != nil {
		return fmt.Errorf("report: units.csv: %w", err)
	}
	for _, r := range rs {
		if err := c.Write(UnitsCSVRow(r)); err != nil {
			return fmt.Errorf("report: units.csv, unit %s: %w", r.Unit, err)
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("report: units.csv: %w", err)
	}
	return nil
}
