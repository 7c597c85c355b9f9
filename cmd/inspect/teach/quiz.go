package teach

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
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

// Quiz is 'inspect quiz'.
func Quiz() *cobra.Command {
	var o book.QuizOptions
	cmd := &cobra.Command{
		Use:   "quiz",
		Short: "Blind tests for people: draw, take, score, certify",
		Long:  quizHelp + "\n\n" + quizExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: quiz paint, confirm, draw, list, take, result, progress, certificate, export or erase " +
				"(see 'inspect quiz --help')")
		},
	}
	f := cmd.PersistentFlags()
	flags.Database(&o.Records, f)
	flags.Language(&o.Language, f)
	cmd.AddCommand(newQuizPaintCommand(), newQuizConfirmCommand(&o), newQuizDrawCommand(&o), newQuizListCommand(&o), newQuizTakeCommand(&o),
		newQuizResultCommand(&o),
		newQuizProgressCommand(&o), newQuizCertificateCommand(&o), newQuizExportCommand(&o), newQuizEraseCommand(&o))
	return cmd
}

func newQuizPaintCommand() *cobra.Command {
	var o book.PaintOptions
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
			if o.Kinds, err = book.QuizKindsOf(kinds); err != nil {
				return err
			}
			if o.Difficulty, err = book.Difficulty(difficulty); err != nil {
				return err
			}
			all, err := book.PaintUnits(args[0], o)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%d units are drawn in %s\n", len(all), args[0])
			return err
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.Number, "number", 30, "how many units")
	f.Float64Var(&o.Clean, "clean", 0.4, "share of clean ones")
	f.BoolVar(&o.Shell, "shell", false, "draw shells instead of faceplates")
	f.StringSliceVar(&kinds, "kinds", nil,
		"kinds of defects (default: "+part.JoinKinds(book.PaintKinds)+"; faceplates before a screen also "+
			part.JoinKinds(book.PaintMirrored)+"; with --shell "+part.JoinKinds(book.PaintShellKinds)+")")
	f.StringVar(&difficulty, "difficulty", "mixed", book.DifficultyUse)
	f.Uint64Var(&o.Seed, "seed", 1, "the same seed draws the same pictures")
	f.SortFlags = false
	return cmd
}

func newQuizConfirmCommand(o *book.QuizOptions) *cobra.Command {
	var c book.Confirmation
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
				c.ShellDeg = part.Num(part.Turn(turn))
			}
			c.Verdict = part.Verdict(verdict)
			return o.With(cmd.Context(), false, func(b *book.Book, _ *lang.Lang) error {
				return b.Confirm(cmd.Context(), id, by, c,
					cmd.OutOrStdout())
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&verdict, "verdict", "", "pass, rework or reject: what the faceplate alone deserves, or this turn of the shell")
	f.Float64Var(&turn, "shell", 0, "not the faceplate but the shell, as its pictures at this turn show it, in degrees")
	f.StringVar(&by, "by", "", "who says so: initials or badge (stays in the records)")
	f.IntSliceVar(&c.Not, "not", nil, "numbers of findings that are none")
	f.StringSliceVar(&c.Kinds, "kind", nil, "NUMBER=KIND of findings that are of another kind")
	f.StringArrayVar(&c.Also, "also", nil, "KIND,X,Y,WIDTH,HEIGHT in pixels: a defect that was overlooked")
	f.SortFlags = false
	return cmd
}

func newQuizDrawCommand(o *book.QuizOptions) *cobra.Command {
	var d book.DrawOptions
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
			return o.With(cmd.Context(), true, func(b *book.Book, _ *lang.Lang) error {
				return b.Drawn(cmd.Context(), d, args,
					cmd.OutOrStdout())
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&d.Spec.Name, "name", "", "the trainer's word for the test, as trainees see it")
	f.IntVar(&d.Spec.Number, "number", 20, "different units")
	f.Float64Var(&d.Spec.CleanShare, "clean", 0.4, "share of clean ones among them")
	f.StringSliceVar(&d.Kinds, "kinds", nil, "kinds that may be on them (default: all)")
	f.StringSliceVar(&d.Stages, "stages", nil, "stages: trim, wet, cured (default: all)")
	f.StringVar(&d.Difficulty, "difficulty", "mixed", book.DifficultyUse)
	f.IntVar(&d.Spec.Repeats, "repeats", 0, "how many of the units are shown again")
	f.IntVar(&d.Spec.Times, "times", 1, "how many more times each of these")
	f.BoolVar(&d.Spec.Adapt, "adapt", false, "by the answers: more of what is missed, harder when it goes well")
	f.StringVar(&d.Initials, "initials", "", "with --adapt: whose earlier misses weigh from the start")
	f.StringVar(&d.Badge, "badge", "", "likewise")
	f.Uint64Var(&d.Spec.Seed, "seed", 1, "the same seed draws the same test")
	f.Float64Var(&d.Spec.LimitS, "limit-s", 0, "time limit for a unit, seconds; 0: none")
	f.Float64Var(&d.Spec.ToleranceMM, "tolerance-mm", teach.ToleranceMM, "how far beside a defect a mark may lie")
	f.StringVar(&d.Stage, "stage", "cured", "stage of the folders' units: trim, wet or cured")
	f.StringVar(&d.Limits, "limits", "", "file with the limits that give the folders' units their verdicts (default: the built-in ones)")
	f.BoolVar(&d.Recorded, "recorded", true, "draw from confirmed units of the records too")
	d.Criteria = c
	f.IntVar(&d.Criteria.MinClean, "min-clean", c.MinClean, "certificate: clean units answered, at least")
	f.IntVar(&d.Criteria.MinDefective, "min-defective", c.MinDefective, "certificate: defective units answered, at least")
	f.Float64Var(&d.Criteria.Effective, "effectiveness", c.Effective, "certificate: share of right verdicts, at least")
	f.Float64Var(&d.Criteria.Miss, "miss", c.Miss, "certificate: share of bad units passed, at most")
	f.Float64Var(&d.Criteria.FalseAlarm, "false-alarm", c.FalseAlarm, "certificate: share of good units not passed, at most")
	f.Float64Var(&d.Criteria.Kappa, "kappa", c.Kappa, "certificate: kappa to the reference, at least; 0: not asked")
	f.Float64Var(&d.Criteria.Within, "same-again", c.Within,
		"certificate: share of units shown again with the same verdict, at least; 0: not asked")
	f.Float64Var(&d.Criteria.SizeMM, "size-mm", c.SizeMM, "certificate: spots are seen 9 times in 10 from this size on; 0: not asked")
	f.IntVar(&d.Criteria.Months, "months", c.Months, "certificate: how long it holds")
	f.SortFlags = false
	return cmd
}

func newQuizListCommand(o *book.QuizOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the tests, and who took them",
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.With(cmd.Context(), false, func(b *book.Book, _ *lang.Lang) error { return b.List(cmd.Context(), cmd.OutOrStdout()) })
		},
	}
}
