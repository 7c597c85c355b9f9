package main

import (
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/plots"
	"finishbench/internal/report"
)

const lotDesignHelp = `design finds the plan with the smallest sample that keeps two risks: of lots as good
as --good at most --producer percent are refused, of lots as bad as --bad at most
--consumer percent are accepted. Qualities are percent of nonconforming units; for
--law poisson, nonconformities per 100 units.

With --zero not one may be found: the smallest sample of a lot of --size of which lots
as bad as --bad pass at most --consumer percent of the time.

The plan is no table's: 'inspect lot plan' opens lots by the tables only.`

const lotDesignExamples = `  inspect lot design --good 1 --producer 5 --bad 6.5 --consumer 10
  inspect lot design --good 1 --producer 5 --bad 6.5 --consumer 10 --law hypergeometric --size 500
  inspect lot design --zero --bad 1 --consumer 5 --size 500`

// lotDesignOptions are the two points: good quality that is seldom refused, bad that is seldom accepted.
type lotDesignOptions struct {
	cli.SheetOptions
	good, producer, bad, consumer float64 // percent
	law                           string
	size                          int
	zero                          bool
}

func newLotDesignCommand() *cobra.Command {
	var o lotDesignOptions
	cmd := &cobra.Command{
		Use:                   "design --bad P --consumer RISK",
		Short:                 "A plan from two points: what should pass, what should not",
		Long:                  lotDesignHelp,
		Example:               lotDesignExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLotDesign(o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.good, "good", 0, "quality that should pass, percent")
	f.Float64Var(&o.producer, "producer", 5, "risk that it is refused, percent")
	f.Float64Var(&o.bad, "bad", 0, "quality that should not pass, percent")
	f.Float64Var(&o.consumer, "consumer", 10, "risk that it is accepted, percent")
	f.StringVar(&o.law, "law", string(lots.Binomial), "binomial (a process), hypergeometric (this one lot, with --size) or poisson")
	f.IntVar(&o.size, "size", 0, "units in the lot")
	f.BoolVar(&o.zero, "zero", false, "not one nonconforming unit may be found; with --size")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// lotDesign is a plan and what it does.
type lotDesign struct {
	Plan    lots.OC           `json:"plan"`
	Points  lots.Points       `json:"points"` // shares
	Through lots.Through      `json:"through"`
	Curve   []lots.CurvePoint `json:"curve"`
}

// check says what is wrong in the words and units of the flags.
func (o lotDesignOptions) check() error {
	switch law := lots.Law(o.law); {
	case !o.zero && !slices.Contains(lots.Laws, law):
		return cli.Usagef("--law %q: there are %s, %s and %s", o.law, lots.Binomial, lots.Hypergeometric, lots.Poisson)
	case (o.zero || law == lots.Hypergeometric) && o.size < 2:
		return cli.Usagef("--size %d: say how many units the lot has, 2 or more", o.size)
	case !(o.bad > 0) || o.law != string(lots.Poisson) && !(o.bad < 100):
		return cli.Usagef("--bad %g: give the quality that should not pass, percent, above 0 and below 100", o.bad)
	case !o.zero && !(o.good > 0 && o.good < o.bad):
		return cli.Usagef("--good %g: give the quality that should pass, percent, above 0 and below --bad %g", o.good, o.bad)
	case !(o.consumer > 0 && o.consumer < 100) || !o.zero && !(o.producer > 0 && o.producer+o.consumer < 100):
		return cli.Usagef("--producer %g, --consumer %g: risks are percent, above 0, and below 100 together", o.producer, o.consumer)
	}
	return nil
}

// runLotDesign finds a plan through two points.
func runLotDesign(o lotDesignOptions, stdout io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	d, err := o.design()
	if err != nil {
		return cli.UsageError{Err: err}
	}
	d.Through, d.Curve = d.Plan.Through(), d.Plan.Curve(ocRows)
	return o.SheetOptions.Write("lot-design", d.sheet(), d, stdout)
}

func (o lotDesignOptions) design() (d lotDesign, err error) {
	d.Points = lots.Points{P1: o.good / 100, Alpha: o.producer / 100, P2: o.bad / 100, Beta: o.consumer / 100}
	if o.zero {
		d.Plan = lots.OC{Law: lots.Hypergeometric, LotSize: o.size}
		d.Points.P1, d.Points.Alpha = 0, 0
		d.Plan.N, err = lots.ZeroAcceptance(o.size, d.Points.P2, d.Points.Beta)
		return d, err
	}
	d.Plan = lots.OC{Law: lots.Law(o.law), LotSize: o.size}
	d.Plan.N, d.Plan.Ac, err = lots.Design(d.Points, d.Plan.Law, o.size)
	return d, err
}

func (d lotDesign) sheet() report.Sheet {
	p := d.Plan
	s := report.Sheet{Title: "Plan from two points", Rating: report.Plain, Word: cli.Counted(p.N, "unit", "units"),
		Line: fmt.Sprintf("Look at %s; accept with at most %d nonconforming.", cli.Counted(p.N, "unit", "units"), p.Ac)}
	if d.Points.P1 > 0 {
		s.Facts = append(s.Facts, d.fact("should pass", "refused", d.Points.P1, d.Points.Alpha, 1-p.Accept(d.Points.P1)))
	}
	s.Facts = append(s.Facts, d.fact("should not pass", "accepted", d.Points.P2, d.Points.Beta, p.Accept(d.Points.P2)), report.Fact{Name: "law", Value: string(p.Law)})
	if p.LotSize > 0 {
		s.Facts = append(s.Facts, report.Fact{Name: "lot", Value: cli.Counted(p.LotSize, "unit", "units")})
	}
	const x = "quality / per 100"
	t := report.SheetTable{Caption: "Operating characteristic", Head: []string{x, "accepted / %"}, Numeric: []bool{true, true}}
	for _, r := range d.Curve {
		t.Rows = append(t.Rows, []string{cli.Shown4(100 * r.P), cli.Shown(100*r.Pa, 2)})
	}
	s.Sections = []report.SheetSection{{Heading: "What the plan lets through", Text: []string{d.Through.Sentence}, Tables: []report.SheetTable{t},
		Figures: ocFigure(x, p.Curve(curvePoints), 100, plots.OC{Whole: p.Law == lots.Hypergeometric}, "Share of lots that the plan accepts, over the quality that comes in.")}}
	return s
}

func (d lotDesign) fact(name, what string, quality, risk, is float64) report.Fact {
	return report.Fact{Name: name, Value: fmt.Sprintf("%s per 100: %s %s %% of the time, where %s %% is allowed", cli.Shown4(100*quality), what, cli.Shown(100*is, 2), cli.Shown4(100*risk))}
}
