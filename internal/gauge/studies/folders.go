package studies

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// studyRun is a unit's folder of one trial by one appraiser.
type studyRun struct{ appraiser, trial, unit, dir string }

// fromFolders takes the readings of a study from results that are there, and
// inspects the folders of pictures first.
func (o GaugeOptions) fromFolders(ctx context.Context, stderr io.Writer) (readingsIn, error) {
	in := readingsIn{name: o.Folders, unit: "um"}
	if o.Part != "station" && o.Part != "worst" {
		return in, cli.Usagef("--part %q: use station or worst", o.Part)
	}
	runs, err := studyRuns(o.Folders)
	if err != nil {
		return in, err
	}
	if err := o.inspectRuns(ctx, runs, stderr); err != nil {
		return in, err
	}
	scales := map[float64]bool{}
	var unmeasured []part.Phrase
	for _, r := range runs {
		result, err := inspection.ReadResult(filepath.Join(r.dir, cli.ResultFile))
		if err != nil {
			return in, err
		}
		scales[result.MMPerPX] = true
		for _, s := range o.values(r, result) {
			in.readings = append(in.readings, s.Reading)
			if s.why.Key != "" {
				unmeasured = append(unmeasured, part.Say("study.note.reading", "part", s.Part, "appraiser", s.Appraiser, "trial",
					s.Trial).With("why", s.why))
			}
		}
	}
	if len(unmeasured) > 0 {
		in.notes = append(in.notes, part.Say("study.note.unmeasured").With("names", firstPhrases(unmeasured)...))
	}
	if len(scales) > 1 {
		in.notes = append(in.notes, part.Say("study.note.scales", "scales", strconv.Itoa(len(scales))))
	}
	return in, nil
}

// studyRuns lists DIR/<appraiser>/<trial>/<unit>.
func studyRuns(dir string) ([]studyRun, error) {
	if ok, why := inspection.IsFolder(dir); !ok {
		return nil, cli.Usagef("--folders %s: %s", dir, why)
	}
	var runs []studyRun
	for _, a := range subfolders(dir) {
		for _, t := range subfolders(filepath.Join(dir, a)) {
			for _, u := range subfolders(filepath.Join(dir, a, t)) {
				runs = append(runs, studyRun{a, t, u, filepath.Join(dir, a, t, u)})
			}
		}
	}
	if len(runs) == 0 {
		return nil, cli.Usagef("--folders %s: no folder <appraiser>/<trial>/<unit> is in it", dir)
	}
	return runs, nil
}

// subfolders are the folders in a folder, without hidden ones.
func subfolders(dir string) []string {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		// Stat, since a link to a folder will do.
		if info, err := os.Stat(filepath.Join(dir, e.Name())); err == nil && info.IsDir() {
			names = append(names, e.Name())
		}
	}
	return names
}

// inspectRuns inspects the folders that hold no result, a trial at a time, and
// points the runs to their results.
func (o GaugeOptions) inspectRuns(ctx context.Context, runs []studyRun, stderr io.Writer) error {
	todo := map[string][]string{} // pictures by the folder of their results
	var order []string
	for i, r := range runs {
		if _, err := os.Stat(filepath.Join(r.dir, cli.ResultFile)); err == nil {
			continue
		} else if !errors.Is(err, os.ErrNotExist) {
			return cli.Usagef("--folders %s: %w", o.Folders, err)
		}
		out := filepath.Join(o.Out, "runs", r.appraiser, r.trial)
		if len(todo[out]) == 0 {
			order = append(order, out)
		}
		todo[out] = append(todo[out], r.dir)
		runs[i].dir = filepath.Join(out, r.unit)
	}
	if len(todo) > 0 && o.Out == "" {
		return cli.Usagef("some folders under %s hold pictures without a result: say where their results go, --out OUT", o.Folders)
	}
	for _, out := range order {
		run := o.Inspect
		run.Out = out
		fmt.Fprintf(stderr, "inspecting %s for the study\n", cli.Counted(len(todo[out]), "unit", "units"))
		var code cli.ExitCode
		// What a unit's verdict is does not matter here, nor that a station was not measured: the study tells that itself.
		if err := inspection.Run(ctx, run, todo[out], io.Discard, stderr); err != nil && !(errors.As(err,
			&code) && (code == cli.ExitFails || code == cli.ExitUnmeasured)) {
			return err
		}
	}
	return nil
}

// studyValue is a reading, and why it has none.
type studyValue struct {
	study.Reading
	why part.Phrase
}

// values are a run's readings: a station's step each, or the worst of a unit.
func (o GaugeOptions) values(r studyRun, result *part.Result) []studyValue {
	reading := func(name string, v *float64, why part.Phrase) studyValue {
		d := studyValue{study.Reading{Part: name, Appraiser: r.appraiser, Trial: r.trial, Value: part.OrNaN(v)}, part.Phrase{}}
		if v == nil {
			d.why = why
		}
		return d
	}
	if o.Part == "worst" {
		return []studyValue{reading(r.unit, result.Seam.WorstStepUM, part.Say("study.note.no_station"))}
	}
	var all []studyValue
	for _, s := range result.Seam.Stations {
		step := s.StepUM
		if s.State != part.Measured {
			step = nil
		}
		all = append(all, reading(r.unit+" "+stationName(s), step, s.Why()))
	}
	return all
}

// firstNames are names as phrases, the first ones only where there are many.
func firstNames(names []string) []part.Phrase {
	all := make([]part.Phrase, len(names))
	for i, n := range names {
		all[i] = part.Text(n)
	}
	return firstPhrases(all)
}

func firstPhrases(all []part.Phrase) []part.Phrase {
	const most = 6
	if len(all) > most+1 {
		return append(all[:most:most], part.Say("and_more", "n", strconv.Itoa(len(all)-most)))
	}
	return all
}
