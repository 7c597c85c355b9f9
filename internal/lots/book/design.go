package book

import (
	"fmt"
	"io"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// DesignOptions are the two points: good quality that is seldom refused, bad that is seldom accepted.
type DesignOptions struct {
	cli.SheetOptions
	Good, Producer, Bad, Consumer float64 // percent
	Law                           string
	Size                          int
	Zero                          bool
}

// Design is a plan and what it does.
type Design struct {
	Plan       lots.OC           `json:"plan"`
	Points     lots.Points       `json:"points"` // shares
	Protection lots.Protection   `json:"through"`
	Curve      []lots.CurvePoint `json:"curve"`
}

// check says what is wrong in the words and units of the flags.
func (o DesignOptions) check() error {
	switch law := lots.Law(o.Law); {
	case !o.Zero && !slices.Contains(lots.Laws, law):
		return cli.Usagef("--law %q: there are %s, %s and %s", o.Law, lots.Binomial, lots.Hypergeometric, lots.Poisson)
	case (o.Zero || law == lots.Hypergeometric) && o.Size < 2:
		return cli.Usagef("--size %d: say how many units the lot has, 2 or more", o.Size)
	case !(o.Bad > 0) || o.Law != string(lots.Poisson) && !(o.Bad < 100):
		return cli.Usagef("--bad %g: give the quality that should not pass, percent, above 0 and below 100", o.Bad)
	case !o.Zero && !(o.Good > 0 && o.Good < o.Bad):
		return cli.Usagef("--good %g: give the quality that should pass, percent, above 0 and below --bad %g", o.Good, o.Bad)
	case !(o.Consumer > 0 && o.Consumer < 100) || !o.Zero && !(o.Producer > 0 && o.Producer+o.Consumer < 100):
		return cli.Usagef("--producer %g, --consumer %g: risks are percent, above 0, and below 100 together", o.Producer, o.Consumer)
	}
	return nil
}

// RunDesign finds a plan through two points.
func RunDesign(o DesignOptions, stdout io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	d, err := o.design()
	if err != nil {
		return cli.UsageError{Err: err}
	}
	d.Protection, d.Curve = d.Plan.Protection(), d.Plan.Curve(ocRows)
	return o.SheetOptions.Write("lot-design", d.sheet(), d, stdout)
}

// design is the plan through the two points, and what it lets through.
func (o DesignOptions) design() (d Design, err error) {
	d.Points = lots.Points{P1: o.Good / 100, Alpha: o.Producer / 100, P2: o.Bad / 100, Beta: o.Consumer / 100}
	if o.Zero {
		d.Plan = lots.OC{Law: lots.Hypergeometric, LotSize: o.Size}
		d.Points.P1, d.Points.Alpha = 0, 0
		d.Plan.N, err = lots.ZeroAcceptance(o.Size, d.Points.P2, d.Points.Beta)
		return d, err
	}
	d.Plan = lots.OC{Law: lots.Law(o.Law), LotSize: o.Size}
	d.Plan.N, d.Plan.Ac, err = lots.Design(d.Points, d.Plan.Law, o.Size)
	return d, err
}

func (d Design) sheet() report.Sheet {
	p := d.Plan
	s := report.Sheet{Title: "Plan from two points", Rating: report.Plain, Word: cli.Counted(p.N, "unit", "units"),
		Line: fmt.Sprintf("Look at %s; accept with at most %d nonconforming.", cli.Counted(p.N, "unit", "units"), p.Ac)}
	if d.Points.P1 > 0 {
		s.Facts = append(s.Facts, d.fact("should pass", "refused", d.Points.P1, d.Points.Alpha, 1-p.Accept(d.Points.P1)))
	}
	s.Facts = append(s.Facts, d.fact("should not pass", "accepted", d.Points.P2, d.Points.Beta, p.Accept(d.Points.P2)),
		report.Fact{Name: "law", Value: string(p.Law)})
	if p.LotSize > 0 {
		s.Facts = append(s.Facts, report.Fact{Name: "lot", Value: cli.Counted(p.LotSize, "unit", "units")})
	}
	const x = "quality / per 100"
	t := report.SheetTable{Caption: "Operating characteristic", Head: []string{x, "accepted / %"}, Numeric: []bool{true, true}}
	for _, r := range d.Curve {
		t.Rows = append(t.Rows, []string{lang.English().Shown4(100 * r.P), lang.English().Shown(100*r.Pa, 2)})
	}
	s.Sections = []report.SheetSection{{Heading: "What the plan lets through", Text: []string{d.Protection.Sentence},
		Tables: []report.SheetTable{t},
		Figures: ocFigure(x, p.Curve(curvePoints), 100, plots.OC{Whole: p.Law == lots.Hypergeometric},
			"Share of lots that the plan accepts, over the quality that comes in.")}}
	return s
}

func (d Design) fact(name, what string, quality, risk, is float64) report.Fact {
	return report.Fact{Name: name, Value: fmt.Sprintf("%s per 100: %s %s %% of the time, where %s %% is allowed",
		lang.English().Shown4(100*quality), what, lang.English().Shown(100*is, 2), lang.English().Shown4(100*risk))}
}
