package station

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/url"
	"strings"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records/shift"
	"finishbench/internal/teach/book"
)

// Options are the flags of bench.
type Options struct {
	inspection.Options
	Page          bench.Serving
	Replay        string
	SetPassphrase bool
	Name          string
	Take          ScreenShoot // 'screen shoot' alone
}

// Run serves the page until ctx ends. ready, where it is not nil, is told
// the page's address.
func Run(ctx context.Context, o Options, stdin io.Reader, stdout, stderr io.Writer, ready func(url string)) error {
	o.Page.StationFile = o.Station
	if o.SetPassphrase {
		return o.Page.SetPassphrase(stdin, stdout)
	}
	o.Out = "." // nothing is written there: the records keep all
	set, err := o.Settings()
	if err != nil {
		return err
	}
	st := set.Station
	o.FromStation(st.Bench)
	access, err := o.Page.Access()
	if err != nil {
		return err
	}
	if access.Scans, err = st.Scans.Rules(); err != nil {
		return cli.UsageError{Err: err}
	}
	access.Shifts, access.Idle = st.Lots.Shifts, time.Duration(st.Bench.IdleMin*float64(time.Minute))
	screens := bench.NewScreens()
	if o.Take.What != ShootWedge {
		if screens.Gamma, err = inspection.ScreenGamma(st.Screen, time.Now()); err != nil {
			return err
		}
	}
	shooter, err := o.Shooter(set, st, screens)
	if err != nil {
		return err
	}
	if c, ok := shooter.(io.Closer); ok {
		defer c.Close()
	}
	inspection.TuneMemory()
	inspector := &Inspector{Settings: set, Slots: inspection.NewSlots(set.Jobs), checkLog: st.CheckLog, Now: time.Now}
	parts := bench.Parts{
		Shooter: shooter, Screens: screens, Now: time.Now, PairLimits: set.Limits.Pair, Inspector: inspector,
		Log: slog.NewLogLogger(slog.NewTextHandler(stderr, nil), slog.LevelError).Printf,
	}
	notices := &Notices{Settings: set, checkLog: st.CheckLog}
	if p, ok := shooter.(*planShooter); ok {
		parts.Stopped = StoppedFor(p.plan, st, screens)
		if p.wet != p.plan {
			parts.StoppedWet = StoppedFor(p.wet, st, screens)
		}
		notices.fixed = append(notices.fixed, turnNotices(p)...)
	}
	parts.Notices = notices
	parts.Atlas = Atlas{}
	if o.Replay != "" {
		notices.fixed = append(notices.fixed, bench.Notice{Phrase: part.Phrase{Key: "notice.replay"}})
	}
	where, done, err := o.OpenRecords(ctx, set, &parts, notices)
	if err != nil {
		return err
	}
	defer done()
	if s, ok := shooter.(*planShooter); ok && o.Take.What == "" {
		if dir := o.underwayDir(parts); dir != "" {
			s.keep, s.log = &underway{dir: dir}, parts.Log
			parts.Keeper = s.keep
		}
	}
	if inspector.model, err = NewModel(ctx, o.KindModel, parts.Recorder); err != nil {
		return err
	}
	if s, ok := shooter.(*planShooter); ok && o.Take.What != "" {
		return o.serveWhile(ctx, parts, set, access, stdout, ready, func(ctx context.Context) error {
			return o.Take.run(ctx, s.plan, screens, Screen{screens, st.Screen}, stdout)
		})
	}
	if access.People == nil {
		fmt.Fprintln(stdout, "people: none, so whoever is at the bench may do all; 'inspect bench people add' says who may do what")
	}
	return o.Serve(ctx, parts, set, access, where, stdout, ready)
}

// underwayDir is where the unit under way is kept: beside the database's file or the station file, one for each bench; "": nowhere.
func (o Options) underwayDir(parts bench.Parts) string {
	r, ok := parts.Recorder.(*Records)
	if !ok {
		return ""
	}
	beside := r.of.URL
	if strings.Contains(beside, "://") {
		beside = o.Station
	}
	if beside == "" {
		return ""
	}
	return beside + "-underway-" + url.PathEscape(cmp.Or(r.of.Bench, "bench"))
}

// serveWhile shows the page as long as something is done that wants it.
func (o Options) serveWhile(ctx context.Context, parts bench.Parts, set inspection.Settings, access bench.Options, stdout io.Writer,
	ready func(string), do func(context.Context) error) error {
	within, end := context.WithCancel(ctx)
	defer end()
	done := make(chan error, 1)
	err := o.Serve(within, parts, set, access, "nowhere", stdout, func(url string) {
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

// Serve shows the page until ctx ends.
func (o Options) Serve(ctx context.Context, parts bench.Parts, set inspection.Settings, access bench.Options, where string,
	stdout io.Writer, ready func(string)) error {
	first, follow := part.UnitInfo{Stage: set.Stage}, ""
	if o.Replay != "" { // whoever tries it need not think of a serial
		first.Serial, follow = "try-1", bench.FollowNumber
	}
	return o.Page.Serve(ctx, parts, access, first, follow, where, stdout, ready)
}

// Shooter chooses where pictures come from.
func (o Options) Shooter(set inspection.Settings, st config.Station, screens *bench.Screens) (bench.Shooter, error) {
	if o.Replay != "" {
		return NewReplay(o.Replay, set.Fit, set.Jobs)
	}
	if len(st.Cameras) == 0 {
		return nil, cli.Usagef("say where the pictures come from: a --station file with cameras and a plan, or --replay FOLDER")
	}
	plan, err := StationPlan(st, screens)
	if err != nil {
		return nil, err
	}
	return newPlanShooter(plan, wetPlan(plan, st), set.Fit), nil
}

// FromStation takes what the command line leaves open from the station file.
func (o *Options) FromStation(b config.Bench) {
	o.Name, o.Page.Listen, o.Page.Language = cli.First(o.Name, b.Name), cli.First(o.Page.Listen, b.Listen),
		cli.First(o.Page.Language, b.Language)
	if len(o.Page.PedalKeys) == 0 {
		o.Page.PedalKeys = b.PedalKeys
	}
}

// OpenRecords opens the records, and with them the shift sheet.
func (o Options) OpenRecords(ctx context.Context, set inspection.Settings, parts *bench.Parts, n *Notices) (where string, done func(),
	err error) {
	if o.Record.URL == "" && set.Station.Records == "" {
		o.Record.URL = "bench.db"
	}
	rec, err := inspection.OpenRecorder(ctx, o.Record, set)
	if err != nil {
		return "", nil, err
	}
	if rec == nil {
		parts.Recorder = &bench.Memory{}
		n.fixed = append(n.fixed, bench.Notice{Phrase: part.Phrase{Key: "notice.not_recorded"}})
		return "nowhere: they end with the program", func() {}, nil
	}
	if o.Name != "" {
		rec.Bench = o.Name
	}
	parts.Recorder = NewRecords(rec)
	parts.Lots = NewLots(rec.Store, set.Station.CheckLog, set.Station.Lots.Shifts)
	parts.Sheets = shift.Pages{Store: rec.Store, Bench: rec.Bench}
	parts.Quizzes = book.Open(rec.Store, time.Now)
	parts.Atlas = Atlas{rec.Store}
	return rec.Store.Where(), rec.Close, nil
}
