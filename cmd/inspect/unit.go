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
		Long:                  unitHelp + "\n\n" + exitHelp,
		Example:               unitExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usagef("name at least one unit's folder (see 'inspect unit --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runUnits(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	o.flags(cmd)
	o.record.flags(cmd)
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
			return nil, usagef("two units are called %s: %s and %s", j.folder.Name, first, u.dir)
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
	out, err := openOut(o.out, jobs)
	if err != nil {
		return err
	}
	out.records = rec
	tuneMemory()
	in := &inspector{settings: set, slots: newSlots(set.jobs)}
	err = in.runAll(ctx, jobs, out, o.json, newTeller(o, jobs, stdout, stderr))
	if rec != nil && !o.json {
		fmt.Fprint(stdout, rec.line())
	}
	return err
}

// atOnce is the number of units under way at a time. A unit keeps about two
// slots busy by itself; more units at once would only need more memory.
func (in *inspector) atOnce() int { return max(1, cap(in.slots)/2) }

// runAll inspects the units, some at once, and writes what lies above them.
func (in *inspector) runAll(ctx context.Context, jobs []job, out *outDir, withJSON bool, say *teller) error {
	atOnce := min(in.atOnce(), len(jobs))
	work, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	todo := make(chan *job)
	done := make(chan outcome)
	go func() {
		defer close(todo)
		for i := range jobs {
			select {
			case todo <- &jobs[i]:
			case <-work.Done():
				return
			}
		}
	}()
	finished := make(chan struct{})
	for range atOnce {
		go func() {
			for j := range todo {
				done <- in.oneUnit(work, j, out, withJSON)
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
			var bad outDirError
			if errors.As(d.err, &bad) && fatal == nil {
				fatal = d.err
				stop(d.err)
			}
			if d.err != nil && (work.Err() != nil) {
				continue // given up, not failed: told once, below
			}
			all = append(all, d)
			say.unit(d)
		}
	}
	return in.finish(ctx, jobs, all, fatal, out, say)
}

// oneUnit carries one unit from its folder to its results.
func (in *inspector) oneUnit(ctx context.Context, j *job, out *outDir, withJSON bool) outcome {
	start := time.Now()
	d := outcome{job: j}
	if j.absent {
		d.err = j.err
		return d
	}
	d.err = guard(func() error { return in.writeUnit(ctx, &d, out, withJSON) })
	if d.err != nil {
		d.result, d.json = nil, nil
	}
	d.took = time.Since(start)
	return d
}

func (in *inspector) writeUnit(ctx context.Context, d *outcome, out *outDir, withJSON bool) error {
	start := time.Now()
	u, r, err := in.inspect(ctx, d.job.folder)
	if err != nil {
		return err
	}
	defer u.release()
	if d.job.err != nil {
		r.Reasons = append([]string{plain(d.job.err)}, r.Reasons...)
	}
	dir, err := out.begin(d.job.name)
	if err != nil {
		return err
	}
	defer dir.drop() // does nothing once the folder has its name
	thumb, err := u.render(ctx, r, dir)
	if err != nil {
		return err
	}
	if withJSON {
		if d.json, err = encodeResult(in.written(r)); err != nil {
			return err
		}
	}
	if in.budget {
		if d.budget, err = budgetText(r); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := dir.commit(); err != nil {
		return err
	}
	d.result, d.thumb = summary(r), thumb
	if out.records != nil {
		d.lost = out.records.record(ctx, d.job.folder, in.written(r), start, time.Now())
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
func (in *inspector) finish(ctx context.Context, jobs []job, all []outcome, fatal error, out *outDir, say *teller) error {
	err := writeIndex(out, jobs, all, in.generated)
	say.end(all)
	switch {
	case fatal != nil:
		return fmt.Errorf("%w (%d of %d units done, their results are whole)", fatal, countDone(all), len(jobs))
	case ctx.Err() != nil:
		return interruptedError{countDone(all), len(jobs)}
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
var codesByWeight = []int{exitPass, exitFails, exitUnmeasured, exitOther}

// exitFor turns what became of the units into the exit code.
func exitFor(all []outcome) error {
	worst := 0
	for _, d := range all {
		worst = max(worst, slices.Index(codesByWeight, d.code()))
	}
	if worst == 0 {
		return nil
	}
	return codeError(codesByWeight[worst])
}

func (d outcome) code() int {
	switch {
	case d.err != nil, d.lost != nil:
		return exitOther
	case unmeasured(d.result):
		return exitUnmeasured
	case d.result.Verdict != part.Pass:
		return exitFails
	}
	return exitPass
}

// unmeasured says whether a picture, a station or the unit could not be
// measured.
func unmeasured(r *part.Result) bool {
	return r.Verdict == part.NotMeasured ||
		slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.State != part.PictureOK }) ||
		slices.ContainsFunc(r.Seam.Stations, func(s part.Station) bool { return s.State != part.Measured })
}
