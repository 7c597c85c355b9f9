package book

import (
	"io"
	"slices"
	"strconv"

	"finishbench/internal/cli"
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
	Points     lots.Points       `json:"points"`   // shares
	Refused    float64           `json:"refused"`  // share of lots at P1 that is refused,
	Accepted   float64           `json:"accepted"` // and at P2 that is accepted
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
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	d, err := o.design()
	if err != nil {
		return cli.UsageError{Err: err}
	}
	d.Refused, d.Accepted = d.Plan.Risks(d.Points)
	d.Protection, d.Curve = d.Plan.Protection(), d.Plan.Curve(ocRows)
	return o.SheetOptions.Write("lot-design", d.sheet(sheetWords{l}), d, stdout)
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

func (d Design) sheet(x sheetWords) report.Sheet {
	p := d.Plan
	n := strconv.Itoa(p.N)
	s := report.Sheet{Title: x.t("design.title"), Rating: report.Plain, Word: x.units(p.N), Lang: x.Lang,
		Line: x.t("design.line", "n", n, "ac", strconv.Itoa(p.Ac))}
	good, bad := d.Points.Units(p.LotSize)
	if d.Points.P1 > 0 {
		s.Facts = append(s.Facts, report.Fact{Name: x.t("design.should_pass"),
			Value: x.t("design.is_refused", x.risk(p, "design.at_most", d.Points.P1, good, d.Refused, d.Points.Alpha)...)})
	}
	s.Facts = append(s.Facts, report.Fact{Name: x.t("design.should_not"),
		Value: x.t("design.is_accepted", x.risk(p, "design.at_least", d.Points.P2, bad, d.Accepted, d.Points.Beta)...)},
		report.Fact{Name: x.t("design.law"), Value: x.law(p.Law)})
	if p.LotSize > 0 {
		s.Facts = append(s.Facts, report.Fact{Name: x.t("design.lot"), Value: x.units(p.LotSize)})
	}
	quality := x.t("oc.quality")
	t := report.SheetTable{Caption: x.t("oc.caption"), Head: []string{quality, x.t("oc.accepted_percent")}, Numeric: []bool{true, true}}
	for _, r := range d.Curve {
		t.Rows = append(t.Rows, []string{x.Shown4(100 * r.P), x.Shown(100*r.Pa, 2)})
	}
	s.Sections = []report.SheetSection{{Heading: x.t("oc.title"), Text: []string{x.Say(d.Protection.Phrase)},
		Tables: []report.SheetTable{t},
		Figures: x.ocFigure(quality, p.Curve(curvePoints), 100, plots.OC{Whole: p.Law == lots.Hypergeometric},
			x.t("oc.over_quality"))}}
	return s
}

// risk are a quality, for a single lot in units too, and the share of lots that are judged wrongly there, as it is and as it may be.
func (x sheetWords) risk(p lots.OC, units string, quality float64, n int, is, most float64) []string {
	said := x.t("design.quality", "quality", x.Shown4(100*quality))
	if p.Law == lots.Hypergeometric {
		said = x.t(units, "quality", said, "n", strconv.Itoa(n), "of", strconv.Itoa(p.LotSize))
	}
	return []string{"quality", said, "percent", x.Shown(100*is, 2), "most_percent", x.Shown4(100 * most)}
}
