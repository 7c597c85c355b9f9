package studies

import (
	"io"

	"finishbench/internal/cli"
	"finishbench/internal/stats/study"
)

// BiasOptions are the unit and the tolerance of a study of bias.
type BiasOptions struct {
	cli.SheetOptions
	Unit      string
	Level     float64
	Variation float64
}

// RunBias weighs measurements of reference pieces.
func RunBias(o BiasOptions, args []string, stdout io.Writer) error {
	if len(args) != 1 {
		return cli.Usagef("name one table with the measurements (see 'inspect study bias --help')")
	}
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
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
	b, err := study.NewBias(readings, o.Level, o.Variation)
	if err != nil {
		return cli.Usagef("%s: %w", args[0], err)
	}
	s := biasSheet{x: x, name: args[0], unit: o.Unit, b: b, v: b.Verdict()}
	if err := o.Write("bias", s.sheet(), s.numbers(), stdout); err != nil {
		return err
	}
	return exitForGrade(s.v.Grade)
}
