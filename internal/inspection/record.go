package inspection

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

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// NoRecords, given as --record, keeps a run out of the station's records.
const NoRecords = "none"

// recordTime bounds the writing of one unit: a database elsewhere may not answer.
const recordTime = 30 * time.Second

// RecordOptions say where inspections are recorded, and what is known of them.
type RecordOptions struct {
	URL      string
	Operator string
	Lot      string
	Side     string

	Faceplate, Resin string
}

// Recorder writes inspections to the records. It may be used by several
// goroutines at once.
type Recorder struct {
	RecordOptions
	Store   *records.Store
	Bench   string
	Limits  part.SettingsFile
	Station part.SettingsFile
	Scales  []part.SettingsFile

	After func(context.Context, *part.Inspection) error // told of each inspection once it is on record; nil: nobody

	mu  sync.Mutex
	ids []int64
}

// OpenRecorder opens the records, nil where none are kept.
func OpenRecorder(ctx context.Context, o RecordOptions, set Settings) (*Recorder, error) {
	r := &Recorder{RecordOptions: o}
	if r.Side != "" && r.Side != "L" && r.Side != "R" {
		return nil, cli.Usagef("--side %q: give L or R", r.Side)
	}
	if r.URL == "" {
		r.URL = set.Station.Records
	}
	if r.URL == "" || r.URL == NoRecords {
		for _, f := range []struct{ name, value string }{{"operator", r.Operator}, {"lot", r.Lot}, {"side", r.Side},
			{"faceplate", r.Faceplate}, {"resin", r.Resin}} {
			if f.value != "" && r.URL == "" {
				return nil, cli.Usagef("--%s is for the records: say where they are with --record", f.name)
			}
		}
		return nil, nil
	}
	r.Limits, r.Station = recorded(set.texts.limits), recorded(set.texts.station)
	for _, f := range set.Scales {
		r.Scales = append(r.Scales, recorded(f.text))
	}
	if r.Bench = set.Station.Bench.Name; r.Bench == "" {
		r.Bench, _ = os.Hostname() // without either the records leave it open
	}
	var err error
	r.Store, err = records.Open(ctx, r.URL, time.Now)
	return r, err
}

// texts are the settings files as they are in force for the whole run.
type texts struct{ limits, station config.Text }

// recorded is a settings file as the records keep it.
func recorded(t config.Text) part.SettingsFile {
	return part.SettingsFile{Name: t.Name, Bytes: t.Bytes}
}

// record writes one unit's inspection. It is carried through even when the run is
// being stopped: the unit's results are on disk already.
func (r *Recorder) record(ctx context.Context, folder part.Folder, result *part.Result, started, ended time.Time) error {
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), recordTime)
	defer stop()
	serial, side := part.SerialAndSide(folder.Name, r.Side)
	in := part.Inspection{
		Key: rand.Text(), UnitInfo: part.UnitInfo{Serial: serial, Side: side, Lot: r.Lot, Operator: r.Operator, Stage: result.Stage},
		Started: started, Ended: ended, Result: *result, Pictures: recordedPictures(folder),
	}
	r.Complete(&in)
	id, err := r.Store.Add(ctx, in)
	if err != nil {
		return err
	}
	r.mu.Lock()
	r.ids = append(r.ids, id)
	r.mu.Unlock()
	if r.After != nil {
		in.ID = id
		return r.After(ctx, &in)
	}
	return nil
}

// Complete fills in what is the same for each inspection of a run, unless it was told of this one.
func (r *Recorder) Complete(in *part.Inspection) {
	in.Bench, in.Faceplate, in.Resin = r.Bench, cli.First(in.Faceplate, r.Faceplate), cli.First(in.Resin, r.Resin)
	in.Limits, in.Station, in.Scales = r.Limits, r.Station, r.Scales
	in.Program, in.Libraries = cli.Version, Libraries()
}

// recordedPictures reads a unit's pictures as they came. One that cannot be read
// is left out: the result tells of it.
func recordedPictures(folder part.Folder) []part.StoredPicture {
	var ps []part.StoredPicture
	for _, s := range folder.Shots {
		data, err := files.Read(s.Path, files.MostPicture)
		if err != nil || len(data) == 0 {
			continue
		}
		ps = append(ps, part.StoredPicture{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg,
			MIME: pictureType(s.File, data), Bytes: data})
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

// Libraries are what else a result depends on.
func Libraries() string {
	return fmt.Sprintf("%s, gocv %s, opencv %s", runtime.Version(), gocv.Version(), gocv.OpenCVVersion())
}

// line tells what was recorded, and where; "" for nothing.
func (r *Recorder) line() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.ids) == 0 {
		return ""
	}
	first, last := slices.Min(r.ids), slices.Max(r.ids)
	if first == last {
		return fmt.Sprintf("records: %s, number %d\n", r.Store.Where(), first)
	}
	return fmt.Sprintf("records: %s, %d inspections, numbers %d to %d\n", r.Store.Where(), len(r.ids), first, last)
}

// records is the database; nil where none is kept.
func (r *Recorder) records() *records.Store {
	if r == nil {
		return nil
	}
	return r.Store
}

// Close lets go of the database; r may be nil.
func (r *Recorder) Close() {
	if r != nil {
		_ = r.Store.Close() // all that was answered is on disk
	}
}
