package studies

import (
	"io"
	"math"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/stats/charts"
	"finishbench/internal/stats/study"
)

// StabilityOptions go before the settings in the log.
type StabilityOptions struct {
	cli.SheetOptions
	Unit          string
	Baseline      int
	Centre, Sigma float64
	Rules         string
	Given         map[string]bool // flags that were given
}

// RunStability puts a check piece's log on a control chart.
func RunStability(o StabilityOptions, args []string, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one log (see 'inspect study stability --help')")
	}
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	s, err := inspection.ReadStability(args[0], o.change)
	if err != nil {
		return err
	}
	sheet := stabilitySheet{x: x, name: args[0], unit: o.Unit, s: s, v: s.Verdict()}
	if err := o.Write("stability", sheet.sheet(), sheet.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(sheet.v.Grade)
}

// change puts the flags that were given in place of the log's own settings.
func (o StabilityOptions) change(s *study.StabilityOptions) error {
	if o.Given["baseline"] {
		s.Baseline = o.Baseline
	}
	if o.Given["centre"] {
		s.Centre = o.Centre
	}
	if o.Given["sigma"] {
		s.Sigma = o.Sigma
	}
	if o.Given["rules"] {
		s.Rules = o.Rules
	}
	if math.IsNaN(s.Centre) != math.IsNaN(s.Sigma) {
		return cli.Usagef("give both --centre and --sigma, or none of them")
	}
	_, err := charts.Rules(s.Rules)
	return err
}
