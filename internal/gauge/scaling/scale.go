package scaling

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/target"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
)

// Options are the flags of scale.
type Options struct {
	cli.SheetOptions
	TargetOptions
	Name       string
	Projection string
	Terms      string
	Lens       string
	AtUnit     string
	LeaveOut   []string
	Camera     string
	Focus      string
	Distance   string
	MaxAge     int
}

// TargetOptions are the flags that describe a target.
type TargetOptions struct {
	Kind       string
	Cols, Rows int
	PitchMM    float64
	DiameterMM float64
	URel       float64
	Identity   string
}

// Target is the target that the flags describe.
func (o TargetOptions) Target() (optics.Target, error) {
	t := optics.Target{Kind: o.Kind, Cols: o.Cols, Rows: o.Rows, PitchMM: o.PitchMM, DiameterMM: o.DiameterMM, URel: o.URel,
		Identity: o.Identity}
	switch {
	case o.Kind == "":
		return t, cli.Usagef("say what was photographed: --target chessboard, dots, asymmetric-dots, ruler or disc")
	case o.Kind == "charuco":
		return t, cli.Usagef("this build cannot read ChArUco boards: use a chessboard or a dot grid")
	case !(o.URel >= 0 && o.URel < 0.1):
		return t, cli.Usagef("--u-rel %g: give the relative standard uncertainty of pitch or diameter, 0 to 0.1 (0.0005 is 0.05 %%)",
			o.URel)
	}
	if err := target.Check(t); err != nil {
		return t, cli.Usagef("--target %s", strings.TrimPrefix(err.Error(), "target: "))
	}
	return t, nil
}

// Run makes the scale and writes it. ctx ends it between pictures.
func Run(ctx context.Context, o Options, pictures []string, stdout, stderr io.Writer) error {
	m, err := o.making(time.Now())
	if err != nil {
		return err
	}
	if err := m.read(ctx, pictures); err != nil {
		return err
	}
	if err := m.fit(); err != nil {
		var none noScaleError
		if errors.As(err, &none) {
			fmt.Fprintf(stderr, "inspect: %v\n", err)
			return cli.ExitCode(cli.ExitUnmeasured)
		}
		return err
	}
	var file bytes.Buffer
	if err := optics.EncodeScale(&file, m.scale); err != nil {
		return err
	}
	if o.Out != "" {
		dir, err := cli.OpenOut(o.Out)
		if err != nil {
			return err
		}
		if err := dir.ReplaceFile(m.fileName(), file.Bytes()); err != nil {
			return err
		}
	}
	sheet, err := m.sheet()
	if err != nil {
		return err
	}
	if err := o.SheetOptions.Write(o.Name, sheet, m.scale, stdout); err != nil {
		return err
	}
	if o.Out != "" && !o.JSON {
		if m.scale.Rating == optics.RatedPoor {
			fmt.Fprintf(stdout, "It is in doubt, and no scale to measure by: no unit passes with it. It was written as %s\n",
				filepath.Join(o.Out, m.fileName()))
		} else {
			fmt.Fprintf(stdout, "The scale file: %s\n", filepath.Join(o.Out, m.fileName()))
		}
	}
	if m.scale.Rating == optics.RatedPoor {
		return cli.ExitCode(cli.ExitFails)
	}
	return nil
}

// fileName is the scale file's: one in doubt does not take the place of one that is not.
func (m *scaleMaking) fileName() string {
	if m.scale.Rating == optics.RatedPoor {
		return m.o.Name + ".rejected.json"
	}
	return m.o.Name + ".json"
}

// termWords are what --terms takes.
var termWords = []optics.Terms{optics.TermsNone, optics.TermsK1, optics.TermsRadial, optics.TermsK1K2P, optics.TermsFull, optics.TermsAuto}

// making checks the options that do not depend on the pictures.
func (o Options) making(now time.Time) (*scaleMaking, error) {
	x, err := cli.Language(o.Language)
	if err != nil {
		return nil, err
	}
	t, err := o.Target()
	if err != nil {
		return nil, err
	}
	m := &scaleMaking{x: x, o: o, target: t, made: now.UTC().Truncate(time.Second)}
	switch {
	case o.Projection != "" && o.Projection != optics.Telecentric && o.Projection != optics.Perspective:
		return nil, cli.Usagef("--projection %s: write telecentric or perspective", o.Projection)
	case o.Terms != "" && !slices.Contains(termWords, optics.Terms(o.Terms)):
		return nil, cli.Usagef("--terms %q: write one of %q", o.Terms, termWords)
	case o.MaxAge < 1 || o.MaxAge > 3660:
		return nil, cli.Usagef("--max-age-days %d: give 1 to 3660", o.MaxAge)
	case o.Name == "" || filepath.Base(o.Name) != o.Name:
		return nil, cli.Usagef("--name %q: give a plain name, without folders", o.Name)
	}
	if o.Lens != "" {
		f, err := inspection.LoadScaleAnyAge(o.Lens)
		if err != nil {
			return nil, err
		}
		if f.Lens == nil {
			return nil, cli.Usagef("--lens %s: this scale file knows no lens", o.Lens)
		}
		m.lens = f
	}
	return m, nil
}
