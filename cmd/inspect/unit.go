package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

const unitHelp = `unit looks at each folder DIR as one unit, and writes what it finds under
OUT/<folder's name>/: report.html to look at, result.json for other programs,
and the annotated pictures. OUT/units.csv has a line a unit, OUT/index.html
leads to all of them.

Name the pictures of a unit by what they show:

  edge_000.jpg, edge_030.jpg ...   along the faceplate, across the seam, lit
                                   panel behind; the unit turned by so many
                                   degrees (as many or few angles as you like)
  face_diffuse.jpg                 onto the faceplate, under a dome or sheet
  face_raking.jpg                  the same pose, light from low at the side
  shell_diffuse.jpg ...            onto the shell
  shell_090_raking.jpg ...         onto the shell, turned by so many degrees
  face_white.jpg, face_black.jpg,  before a screen that the lacquer mirrors: lit,
  face_stripes_x0.jpg ... y3.jpg   dark, stripes at four phases in two directions

Other names are listed in a unit.yaml in the folder (see docs/formats.md). JPEG,
PNG, TIFF and BMP are read. The scale, in millimetres per pixel, has to be told.`

const unitExamples = `  inspect unit u06-R --out results --mm-per-px 0.015
  inspect unit lot7/*/ --out results --station station.yaml --stage cured
  inspect unit u06-R --out results --mm-per-px 0.015 --json > u06-R.json`

func newUnitCommand() *cobra.Command {
	var o runOptions
	cmd := &cobra.Command{
		Use:                   "unit DIR... --out OUT",
		Short:                 "Inspect units, a folder of photographs each",
		Long:                  unitHelp + "\n\n" + cli.ExitHelp,
		Example:               unitExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name at least one unit's folder (see 'inspect unit --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runUnits(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	runFlags(&o, cmd)
	recordFlags(&o.record, cmd)
	return cmd
}

// job is one unit of a run.
type job struct {
	unitRef
	folder part.Folder
	err    error // why the folder cannot be used; the unit is then not measured
	absent bool  // the folder is not there at all
}

// scanAll lists the units' folders before any work, so that two units of one
// name are told at once.
func scanAll(units []unitRef) ([]job, error) {
	jobs := make([]job, len(units))
	serial := map[string]string{}
	for i, u := range units {
		j := job{unitRef: u}
		if ok, why := isFolder(u.dir); !ok {
			j.err, j.absent = errors.New(why), true
		} else {
			j.folder, j.err = capture.Scan(u.dir)
		}
		if j.err != nil {
			j.folder = part.Folder{Name: u.name, Dir: u.dir}
		} else if first, ok := serial[j.folder.Name]; ok {
			return nil, cli.Usagef("two units are called %s: %s and %s", j.folder.Name, first, u.dir)
		}
		serial[j.folder.Name] = u.dir
		jobs[i] = j
	}
	return jobs, nil
}

// outcome is what became of one unit.
type outcome struct {
	job    *job
	result *part.Result // nil where there is none
	json   []byte       // with --json
	budget string       // with --budget, ready to print
	thumb  report.IndexEntry
	err    error // no result was written
	lost   error // it was, but not recorded
	took   time.Duration
}

func runUnits(ctx context.Context, o runOptions, dirs []string, stdout, stderr io.Writer) error {
	set, err := o.settings()
	if err != nil {
		return err
	}
	units, err := nameUnits(dirs)
	if err != nil {
		return err
	}
	jobs, err := scanAll(units)
	if err != nil {
		return err
	}
	rec, err := openRecorder(ctx, o, set)
	if err != nil {
		return err
	}
	defer rec.close()
	if set.kinds, err = chooseKindModel(ctx, o.kinds, rec.records()); err != nil {
		return err
	}
	return runJobs(ctx, o, set, jobs, rec, stdout, stderr)
}

// runJobs does what is left once it is known what to inspect, and how; rec may
// be nil.
func runJobs(ctx context.Context, o runOptions, set settings, jobs []job, rec *recorder, stdout, stderr io.Writer) error {
	out, err := cli.OpenOut(o.out)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		if err := out.MakeRoom(j.name, j.folder.Dir); err != nil {
			return err
		}
	}
	tuneMemory()
	r := &unitsRun{inspector: &inspector{settings: set, slots: newSlots(set.jobs)}, jobs: jobs, out: out, records: rec, withJSON: o.json, say: newTeller(o, jobs, stdout, stderr)}
	err = r.all(ctx)
	if rec != nil && !o.json {
		fmt.Fprint(stdout, rec.line())
	}
	return err
}

// unitsRun is a run over several units.
type unitsRun struct {
	*inspector
	jobs     []job
	out      *cli.OutDir
	records  *recorder // where else results go; nil: nowhere
	withJSON bool
	say      *teller
}

// atOnce is the number of units under way at a time. A unit keeps about two
// slots busy by itself; more units at once would only need more memory.
func (in *inspector) atOnce() int { return max(1, cap(in.slots)/2) }

// all inspects the units, some at once, and writes what lies above them.
func (r *unitsRun) all(ctx context.Context) error {
	atOnce := min(r.atOnce(), len(r.jobs))
	work, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	todo := make(chan *job)
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
func (r *unitsRun) oneUnit(ctx context.Context, j *job) outcome {
	start := time.Now()
	d := outcome{job: j}
	if j.absent {
		d.err = j.err
		return d
	}
	d.err = guard(func() error { return r.writeUnit(ctx, &d) })
	if d.err != nil {
		d.result, d.json = nil, nil
	}
	d.took = time.Since(start)
	return d
}

func (r *unitsRun) writeUnit(ctx context.Context, d *outcome) error {
	start := time.Now()
	u, result, err := r.inspect(ctx, d.job.folder)
	if err != nil {
		return err
	}
	defer u.release()
	if d.job.err != nil {
		result.Reasons = append([]string{cli.Plain(d.job.err)}, result.Reasons...)
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
		if d.budget, err = budgetText(result); err != nil {
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
		d.lost = r.records.record(ctx, d.job.folder, r.written(result), start, time.Now())
	}
	return nil
}

// summary keeps of a result what units.csv and the index need, so that memory
// stays flat over many units.
func summary(r *part.Result) *part.Result {
	s := *withoutBudgets(r)
	s.Findings = make([]part.Finding, len(r.Findings))
	for i, f := range r.Findings {
		s.Findings[i] = part.Finding{Kind: f.Kind, Severity: f.Severity}
	}
	return &s
}

// finish writes units.csv and index.html and decides how the run ended.
func (r *unitsRun) finish(ctx context.Context, all []outcome, fatal error) error {
	err := writeIndex(r.out, r.jobs, all, r.generated)
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
		slices.ContainsFunc(r.Seam.Stations, func(s part.Station) bool { return s.State != part.Measured })
}
