package main

import (
	"io"
	"math"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/study"
)

const biasHelp = `bias weighs measurements of reference pieces with certified values: whether the
gauge is off, and whether it is off by more at one end of its range (linearity).

PIECES.csv has a line a measurement: reference (the certified value) and value,
and may have u (the certified value's standard uncertainty, k = 1: half the
certificate's figure where that says k = 2) and piece (its name).`

const biasExamples = `  inspect study bias pieces.csv --unit um --out results
  inspect study bias pieces.csv --variation 60`

type biasOptions struct {
	cli.SheetOptions
	unit      string
	level     float64
	variation float64
}

func newStudyBiasCommand() *cobra.Command {
	var o biasOptions
	cmd := &cobra.Command{
		Use:                   "bias PIECES.csv",
		Short:                 "Bias and linearity against reference pieces",
		Long:                  biasHelp + "\n\n" + studyExitHelp,
		Example:               biasExamples,
		DisableFlagsInUseLine: true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("variation") {
				o.variation = math.NaN()
			}
			return runStudyBias(o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.unit, "unit", "", "the readings' unit, for labels")
	f.Float64Var(&o.variation, "variation", 0, "the process's variation (six standard deviations) or the tolerance, to tell bias and linearity as shares of it")
	f.Float64Var(&o.level, "confidence", 0.95, "level of the confidence intervals")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

func runStudyBias(o biasOptions, args []string, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one table with the measurements (see 'inspect study bias --help')")
	}
	f, err := cli.OpenTable(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	readings, err := study.ReadPieces(f)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	b, err := study.NewBias(readings, o.level, o.variation)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	s := biasSheet{name: args[0], unit: o.unit, b: b, v: b.Verdict()}
	if err := o.Write("bias", s.sheet(), s.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(s.v.Grade)
}
