package optics

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
)

// WriteFlatField writes a flat-field file.
func WriteFlatField(w io.Writer, f *FlatField) error {
	b, err := json.Marshal(f.rounded())
	if err != nil {
		return fmt.Errorf("optics: write flat field: %w", err)
	}
	_, err = w.Write(append(b, '\n'))
	return err
}

// rounded keeps six digits of the grid: a millionth of light, and a file of a
// third of the length.
func (f *FlatField) rounded() *FlatField {
	c := *f
	c.Light = make([][]float64, len(f.Light))
	for i, g := range f.Light {
		for _, v := range g {
			c.Light[i] = append(c.Light[i], math.Round(v*1e6)/1e6)
		}
	}
	return &c
}

// ReadFlatField reads a flat-field file and checks it. A key that is not known
// here is an error, as its writer meant something by it.
func ReadFlatField(r io.Reader) (*FlatField, error) {
	d := json.NewDecoder(io.LimitReader(r, 16<<20))
	d.DisallowUnknownFields()
	f := &FlatField{}
	if err := d.Decode(f); err != nil {
		return nil, fmt.Errorf("optics: read flat field: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("optics: read flat field: something follows after the end")
	}
	if err := f.Validate(); err != nil {
		return nil, fmt.Errorf("optics: read flat field: %w", err)
	}
	return f, nil
}

// Validate says what is wrong with a flat field.
func (f *FlatField) Validate() error {
	switch {
	case f.Schema != 1:
		return fmt.Errorf("schema is %d, this program reads 1", f.Schema)
	case f.WidthPX < 16 || f.HeightPX < 16 || f.WidthPX > 1<<16 || f.HeightPX > 1<<16:
		return fmt.Errorf("width_px and height_px are %d and %d, need be 16 to 65536", f.WidthPX, f.HeightPX)
	case f.Channels != 1 && f.Channels != 3:
		return fmt.Errorf("channels is %d, need be 1 or 3", f.Channels)
	case f.Encoding != "srgb" && f.Encoding != "linear":
		return fmt.Errorf("encoding is %q, need be srgb or linear", f.Encoding)
	case f.Cols < 3 || f.Rows < 3 || f.Cols > f.WidthPX || f.Rows > f.HeightPX:
		return fmt.Errorf("cols and rows are %d and %d, need be 3 at least and no more than the pixels", f.Cols, f.Rows)
	case len(f.Light) != f.Channels:
		return fmt.Errorf("light has %d channels, need be %d", len(f.Light), f.Channels)
	case len(f.Dark) != 0 && len(f.Dark) != f.Channels:
		return fmt.Errorf("dark has %d channels, need be none or %d", len(f.Dark), f.Channels)
	case f.MaxAgeDays < 1:
		return fmt.Errorf("max_age_days is %d, need be 1 at least", f.MaxAgeDays)
	}
	for c, g := range f.Light {
		if len(g) != f.Cols*f.Rows {
			return fmt.Errorf("light of channel %d has %d nodes, need be %d x %d", c, len(g), f.Cols, f.Rows)
		}
		for _, v := range g {
			if !(v >= 0.02 && v <= 50) {
				return fmt.Errorf("light of channel %d holds %g, need be 0.02 to 50", c, v)
			}
		}
	}
	for c, v := range f.Dark {
		if !(v >= 0 && v < 0.5) {
			return fmt.Errorf("dark of channel %d is %g, need be 0 to 0.5", c, v)
		}
	}
	return nil
}
