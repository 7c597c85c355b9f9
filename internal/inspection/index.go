package inspection

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// The files directly under OUT.
const (
	unitsFile = "units.csv"
	indexFile = "index.html"
)

// writeIndex writes units.csv and index.html. Units inspected into the same OUT
// before keep their lines; one that was inspected again gets a new line. A
// stopped run that finished no unit changes nothing.
func writeIndex(out *cli.OutDir, jobs []Job, all []outcome, set Settings) error {
	all = slices.Clone(all)
	place := newInOrder(jobs).place
	slices.SortFunc(all, func(a, b outcome) int { return place[a.job] - place[b.job] })
	var results []*part.Result
	var entries []report.IndexEntry
	for _, d := range all {
		if d.err != nil {
			continue
		}
		r := d.result
		results = append(results, r)
		e := d.thumb
		e.Unit, e.Verdict, e.Score, e.Reasons = r.Unit, r.Verdict, r.Score, set.language.SayAll(r.ReasonPhrases)
		e.Href = path.Join(d.job.name, cli.ReportFile)
		entries = append(entries, e)
	}
	if len(results) == 0 {
		return nil
	}
	earlier, err := readUnits(out)
	if err != nil {
		return err
	}
	var table bytes.Buffer
	if err := report.WriteUnitsCSV(&table, results); err != nil {
		return err
	}
	w := csv.NewWriter(&table)
	for _, row := range earlier {
		if slices.ContainsFunc(results, func(r *part.Result) bool { return report.UnitsCSVRow(r)[0] == row[0] }) {
			continue
		}
		if err := w.Write(row); err != nil {
			return err
		}
		entries = append(entries, entryOf(out, row))
	}
	w.Flush()
	if err := out.ReplaceFile(unitsFile, table.Bytes()); err != nil {
		return err
	}
	var page bytes.Buffer
	if err := report.IndexPage(&page, report.IndexInput{Units: entries, Version: cli.Version, Generated: set.generated,
		Lang: set.language}); err != nil {
		return err
	}
	return out.ReplaceFile(indexFile, page.Bytes())
}

// readUnits returns the lines of an earlier units.csv, without its header. A
// file of another layout is put aside.
func readUnits(out *cli.OutDir) ([][]string, error) {
	name := filepath.Join(out.Path, unitsFile)
	data, err := files.Read(name, files.MostText)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, cli.OutError(out.Path, err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err == nil && len(rows) > 0 && slices.Equal(rows[0], report.UnitsCSVHeader()) {
		return rows[1:], nil
	}
	older := name + ".older"
	if err := os.Rename(name, older); err != nil {
		return nil, cli.OutError(out.Path, fmt.Errorf("%s has other columns and cannot be put aside: %w", name, err))
	}
	return nil, nil
}

// entryOf makes an entry of the index page from an earlier line.
func entryOf(out *cli.OutDir, row []string) report.IndexEntry {
	field := func(name string) string { return row[slices.Index(report.UnitsCSVHeader(), name)] }
	e := report.IndexEntry{Unit: row[0], Verdict: part.Verdict(field("verdict"))}
	if v, err := strconv.ParseFloat(field("score"), 64); err == nil {
		e.Score = &v
	}
	if why := field("reasons"); why != "" {
		e.Reasons = []string{why}
	}
	page := path.Join(row[0], cli.ReportFile)
	if filepath.IsLocal(row[0]) {
		if _, err := os.Stat(filepath.Join(out.Path, page)); err == nil {
			e.Href = page
		}
	}
	return e
}
