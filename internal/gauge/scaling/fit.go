package scaling

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/gauge/target"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// scaleMaking is a scale on its way from pictures to its file.
type scaleMaking struct {
	x      *lang.Lang
	o      Options
	target optics.Target
	made   time.Time
	lens   *inspection.ScaleFile // known from before; nil: none

	shots    []*targetShot
	camera   string
	focus    string
	focalMM  float64              // 0: not known
	fitted   *optics.Calibration  // the lens from several pictures; nil: none
	suspects []optics.SuspectView // views that spoil it
	shape    *target.Shape        // the target as the pictures show it, where that is not as drawn; nil: it is
	atUnit   *targetShot          // the one that tells the scale
	flat     optics.Flat          // what it tells
	rating   optics.Rating
	warnings []part.Phrase
	scale    optics.Scale
}

// targetShot is one picture of the target.
type targetShot struct {
	path  string
	file  string
	sum   string
	found target.Found
	note  []part.Phrase // why it is not used, or what is remarkable
	used  bool          // the target was found in it
	flat  *optics.Flat  // what it tells alone; nil: nothing
}

// noScaleError says that no picture told a scale.
type noScaleError struct{ err error }

func (e noScaleError) Error() string { return e.err.Error() }

// read finds the target in each picture.
func (m *scaleMaking) read(ctx context.Context, pictures []string) error {
	for _, name := range append([]string{m.o.AtUnit}, m.o.LeaveOut...) {
		if name != "" && !slices.ContainsFunc(pictures, func(p string) bool { return isPicture(p, name) }) {
			return cli.Usagef("%s is not among the pictures that were named", name)
		}
	}
	seen := map[string]string{}
	for _, path := range pictures {
		if err := ctx.Err(); err != nil {
			return err
		}
		s := &targetShot{path: path, file: filepath.Base(path)}
		m.shots = append(m.shots, s)
		data, err := files.Read(path, files.MostPicture)
		if err != nil {
			return cli.Usagef("picture %s: %w", path, cli.PlainPath(err))
		}
		sum := sha256.Sum256(data)
		s.sum = hex.EncodeToString(sum[:])
		if slices.ContainsFunc(m.o.LeaveOut, func(n string) bool { return isPicture(path, n) }) {
			s.note = []part.Phrase{part.Say("scale.note.asked")}
			continue
		}
		if other, ok := seen[s.sum]; ok {
			s.note = []part.Phrase{part.Say("scale.note.same", "other", other)}
			continue
		}
		seen[s.sum] = s.file
		if err := m.look(s); err != nil {
			return err
		}
	}
	return nil
}

// isPicture reports whether name names the picture at path.
func isPicture(path, name string) bool {
	return filepath.Clean(path) == filepath.Clean(name) || filepath.Base(path) == name
}

// look finds the target in one picture. What is wrong with the picture is its
// note; the error is for what no picture can mend.
func (m *scaleMaking) look(s *targetShot) error {
	im, err := capture.Read(s.path)
	if err != nil {
		s.note = []part.Phrase{cli.Why(err)}
		return nil
	}
	defer capture.Release(im)
	if s.found, err = target.Find(im, m.target, s.file); err != nil {
		var p *target.Problem
		if !errors.As(err, &p) {
			return err
		}
		s.note = []part.Phrase{p.Phrase()}
		return nil
	}
	s.used, s.note = true, s.found.Notes
	return m.sameCamera(s)
}

// sameCamera takes the camera from a picture's tags, and refuses another one.
func (m *scaleMaking) sameCamera(s *targetShot) error {
	tags, err := capture.ReadTags(s.path)
	if err != nil {
		return nil // the picture itself was read
	}
	differ := func(what, a, b string) error {
		return cli.Usagef("%s was taken with %s %s, the pictures before it with %s: make a scale from pictures of one camera and setting",
			s.path, what, b, a)
	}
	switch {
	case m.camera != "" && tags.Camera != "" && tags.Camera != m.camera:
		return differ("camera", m.camera, tags.Camera)
	case m.focus != "" && tags.Focus != "" && tags.Focus != m.focus:
		return differ("focus", m.focus, tags.Focus)
	case m.focalMM != 0 && tags.FocalLengthMM != 0 && tags.FocalLengthMM != m.focalMM:
		return differ("focal length", fmt.Sprintf("%g mm", m.focalMM), fmt.Sprintf("%g mm", tags.FocalLengthMM))
	}
	m.camera, m.focus = cli.First(m.camera, tags.Camera), cli.First(m.focus, tags.Focus)
	if m.focalMM == 0 {
		m.focalMM = tags.FocalLengthMM
	}
	return nil
}

// fit makes the scale from what was found.
func (m *scaleMaking) fit() error {
	var used []*targetShot
	for _, s := range m.shots {
		if s.used {
			used = append(used, s)
		} else {
			m.warnings = append(m.warnings, part.Say("scale.warn.unused", "file", s.file).With("signals", s.note...))
		}
	}
	if len(used) == 0 {
		return noScaleError{fmt.Errorf("scale: no picture shows the target: %s", strings.Join(lang.English().SayAll(m.warnings), "; "))}
	}
	if err := m.fitLens(used); err != nil {
		return err
	}
	var why error
	for _, s := range used {
		flat, err := m.flatOf(s)
		if err != nil {
			s.note = []part.Phrase{cli.Why(err)}
			why = err
			continue
		}
		s.flat = &flat
	}
	if err := m.choose(used); err != nil {
		return noScaleError{cmp.Or(why, err)}
	}
	m.flat = *m.atUnit.flat
	m.rate(used)
	m.fill()
	return nil
}

// fitLens fits the lens where several pictures of a grid tell it.
func (m *scaleMaking) fitLens(used []*targetShot) error {
	grid := m.target.Kind != optics.Ruler && m.target.Kind != optics.Disc
	if !grid || len(used) < 3 || m.o.Projection == optics.Telecentric || m.lens != nil {
		return nil
	}
	calibrate := func() (optics.Calibration, error) {
		var views []optics.View
		for _, s := range used {
			views = append(views, s.found.View)
		}
		return optics.Calibrate(views, optics.CalibrateOptions{Terms: optics.Terms(m.o.Terms)})
	}
	c, err := calibrate()
	for round := 0; err == nil && round < recentreRounds; round++ {
		for i, s := range used {
			s.found.View = target.Recentred(s.found, c.Lens, c.Views[i].Placement)
		}
		c, err = calibrate()
	}
	if err != nil {
		return noScaleError{err}
	}
	m.suspects = optics.Suspect(c)
	c.AddChoice()
	m.fitted = &c
	m.findShape(used)
	return nil
}

// bentFactor: a target is told to be bent where its marks, freed from their
// places, lie so many times closer about the fit (common practice, no source).
const bentFactor = 3

// findShape tells whether the pictures agree on another target than was drawn:
// a sheet that is not flat.
func (m *scaleMaking) findShape(used []*targetShot) {
	var views []optics.View
	for _, s := range used {
		views = append(views, s.found.View)
	}
	shape, err := target.FindShape(views, *m.fitted, m.target.PitchMM)
	if err == nil && m.fitted.RMSPX > bentFactor*shape.RMSPX {
		m.shape = &shape
	}
}

// bent is what a target's shape does to the rating.
func (m *scaleMaking) bent() optics.Rating {
	l := m.shape.Lens
	return optics.Rating{Word: optics.RatedFair, Reasons: []part.Phrase{part.Say("rated.fair").With("what",
		part.Say("scale.about", "file", "@scale.the_target").With("what",
			part.Say("scale.bent", "off_mm", fmt.Sprintf("%.2g", m.shape.LargestMM),
				"free_px", fmt.Sprintf("%.2f", m.shape.RMSPX), "rms_px", fmt.Sprintf("%.2f",
					m.fitted.RMSPX), "free_fx_px", fmt.Sprintf("%.1f", l.FX),
				"fx_px", fmt.Sprintf("%.1f", m.fitted.Lens.FX))))}}
}

// recentreRounds is how often dots' middles are taken anew with the lens known;
// the second changes a drawn camera's focal length by a millionth.
const recentreRounds = 2

// flatOf is what one picture alone tells, with the lens where it is known.
func (m *scaleMaking) flatOf(s *targetShot) (optics.Flat, error) {
	o := optics.FlatViewOptions{TargetURel: m.target.URel, Projection: m.o.Projection}
	switch {
	case m.fitted != nil:
		o.Lens, o.LensCov, o.Projection = &m.fitted.Lens, &m.fitted.Cov, optics.Perspective
	case m.lens != nil:
		o.Lens, o.Projection = m.lens.Lens, m.lens.Projection
		if u := m.lens.LensU; u == nil || u.FX == 0 { // one picture told its distortion, but no focal length
			o.Projection = optics.Telecentric
		}
	}
	switch m.target.Kind {
	case optics.Ruler:
		return optics.FitRuler(s.found.View, o)
	case optics.Disc:
		return optics.FitDisc(DiscOf(s.found), s.found.View.W, s.found.View.H, m.target.DiameterMM, o)
	}
	return optics.FitFlat(s.found.View, o)
}

// DiscOf is a disc's outline, or a pin's width as that of a disc.
func DiscOf(f target.Found) optics.Ellipse {
	if len(f.Ellipses) == 0 || f.Pin {
		e := optics.Ellipse{XPX: math.NaN(), YPX: math.NaN(), MajorPX: f.DiameterPX, MinorPX: f.DiameterPX, UDiameterPX: f.UDiameterPX}
		if len(f.View.Marks) > 0 {
			e.XPX, e.YPX = f.View.Marks[0].XPX, f.View.Marks[0].YPX
		}
		return e
	}
	e := f.Ellipses[0]
	return optics.Ellipse{XPX: e.XPX, YPX: e.YPX, MajorPX: 2 * e.SemiMajorPX, MinorPX: 2 * e.SemiMinorPX, AngleDeg: e.AngleDeg,
		UDiameterPX: e.UDiameterPX}
}

// choose picks the picture that tells the scale.
func (m *scaleMaking) choose(used []*targetShot) error {
	for _, s := range used {
		if m.o.AtUnit != "" {
			if isPicture(s.path, m.o.AtUnit) && s.flat != nil {
				m.atUnit = s
			}
			continue
		}
		if s.flat != nil && (m.atUnit == nil || s.flat.TiltDeg < m.atUnit.flat.TiltDeg) {
			m.atUnit = s
		}
	}
	switch {
	case m.atUnit != nil && m.o.AtUnit == "" && len(used) > 1:
		m.warnings = append(m.warnings, part.Say("scale.warn.least_tilt", "file", m.atUnit.file))
	case m.atUnit == nil && m.o.AtUnit != "":
		return fmt.Errorf("scale: %s does not tell a scale", m.o.AtUnit)
	case m.atUnit == nil:
		return errors.New("scale: no picture tells a scale")
	}
	return nil
}

// rate says how far the scale can be trusted, and gathers what a reader must
// know.
func (m *scaleMaking) rate(used []*targetShot) {
	limits := optics.DefaultRateLimits()
	m.rating = about(m.atUnit.file, optics.RateFlat(m.flat, limits))
	m.warnings = append(m.warnings, m.flat.Warnings...)
	if m.fitted != nil {
		m.rating = m.rating.Worse(about("@scale.the_lens", optics.RateCalibration(*m.fitted, limits)))
		if m.shape != nil {
			m.rating = m.rating.Worse(m.bent())
		}
		for _, w := range m.fitted.Warnings {
			if !slices.ContainsFunc(m.warnings, func(o part.Phrase) bool { return reflect.DeepEqual(o, w) }) {
				m.warnings = append(m.warnings, w)
			}
		}
		for _, s := range m.suspects {
			m.warnings = append(m.warnings, s.Description)
		}
	}
	if w := m.height(); w.Key != "" {
		m.warnings = append(m.warnings, w)
	}
	if w := m.spread(used); w.Key != "" {
		m.warnings = append(m.warnings, w)
	}
}

// height tells that a scale holds at one distance from a lens with perspective: that of its target.
func (m *scaleMaking) height() part.Phrase {
	if m.flat.Projection != optics.Perspective || m.o.AtUnit != "" {
		return part.Phrase{}
	}
	p := part.Say("scale.warn.height", "file", m.atUnit.file)
	if m.flat.DistanceMM > 0 {
		p = p.With("changes", part.Say("scale.warn.changes", "percent_per_mm", fmt.Sprintf("%.2g", 100/m.flat.DistanceMM)))
	}
	return p
}

// about says of what a rating's sentences are: "good: lens: ...".
func about(what string, r optics.Rating) optics.Rating {
	reasons := make([]part.Phrase, len(r.Reasons))
	for i, p := range r.Reasons {
		reasons[i] = part.Say(p.Key).With("what", part.Say("scale.about", "file", what).With("what", p.Parts["what"]...))
	}
	return optics.Rating{Word: r.Word, Reasons: reasons}
}

// spread tells where pictures of a target that all should show one scale do
// not: for a telecentric lens any distance gives the same.
func (m *scaleMaking) spread(used []*targetShot) part.Phrase {
	if m.o.Projection != optics.Telecentric {
		return part.Phrase{}
	}
	for _, s := range used {
		if s == m.atUnit || s.flat == nil {
			continue
		}
		// What the target is uncertain by is the same in all pictures.
		own := func(f *optics.Flat) float64 {
			return math.Sqrt(max(0, f.UMMPerPX*f.UMMPerPX-math.Pow(m.target.URel*f.MMPerPX, 2)))
		}
		d := s.flat.MMPerPX - m.flat.MMPerPX
		if math.Abs(d) > 3*math.Hypot(own(s.flat), own(&m.flat)) {
			return part.Say("scale.warn.spread", "file", s.file, "percent", fmt.Sprintf("%.2f", 100*d/m.flat.MMPerPX), "other",
				m.atUnit.file)
		}
	}
	return part.Phrase{}
}

// fill makes the content of the scale file.
func (m *scaleMaking) fill() {
	s := m.flat.Scale()
	s.Camera, s.Focus, s.DistanceNote = cli.First(m.camera, m.o.Camera), cli.First(m.focus, m.o.Focus), m.o.Distance
	if m.focalMM > 0 {
		s.FocalLengthMM = part.Num(m.focalMM)
	}
	if m.fitted != nil {
		u := m.fitted.LensU
		s.Lens, s.LensU, s.RMSPX = &m.fitted.Lens, &u, m.fitted.RMSPX
	}
	if m.lens != nil {
		s.Lens, s.LensU, s.Projection = m.lens.Lens, m.lens.LensU, m.lens.Projection
	}
	s.Target, s.Made, s.MaxAgeDays = m.target, m.made, m.o.MaxAge
	s.Rating, s.Warnings, s.WarningPhrases = m.rating.Word, lang.English().SayAll(m.warnings), m.warnings
	for i, shot := range m.shots {
		p := optics.ScalePicture{File: shot.file, SHA256: shot.sum, Used: shot.used && (m.fitted != nil || shot == m.atUnit),
			Marks: len(shot.found.View.Marks), Note: strings.Join(lang.English().SayAll(shot.note), "; "), NotePhrases: shot.note}
		if rms := m.rmsOf(i); !math.IsNaN(rms) {
			p.RMSPX = &rms
		}
		s.Pictures = append(s.Pictures, p)
	}
	m.scale = s
}

// viewOf is the fit of the picture at place i among the lens's views; nil where
// it is none of them.
func (m *scaleMaking) viewOf(i int) *optics.ViewFit {
	if m.fitted == nil || !m.shots[i].used {
		return nil
	}
	k := 0
	for _, s := range m.shots[:i] {
		if s.used {
			k++
		}
	}
	return &m.fitted.Views[k]
}

// rmsOf is how far the marks of the picture at place i lie about the fit, px;
// NaN where it is in none.
func (m *scaleMaking) rmsOf(i int) float64 {
	if v := m.viewOf(i); v != nil {
		return v.RMSPX
	}
	if f := m.shots[i].flat; f != nil {
		return f.RMSPX
	}
	return math.NaN()
}
