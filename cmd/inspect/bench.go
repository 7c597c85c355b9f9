package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/inspection"
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
	replay        string
	listen        string
	hosts         []string
	languages     string
	language      string
	pedals        []string
	passphrase    string // file
	setPassphrase bool
	cert, key     string
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
	f.StringVar(&o.languages, "lang", "", "folder with further languages, <tag>.json each")
	f.StringVar(&o.language, "language", "", "language of browsers that ask for none that is there (default: en)")
	f.StringArrayVar(&o.pedals, "pedal-key", nil, "name of the key that a pedal sends, beside the space bar (KeyboardEvent.key of the browser; default: the station file's, else PageDown)")
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
	f.StringVar(&o.listen, "listen", "", "address and port of the page (default: the station file's, else 127.0.0.1:8080); other than this machine's own, a passphrase is asked for")
	f.StringArrayVar(&o.hosts, "host", nil, "further name by which browsers call this machine")
	f.StringVar(&o.passphrase, "passphrase-file", "", "file with the passphrase's hash (default: finishbench-passphrase beside the station file, else here)")
	f.StringVar(&o.cert, "tls-cert", "", "certificate for https, PEM; with --tls-key")
	f.StringVar(&o.key, "tls-key", "", "its key, PEM")
}

// runBench serves the page until ctx ends. ready, where it is not nil, is told
// the page's address.
func runBench(ctx context.Context, o benchOptions, stdin io.Reader, stdout, stderr io.Writer, ready func(url string)) error {
	if o.setPassphrase {
		return setPassphrase(o.passphraseFile(), stdin, stdout)
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
	access, err := o.access()
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
	o.name, o.listen, o.language = cli.First(o.name, b.Name), cli.First(o.listen, b.Listen), cli.First(o.language, b.Language)
	if len(o.pedals) == 0 {
		o.pedals = b.PedalKeys
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
		parts.Recorder = &benchMemory{}
		n.fixed = append(n.fixed, bench.Notice{Phrase: lang.Phrase{Key: "notice.not_recorded"}})
		return "nowhere: they end with the program", func() {}, nil
	}
	if o.name != "" {
		rec.Bench = o.name
	}
	parts.Recorder = &benchRecords{rec, rec.Bench}
	parts.Lots = newBenchLots(rec.Store, st.CheckLog, st.Lots.Shifts)
	parts.Sheets = shiftSheets{store: rec.Store, bench: rec.Bench}
	parts.Quizzes = newQuizBook(rec.Store, time.Now)
	parts.Atlas = benchAtlas{rec.Store}
	return rec.Store.Where(), rec.Close, nil
}

// serve shows the page until ctx ends; then what is being written is finished.
func (o benchOptions) serve(ctx context.Context, parts bench.Parts, set inspection.Settings, access bench.Options, where string, stdout io.Writer, ready func(string)) error {
	languages, lacking, err := lang.Load(o.languages)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	for tag, n := range lacking {
		fmt.Fprintf(stdout, "language %s: %d texts are missing and shown in English\n", tag, n)
	}
	access.Languages, access.Language, access.PedalKeys = languages, o.language, o.pedals
	l, err := net.Listen("tcp", o.listen)
	if err != nil {
		return cli.Usagef("--listen %s: %w", o.listen, err)
	}
	first, follow := bench.UnitInfo{Stage: set.Stage}, ""
	if o.replay != "" { // whoever tries it need not think of a serial
		first.Serial, follow = "try-1", bench.FollowNumber
	}
	station := bench.NewStation(parts, first, follow)
	stationDone := make(chan struct{})
	go func() { station.Run(ctx); close(stationDone) }()
	server := &http.Server{
		Handler: bench.NewServer(station, access), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
	}
	scheme := "http"
	if o.cert != "" {
		cert, err := tls.LoadX509KeyPair(o.cert, o.key)
		if err != nil {
			return cli.Usagef("--tls-cert, --tls-key: %w", err)
		}
		server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
		l, scheme = tls.NewListener(l, server.TLSConfig), "https"
	}
	url := scheme + "://" + l.Addr().String() + "/"
	fmt.Fprintf(stdout, "The bench is open: %s\nrecords: %s\nctrl-C ends it.\n", url, where)
	if ready != nil {
		ready(url)
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	select {
	case err = <-failed:
		return fmt.Errorf("the page cannot be served any more: %w", err)
	case <-ctx.Done():
	}
	<-stationDone // what was answered is written
	end, stop := context.WithTimeout(context.Background(), 3*time.Second)
	defer stop()
	if server.Shutdown(end) != nil {
		_ = server.Close()
	}
	return nil
}

// access says who is let in.
func (o benchOptions) access() (bench.Options, error) {
	a := bench.Options{Hosts: o.hosts, Secure: o.cert != ""}
	if (o.cert == "") != (o.key == "") {
		return a, cli.Usagef("--tls-cert and --tls-key go together")
	}
	host, _, err := net.SplitHostPort(o.listen)
	if err != nil {
		return a, cli.Usagef("--listen %s: give address and port, such as 192.168.1.20:8080", o.listen)
	}
	if name, err := os.Hostname(); err == nil {
		a.Hosts = append(a.Hosts, name, name+".local")
	}
	ip := net.ParseIP(host)
	if ip == nil && host != "" && host != "localhost" {
		a.Hosts = append(a.Hosts, host)
	}
	file := o.passphraseFile()
	data, err := files.Read(file, files.MostText)
	own := host == "localhost" || ip != nil && ip.IsLoopback()
	switch {
	case err == nil:
		if a.Passphrase, err = bench.ParsePassphrase(string(data)); err != nil {
			return a, cli.Usagef("%s: %w", file, err)
		}
	case own && o.passphrase == "" && errors.Is(err, os.ErrNotExist):
	case errors.Is(err, os.ErrNotExist):
		return a, cli.Usagef("--listen %s lets other machines in, so a passphrase is needed: make one with 'inspect bench --set-passphrase' (%s is not there)", o.listen, file)
	default:
		return a, cli.Usagef("%s: %w", file, cli.PlainPath(err))
	}
	return a, nil
}

// passphraseFile is where the passphrase's hash lies.
func (o benchOptions) passphraseFile() string {
	if o.passphrase != "" {
		return o.passphrase
	}
	const name = "finishbench-passphrase"
	if o.Station != "" {
		return filepath.Join(filepath.Dir(o.Station), name)
	}
	return name
}

// setPassphrase asks for a passphrase, twice at a terminal, and writes its hash.
func setPassphrase(file string, stdin io.Reader, stdout io.Writer) error {
	read := func(ask string) (string, error) {
		if f, ok := stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
			fmt.Fprint(stdout, ask)
			b, err := term.ReadPassword(int(f.Fd()))
			fmt.Fprintln(stdout)
			return string(b), err
		}
		b, err := io.ReadAll(io.LimitReader(stdin, 4096))
		first, _, _ := strings.Cut(string(b), "\n")
		return strings.TrimSuffix(first, "\r"), err
	}
	phrase, err := read("New passphrase: ")
	if err != nil {
		return err
	}
	if f, ok := stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		again, err := read("Once more: ")
		if err != nil {
			return err
		}
		if again != phrase {
			return cli.Usagef("the two are not the same; nothing was written")
		}
	}
	line, err := bench.HashPassphrase(phrase)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	if err := os.WriteFile(file, []byte(line+"\n"), 0o600); err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, cli.PlainPath(err))
	}
	fmt.Fprintf(stdout, "the passphrase's hash is in %s\n", file)
	return nil
}
