package records

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/part"
)

// The formats of [Store.Export].
const (
	FormatCSV             = "csv"          // a line an inspection
	FormatFindingsCSV     = "findings.csv" // a line a finding
	FormatStepStationsCSV = "stations.csv" // a line a step at the seam
	FormatJSONLines       = "jsonl"        // a line an inspection, with the whole result
	FormatJournal         = "journal"      // lots and the like: a line of JSON an entry
	FormatTrail           = "trail"        // the chain of events, see [CheckTrail]
)

// Formats lists them.
func Formats() []string {
	return []string{FormatCSV, FormatFindingsCSV, FormatStepStationsCSV, FormatJSONLines, FormatJournal, FormatTrail}
}

// Export writes all inspections, by number; those that were withdrawn or
// corrected too, marked as such. Times are RFC 3339, UTC; what was not measured is
// an empty field, in JSON absent. Memory stays flat however many there are.
func (s *Store) Export(ctx context.Context, w io.Writer, format string) error {
	b := bufio.NewWriterSize(w, 64<<10)
	var err error
	switch format {
	case FormatCSV:
		err = s.exportCSV(ctx, b, inspectionHeader, inspectionLines)
	case FormatFindingsCSV:
		err = s.exportCSV(ctx, b, findingHeader, findingLines)
	case FormatStepStationsCSV:
		err = s.exportCSV(ctx, b, stepStationHeader, stepStationLines)
	case FormatJSONLines:
		e := json.NewEncoder(b)
		e.SetEscapeHTML(false)
		err = s.Each(ctx, Filter{}, func(in part.Inspection) error { return e.Encode(jsonLine(&in)) })
	case FormatJournal:
		err = s.snapshot(ctx, func(t *tx) error { return t.exportJournal(ctx, b) })
	case FormatTrail:
		err = s.snapshot(ctx, func(t *tx) error { return t.trail(ctx, b) })
	default:
		return fmt.Errorf("records: export: %w: format %q: use %s", ErrInvalid, format, strings.Join(Formats(), ", "))
	}
	if err == nil {
		err = b.Flush()
	}
	if err != nil {
		return fmt.Errorf("records: export: %w", err)
	}
	return nil
}

func (s *Store) exportCSV(ctx context.Context, w io.Writer, header []string, lines func(*part.Inspection) [][]string) error {
	c := csv.NewWriter(w)
	if err := c.Write(header); err != nil {
		return err
	}
	err := s.Each(ctx, Filter{}, func(in part.Inspection) error {
		for _, l := range lines(&in) {
			if err := c.Write(l); err != nil {
				return err
			}
		}
		return nil
	})
	c.Flush()
	if err == nil {
		err = c.Error()
	}
	return err
}

var inspectionHeader = []string{"id", "serial", "side", "lot", "stage", "bench", "operator", "faceplate", "resin", "started", "ended", "verdict", "tool_verdict", "score", "worst_step_um",
	"findings", "worst_severity", "stations_measured", "stations", "pictures", "reasons", "program", "libraries", "limits_sha256", "scales_sha256", "station_sha256",
	"corrects", "corrected_by", "withdrawn_at", "withdrawn_by", "withdrawn_why", "overruled_at", "overruled_by", "overruled_reason", "overruled_note"}

func inspectionLines(in *part.Inspection) [][]string {
	r := &in.Result
	measured, worst := 0, part.None
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured {
			measured++
		}
	}
	for _, f := range r.Findings {
		if f.Severity.Rank() > worst.Rank() {
			worst = f.Severity
		}
	}
	var scales []string
	for _, s := range in.Scales {
		scales = append(scales, s.SHA256)
	}
	line := []string{whole(in.ID), part.CSVText(in.Serial), in.Side, part.CSVText(in.Lot), string(in.Stage), part.CSVText(in.Bench), part.CSVText(in.Operator), part.CSVText(in.Faceplate), part.CSVText(in.Resin), rfc3339(in.Started), rfc3339(in.Ended),
		string(in.Verdict()), string(r.Verdict), part.CSVNumber(r.Score), part.CSVNumber(r.Seam.WorstStepUM), strconv.Itoa(len(r.Findings)), string(worst), strconv.Itoa(measured),
		strconv.Itoa(len(r.Seam.Stations)), strconv.Itoa(len(in.Pictures)), part.CSVText(strings.Join(r.Reasons, "; ")), part.CSVText(in.Program), part.CSVText(in.Libraries),
		in.Limits.SHA256, strings.Join(scales, " "), in.Station.SHA256, whole(in.Corrects), whole(in.CorrectedBy)}
	w, o := part.Note{}, part.Overrule{}
	if in.Withdrawn != nil {
		w = *in.Withdrawn
	}
	if in.Overruled != nil {
		o = *in.Overruled
	}
	return [][]string{append(line, rfc3339(w.At), part.CSVText(w.By), part.CSVText(w.Why), rfc3339(o.At), part.CSVText(o.By), part.CSVText(o.Reason), part.CSVText(o.Note))}
}

var findingHeader = []string{"inspection", "serial", "side", "holds", "number", "type", "zone", "severity", "confidence", "image", "diameter_mm", "length_mm", "width_mm", "area_mm2", "value_um", "station", "turn_deg", "below_mm"}

func findingLines(in *part.Inspection) [][]string {
	var lines [][]string
	for _, f := range in.Result.Findings {
		lines = append(lines, []string{whole(in.ID), part.CSVText(in.Serial), in.Side, strconv.FormatBool(in.Holds()), strconv.Itoa(f.Number), part.CSVText(string(f.Kind)), part.CSVText(string(f.Zone)),
			part.CSVText(string(f.Severity)), part.CSVNumber(&f.Confidence), part.CSVText(f.Image), part.CSVNumber(f.DiameterMM), part.CSVNumber(f.LengthMM), part.CSVNumber(f.WidthMM), part.CSVNumber(f.AreaMM2), part.CSVNumber(f.ValueUM), part.CSVText(f.StepStation), part.CSVNumber(f.TurnDeg), part.CSVNumber(f.BelowMM)})
	}
	return lines
}

var stepStationHeader = []string{"inspection", "serial", "side", "holds", "image", "angle_deg", "limb", "state", "reason", "step_um", "u_um", "gap_um", "bead_um"}

func stepStationLines(in *part.Inspection) [][]string {
	var lines [][]string
	for _, s := range in.Result.Seam.Stations {
		lines = append(lines, []string{whole(in.ID), part.CSVText(in.Serial), in.Side, strconv.FormatBool(in.Holds()), part.CSVText(s.Image), part.CSVNumber(&s.AngleDeg), part.CSVText(string(s.Side)), part.CSVText(string(s.State)),
			part.CSVText(s.Reason), part.CSVNumber(s.StepUM), part.CSVNumber(s.UUM), part.CSVNumber(s.GapUM), part.CSVNumber(s.BeadUM)})
	}
	return lines
}

// whole is a number of something; "" for none.
func whole(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

func rfc3339(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// inspectionJSON is an inspection as a line of JSON.
type inspectionJSON struct {
	ID          int64         `json:"id"`
	Serial      string        `json:"serial"`
	Side        string        `json:"side,omitempty"`
	Lot         string        `json:"lot,omitempty"`
	Stage       part.Stage    `json:"stage"`
	Bench       string        `json:"bench,omitempty"`
	Operator    string        `json:"operator,omitempty"`
	Faceplate   string        `json:"faceplate,omitempty"`
	Resin       string        `json:"resin,omitempty"`
	Started     string        `json:"started"`
	Ended       string        `json:"ended"`
	Verdict     part.Verdict  `json:"verdict"` // the last word
	Program     string        `json:"program,omitempty"`
	Libraries   string        `json:"libraries,omitempty"`
	Limits      *textJSON     `json:"limits,omitempty"`
	Scales      []textJSON    `json:"scales,omitempty"`
	Station     *textJSON     `json:"station,omitempty"`
	Pictures    []pictureJSON `json:"pictures"`
	Key         string        `json:"key,omitempty"`
	Corrects    int64         `json:"corrects,omitempty"`
	CorrectedBy int64         `json:"corrected_by,omitempty"`
	Withdrawn   *withdrawn    `json:"withdrawn,omitempty"`
	Overruled   *overruled    `json:"overruled,omitempty"`
	Result      part.Result   `json:"result"` // the tool's
}

type textJSON struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

type pictureJSON struct {
	File     string     `json:"file"`
	View     part.View  `json:"view,omitempty"`
	Light    part.Light `json:"light,omitempty"`
	AngleDeg float64    `json:"angle_deg"`
	SHA256   string     `json:"sha256"`
	MIME     string     `json:"mime,omitempty"`
}

func jsonLine(in *part.Inspection) inspectionJSON {
	j := inspectionJSON{ID: in.ID, Serial: in.Serial, Side: in.Side, Lot: in.Lot, Stage: in.Stage, Bench: in.Bench, Operator: in.Operator, Faceplate: in.Faceplate, Resin: in.Resin, Started: rfc3339(in.Started), Ended: rfc3339(in.Ended),
		Verdict: in.Verdict(), Program: in.Program, Libraries: in.Libraries, Pictures: []pictureJSON{}, Key: in.Key, Corrects: in.Corrects, CorrectedBy: in.CorrectedBy, Result: in.Result}
	named := func(t part.SettingsFile) *textJSON {
		if t.SHA256 == "" {
			return nil
		}
		return &textJSON{t.Name, t.SHA256}
	}
	j.Limits, j.Station = named(in.Limits), named(in.Station)
	for _, s := range in.Scales {
		j.Scales = append(j.Scales, *named(s))
	}
	for _, p := range in.Pictures {
		j.Pictures = append(j.Pictures, pictureJSON{p.File, p.View, p.Light, p.AngleDeg, p.SHA256, p.MIME})
	}
	if w := in.Withdrawn; w != nil {
		j.Withdrawn = &withdrawn{rfc3339(w.At), w.By, w.Why}
	}
	if o := in.Overruled; o != nil {
		j.Overruled = &overruled{rfc3339(o.At), o.By, string(o.Verdict), o.Reason, o.Note}
	}
	return j
}

// KnownFormat says whether Export knows a format.
func KnownFormat(format string) bool { return slices.Contains(Formats(), format) }
