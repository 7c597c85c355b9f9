package inspection

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// noScale is a picture's problem: nothing tells its scale, or the scale file is
// not for it.
const noScale = "no_scale"

// Range of scales that the flags take, mm per pixel.
const (
	minMMPerPX = 0.001
	maxMMPerPX = 0.1
)

// scaleFlag is one --scale: FILE, or VIEW=FILE.
func scaleFlag(s string) (config.Scale, error) {
	for _, v := range []part.View{part.Edge, part.Face, part.Shell} {
		if file, ok := strings.CutPrefix(s, string(v)+"="); ok {
			s, sc := file, config.Scale{View: string(v), File: file}
			if s == "" {
				return sc, cli.Usagef("--scale %s=: name a scale file", v)
			}
			return sc, nil
		}
	}
	if s == "" {
		return config.Scale{}, cli.Usagef("--scale: name a scale file, made by 'inspect scale'")
	}
	return config.Scale{File: s}, nil
}

// chooseScale decides what a pixel is: the flags go before the station file,
// a scale file before nothing.
func (s *Settings) chooseScale(o Options, st config.Station, now time.Time) error {
	wanted := st.Scales
	number := st.MMPerPX
	if o.MMPerPX != 0 || len(o.Scales) > 0 {
		wanted, number = nil, o.MMPerPX
	}
	for _, f := range o.Scales {
		sc, err := scaleFlag(f)
		if err != nil {
			return err
		}
		wanted = append(wanted, sc)
	}
	switch {
	case len(wanted) > 0 && number != 0:
		return cli.Usagef("--mm-per-px and --scale contradict each other: give one of them")
	case len(wanted) == 0 && number == 0:
		return cli.Usagef("the scale is not known: give --scale FILE (made by 'inspect scale'), --mm-per-px (millimetres per pixel, such " +
			"as 0.015), or a --station file that has one of them")
	case len(wanted) == 0 && !(number >= minMMPerPX && number <= maxMMPerPX):
		return cli.Usagef("--mm-per-px %g: give millimetres per pixel, %g to %g (0.015 is 15 micrometres)", number, minMMPerPX, maxMMPerPX)
	}
	s.number = Lengths{MMPerPX: number, URel: st.URelScale}
	s.camera, s.focus = st.Camera, st.Focus
	for _, w := range wanted {
		f, err := loadScale(w, now)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(s.Scales, func(g *ScaleFile) bool { return g.view == f.view }) {
			return cli.Usagef("--scale: two scale files for the same view")
		}
		s.Scales = append(s.Scales, f)
	}
	return nil
}

// LoadScaleAnyAge reads a scale file.
func LoadScaleAnyAge(path string) (*ScaleFile, error) {
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return nil, cli.Usagef("scale file %s: %w", path, cli.PlainPath(err))
	}
	sc, err := optics.DecodeScale(bytes.NewReader(data))
	if err != nil {
		return nil, cli.Usagef("scale file %s: %w", path, err)
	}
	sum := sha256.Sum256(data)
	return &ScaleFile{Scale: sc, Path: path, sum: hex.EncodeToString(sum[:]), text: config.Text{Name: filepath.Base(path), Bytes: data}},
		nil
}

// loadScale reads a scale file and refuses one that is past its age.
func loadScale(w config.Scale, now time.Time) (*ScaleFile, error) {
	f, err := LoadScaleAnyAge(w.File)
	if err != nil {
		return nil, err
	}
	f.view = part.View(w.View)
	switch age := f.AgeState(now); age.State {
	case optics.AgeOver:
		return nil, cli.Usagef("scale file %s: %s", w.File, lang.English().Say(&age.Sentence))
	case optics.AgeSoon:
		f.doubts = append(f.doubts, age.Sentence)
	}
	return f, nil
}

// PoorScale says why a scale that is rated poor bars every pass; false: none is.
func (s *Settings) PoorScale() (why part.Phrase, barred bool) {
	for _, f := range s.Scales {
		if f.Rating == optics.RatedPoor {
			return part.Say("scale.poor", "file", filepath.Base(f.Path)), true
		}
	}
	return part.Phrase{}, false
}

// lengthsOf is what turns a view's pixels into millimetres; false where no scale
// is for it.
func (s *Settings) lengthsOf(v part.View) (Lengths, bool) {
	if len(s.Scales) == 0 {
		return s.number, true
	}
	i := slices.IndexFunc(s.Scales, func(f *ScaleFile) bool { return f.view == v })
	if i < 0 {
		i = slices.IndexFunc(s.Scales, func(f *ScaleFile) bool { return f.view == "" })
	}
	if i < 0 {
		return Lengths{}, false
	}
	f := s.Scales[i]
	return Lengths{MMPerPX: f.MMPerPX, URel: f.UMMPerPX / f.MMPerPX, File: f}, true
}

// warnings are what a reader must know of the scale files.
func (s *Settings) scaleWarnings() []part.Phrase {
	var out []part.Phrase
	for _, f := range s.Scales {
		for _, d := range f.doubts {
			out = append(out, part.Say("file.scale", "file", filepath.Base(f.Path)).With("what", d))
		}
	}
	return out
}

// scaleUses are the scale files for the result.
func (s *Settings) scaleUses() []part.ScaleUse {
	var out []part.ScaleUse
	for _, f := range s.Scales {
		out = append(out, part.ScaleUse{View: f.view, File: filepath.Base(f.Path), SHA256: f.sum, Made: f.Made.Format(time.DateOnly),
			MMPerPX: f.MMPerPX, URel: f.UMMPerPX / f.MMPerPX, Lens: f.Lens != nil})
	}
	return out
}

// checkScale refuses a picture that its view's scale file is not for.
func (u *Unit) checkScale(p *Picture) {
	l, ok := u.lengthsOf(p.Shot.View)
	if !ok {
		p.refuse(noScale, part.Say("fit.no_scale", "view", "@view."+string(p.Shot.View)))
		return
	}
	if l.File == nil || p.Image == nil {
		return
	}
	facts := optics.PictureFacts{WidthPX: p.Image.W, HeightPX: p.Image.H, Camera: u.camera, Focus: u.focus}
	tags, err := capture.ReadTags(p.Shot.Path)
	if err == nil {
		facts.Camera, facts.Focus, facts.FocalLengthMM = cli.First(tags.Camera, u.camera), cli.First(tags.Focus,
			u.focus), tags.FocalLengthMM
	}
	if err := l.File.CheckPicture(facts); err != nil {
		p.refuse(noScale, part.Say("fit.wrong_scale", "file", filepath.Base(l.File.Path)).With("why", cli.Why(err)))
		return
	}
	p.doubts = l.File.Doubts(facts)
}

// refuse marks a picture as not fit to measure.
func (p *Picture) refuse(name string, remedy part.Phrase) { Refuse(&p.Report, name, remedy) }

// Refuse marks a picture as not fit to measure, with the problem's name and what to do.
func Refuse(r *part.PictureReport, name string, remedy part.Phrase) {
	r.State = part.PictureNoOK
	r.Problems = append(r.Problems, part.Problem{Name: name, Remedy: lang.English().Say(&remedy), RemedyPhrase: &remedy})
}
