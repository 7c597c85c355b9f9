package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/study"
)

const agreementHelp = `agreement says how well people, and the program, call parts the same: each with
themselves, with one another, and with what the parts are known to be.

DATA.csv has a line a call, with the columns part, appraiser, call and, where
there are any, trial and reference, in any order. A program is an appraiser like
another. Each appraiser calls each part equally often; how often may differ
between appraisers.

  part,appraiser,trial,call,reference
  1,Ann,1,pass,pass
  1,tool,1,rework,pass

An appraiser is acceptable with at least 90 % of the parts called right in every
trial, at most 2 % of bad parts' calls good and at most 5 % of good parts' calls
bad; marginal with 80, 5 and 10 % (AIAG, Measurement Systems Analysis).`

type agreementOptions struct {
	cli.SheetOptions
	good       []string
	confidence float64
	exact      bool
	drop       bool
}

func newAgreementCommand() *cobra.Command {
	var o agreementOptions
	cmd := &cobra.Command{
		Use:   "agreement DATA.csv",
		Short: "How well people and the program call parts the same",
		Long:  agreementHelp,
		Example: `  inspect study agreement calls.csv --out study
  inspect study agreement calls.csv --good pass,rework --json`,
		DisableFlagsInUseLine: true,
		Args:                  wrongUsage(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAgreement(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.good, "good", nil, "calls that mean a good part (default: pass, good, ok, accept and the like, or 1 of 0 and 1)")
	f.Float64Var(&o.confidence, "confidence", 0.95, "confidence of the intervals")
	f.BoolVar(&o.exact, "exact", false, "intervals by Clopper and Pearson, in place of Wilson's")
	f.BoolVar(&o.drop, "drop-incomplete", false, "leave out parts that lack calls, instead of refusing them")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

func runAgreement(_ context.Context, o agreementOptions, args []string, stdout, _ io.Writer) error {
	f, err := cli.OpenTable(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	calls, err := study.ReadCalls(f)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	so := study.DefaultAgreementOptions()
	so.Good, so.Confidence, so.DropIncomplete = o.good, o.confidence, o.drop
	if o.exact {
		so.Interval = study.ClopperPearsonExact
	}
	a, err := study.NewAgreement(calls, so)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	sheet, err := agreementSheet(a, args[0])
	if err != nil {
		return err
	}
	return o.Write("agreement", sheet, newAgreementJSON(a), stdout)
}
