package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/bench"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/grade"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

const quizHelp = `quiz makes and keeps blind tests: a trainee sees pictures of faceplates and
shells without marks, marks and names what is there, or says that there is
nothing, and gives the verdict. The truth is what a person confirmed (quiz
confirm), or what a picture was drawn with (folders with a truth.json; quiz paint
draws such); it is never the tool's own guess.

Tests, answers and certificates are kept in the database of inspections and are
never changed there. People are kept by initials and badge only, apart from it:
quiz export gives all that is kept of one, quiz erase makes it nameless.`

const quizExit = `EXIT STATUS
  0    done
  1    it could not be done
  2    wrong usage; nothing was done`

// quizOptions are what all of the commands share.
type quizOptions struct {
	records  cli.Database
	language string
}

// newQuizCommand is 'inspect quiz'.
func newQuizCommand() *cobra.Command {
	var o quizOptions
	cmd := &cobra.Command{
		Use:   "quiz",
		Short: "Blind tests for people: draw, take, score, certify",
		Long:  quizHelp + "\n\n" + quizExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: quiz paint, confirm, draw, list, take, result, progress, certificate, export or erase (see 'inspect quiz --help')")
		},
	}
	f := cmd.PersistentFlags()
	f.StringVar(&o.records.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.records.Station, "station", "", "station file that names the database")
	f.StringVar(&o.language, "language", "en", "of what is written: en, zh-Hans")
	cmd.AddCommand(newQuizPaintCommand(), newQuizConfirmCommand(&o), newQuizDrawCommand(&o), newQuizListCommand(&o), newQuizTakeCommand(&o), newQuizResultCommand(&o),
		newQuizProgressCommand(&o), newQuizCertificateCommand(&o), newQuizExportCommand(&o), newQuizEraseCommand(&o))
	return cmd
}

// open opens the book of tests, and the language; makes says that a database that
// is not there is made.
func (o *quizOptions) open(ctx context.Context, makes bool) (*quizBook, *lang.Lang, error) {
	l, err := cli.Language(o.language)
	if err != nil {
		return nil, nil, err
	}
	var s *records.Store
	if makes {
		url, err := o.records.Where()
		if err != nil {
			return nil, nil, err
		}
		if s, err = records.Open(ctx, url, time.Now); err != nil {
			return nil, nil, err
		}
	} else if s, err = o.records.Open(ctx); err != nil {
		return nil, nil, err
	}
	return newQuizBook(s, time.Now), l, nil
}

// with runs f with the open book. What is meant for a person is told in the
// language asked for, as wrong usage.
func (o *quizOptions) with(ctx context.Context, makes bool, f func(*quizBook, *lang.Lang) error) error {
	b, l, err := o.open(ctx, makes)
	if err != nil {
		return err
	}
	defer b.store.Close()
	err = f(b, l)
	var p bench.QuizProblem
	if errors.As(err, &p) {
		return cli.Usagef("%s", strings.TrimSuffix(l.Say(&p.Phrase), "."))
	}
	return err
}

// quizKindsOf reads kinds of defects.
func quizKindsOf(words []string) ([]part.Kind, error) {
	var all []part.Kind
	for _, w := range words {
		if !slices.Contains(grade.SurfaceKinds, part.Kind(w)) {
			return nil, cli.Usagef("--kinds %s: the kinds are %s", w, part.JoinKinds(grade.SurfaceKinds))
		}
		all = append(all, part.Kind(w))
	}
	return all, nil
}

var quizDifficulties = map[string]teach.Difficulty{"mixed": teach.AnyDifficulty, "easy": teach.Easy, "middling": teach.Middling, "hard": teach.Hard}

func quizDifficulty(word string) (teach.Difficulty, error) {
	d, ok := quizDifficulties[word]
	if !ok {
		return 0, cli.Usagef("--difficulty %s: mixed, easy, middling or hard", word)
	}
	return d, nil
}

const difficultyUse = "easy (over 0.5 mm), middling (over 0.2 mm), hard (up to 0.2 mm), or mixed"

func newQuizPaintCommand() *cobra.Command {
	var o paintOptions
	var kinds []string
	var difficulty string
	cmd := &cobra.Command{
		Use:   "paint FOLDER",
		Short: "Draw pictures with known defects, for tests where there are no confirmed units yet",
		Long: `paint draws faceplates by formula, each under a dome and under raking light, or with
--shell shells so in three turns, with known defects or none, into a folder each
under FOLDER, with a truth.json as in testdata/images. They are no photographs: a
test on them shows how well someone looks, not how well they know this workshop's
lacquer.`,
		Example: `  inspect quiz paint drawn --number 40 --clean 0.4 --seed 7
  inspect quiz paint drawnshells --shell --kinds run,missed_place,haze`,
		Args: flags.OneArg("name the folder to draw into"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if o.kinds, err = quizKindsOf(kinds); err != nil {
				return err
			}
			if o.difficulty, err = quizDifficulty(difficulty); err != nil {
				return err
			}
			all, err := paintUnits(args[0], o)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%d units are drawn in %s\n", len(all), args[0])
			return err
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.number, "number", 30, "how many units")
	f.Float64Var(&o.clean, "clean", 0.4, "share of clean ones")
	f.BoolVar(&o.shell, "shell", false, "draw shells instead of faceplates")
	f.StringSliceVar(&kinds, "kinds", nil, "kinds of defects (default: "+part.JoinKinds(paintKinds)+"; faceplates before a screen also "+part.JoinKinds(paintMirrored)+"; with --shell "+part.JoinKinds(paintShellKinds)+")")
	f.StringVar(&difficulty, "difficulty", "mixed", difficultyUse)
	f.Uint64Var(&o.seed, "seed", 1, "the same seed draws the same pictures")
	f.SortFlags = false
	return cmd
}

func newQuizConfirmCommand(o *quizOptions) *cobra.Command {
	var c confirmation
	var by, verdict string
	var turn float64
	cmd := &cobra.Command{
		Use:   "confirm INSPECTION",
		Short: "Say what is on the faceplate of a recorded unit, or on its shell, so that it can be asked in tests",
		Long: `confirm records what a person says is on the faceplate of the inspection with this
number: the tool's findings, each looked at, less those that are none (--not),
with other kinds where they are called wrongly (--kind), and with what the tool
overlooked (--also), and the verdict that the faceplate deserves. With --shell it
is the shell at one turn instead. Only what was confirmed is asked in tests. A
second confirmation of the same takes the first one's place.`,
		Example: "  inspect quiz confirm 118 --record bench.db --by B17 --verdict rework --not 2,5 --kind 3=dust --also fibre,812,440,60,9",
		Args:    flags.OneArg("give the number of the inspection"),
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := strconv.ParseInt(args[0], 10, 64)
			if err != nil || id < 1 {
				return cli.Usagef("%q is no number of an inspection", args[0])
			}
			if by == "" {
				return cli.Usagef("say who confirms it: --by with initials or badge")
			}
			if cmd.Flags().Changed("shell") {
				if !(turn >= -360 && turn <= 360) {
					return cli.Usagef("--shell %g: give the turn in degrees, -360 to 360", turn)
				}
				c.shellDeg = part.Num(part.Turn(turn))
			}
			c.verdict = part.Verdict(verdict)
			return o.with(cmd.Context(), false, func(b *quizBook, _ *lang.Lang) error { return b.confirm(cmd.Context(), id, by, c, cmd.OutOrStdout()) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&verdict, "verdict", "", "pass, rework or reject: what the faceplate alone deserves, or this turn of the shell")
	f.Float64Var(&turn, "shell", 0, "not the faceplate but the shell, as its pictures at this turn show it, in degrees")
	f.StringVar(&by, "by", "", "who says so: initials or badge (stays in the records)")
	f.IntSliceVar(&c.not, "not", nil, "numbers of findings that are none")
	f.StringSliceVar(&c.kinds, "kind", nil, "NUMBER=KIND of findings that are of another kind")
	f.StringArrayVar(&c.also, "also", nil, "KIND,X,Y,WIDTH,HEIGHT in pixels: a defect that was overlooked")
	f.SortFlags = false
	return cmd
}

// confirm keeps what a person says of an inspection.
func (b *quizBook) confirm(ctx context.Context, id int64, by string, c confirmation, stdout io.Writer) error {
	in, err := b.store.Get(ctx, id)
	if errors.Is(err, records.ErrNotFound) {
		return cli.Usagef("there is no inspection %d", id)
	} else if err != nil {
		return err
	}
	if !in.Holds() {
		return cli.Usagef("inspection %d was withdrawn or corrected: it cannot be asked", id)
	}
	body, err := c.confirmed(in)
	if err != nil {
		return err
	}
	if _, err := recordItem(ctx, b.store, in, body, by); err != nil {
		return cli.Usagef("inspection %d cannot be asked in a test: %w", id, err)
	}
	name, what := body.name(), "faceplate"
	if body.ShellDeg != nil {
		what = body.pose().String()
	}
	for {
		old, err := b.store.Journal(ctx, topicTruth, name)
		if err != nil {
			return err
		}
		data, err := json.Marshal(body)
		if err != nil {
			return err
		}
		err = b.store.Note(ctx, records.Entry{Topic: topicTruth, Name: name, Seq: int64(len(old)) + 1, Kind: "confirmed", At: b.now(), By: by, Body: data})
		if errors.Is(err, records.ErrMeanwhile) {
			continue
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(stdout, "inspection %d: %d defects on the %s and the verdict %s are confirmed by %s\n", id, len(body.Known), what, body.Verdict, by)
		return err
	}
}

// drawOptions are the flags of draw.
type drawOptions struct {
	spec                      teach.Spec
	kinds, stages             []string
	difficulty, stage, limits string
	initials, badge           string // whose earlier misses weigh
	recorded                  bool
	criteria                  teach.Criteria
}

func newQuizDrawCommand(o *quizOptions) *cobra.Command {
	var d drawOptions
	c := teach.DefaultCriteria()
	cmd := &cobra.Command{
		Use:   "draw [UNIT-FOLDER...]",
		Short: "Draw a test from confirmed units and from folders with known defects",
		Long: `draw draws a test and keeps it in the database, under a name such as Q3. It draws
from the recorded units that a person confirmed (quiz confirm) and from the
folders named, each with a truth.json beside its pictures. The folders must stay
where they are: a unit whose picture is gone when it is shown is left out, and
the result says so.

Same pool, same seed, same answers: same test. With --adapt a kind of defect
weighs 1 + 4 (missed + 1/2) / (asked + 1) in drawing the next unit; two
defective units in a row that were answered right make the next one a step
harder, one that was not a step easier (Levitt 1971).

A certificate is given where the criteria are met by the end of a test. Their
defaults are AIAG's limits of a good appraiser.`,
		Example: `  inspect quiz draw testdata/images/* drawn/* --record bench.db --name "Bubbles and dust" --number 20 --repeats 5
  inspect quiz draw drawn/* --station station.yaml --number 24 --adapt --initials AB --badge 17 --limit-s 60`,
		Args: flags.WrongUsage(cobra.ArbitraryArgs),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), true, func(b *quizBook, _ *lang.Lang) error { return b.drawn(cmd.Context(), d, args, cmd.OutOrStdout()) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&d.spec.Name, "name", "", "the trainer's word for the test, as trainees see it")
	f.IntVar(&d.spec.Number, "number", 20, "different units")
	f.Float64Var(&d.spec.CleanShare, "clean", 0.4, "share of clean ones among them")
	f.StringSliceVar(&d.kinds, "kinds", nil, "kinds that may be on them (default: all)")
	f.StringSliceVar(&d.stages, "stages", nil, "stages: trim, wet, cured (default: all)")
	f.StringVar(&d.difficulty, "difficulty", "mixed", difficultyUse)
	f.IntVar(&d.spec.Repeats, "repeats", 0, "how many of the units are shown again")
	f.IntVar(&d.spec.Times, "times", 1, "how many more times each of these")
	f.BoolVar(&d.spec.Adapt, "adapt", false, "by the answers: more of what is missed, harder when it goes well")
	f.StringVar(&d.initials, "initials", "", "with --adapt: whose earlier misses weigh from the start")
	f.StringVar(&d.badge, "badge", "", "likewise")
	f.Uint64Var(&d.spec.Seed, "seed", 1, "the same seed draws the same test")
	f.Float64Var(&d.spec.LimitS, "limit-s", 0, "time limit for a unit, seconds; 0: none")
	f.Float64Var(&d.spec.ToleranceMM, "tolerance-mm", teach.ToleranceMM, "how far beside a defect a mark may lie")
	f.StringVar(&d.stage, "stage", "cured", "stage of the folders' units: trim, wet or cured")
	f.StringVar(&d.limits, "limits", "", "file with the limits that give the folders' units their verdicts (default: the built-in ones)")
	f.BoolVar(&d.recorded, "recorded", true, "draw from confirmed units of the records too")
	d.criteria = c
	f.IntVar(&d.criteria.MinClean, "min-clean", c.MinClean, "certificate: clean units answered, at least")
	f.IntVar(&d.criteria.MinDefective, "min-defective", c.MinDefective, "certificate: defective units answered, at least")
	f.Float64Var(&d.criteria.Effective, "effectiveness", c.Effective, "certificate: share of right verdicts, at least")
	f.Float64Var(&d.criteria.Miss, "miss", c.Miss, "certificate: share of bad units passed, at most")
	f.Float64Var(&d.criteria.FalseAlarm, "false-alarm", c.FalseAlarm, "certificate: share of good units not passed, at most")
	f.Float64Var(&d.criteria.Kappa, "kappa", c.Kappa, "certificate: kappa to the reference, at least; 0: not asked")
	f.Float64Var(&d.criteria.Within, "same-again", c.Within, "certificate: share of units shown again with the same verdict, at least; 0: not asked")
	f.Float64Var(&d.criteria.SizeMM, "size-mm", c.SizeMM, "certificate: spots are seen 9 times in 10 from this size on; 0: not asked")
	f.IntVar(&d.criteria.Months, "months", c.Months, "certificate: how long it holds")
	f.SortFlags = false
	return cmd
}

// drawn draws a test and says what it is.
func (b *quizBook) drawn(ctx context.Context, d drawOptions, dirs []string, stdout io.Writer) error {
	var err error
	if d.spec.Kinds, err = quizKindsOf(d.kinds); err != nil {
		return err
	}
	if d.spec.Difficulty, err = quizDifficulty(d.difficulty); err != nil {
		return err
	}
	for _, w := range d.stages {
		st, err := part.ParseStage(w)
		if err != nil {
			return cli.UsageError{Err: err}
		}
		d.spec.Stages = append(d.spec.Stages, st)
	}
	stage, err := part.ParseStage(d.stage)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	limits, err := config.LoadLimits(d.limits)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	if d.spec.Prior, err = b.prior(ctx, d); err != nil {
		return err
	}
	d.spec.Criteria = &d.criteria
	folders := dirs[:0:0]
	for _, dir := range dirs {
		if st, err := os.Stat(dir); err == nil && !st.IsDir() { // of a shell's *
			fmt.Fprintf(stdout, "%s is no folder: left out\n", dir)
			continue
		}
		folders = append(folders, dir)
	}
	pool, err := poolUnits(folders, stage, limits)
	if err != nil {
		return err
	}
	gone := 0
	if d.recorded {
		recorded, n, err := poolRecords(ctx, b.store)
		if err != nil {
			return err
		}
		pool, gone = append(pool, recorded...), n
	}
	if len(pool) == 0 {
		what := "there are no units to ask: name folders with a truth.json (inspect quiz paint draws such), or confirm recorded units (inspect quiz confirm)"
		if gone > 0 {
			what = fmt.Sprintf("the pictures of all %d confirmed units were taken off the records; %s", gone, what)
		}
		return cli.Usagef("%s", what)
	}
	t, err := teach.NewTest(d.spec, pool)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	name, err := b.draw(ctx, t)
	if err != nil {
		return err
	}
	if gone > 0 {
		fmt.Fprintf(stdout, "%d confirmed units are left out: their pictures were taken off the records, or cannot be shown\n", gone)
	}
	_, err = fmt.Fprintf(stdout, "test %s is drawn: %d units shown, of %d that may be asked\n", name, d.spec.Showings(), len(t.Pool))
	return err
}

// prior are what a person missed in earlier tests.
func (b *quizBook) prior(ctx context.Context, d drawOptions) ([]teach.KindCount, error) {
	if d.initials == "" && d.badge == "" {
		return nil, nil
	}
	if !d.spec.Adapt {
		return nil, cli.Usagef("--initials and --badge go with --adapt")
	}
	p, err := b.known(ctx, d.initials, d.badge)
	if err != nil {
		return nil, err
	}
	all, err := b.ofPerson(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	sum := map[part.Kind]teach.KindCount{}
	for _, t := range all {
		for _, k := range t.score.Missed() {
			s := sum[k.Kind]
			sum[k.Kind] = teach.KindCount{Kind: k.Kind, Asked: s.Asked + k.Asked, Missed: s.Missed + k.Missed}
		}
	}
	var out []teach.KindCount
	for _, k := range part.Kinds {
		if s, ok := sum[k]; ok {
			out = append(out, s)
		}
	}
	return out, nil
}

func newQuizListCommand(o *quizOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the tests, and who took them",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, _ *lang.Lang) error { return b.list(cmd.Context(), cmd.OutOrStdout()) })
		},
	}
}

func (b *quizBook) list(ctx context.Context, stdout io.Writer) error {
	quizzes, err := b.quizzes(ctx)
	if err != nil {
		return err
	}
	if len(quizzes) == 0 {
		_, err := fmt.Fprintln(stdout, "no test was drawn yet")
		return err
	}
	takings, err := b.takings(ctx)
	if err != nil {
		return err
	}
	words, err := b.words(ctx)
	if err != nil {
		return err
	}
	for _, q := range quizzes {
		s := q.Test.Spec
		fmt.Fprintf(stdout, "%s  %s  %d units, seed %d  %s\n", q.Name, day(q.Made), s.Showings(), s.Seed, s.Name)
		for _, t := range takings {
			if t.Quiz != q.Name {
				continue
			}
			state := fmt.Sprintf("%d of %d answered", len(t.Shown), s.Showings())
			if !t.Finished.IsZero() {
				state = "ended"
			}
			if t.Certificate != nil {
				state += ", certificate until " + day(t.Certificate.Expires)
			}
			fmt.Fprintf(stdout, "    %s  %s  %s  %s\n", t.Name, day(t.Last), cli.Or(words[t.Person], "(erased)"), state)
		}
	}
	return nil
}

func newQuizTakeCommand(o *quizOptions) *cobra.Command {
	var listen, passphrase, cert, key string
	cmd := &cobra.Command{
		Use:   "take",
		Short: "Start the page on which tests are taken, without a bench",
		Long: `take serves the page of blind tests where there is no bench. (A bench that keeps
records has it too: "Blind tests" in its navigation.) Only this machine can open
it, unless --listen gives an address of the network; then a passphrase is asked
for, which 'inspect bench --set-passphrase' makes.`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, _ *lang.Lang) error {
				return b.serve(cmd.Context(), benchOptions{listen: listen, passphrase: passphrase, cert: cert, key: key, language: o.language}, cmd.OutOrStdout(), cmd.ErrOrStderr(), nil)
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&listen, "listen", "127.0.0.1:8090", "address and port of the page; other than this machine's own, a passphrase is asked for")
	f.StringVar(&passphrase, "passphrase-file", "", "file with the passphrase's hash (default: finishbench-passphrase beside the station file, else here)")
	f.StringVar(&cert, "tls-cert", "", "certificate for https, PEM; with --tls-key")
	f.StringVar(&key, "tls-key", "", "its key, PEM")
	f.SortFlags = false
	return cmd
}

// serve shows the page of tests until ctx ends. ready is told its address.
func (b *quizBook) serve(ctx context.Context, o benchOptions, stdout, stderr io.Writer, ready func(string)) error {
	access, err := o.access()
	if err != nil {
		return err
	}
	parts := bench.Parts{Shooter: noShooter{}, Recorder: &benchMemory{}, Quizzes: b, Now: b.now,
		Log: slog.NewLogLogger(slog.NewTextHandler(stderr, nil), slog.LevelError).Printf}
	told := func(url string) {
		fmt.Fprintf(stdout, "Blind tests: %squiz\n", url)
		if ready != nil {
			ready(url + "quiz")
		}
	}
	return o.serve(ctx, parts, inspection.Settings{Stage: part.Cured}, access, b.store.Where(), stdout, told)
}

// noShooter is the camera of a machine that has none.
type noShooter struct{}

func (noShooter) Shoot(context.Context, bench.UnitInfo, []bench.Shot, func(bench.Progress)) ([]bench.Shot, error) {
	return nil, errors.New("there is no camera here")
}
func (noShooter) Press() {}
func (noShooter) Live(string) ([]byte, bench.Aid, error) {
	return nil, bench.Aid{}, errors.New("there is no camera here")
}
func (noShooter) Cameras() []bench.CameraState { return nil }
func (noShooter) Release([]bench.Shot)         {}

// find finds a taking by the beginning of its name.
func (b *quizBook) find(ctx context.Context, name string) (quizTaken, error) {
	all, err := b.takings(ctx)
	if err != nil {
		return quizTaken{}, err
	}
	var found []quizTaken
	for _, t := range all {
		if name != "" && strings.HasPrefix(t.Name, name) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 0:
		return quizTaken{}, cli.Usagef("no test was taken under the name %q: 'inspect quiz list' names them", name)
	case 1:
		return found[0], nil
	}
	return quizTaken{}, cli.Usagef("%d takings begin with %q: give more letters", len(found), name)
}

// unanswered is why a taking has no score: nothing to score is wrong usage.
func unanswered(t quizTaken, err error) error {
	if errors.Is(err, teach.ErrNoAnswer) {
		return cli.Usagef("taking %s: no unit was answered yet", t.Name)
	}
	return err
}

func newQuizResultCommand(o *quizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	cmd := &cobra.Command{
		Use:   "result TAKING",
		Short: "Score a test that was taken, each mistake beside the right answer",
		Long: `result scores the taking whose name begins with TAKING ('inspect quiz list' names
them), also one that was broken off. With --out it writes the page, with pictures.`,
		Args: flags.OneArg("name the taking"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, l *lang.Lang) error {
				t, err := b.find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				s, err := b.resultSheet(cmd.Context(), l, t.quiz, t.Taking)
				if err != nil {
					return unanswered(t, err)
				}
				return sheet.Write("quiz-"+t.Name, s.sheet(), s.numbers(), cmd.OutOrStdout())
			})
		},
	}
	flags.Sheet(&sheet, cmd)
	return cmd
}

func newQuizProgressCommand(o *quizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "progress",
		Short: "One person's tests over time",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, l *lang.Lang) error {
				s, err := b.progressSheet(cmd.Context(), l, initials, badge)
				if err != nil {
					return err
				}
				var numbers []quizNumbers
				for _, t := range s.all {
					if t.err == nil {
						numbers = append(numbers, quizSheet{l: l, who: s.who, quiz: t.quiz, taking: t.Taking, score: t.score}.numbers())
					}
				}
				return sheet.Write("quiz-progress", s.sheet(), numbers, cmd.OutOrStdout())
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	flags.Sheet(&sheet, cmd)
	return cmd
}

func whoFlags(cmd *cobra.Command, initials, badge *string) {
	cmd.Flags().StringVar(initials, "initials", "", "whose")
	cmd.Flags().StringVar(badge, "badge", "", "badge, where several people have the same initials; - for the one without")
}

func newQuizCertificateCommand(o *quizOptions) *cobra.Command {
	var sheet cli.SheetOptions
	cmd := &cobra.Command{
		Use:   "certificate TAKING",
		Short: "Write the certificate that a taken test earned",
		Args:  flags.OneArg("name the taking"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, l *lang.Lang) error {
				t, err := b.find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if t.Certificate == nil {
					return b.whyNot(t, l)
				}
				s, err := b.certificateSheet(cmd.Context(), l, t.quiz, t.Taking)
				if err != nil {
					return err
				}
				return sheet.Write("certificate-"+t.Name, s, t.Certificate, cmd.OutOrStdout())
			})
		},
	}
	flags.Sheet(&sheet, cmd)
	return cmd
}

// whyNot says why there is no certificate.
func (b *quizBook) whyNot(t quizTaken, l *lang.Lang) error {
	s, err := teach.NewScore(t.quiz.Test, t.Shown, teach.DefaultScoreOptions())
	if err != nil {
		return unanswered(t, err)
	}
	all, _ := t.quiz.Test.Spec.Asked().Weigh(s, !t.Finished.IsZero())
	return fmt.Errorf("%s %s", l.T("quiz.no_certificate"), strings.TrimSuffix(unmet(l, all), "."))
}

func newQuizExportCommand(o *quizOptions) *cobra.Command {
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write all that is kept of one person's tests, as JSON",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, l *lang.Lang) error {
				return b.export(cmd.Context(), l, initials, badge, cmd.OutOrStdout())
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	return cmd
}

func (b *quizBook) export(ctx context.Context, l *lang.Lang, initials, badge string, stdout io.Writer) error {
	p, err := b.known(ctx, initials, badge)
	if err != nil {
		return err
	}
	all, err := b.ofPerson(ctx, p.ID)
	if err != nil {
		return err
	}
	out := exported{ID: p.ID, Initials: p.Initials, Badge: p.Badge, Takings: []exportedTaken{}}
	for _, t := range all {
		e := exportedTaken{Answers: []exportedAnswer{}, quizNumbers: quizNumbers{Taking: t.Name, Quiz: t.Quiz, Who: p.Word()}}
		if t.err == nil {
			e.quizNumbers = quizSheet{l: l, who: p.Word(), quiz: t.quiz, taking: t.Taking, score: t.score}.numbers()
		}
		for _, s := range t.Shown {
			e.Answers = append(e.Answers, exportedAnswer{t.quiz.Test.Pool[s.Item].Unit, s.Gone, s.Answer})
		}
		out.Takings = append(out.Takings, e)
	}
	return cli.WriteJSON(stdout, out)
}

func newQuizEraseCommand(o *quizOptions) *cobra.Command {
	var initials, badge string
	cmd := &cobra.Command{
		Use:   "erase",
		Short: "Take one person's initials and badge off the tests",
		Long: `erase takes the initials and the badge of one person off the database. The
answers stay, under a random number that tells nothing of anyone. It cannot be
undone. Backups that were made before, and pages and certificates that were
written, still hold them.`,
		Args: flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), false, func(b *quizBook, _ *lang.Lang) error {
				p, err := b.known(cmd.Context(), initials, badge)
				if err != nil {
					return err
				}
				if err := b.store.ErasePerson(cmd.Context(), p.ID); err != nil {
					return err
				}
				_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s is erased; the answers stay, nameless\n", p.Word())
				return err
			})
		},
	}
	whoFlags(cmd, &initials, &badge)
	return cmd
}
