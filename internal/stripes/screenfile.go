package stripes

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// FileSchema is the version of the files of a screen that this program writes and reads.
const FileSchema = 1

// Kinds of files of a screen.
const (
	KindCurve  = "screen curve"
	KindMirror = "screen mirror"
)

// MaxAgeDays is for how long they are believed (common practice, no source).
const MaxAgeDays = optics.DefaultMaxAgeDays

// Curve is a screen's own light curve, told by a grey wedge: light = offset + (level/255)^gamma, against what white adds to
// black. It is the content of a file (JSON).
type Curve struct {
	Schema   int         `json:"schema"` // [FileSchema]
	Kind     string      `json:"kind"`   // [KindCurve]
	Gamma    float64     `json:"gamma"`
	UGamma   float64     `json:"u_gamma"`  // standard uncertainty
	Offset   float64     `json:"offset"`   // stray light and the screen's own black
	UOffset  float64     `json:"u_offset"` // standard uncertainty, of the fit
	Residual float64     `json:"residual"` // of the steps about the curve, share of white, standard deviation
	Steps    []CurveStep `json:"steps"`
	Proof
}

// Mirror is how many radians of phase one radian of slope makes, told by a flat mirror in three positions, along x and y. It
// is the content of a file (JSON).
type Mirror struct {
	Schema           int        `json:"schema"` // [FileSchema]
	Kind             string     `json:"kind"`   // [KindMirror]
	RadPerRad        [2]float64 `json:"rad_per_rad"`
	URadPerRad       [2]float64 `json:"u_rad_per_rad"`    // standard uncertainties
	Parts            [2][]Share `json:"u_parts"`          // what they come from
	CrossDeg         [2]float64 `json:"cross_deg"`        // by how much the tilt's axis seems beside the picture's
	RoughMRad        [2]float64 `json:"rough_mrad"`       // root mean square slope of the mirror beside a smooth field
	DistanceMM       float64    `json:"distance_mm"`      // that a screen square to the mirrored line of sight would have,
	UDistanceMM      float64    `json:"u_distance_mm"`    //
	TiltDeg          float64    `json:"tilt_deg"`         // and the tilt, without its sign
	UTiltDeg         float64    `json:"u_tilt_deg"`       //
	PeriodMM         float64    `json:"period_mm"`        // of the stripes that were shown
	StatedDistanceMM float64    `json:"told_distance_mm"` // by the ruler, and
	StatedTiltDeg    float64    `json:"told_tilt_deg"`    // as the station had it then
	GaugeUM          float64    `json:"gauge_um"`
	UGaugeUM         float64    `json:"u_gauge_um"`
	SpanMM           [2]float64 `json:"span_mm"`
	USpanMM          float64    `json:"u_span_mm"`
	Proof
}

// Share is one part of a relative standard uncertainty.
type Share struct {
	Name string  `json:"name"`
	URel float64 `json:"u_rel"`
}

// Proof is what a file of a screen was made from, and when.
type Proof struct {
	Made       time.Time `json:"made"`
	MaxAgeDays int       `json:"max_age_days"`
	Pictures   []Picture `json:"pictures"`
	Warnings   []string  `json:"warnings,omitempty"`

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"` // Warnings, to be told in any language
}

// Picture is one of them.
type Picture struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"` // of its bytes, lower case
}

func (p *Proof) warn(w part.Phrase) {
	p.Warnings, p.WarningPhrases = append(p.Warnings, lang.English().Say(&w)), append(p.WarningPhrases, w)
}

// AgeState says whether the file may still be used.
func (p Proof) AgeState(now time.Time) optics.AgeState {
	return optics.AgeOf("@age.of.screen", p.Made, p.MaxAgeDays, now)
}

func (p Proof) validate() error {
	switch {
	case p.Made.IsZero():
		return errors.New("made, the date, is missing: without it the file has no age")
	case p.MaxAgeDays <= 0:
		return fmt.Errorf("max_age_days is %d; it must be above 0", p.MaxAgeDays)
	case len(p.Pictures) == 0:
		return errors.New("pictures is empty, so that nothing vouches for it")
	}
	for _, x := range p.Pictures {
		if err := optics.CheckSHA256(x.File, x.SHA256); err != nil {
			return err
		}
	}
	return nil
}

// Validate tells the first thing that is wrong with the curve.
func (c *Curve) Validate() error {
	switch {
	case c.Schema != FileSchema || c.Kind != KindCurve:
		return fmt.Errorf("it is %q of schema %d, and wanted is %q of %d", c.Kind, c.Schema, KindCurve, FileSchema)
	case !(c.Gamma >= leastGamma && c.Gamma <= mostGamma):
		return fmt.Errorf("gamma is %g; it must be from %g to %g", c.Gamma, leastGamma, mostGamma)
	case !(c.UGamma > 0 && c.UGamma <= wedgeTooWide):
		return fmt.Errorf("u_gamma is %g; it must be above 0, and not above %g", c.UGamma, wedgeTooWide)
	case !(c.Residual >= 0 && c.Residual <= wedgeMisfit):
		return fmt.Errorf("residual is %g; it must be from 0 to %g", c.Residual, wedgeMisfit)
	}
	return c.Proof.validate()
}

// Validate tells the first thing that is wrong with the mirror's measurement.
func (m *Mirror) Validate() error {
	if m.Schema != FileSchema || m.Kind != KindMirror {
		return fmt.Errorf("it is %q of schema %d, and wanted is %q of %d", m.Kind, m.Schema, KindMirror, FileSchema)
	}
	for d, v := range m.RadPerRad {
		if u := m.URadPerRad[d]; !(v > 0 && v < 1e6 && u > 0 && u < v) {
			return fmt.Errorf("rad_per_rad and its u are %g and %g; both must be above 0, and the first the larger", v, u)
		}
	}
	if !(m.PeriodMM > 0 && m.DistanceMM > 0) || math.IsInf(m.PeriodMM+m.DistanceMM, 0) {
		return fmt.Errorf("period_mm and distance_mm are %g and %g; both must be above 0", m.PeriodMM, m.DistanceMM)
	}
	return m.Proof.validate()
}

// URel is the larger of the two relative standard uncertainties.
func (m *Mirror) URel() float64 {
	return max(m.URadPerRad[0]/m.RadPerRad[0], m.URadPerRad[1]/m.RadPerRad[1])
}

// DecodeCurve reads a curve's file. A key that is not known is an error: it may be a misspelt one that matters.
func DecodeCurve(data []byte) (Curve, error) {
	var c Curve
	err := decode(data, &c)
	return c, err
}

// DecodeMirror reads a mirror's file, likewise.
func DecodeMirror(data []byte) (Mirror, error) {
	var m Mirror
	err := decode(data, &m)
	return m, err
}

func decode(data []byte, to interface{ Validate() error }) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(to); err != nil {
		return fmt.Errorf("it is no file of a screen (%w); measure again", err)
	}
	if err := to.Validate(); err != nil {
		return fmt.Errorf("%w; measure again", err)
	}
	return nil
}
