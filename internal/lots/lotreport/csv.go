package lotreport

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"
)

// CSVNames are the tables that [Report.WriteCSV] knows.
func CSVNames() []string { return []string{"units", "findings", "stations", "plan"} }

// WriteCSV writes one of the tables. Its columns have the same names in each
// language, times are RFC 3339 in UTC, and what was not measured is empty.
func (r *Report) WriteCSV(out io.Writer, name string) error {
	g := r.planGrid()
	for _, x := range r.grids() {
		if x.name == name {
			g = x
		}
	}
	if g.name != name {
		return fmt.Errorf("lotreport: no table %q", name)
	}
	w := csv.NewWriter(out)
	if err := w.Write(g.cols); err != nil {
		return fmt.Errorf("lotreport: write %s: %w", name, err)
	}
	record := make([]string, len(g.cols))
	err := g.rows(func(row []cell) error {
		for i, c := range row {
			record[i] = csvText(c)
		}
		return w.Write(record)
	})
	if err != nil {
		return fmt.Errorf("lotreport: write %s: %w", name, err)
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return fmt.Errorf("lotreport: write %s: %w", name, err)
	}
	return nil
}

// planGrid has the plans, a row each.
func (r *Report) planGrid() grid {
	return grid{"plan", nil,
		[]string{"lot", "lot_size", "state", "severity", "standard", "mode", "level", "letter", "aql_percent", "n", "ac", "re",
			"per_hundred", "inspected", "count", "stand", "decided_by", "decided_at"},
		nil,
		func(put func([]cell) error) error {
			for _, p := range r.Plans {
				var by, at, aql cell
				if r.Decision != nil {
					by, at = r.Decision.By, r.Decision.At
				}
				if p.AQL > 0 {
					aql = p.AQL
				}
				err := put([]cell{r.Lot.Name, r.Lot.Size, string(r.Lot.State), string(p.Severity), p.Standard, text(p.Mode), text(p.Level),
					text(p.Letter), aql, p.N, p.Ac, p.Re, p.PerHundred, p.Inspected, p.Count, string(p.Stand), by, at})
				if err != nil {
					return err
				}
			}
			return nil
		}}
}

func csvText(c cell) string {
	switch v := c.(type) {
	case nil:
		return ""
	case string:
		return v
	case words:
		return v.word
	case bool:
		return strconv.FormatBool(v)
	case int:
		return strconv.Itoa(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case time.Time:
		return stamp(v)
	}
	return fmt.Sprint(c)
}
