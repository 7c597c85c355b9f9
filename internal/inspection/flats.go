package inspection

import (
	"path/filepath"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// flatFile is a flat-field file in use.
type flatFile struct {
	*optics.FlatField
	view   part.View
	light  part.Light
	path   string
	doubts []part.Phrase // what a reader must know of it
}

// loadFlats reads a station's flat-field files and refuses those past their age.
func (s *Settings) loadFlats(wanted []config.Flat, now time.Time) error {
	for _, w := range wanted {
		f, err := files.Open(w.File)
		if err != nil {
			return cli.Usagef("flat-field file %s: %w", w.File, cli.PlainPath(err))
		}
		flat, err := optics.ReadFlatField(f)
		f.Close()
		if err != nil {
			return cli.Usagef("flat-field file %s: %w", w.File, err)
		}
		ff := flatFile{FlatField: flat, view: part.View(w.View), light: part.Light(w.Light), path: w.File}
		switch age := flat.AgeState(now); age.State {
		case optics.AgeOver:
			return cli.Usagef("flat-field file %s: %s", w.File, lang.English().Say(&age.Sentence))
		case optics.AgeSoon:
			ff.doubts = append(ff.doubts, age.Sentence)
		}
		s.flats = append(s.flats, ff)
	}
	return nil
}

// flatOf is the flat field of a picture; nil where none is for its view and
// light.
func (s *Settings) flatOf(shot part.Shot) *optics.FlatField {
	for _, f := range s.flats {
		if f.view == shot.View && f.light == shot.Light {
			return f.FlatField
		}
	}
	return nil
}

func (s *Settings) flatWarnings() []part.Phrase {
	var out []part.Phrase
	for _, f := range s.flats {
		for _, d := range f.doubts {
			out = append(out, part.Say("file.flat", "file", filepath.Base(f.path)).With("what", d))
		}
	}
	return out
}

// checkFlat refuses a picture that its flat field does not fit: another size or
// other channels.
func (u *Unit) checkFlat(p *Picture) {
	if flat := u.flatOf(p.Shot); flat != nil && p.Image != nil {
		if err := flat.Fits(p.Image); err != nil {
			p.refuse("wrong_flat_field", cli.Why(err))
		}
	}
}
