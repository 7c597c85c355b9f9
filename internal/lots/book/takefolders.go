package book

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/inspection"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// takeFolders looks at the folders of drawn units as 'inspect unit' does, and takes
// each once it is recorded. What is on record already is not looked at again.
func takeFolders(ctx context.Context, x sheetWords, o *TakeOptions, book *Book, t *Taken, dirs []string, stdout, stderr io.Writer) error {
	opening := &book.Lot.Current().Opening
	set, err := o.runSettings(book)
	if err != nil {
		return err
	}
	jobs, err := lotJobs(book, dirs)
	if err != nil {
		return err
	}
	t.Missing = notAmong(book.Lot.Current().Pending(), jobs)
	todo, err := adopt(ctx, o, book, t, jobs)
	if err != nil || len(todo) == 0 {
		return err
	}
	rec, err := inspection.OpenRecorder(ctx, o.Run.Record, set)
	if err != nil {
		return err
	}
	defer rec.Close()
	take := &folderTaker{x: x, book: book, by: o.Run.Record.Operator, limits: opening.Limits, t: t, stderr: stderr}
	rec.After = take.one
	run := o.Run
	if run.JSON { // stdout is for the lot's own
		run.JSON, stdout = false, stderr
	}
	var code cli.ExitCode
	if err = inspection.RunJobs(ctx, run, set, todo, rec, stdout, stderr); errors.As(err, &code) && code != cli.ExitOther {
		err = nil // how units are is told by the lot
	}
	return err
}

// runSettings are the settings of the pipeline, which must judge as the lot wants.
func (o *TakeOptions) runSettings(book *Book) (inspection.Settings, error) {
	l, opening := &book.Lot, &book.Lot.Current().Opening
	if o.Run.Stage == "" {
		o.Run.Stage = string(opening.Stage)
	}
	if o.Run.Stage != string(opening.Stage) {
		return inspection.Settings{}, cli.Usagef("lot %s is judged %s, not %s: leave out --stage", l.Name, opening.Stage, o.Run.Stage)
	}
	sum, name, err := limitsInForce(o.Run.Limits)
	if err != nil {
		return inspection.Settings{}, err
	}
	if sum != opening.Limits {
		return inspection.Settings{},
			fmt.Errorf("lot %s was opened with other limits (%s, %.12s) than these (%s, %.12s): give those with --limits, or start a new "+
				"plan with 'inspect lot plan %s --anew'",
				l.Name, opening.LimitsName, opening.Limits, name, sum, l.Name)
	}
	if o.Run.Record.URL, err = o.Database.Where(); err != nil {
		return inspection.Settings{}, err
	}
	o.Run.Record.Lot = l.Name
	return o.Run.Settings()
}

// lotJobs lists the folders of units that the lot still waits for. A folder that is
// named itself must be of such a unit, or of one that was taken; of a folder of
// folders only those of drawn units count.
func lotJobs(book *Book, dirs []string) ([]inspection.Job, error) {
	var named, inside []string
	for _, d := range dirs {
		subs, err := foldersIn(d)
		if err != nil {
			return nil, err
		}
		if subs == nil {
			named = append(named, d)
		}
		inside = append(inside, subs...)
	}
	r := book.Lot.Current()
	jobs, err := lotScan(append(slices.Clone(named), inside...))
	if err != nil {
		return nil, err
	}
	var out []inspection.Job
	for i, j := range jobs {
		p := r.Look(j.Folder.Name)
		if p == nil && i < len(named) {
			return nil, lotError(book.Lot.MayTake(j.Folder.Name))
		}
		if p != nil && (p.Unit == nil || !p.Unit.Measured()) {
			if j.Err != nil && j.Absent {
				return nil, cli.Usagef("%s: %w", j.Dir, j.Err)
			}
			out = append(out, j)
		}
	}
	return out, nil
}

func lotScan(dirs []string) ([]inspection.Job, error) {
	units, err := inspection.NameUnits(dirs)
	if err != nil {
		return nil, err
	}
	return inspection.ScanAll(units)
}

// foldersIn lists the folders in a folder of folders; nil where it is a unit's own.
func foldersIn(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, cli.Usagef("%s: %w", dir, cli.PlainPath(err))
	}
	var subs []string
	for _, e := range entries {
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			subs = append(subs, filepath.Join(dir, e.Name()))
		case e.Name() == capture.UnitFile || capture.IsPicture(e.Name()):
			return nil, nil // it is a unit's own
		}
	}
	return subs, nil
}

// notAmong are the names that no job is for.
func notAmong(names []string, jobs []inspection.Job) []string {
	have := map[string]bool{}
	for i := range jobs {
		have[jobs[i].Folder.Name] = true
	}
	return slices.DeleteFunc(slices.Clone(names), func(n string) bool { return have[n] })
}

// adopt takes units that were looked at and recorded for this lot, from the very
// pictures that lie in their folders: an interrupted run left them. It returns the
// jobs that are left.
func adopt(ctx context.Context, o *TakeOptions, book *Book, t *Taken, jobs []inspection.Job) ([]inspection.Job, error) {
	from, err := newLotSource(ctx, book.store, &book.Lot)
	if err != nil {
		return nil, err
	}
	var todo []inspection.Job
	var units []lots.Unit
	for _, j := range jobs {
		in := from.byUnit[j.Folder.Name]
		if in == nil || in.Limits.SHA256 != book.Lot.Current().Opening.Limits {
			todo = append(todo, j)
			continue
		}
		same, err := samePictures(ctx, book.store, in, j.Folder)
		if err != nil {
			return nil, err
		}
		p := book.Lot.Current().Look(j.Folder.Name)
		switch {
		case !same:
			todo = append(todo, j)
		case p.Unit != nil && p.Unit.Inspection == in.ID: // taken, and not measured
			t.Unmeasured = append(t.Unmeasured, j.Folder.Name)
		default:
			units = append(units, lots.UnitOf(j.Folder.Name, in))
		}
	}
	return todo, book.takeAll(ctx, units, o.Run.Record.Operator, t)
}

// samePictures says whether an inspection was made of the pictures in a folder.
func samePictures(ctx context.Context, s *records.Store, brief *part.Inspection, folder part.Folder) (bool, error) {
	whole, err := s.Get(ctx, brief.ID)
	if err != nil {
		return false, err
	}
	var was, now []string
	for _, p := range whole.Pictures {
		was = append(was, p.SHA256)
	}
	for _, shot := range folder.Shots {
		sum, err := fileSum(shot.Path)
		if err == nil {
			now = append(now, sum)
		}
	}
	slices.Sort(was)
	slices.Sort(now)
	return slices.Equal(was, now), nil
}

func fileSum(path string) (string, error) {
	f, err := files.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	if n == 0 && err == nil {
		err = io.ErrUnexpectedEOF // an empty file is not recorded
	}
	return hex.EncodeToString(h.Sum(nil)), err
}

// folderTaker takes each unit once it is recorded. Its method may be called by
// several goroutines at once.
type folderTaker struct {
	x      sheetWords
	book   *Book
	by     string
	limits string
	stderr io.Writer

	mu      sync.Mutex
	t       *Taken
	refused bool
}

func (f *folderTaker) one(ctx context.Context, in *part.Inspection) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	u := lots.UnitOf(in.Name(), in)
	u.Limits = f.limits // of the recorder's own file, compared before the run
	if err := f.book.TakeSome(ctx, []lots.Unit{u}, f.by, f.t); err != nil {
		return err
	}
	if r := f.book.Lot.Current(); !f.refused && r.Call() == lots.Refuses {
		f.refused = true
		why := r.RefusedBy()
		fmt.Fprintf(f.stderr, "\n%s\n", f.x.show("counts_refuse", "lot", f.book.Lot.Name, "why", f.x.Say(&why)))
	}
	return nil
}
