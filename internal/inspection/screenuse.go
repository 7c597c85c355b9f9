package inspection

import (
	"math"
	"path/filepath"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/stripes"
)

// uDistanceMM is the standard uncertainty of the screen's distance, held with a ruler
// (common practice, no source).
const uDistanceMM = 2

// ScreenOf is how the station's screen stands, for slopes: by its mirror's file where
// it names one, which is refused past its age or where it was made for another place;
// and what a reader must know of that.
func ScreenOf(c config.Screen, now time.Time) (s stripes.Screen, doubts []part.Phrase, err error) {
	s = stripes.Screen{PeriodMM: c.PeriodMM, DistanceMM: c.DistanceMM, TiltDeg: c.TiltDeg}
	if s.Known() {
		s.URel = math.Hypot(uDistanceMM/s.DistanceMM, stripes.PeriodURel)
	}
	if c.Mirror == "" {
		return s, nil, nil
	}
	m, err := screenFile(c.Mirror, stripes.DecodeMirror)
	if err != nil {
		return s, nil, err
	}
	if doubts, err = screenAge(c.Mirror, m.Proof, now); err != nil {
		return s, nil, err
	}
	if m.PeriodMM != c.PeriodMM || m.StatedDistanceMM != c.DistanceMM || m.StatedTiltDeg != c.TiltDeg {
		return s, nil, cli.Usagef("screen file %s was made with stripes of %g mm, %g mm off, tilted by %g degrees, and the station says %g mm, %g mm and %g: measure again with inspect screen mirror",
			c.Mirror, m.PeriodMM, m.StatedDistanceMM, m.StatedTiltDeg, c.PeriodMM, c.DistanceMM, c.TiltDeg)
	}
	if MirrorRating(m) == report.Poor {
		doubts = append(doubts, part.Say("file.screen", "file", filepath.Base(c.Mirror)).With("what", part.Say("file.rated_poor")))
	}
	s.RadPerRad, s.URel, s.DistanceMM = m.RadPerRad, m.URel(), m.DistanceMM
	return s, doubts, nil
}

// ScreenGamma is the gamma by which the light page draws; 0 where no file tells it.
func ScreenGamma(c config.Screen, now time.Time) (float64, error) {
	if c.Curve == "" {
		return 0, nil
	}
	f, err := screenFile(c.Curve, stripes.DecodeCurve)
	if err != nil {
		return 0, err
	}
	_, err = screenAge(c.Curve, f.Proof, now)
	return f.Gamma, err
}

func screenFile[T any](path string, decode func([]byte) (T, error)) (T, error) {
	var none T
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return none, cli.Usagef("screen file %s: %w", path, cli.PlainPath(err))
	}
	v, err := decode(data)
	if err != nil {
		return none, cli.Usagef("screen file %s: %w", path, err)
	}
	return v, nil
}

func screenAge(path string, p stripes.Proof, now time.Time) (doubts []part.Phrase, err error) {
	switch age := p.AgeState(now); age.State {
	case optics.AgeOver:
		return nil, cli.Usagef("screen file %s: %s", path, lang.English().Say(&age.Sentence))
	case optics.AgeSoon:
		doubts = append(doubts, part.Say("file.screen", "file", filepath.Base(path)).With("what", age.Sentence))
	}
	return doubts, nil
}

// Standard uncertainties of a sensitivity, relative, up to which it is good and fair
// (common practice, no source).
const (
	mirrorGood = 0.03
	mirrorFair = 0.06
)

// MirrorRating is how far a sensitivity can be trusted.
func MirrorRating(m stripes.Mirror) report.Rating {
	switch u := m.URel(); {
	case u > mirrorFair:
		return report.Poor
	case u > mirrorGood || len(m.Warnings) > 0:
		return report.Fair
	}
	return report.Good
}
