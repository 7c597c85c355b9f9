package main

import (
	"context"
	"io"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/records/shift"
	"finishbench/internal/teach/book"
)

const benchHelp = `bench starts the page at the bench: a browser on this machine shows the live
pictures, takes the unit's serial, and on the space bar (or a pedal) has it
photographed, measured and judged. Each answer is recorded before it is shown.

With --replay the units of a folder are played in place of a camera. Only this
machine can open the page, unless --listen gives an address of the network; then
a passphrase is asked for, which --set-passphrase makes.`

const benchExamples = `  inspect bench --station station.yaml
  inspect bench --replay testdata/images --mm-per-px 0.015 --record none
  inspect bench --station station.yaml --set-passphrase
  inspect bench --station station.yaml --listen 192.168.1.20:8080`

// benchOptions are the flags of bench.
type benchOptions struct {
	inspection.Options
	page          bench.Serving
	replay        string
	setPassphrase bool
	name          string
	take          screenShoot // 'screen shoot' alone
}

// newBenchCommand is 'inspect bench'.
func newBenchCommand() *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use:                   "bench",
		Short:                 "Start the operator's page at the bench",
		Long:                  benchHelp,
		Example:               benchExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runBench(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Station, "station", "", "file that describes the station: scale, cameras, thresholds (see configs/station.yaml)")
	f.StringVar(&o.replay, "replay", "", "folder of units, played in place of a camera")
	f.StringVar(&o.Record.URL, "record", "", "database of the inspections: a SQLite file, or postgres://USER@HOST/DATABASE; none: keep nothing (default: the station file's, else bench.db)")
	flags.BuiltIn(&o.Record, cmd)
	pageFlags(&o, cmd)
	f.BoolVar(&o.setPassphrase, "set-passphrase", false, "ask for a new passphrase, write its hash to the passphrase file, and end")
	f.StringVar(&o.name, "name", "", "name of this bench in the records (default: this machine's)")
	f.StringVar(&o.page.LanguagesFolder, "lang", "", "folder with further languages, <tag>.json each")
	f.StringVar(&o.page.Language, "language", "", "language of browsers that ask for none that is there (default: en)")
	f.StringArrayVar(&o.page.PedalKeys, "pedal-key", nil, "name of the key that a pedal sends, beside the space bar (KeyboardEvent.key of the browser; default: the station file's, else PageDown)")
	f.Float64Var(&o.MMPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel")
	f.StringArrayVar(&o.Scales, "scale", nil, "scale file of the pictures, made by 'inspect scale'; VIEW=FILE for the edge, face or shell pictures only")
	f.StringVar(&o.Stage, "stage", "", "stage to begin with: trim, wet or cured (default wet)")
	f.StringVar(&o.Limits, "limits", "", "file with the limits (default: the built-in ones)")
	f.IntVar(&o.Jobs, "jobs", 0, "pictures at a time (default: one for each processor)")
	f.SortFlags = false
	return cmd
}

// pageFlags are how the page is reached.
func pageFlags(o *benchOptions, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.page.Listen, "listen", "", "address and port of the page (default: the station file's, else 127.0.0.1:8080); other than this machine's own, a passphrase is asked for")
	f.StringArrayVar(&o.page.Hosts, "host", nil, "further name by which browsers call this machine")
	f.StringVar(&o.page.PassphraseFile, "passphrase-file", "", "file with the passphrase's hash (default: finishbench-passphrase beside the station file, else here)")
	f.StringVar(&o.page.Cert, "tls-cert", "", "certificate for https, PEM; with --tls-key")
	f.StringVar(&o.page.Key, "tls-key", "", "its key, PEM")
}

// runBench serves the page until ctx ends. ready, where it is not nil, is told
// the page's address.
func runBench(ctx context.Context, o benchOptions, stdin io.Reader, stdout, stderr io.Writer, ready func(url string)) error {
	o.page.StationFile = o.Station
	if o.setPassphrase {
		return o.page.SetPassphrase(stdin, stdout)
	}
	o.Out = "." // nothing is written there: the records keep all
	set, err := o.Settings()
	if err != nil {
		return err
	}
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	o.fromStation(st.Bench)
	access, err := o.page.Access()
	if err != nil {
		return err
	}
	screens := bench.NewScreens()
	if o.take.what != shootWedge {
		if screens.Gamma, err = inspection.ScreenGamma(st.Screen, time.Now()); err != nil {
			return err
		}
	}
	shooter, err := o.shooter(set, st, screens)
	if err != nil {
		return err
	}
	if c, ok := shooter.(io.Closer); ok {
		defer c.Close()
	}
	inspection.TuneMemory()
	judge := &benchJudge{Settings: set, slots: inspection.NewSlots(set.Jobs), checkLog: st.CheckLog, now: time.Now}
	parts := bench.Parts{
		Shooter: shooter, Screens: screens, Now: time.Now, Comparer: newComparer(set.Limits.Pair), Judge: judge,
		Log: slog.NewLogLogger(slog.NewTextHandler(stderr, nil), slog.LevelError).Printf,
	}
	notices := &benchNotices{Settings: set, checkLog: st.CheckLog}
	if p, ok := shooter.(*planShooter); ok {
		parts.Stopped = stoppedFor(p.plan, st, screens)
		if p.wet != p.plan {
			parts.StoppedWet = stoppedFor(p.wet, st, screens)
		}
		notices.fixed = append(notices.fixed, turnNotices(p)...)
	}
	parts.Notices = notices
	parts.Atlas = benchAtlas{}
	if o.replay != "" {
		notices.fixed = append(notices.fixed, bench.Notice{Phrase: lang.Phrase{Key: "notice.replay"}})
	}
	where, done, err := o.records(ctx, set, st, &parts, notices)
	if err != nil {
		return err
	}
	defer done()
	if judge.model, err = newBenchModel(ctx, o.KindModel, parts.Recorder); err != nil {
		return err
	}
	if s, ok := shooter.(*planShooter); ok && o.take.what != "" {
		return o.serveWhile(ctx, parts, set, access, stdout, ready, func(ctx context.Context) error {
			return o.take.run(ctx, s.plan, screens, benchScreen{screens, st.Screen}, stdout)
		})
	}
	return o.serve(ctx, parts, set, access, where, stdout, ready)
}

// serveWhile shows the page as long as something is done that wants it.
func (o benchOptions) serveWhile(ctx context.Context, parts bench.Parts, set inspection.Settings, access bench.Options, stdout io.Writer, ready func(string), do func(context.Context) error) error {
	within, end := context.WithCancel(ctx)
	defer end()
	done := make(chan error, 1)
	err := o.serve(within, parts, set, access, "nowhere", stdout, func(url string) {
		if ready != nil {
			ready(url)
		}
		go func() { done <- do(within); end() }()
	})
	if err != nil {
		return err
	}
	if err = <-done; ctx.Err() != nil {
		return cli.ExitCode(cli.ExitInterrupted)
	}
	return err
}

// serve shows the page until ctx ends.
func (o benchOptions) serve(ctx context.Context, parts bench.Parts, set inspection.Settings, access bench.Options, where string, stdout io.Writer, ready func(string)) error {
	first, follow := bench.UnitInfo{Stage: set.Stage}, ""
	if o.replay != "" { // whoever tries it need not think of a serial
		first.Serial, follow = "try-1", bench.FollowNumber
	}
	return o.page.Serve(ctx, parts, access, first, follow, where, stdout, ready)
}

// shooter chooses where pictures come from.
func (o benchOptions) shooter(set inspection.Settings, st config.Station, screens *bench.Screens) (bench.Shooter, error) {
	if o.replay != "" {
		return newReplayShooter(o.replay, set.Fit, set.Jobs)
	}
	if len(st.Cameras) == 0 {
		return nil, cli.Usagef("say where the pictures come from: a --station file with cameras and a plan, or --replay FOLDER")
	}
	plan, err := stationPlan(st, screens)
	if err != nil {
		return nil, err
	}
	return newPlanShooter(plan, wetPlan(plan, st), set.Fit), nil
}

// fromStation takes what the command line leaves open from the station file.
func (o *benchOptions) fromStation(b config.Bench) {
	o.name, o.page.Listen, o.page.Language = cli.First(o.name, b.Name), cli.First(o.page.Listen, b.Listen), cli.First(o.page.Language, b.Language)
	if len(o.page.PedalKeys) == 0 {
		o.page.PedalKeys = b.PedalKeys
	}
}

// records opens the records, and with them the shift sheet.
func (o benchOptions) records(ctx context.Context, set inspection.Settings, st config.Station, parts *bench.Parts, n *benchNotices) (where string, done func(), err error) {
	if o.Record.URL == "" && st.Records == "" {
		o.Record.URL = "bench.db"
	}
	rec, err := inspection.OpenRecorder(ctx, o.Options, set)
	if err != nil {
		return "", nil, err
	}
	if rec == nil {
		parts.Recorder = &bench.Memory{}
		n.fixed = append(n.fixed, bench.Notice{Phrase: lang.Phrase{Key: "notice.not_recorded"}})
		return "nowhere: they end with the program", func() {}, nil
	}
	if o.name != "" {
		rec.Bench = o.name
	}
	parts.Recorder = &benchRecords{rec, rec.Bench}
	parts.Lots = newBenchLots(rec.Store, st.CheckLog, st.Lots.Shifts)
	parts.Sheets = shift.Pages{Store: rec.Store, Bench: rec.Bench}
	parts.Quizzes = book.Open(rec.Store, time.Now)
	parts.Atlas = benchAtlas{rec.Store}
	return rec.Store.Where(), rec.Close, nil
}
