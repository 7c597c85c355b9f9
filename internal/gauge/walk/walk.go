package walk

import (
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/gauge/scaling"
	"finishbench/internal/gauge/setup"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// Options are the flags of setup.
type Options struct {
	cli.SheetOptions
	scaling.TargetOptions
	Watch   string
	Station string
	Scale   string
	View    string
	Steps   []string
}

// Run walks a person through putting camera and light in order.
func Run(ctx context.Context, o Options, pictures []string, stdout, stderr io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	b, err := o.bench(time.Now())
	if err != nil {
		return err
	}
	names, err := o.names(b)
	if err != nil {
		return err
	}
	switch {
	case o.Watch != "" && len(pictures) > 0:
		return cli.Usagef("give pictures, or --watch FOLDER, not both")
	case o.Watch != "":
		src, err := capture.NewWatch(o.Watch, capture.DefaultWatchOptions())
		if err != nil {
			return cli.Usagef("--watch: %s", cli.Plain(err))
		}
		defer src.Close()
		return setupWatch(ctx, x, src, b, names, o, stdout, stderr)
	case len(pictures) == 0:
		return cli.Usagef("name pictures or a folder of them, or say --watch FOLDER (see 'inspect setup --help')")
	}
	return setupStored(ctx, x, b, names, o, pictures, stdout)
}

// names are the steps asked for, in their order. A view without a lit panel has
// no step for it.
func (o Options) names(b *setupBench) ([]setup.Name, error) {
	all := setup.Names()
	for _, s := range o.Steps {
		if !slices.Contains(all, setup.Name(s)) {
			return nil, cli.Usagef("--step %s: give panel, exposure, focus, height, perspective, squareness or scale", s)
		}
	}
	if len(o.Steps) == 0 {
		if b.view == part.Face {
			all = slices.DeleteFunc(all, ofEdgePictures)
		}
		return all, nil
	}
	var names []setup.Name
	for _, n := range all {
		if slices.Contains(o.Steps, string(n)) {
			names = append(names, n)
		}
	}
	if i := slices.IndexFunc(names, ofEdgePictures); b.view == part.Face && i >= 0 {
		return nil, cli.Usagef("--view face has no lit panel to look at: leave --step %s out, or say --view edge", names[i])
	}
	return names, nil
}

// ofEdgePictures says whether a step is seen in edge pictures alone.
func ofEdgePictures(n setup.Name) bool {
	return n == setup.Panel || n == setup.Height || n == setup.Perspective
}

// bench reads what the flags name.
func (o Options) bench(now time.Time) (*setupBench, error) {
	b := &setupBench{view: part.View(o.View)}
	if b.view != part.Edge && b.view != part.Face {
		return nil, cli.Usagef("--view %s: give edge or face", o.View)
	}
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return nil, cli.UsageError{Err: err}
	}
	b.fit = st.Fit
	b.camera, b.focus = st.Camera, st.Focus
	b.limits = setup.Limits{PanelUneven: b.fit.PanelUneven, PanelDirt: b.fit.PanelDirt, MinPanel: b.fit.MinPanel, MinLevel: b.fit.MinLevel,
		Warn: b.fit.Warn, URelScale: st.URelScale, SlantMost: seam.SlantMostDeg}
	b.lensMM = st.LensMM()
	if err := b.chooseScale(o.Scale, st, now); err != nil {
		return nil, err
	}
	if o.TargetOptions == (scaling.TargetOptions{}) {
		return b, nil
	}
	t, err := o.Target()
	if err != nil {
		return nil, err
	}
	b.target, b.limits.Target = &t, true
	return b, nil
}

// chooseScale finds the scale in force: the flag's, the station file's for the
// view, or its number. None is no mistake here: the scale may be still to make.
func (b *setupBench) chooseScale(flag string, st config.Station, now time.Time) error {
	file := flag
	for _, s := range st.Scales {
		if flag == "" && (s.View == string(b.view) || s.View == "" && file == "") {
			file = s.File
		}
	}
	if file == "" {
		if st.MMPerPX > 0 {
			b.limits.Scale = &setup.Scale{Name: "@setup.station_scale", MMPerPX: st.MMPerPX, U: st.URelScale * st.MMPerPX,
				AgeDays: math.NaN(), MaxAgeDays: math.NaN()}
		}
		return nil
	}
	f, err := inspection.LoadScaleAnyAge(file)
	if err != nil {
		return err
	}
	b.scale = f
	age := f.AgeState(now)
	in := &setup.Scale{Name: filepath.Base(file), MMPerPX: f.MMPerPX, U: f.UMMPerPX, AgeDays: math.Floor(max(0, age.Days)),
		MaxAgeDays: float64(f.MaxAgeDays), AgeText: age.Sentence}
	if age.State == optics.AgeOver && !(age.DaysLeft < 0) {
		in.AgeDays = math.NaN() // its date cannot be right
	}
	b.limits.Scale = in
	return nil
}

// setupStored judges pictures that were taken before.
func setupStored(ctx context.Context, x *lang.Lang, b *setupBench, names []setup.Name, o Options, args []string, stdout io.Writer) error {
	paths, err := storedPictures(args)
	if err != nil {
		return err
	}
	var readings []setup.Reading
	for _, path := range paths {
		if err := ctx.Err(); err != nil {
			return err
		}
		readings = append(readings, b.stored(path))
	}
	s := setupResult{x: x, names: names, readings: readings}
	for _, n := range names {
		s.steps = append(s.steps, b.limits.Worst(n, readings))
	}
	if err := o.SheetOptions.Write("setup", s.sheet(), s.json(), stdout); err != nil {
		return err
	}
	return s.code()
}

// storedPictures are the pictures named, and those in folders named.
func storedPictures(args []string) ([]string, error) {
	var paths []string
	for _, a := range args {
		st, err := os.Stat(a)
		switch {
		case errors.Is(err, os.ErrNotExist):
			return nil, cli.Usagef("there is no picture or folder %s", a)
		case err != nil:
			return nil, cli.Usagef("%s: %w", a, cli.PlainPath(err))
		case !st.IsDir():
			paths = append(paths, a)
			continue
		}
		in, err := capture.Pictures(a)
		if err != nil {
			return nil, cli.Usagef("%s", cli.Plain(err))
		}
		if len(in) == 0 {
			return nil, cli.Usagef("folder %s holds no picture", a)
		}
		paths = append(paths, in...)
	}
	return paths, nil
}

// code is the exit code for how the steps stand.
func (s setupResult) code() error {
	code := cli.ExitPass
	for _, st := range s.steps {
		switch st.State() {
		case setup.NotMeasured:
			return cli.ExitCode(cli.ExitUnmeasured)
		case setup.Outside:
			code = cli.ExitFails
		}
	}
	if s.unclear() > 0 {
		code = cli.ExitUnmeasured
	}
	if code != cli.ExitPass {
		return cli.ExitCode(code)
	}
	return nil
}

// SetupCautions are what a person must know before reaching into the bench.
func SetupCautions(x *lang.Lang) []string {
	return []string{x.T("setup.caution.lamps"), x.T("setup.caution.flashes"), x.T("setup.caution.laser"), x.T("setup.caution.codes")}
}

// setupSentence is a phrase as a whole sentence; empty where it has no key.
func setupSentence(x *lang.Lang, p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	stop := x.T("page.full_stop")
	return cli.UpperFirst(strings.TrimSuffix(x.Say(&p), stop)) + stop
}

// setupMeasured is a measure on one line: what, how much, how much is wanted.
func setupMeasured(m setup.Measure) part.Phrase {
	p := part.Say("setup.measured").With("name", m.Name).With("v", m.Value())
	if w := m.Wanted(); w.Key != "" {
		p = p.With("wanted", part.Say("setup.measured.wanted").With("zone", w))
	}
	return p
}
