package studies

import (
	"context"
	"io"

	"finishbench/internal/cli"
	"finishbench/internal/stats/study"
)

// AgreementOptions are the limits that agreement is held against.
type AgreementOptions struct {
	cli.SheetOptions
	Good       []string
	Confidence float64
	Exact      bool
	Drop       bool
}

// RunAgreement weighs how far people's calls agree.
func RunAgreement(_ context.Context, o AgreementOptions, args []string, stdout, _ io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
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
	so.Good, so.Confidence, so.DropIncomplete = o.Good, o.Confidence, o.Drop
	if o.Exact {
		so.Interval = study.ClopperPearsonExact
	}
	a, err := study.NewAgreement(calls, so)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	sheet, err := agreementSheet(x, a, args[0])
	if err != nil {
		return err
	}
	return o.Write("agreement", sheet, newAgreementJSON(a), stdout)
}
