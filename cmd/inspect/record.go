package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"gocv.io/x/gocv"

	"finishbench/configs"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// noRecords, given as --record, keeps a run out of the station's records.
const noRecords = "none"

// recordTime bounds the writing of one unit: a database elsewhere may not answer.
const recordTime = 30 * time.Second

// recordOptions say where inspections are recorded, and what is known of them.
type recordOptions struct {
	url      string
	operator string
	lot      string
	side     string

	faceplate, resin string
}

// recorder writes inspections to the records. It may be used by several
// goroutines at once.
type recorder struct {
	recordOptions
	store   *records.Store
	bench   string
	limits  records.Text
	station records.Text
	scales  []records.Text

	after func(context.Context, *records.Inspection) error // told of each inspection once it is on record; nil: nobody

	mu  sync.Mutex
	ids []int64
}

// openRecorder opens the records, nil where none are kept.
func openRecorder(ctx context.Context, o runOptions, set settings) (*recorder, error) {
	r := &recorder{recordOptions: o.record}
	if r.side != "" && r.side != "L" && r.side != "R" {
		return nil, cli.Usagef("--side %q: give L or R", r.side)
	}
	st, err := config.LoadStation(o.station)
	if err != nil {
		return nil, cli.UsageError{Err: err}
	}
	if r.url == "" {
		r.url = st.Records
	}
	if r.url == "" || r.url == noRecords {
		for _, f := range []struct{ name, value string }{{"operator", r.operator}, {"lot", r.lot}, {"side", r.side}, {"faceplate", r.faceplate}, {"resin", r.resin}} {
			if f.value != "" && r.url == "" {
				return nil, cli.Usagef("--%s is for the records: say where they are with --record", f.name)
			}
		}
		return nil, nil
	}
	if err := r.readTexts(o, set); err != nil {
		return nil, err
	}
	if r.bench = st.Bench.Name; r.bench == "" {
		r.bench, _ = os.Hostname() // without either the records leave it open
	}
	r.store, err = records.Open(ctx, r.url, time.Now)
	return r, err
}

// readTexts keeps the settings as they are in force for the whole run.
func (r *recorder) readTexts(o runOptions, set settings) (err error) {
	if r.limits, err = settingsText(o.limits, "limits.yaml (shipped)", configs.LimitsYAML); err != nil {
		return err
	}
	if r.station, err = settingsText(o.station, "station.yaml (shipped)", configs.StationYAML); err != nil {
		return err
	}
	for _, s := range set.scales {
		t, err := settingsText(s.path, "", nil)
		if err != nil {
			return err
		}
		r.scales = append(r.scales, t)
	}
	return nil
}

func settingsText(path, shipped string, content []byte) (records.Text, error) {
	if path == "" {
		return records.Text{Name: shipped, Bytes: content}, nil
	}
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return records.Text{}, cli.UsageError{Err: err}
	}
	return records.Text{Name: filepath.Base(path), Bytes: data}, nil
}

// record writes one unit's inspection. It is carried through even when the run is
// being stopped: the unit's results are on disk already.
func (r *recorder) record(ctx context.Context, folder part.Folder, result *part.Result, started, ended time.Time) error {
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), recordTime)
	defer stop()
	serial, side := part.SerialAndSide(folder.Name, r.side)
	in := records.Inspection{
		Key: rand.Text(), Serial: serial, Side: side, Lot: r.lot, Bench: r.bench, Operator: r.operator, Faceplate: r.faceplate, Resin: r.resin, Stage: result.Stage, Started: started, Ended: ended,
		Result: *result, Pictures: recordedPictures(folder), Limits: r.limits, Station: r.station, Scales: r.scales,
		Program: cli.Version, Libraries: libraryVersions(),
	}
	id, err := r.store.Add(ctx, in)
	if err != nil {
		return err
	}
	r.mu.Lock()
	r.ids = append(r.ids, id)
	r.mu.Unlock()
	if r.after != nil {
		in.ID = id
		return r.after(ctx, &in)
	}
	return nil
}

// recordedPictures reads a unit's pictures as they came. One that cannot be read
// is left out: the result tells of it.
func recordedPictures(folder part.Folder) []records.Picture {
	var ps []records.Picture
	for _, s := range folder.Shots {
		data, err := files.Read(s.Path, files.MostPicture)
		if err != nil || len(data) == 0 {
			continue
		}
		ps = append(ps, records.Picture{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg, MIME: pictureType(s.File, data), Bytes: data})
	}
	return ps
}

func pictureType(file string, data []byte) string {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".tif", ".tiff": // the standard library does not tell it from its first bytes
		return "image/tiff"
	}
	return http.DetectContentType(data)
}

// libraryVersions are what else a result depends on.
func libraryVersions() string {
	return fmt.Sprintf("%s, gocv %s, opencv %s", runtime.Version(), gocv.Version(), gocv.OpenCVVersion())
}

// line tells what was recorded, and where; "" for nothing.
func (r *recorder) line() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.ids) == 0 {
		return ""
	}
	first, last := slices.Min(r.ids), slices.Max(r.ids)
	if first == last {
		return fmt.Sprintf("records: %s, number %d\n", r.store.Where(), first)
	}
	return fmt.Sprintf("records: %s, %d inspections, numbers %d to %d\n", r.store.Where(), len(r.ids), first, last)
}

// records is the database; nil where none is kept.
func (r *recorder) records() *records.Store {
	if r == nil {
		return nil
	}
	return r.store
}

func (r *recorder) close() {
	if r != nil {
		_ = r.store.Close() // all that was answered is on disk
	}
}
