package main

import (
	"io"
	"math"

	"github.com/spf13/cobra"

	"finishbench/internal/charts"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/study"
)

const stabilityHelp = `stability puts a check piece's log on a control chart: the same piece, measured
at the start of each shift. A jump or a lasting shift is the gauge's, since the
piece does not change.

LOG.csv has the columns time, value, event and note; 'inspect check' writes it.
Lines of one time are one check. The first checks fix the limits (--baseline), or
--centre and --sigma give them. Remarks in the log settle the same for all who
read it, 'inspect unit' too:

  # baseline: 25
  # centre: 12.3
  # sigma: 0.4
  # rules: western-electric
  # max_age_hours: 24

A check out of limits stays so until a line says who did what: 'inspect check
LOG.csv --dealt-with "name: what was done"', or --new-baseline where the piece's
level is another one from then on (a new lens, a new piece).`

const stabilityExamples = `  inspect study stability checks.csv --unit um --out results
  inspect study stability checks.csv --rules nelson`

type stabilityOptions struct {
	cli.SheetOptions
	unit          string
	baseline      int
	centre, sigma float64
	rules         string
	given         map[string]bool // flags that were given
}

func newStudyStabilityCommand() *cobra.Command {
	var o stabilityOptions
	cmd := &cobra.Command{
		Use:                   "stability LOG.csv",
		Short:                 "A check piece's log on a control chart",
		Long:                  stabilityHelp + "\n\n" + studyExitHelp,
		Example:               stabilityExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.given = map[string]bool{}
			for _, name := range []string{"baseline", "centre", "sigma", "rules"} {
				o.given[name] = cmd.Flags().Changed(name)
			}
			return runStudyStability(o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.unit, "unit", "", "the values' unit, for labels")
	f.IntVar(&o.baseline, "baseline", study.DefaultStabilityOptions().Baseline, "the first checks, which fix the limits")
	f.Float64Var(&o.centre, "centre", 0, "the piece's level, where it is given")
	f.Float64Var(&o.sigma, "sigma", 0, "standard deviation within a check, where it is given")
	f.StringVar(&o.rules, "rules", "default", "what stands out: default, western-electric, nelson, iso7870, or single rules separated by commas (beyond, run9 ...)")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

func runStudyStability(o stabilityOptions, args []string, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one log (see 'inspect study stability --help')")
	}
	s, err := inspection.ReadStability(args[0], o.change)
	if err != nil {
		return err
	}
	sheet := stabilitySheet{name: args[0], unit: o.unit, s: s, v: s.Verdict()}
	if err := o.Write("stability", sheet.sheet(), sheet.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(sheet.v.Grade)
}

// change puts the flags that were given in place of the log's own settings.
func (o stabilityOptions) change(s *study.StabilityOptions) error {
	if o.given["baseline"] {
		s.Baseline = o.baseline
	}
	if o.given["centre"] {
		s.Centre = o.centre
	}
	if o.given["sigma"] {
		s.Sigma = o.sigma
	}
	if o.given["rules"] {
		s.Rules = o.rules
	}
	if math.IsNaN(s.Centre) != math.IsNaN(s.Sigma) {
		return cli.Usagef("give both --centre and --sigma, or none of them")
	}
	_, err := charts.Rules(s.Rules)
	return err
}
