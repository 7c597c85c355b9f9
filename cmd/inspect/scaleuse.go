package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
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
func (s *settings) chooseScale(o runOptions, st config.Station, now time.Time) error {
	wanted := st.Scales
	number := st.MMPerPX
	if o.mmPerPX != 0 || len(o.scales) > 0 {
		wanted, number = nil, o.mmPerPX
	}
	for _, f := range o.scales {
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
		return cli.Usagef("the scale is not known: give --scale FILE (made by 'inspect scale'), --mm-per-px (millimetres per pixel, such as 0.015), or a --station file that has one of them")
	case len(wanted) == 0 && !(number >= minMMPerPX && number <= maxMMPerPX):
		return cli.Usagef("--mm-per-px %g: give millimetres per pixel, %g to %g (0.015 is 15 micrometres)", number, minMMPerPX, maxMMPerPX)
	}
	s.number = lengths{mmPerPX: number, uRel: st.URelScale}
	s.camera, s.focus = st.Camera, st.Focus
	for _, w := range wanted {
		f, err := loadScale(w, now)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(s.scales, func(g *scaleFile) bool { return g.view == f.view }) {
			return cli.Usagef("--scale: two scale files for the same view")
		}
		s.scales = append(s.scales, f)
	}
	return nil
}

// loadScaleAnyAge reads a scale file.
func loadScaleAnyAge(path string) (*scaleFile, error) {
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return nil, cli.Usagef("scale file %s: %w", path, cli.PlainPath(err))
	}
	sc, err := optics.DecodeScale(bytes.NewReader(data))
	if err != nil {
		return nil, cli.Usagef("scale file %s: %w", path, err)
	}
	sum := sha256.Sum256(data)
	return &scaleFile{Scale: sc, path: path, sum: hex.EncodeToString(sum[:])}, nil
}

// loadScale reads a scale file and refuses one that is past its age.
func loadScale(w config.Scale, now time.Time) (*scaleFile, error) {
	f, err := loadScaleAnyAge(w.File)
	if err != nil {
		return nil, err
	}
	f.view = part.View(w.View)
	switch age := f.AgeState(now); age.State {
	case optics.AgeOver:
		return nil, cli.Usagef("scale file %s: %s", w.File, age.Sentence)
	case optics.AgeSoon:
		f.doubts = append(f.doubts, age.Sentence)
	}
	return f, nil
}

// poorScale says why a scale that is rated poor bars every pass; "": none is.
func (s *settings) poorScale() (why string, file string) {
	for _, f := range s.scales {
		if f.Rating == optics.RatedPoor {
			file = filepath.Base(f.path)
			return fmt.Sprintf("scale file %s is rated poor (see the page that was written with it): no unit passes until 'inspect scale' has made one that is fair or good", file), file
		}
	}
	return "", ""
}

// lengthsOf is what turns a view's pixels into millimetres; false where no scale
// is for it.
func (s *settings) lengthsOf(v part.View) (lengths, bool) {
	if len(s.scales) == 0 {
		return s.number, true
	}
	i := slices.IndexFunc(s.scales, func(f *scaleFile) bool { return f.view == v })
	if i < 0 {
		i = slices.IndexFunc(s.scales, func(f *scaleFile) bool { return f.view == "" })
	}
	if i < 0 {
		return lengths{}, false
	}
	f := s.scales[i]
	return lengths{mmPerPX: f.MMPerPX, uRel: f.UMMPerPX / f.MMPerPX, file: f}, true
}

// warnings are what a reader must know of the scale files.
func (s *settings) scaleWarnings() []string {
	var out []string
	for _, f := range s.scales {
		for _, d := range f.doubts {
			out = append(out, fmt.Sprintf("scale file %s: %s", filepath.Base(f.path), d))
		}
	}
	return out
}

// scaleUses are the scale files for the result.
func (s *settings) scaleUses() []part.ScaleUse {
	var out []part.ScaleUse
	for _, f := range s.scales {
		out = append(out, part.ScaleUse{View: f.view, File: filepath.Base(f.path), SHA256: f.sum, Made: f.Made.Format(time.DateOnly),
			MMPerPX: f.MMPerPX, URel: f.UMMPerPX / f.MMPerPX, Lens: f.Lens != nil})
	}
	return out
}

// checkScale refuses a picture that its view's scale file is not for.
func (u *unit) checkScale(p *picture) {
	l, ok := u.lengthsOf(p.shot.View)
	if !ok {
		p.refuse(noScale, fmt.Sprintf("no scale file is for %s pictures: make one with inspect scale and name it, or measure without", p.shot.View))
		return
	}
	if l.file == nil || p.image == nil {
		return
	}
	facts := optics.PictureFacts{WidthPX: p.image.W, HeightPX: p.image.H, Camera: u.camera, Focus: u.focus}
	tags, err := capture.ReadTags(p.shot.Path)
	if err == nil {
		facts.Camera, facts.Focus, facts.FocalLengthMM = cli.First(tags.Camera, u.camera), cli.First(tags.Focus, u.focus), tags.FocalLengthMM
	}
	if err := l.file.CheckPicture(facts); err != nil {
		p.refuse(noScale, fmt.Sprintf("%s is not for this picture: %s", filepath.Base(l.file.path), cli.Plain(err)))
		return
	}
	p.doubts = l.file.Doubts(facts)
}

// refuse marks a picture as not fit to measure.
func (p *picture) refuse(name, remedy string) { refuse(&p.report, name, remedy) }

func refuse(r *part.PictureReport, name, remedy string) {
	r.State = part.PictureNoOK
	r.Problems = append(r.Problems, part.Problem{Name: name, Remedy: remedy})
}
