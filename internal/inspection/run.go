package inspection

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// Job is one unit of a run.
type Job struct {
	unitRef
	Folder part.Folder
	Err    error // why the folder cannot be used; the unit is then not measured
	Absent bool  // the folder is not there at all
}

// ScanAll lists the units' folders before any work, so that two units of one
// name are told at once.
func ScanAll(units []unitRef) ([]Job, error) {
	jobs := make([]Job, len(units))
	serial := map[string]string{}
	for i, u := range units {
		j := Job{unitRef: u}
		if ok, why := IsFolder(u.Dir); !ok {
			j.Err, j.Absent = errors.New(why), true
		} else {
			j.Folder, j.Err = capture.Scan(u.Dir)
		}
		if j.Err != nil {
			j.Folder = part.Folder{Name: u.name, Dir: u.Dir}
		} else if first, ok := serial[j.Folder.Name]; ok {
			return nil, cli.Usagef("two units are called %s: %s and %s", j.Folder.Name, first, u.Dir)
		}
		serial[j.Folder.Name] = u.Dir
		jobs[i] = j
	}
	return jobs, nil
}

// outcome is what became of one unit.
type outcome struct {
	job    *Job
	result *part.Result // nil where there is none
	json   []byte       // with --json
	budget string       // with --budget, ready to print
	thumb  report.IndexEntry
	err    error // no result was written
	lost   error // it was, but not recorded
	took   time.Duration
}

// Run inspects the units of these folders and writes what it finds.
func Run(ctx context.Context, o Options, dirs []string, stdout, stderr io.Writer) error {
	set, err := o.Settings()
	if err != nil {
		return err
	}
	units, err := NameUnits(dirs)
	if err != nil {
		return err
	}
	jobs, err := ScanAll(units)
	if err != nil {
		return err
	}
	rec, err := OpenRecorder(ctx, o.Record, set)
	if err != nil {
		return err
	}
	defer rec.Close()
	if set.Kinds, err = ChooseKindModel(ctx, o.KindModel, rec.records()); err != nil {
		return err
	}
	return RunJobs(ctx, o, set, jobs, rec, stdout, stderr)
}

// RunJobs does what is left once it is known what to inspect, and how; rec may
// be nil.
func RunJobs(ctx context.Context, o Options, set Settings, jobs []Job, rec *Recorder, stdout, stderr io.Writer) error {
	out, err := cli.OpenOut(o.Out)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		if err := out.MakeRoom(j.name, j.Folder.Dir); err != nil {
			return err
		}
	}
	TuneMemory()
	r := &unitsRun{Inspector: &Inspector{Settings: set, Slots: NewSlots(set.Jobs)}, jobs: jobs, out: out, records: rec, withJSON: o.JSON,
		say: newTeller(o, set.language, jobs, stdout, stderr)}
	err = r.all(ctx)
	if rec != nil && !o.JSON {
		fmt.Fprint(stdout, rec.line())
	}
	return err
}

// unitsRun is a run over several units.
type unitsRun struct {
	*Inspector
	jobs     []Job
	out      *cli.OutDir
	records  *Recorder // where else results go; nil: nowhere
	withJSON bool
	say      *teller
}

// AtOnce is the number of units under way at a time. A unit keeps about two
// slots busy by itself; more units at once would only need more memory.
func (in *Inspector) AtOnce() int { return max(1, cap(in.Slots)/2) }

// all inspects the units, some at once, and writes what lies above them.
func (r *unitsRun) all(ctx context.Context) error {
	atOnce := min(r.AtOnce(), len(r.jobs))
	work, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	todo := make(chan *Job)
	done := make(chan outcome)
	go func() {
		defer close(todo)
		for i := range r.jobs {
			select {
			case todo <- &r.jobs[i]:
			case <-work.Done():
				return
			}
		}
	}()
	finished := make(chan struct{})
	for range atOnce {
		go func() {
			for j := range todo {
				done <- r.oneUnit(work, j)
			}
			finished <- struct{}{}
		}()
	}
	var all []outcome
	var fatal error
	for running := atOnce; running > 0; {
		select {
		case <-finished:
			running--
		case d := <-done:
			var bad cli.OutDirError
			if errors.As(d.err, &bad) && fatal == nil {
				fatal = d.err
				stop(d.err)
			}
			if d.err != nil && (work.Err() != nil) {
				continue // given up, not failed: told once, below
			}
			all = append(all, d)
			r.say.unit(d)
		}
	}
	return r.finish(ctx, all, fatal)
}

// oneUnit carries one unit from its folder to its results.
func (r *unitsRun) oneUnit(ctx context.Context, j *Job) outcome {
	start := time.Now()
	d := outcome{job: j}
	if j.Absent {
		d.err = j.Err
		return d
	}
	d.err = Guard(func() error { return r.writeUnit(ctx, &d) })
	if d.err != nil {
		d.result, d.json = nil, nil
	}
	d.took = time.Since(start)
	return d
}

func (r *unitsRun) writeUnit(ctx context.Context, d *outcome) error {
	start := time.Now()
	u, result, err := r.inspect(ctx, d.job.Folder)
	if err != nil {
		return err
	}
	defer u.Release()
	if d.job.Err != nil {
		giveReason(result, cli.Why(d.job.Err))
	}
	dir, err := r.out.Begin(d.job.name)
	if err != nil {
		return err
	}
	defer dir.Drop() // does nothing once the folder has its name
	thumb, err := u.render(ctx, result, dir)
	if err != nil {
		return err
	}
	if r.withJSON {
		if d.json, err = encodeResult(r.written(result)); err != nil {
			return err
		}
	}
	if r.budget {
		if d.budget, err = budgetText(r.say.x, result); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := dir.Commit(); err != nil {
		return err
	}
	d.result, d.thumb = summary(result), thumb
	if r.records != nil {
		d.lost = r.records.record(ctx, d.job.Folder, r.written(result), start, time.Now())
	}
	return nil
}

// summary keeps of a result what units.csv and the index need, so that memory
// stays flat over many units.
func summary(r *part.Result) *part.Result {
	s := *WithoutBudgets(r)
	s.Findings = make([]part.Finding, len(r.Findings))
	for i, f := range r.Findings {
		s.Findings[i] = part.Finding{Kind: f.Kind, Severity: f.Severity}
	}
	return &s
}

// finish writes units.csv and index.html and decides how the run ended.
func (r *unitsRun) finish(ctx context.Context, all []outcome, fatal error) error {
	err := writeIndex(r.out, r.jobs, all, r.Settings)
	r.say.end(all)
	switch {
	case fatal != nil:
		return fmt.Errorf("%w (%d of %d units done, their results are whole)", fatal, countDone(all), len(r.jobs))
	case ctx.Err() != nil:
		return cli.Interrupted{Done: countDone(all), Total: len(r.jobs)}
	case err != nil:
		return err
	}
	return exitFor(all)
}

func countDone(all []outcome) int {
	n := 0
	for _, d := range all {
		if d.err == nil {
			n++
		}
	}
	return n
}

// codesByWeight: where units end differently, the later code wins.
var codesByWeight = []int{cli.ExitPass, cli.ExitFails, cli.ExitUnmeasured, cli.ExitOther}

// exitFor turns what became of the units into the exit code.
func exitFor(all []outcome) error {
	worst := 0
	for _, d := range all {
		worst = max(worst, slices.Index(codesByWeight, d.code()))
	}
	if worst == 0 {
		return nil
	}
	return cli.ExitCode(codesByWeight[worst])
}

func (d outcome) code() int {
	switch {
	case d.err != nil, d.lost != nil:
		return cli.ExitOther
	case unmeasured(d.result):
		return cli.ExitUnmeasured
	case d.result.Verdict != part.Pass:
		return cli.ExitFails
	}
	return cli.ExitPass
}

// unmeasured says whether a picture, a station or the unit could not be
// measured.
func unmeasured(r *part.Result) bool {
	return r.Verdict == part.NotMeasured ||
		slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.State != part.PictureOK }) ||
		slices.ContainsFunc(r.Seam.Stations, func(s part.StepStation) bool { return s.State != part.Measured })
}
