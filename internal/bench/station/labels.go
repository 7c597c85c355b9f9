package station

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/scan"
	"finishbench/internal/scan/label"
)

// LabelOptions say what labels are of, and how large.
type LabelOptions struct {
	Kind string // of scan.Kinds
	Size string // mm, "50x25"
	Out  string // file; it must not be there yet
}

// RunLabels writes a label for each name.
func RunLabels(o LabelOptions, names []string, stdout io.Writer) error {
	if !slices.Contains(scan.Kinds, scan.Kind(o.Kind)) {
		return cli.Usagef("--of %q: use one of %v", o.Kind, scan.Kinds)
	}
	var w, h float64
	var rest string
	if n, _ := fmt.Sscanf(o.Size, "%fx%f%s", &w, &h, &rest); n != 2 || !(min(w, h) >= label.LeastMM && max(w, h) <= label.MostMM) {
		return cli.Usagef("--size %q: give width and height in mm, each from %d to %d, as in 50x25", o.Size, label.LeastMM, label.MostMM)
	}
	var all []label.Label
	for _, name := range names {
		l, err := label.New(scan.Kind(o.Kind), name)
		if err != nil {
			return cli.UsageError{Err: err}
		}
		all = append(all, l)
	}
	f, err := os.OpenFile(o.Out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return cli.Usagef("--out %s is there already: choose another name", o.Out)
	}
	if err != nil {
		return fmt.Errorf("--out %s cannot be written: %w", o.Out, cli.PlainPath(err))
	}
	if err := errors.Join(label.WritePDF(f, all, w, h), f.Close()); err != nil {
		_ = os.Remove(o.Out)
		return cli.UsageError{Err: err}
	}
	fmt.Fprintf(stdout, "%s: %d labels of %g x %g mm\n", o.Out, len(all), w, h)
	return nil
}
