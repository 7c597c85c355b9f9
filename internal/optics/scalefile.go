package optics

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// ScaleSchema is the version of scale files that this program writes and reads.
const ScaleSchema = 1

// Projections of a [Scale].
const (
	Telecentric = "telecentric" // size does not change with distance
	Perspective = "perspective"
)

// Kinds of [Target].
const (
	Chessboard     = "chessboard"
	Dots           = "dots"
	AsymmetricDots = "asymmetric-dots"
	Ruler          = "ruler"
	Disc           = "disc"
)

// Scale is the content of a scale file (JSON): what a pixel is in mm, how well
// that is known, and from what.
type Scale struct {
	Schema        int            `json:"schema"`                    // [ScaleSchema]
	MMPerPX       float64        `json:"mm_per_px"`                 // at the unit's distance, at the picture's middle
	UMMPerPX      float64        `json:"u_mm_per_px"`               // its standard uncertainty (target's pitch, fit, squareness), k = 1
	Projection    string         `json:"projection"`                // [Telecentric] or [Perspective]
	Lens          *Lens          `json:"lens,omitempty"`            // nil: distortion not known, none taken off
	LensU         *Lens          `json:"u_lens,omitempty"`          // standard uncertainties of the same
	TiltDeg       *float64       `json:"tilt_deg,omitempty"`        // of the target's plane against the picture's, at the scale picture
	SkewDeg       *float64       `json:"skew_deg,omitempty"`        // target's right angle as pictured, minus 90
	AspectRatio   *float64       `json:"aspect_ratio,omitempty"`    // pixel height / pixel width
	WidthPX       int            `json:"width_px"`                  // of the pictures
	HeightPX      int            `json:"height_px"`                 //
	Camera        string         `json:"camera,omitempty"`          // as the pictures' tags or the person say
	Focus         string         `json:"focus,omitempty"`           //
	FocalLengthMM *float64       `json:"focal_length_mm,omitempty"` //
	DistanceNote  string         `json:"distance_note,omitempty"`   // the working distance, in the person's words
	Target        Target         `json:"target"`                    //
	Made          time.Time      `json:"made"`                      //
	MaxAgeDays    int            `json:"max_age_days"`              // [DefaultMaxAgeDays]
	Pictures      []ScalePicture `json:"pictures"`                  //
	// Of the marks about the fit; absent (0 inside): one disc has no marks to differ.
	RMSPX    float64  `json:"rms_px,omitempty"`
	Rating   string   `json:"rating"`             // good, fair, poor
	Warnings []string `json:"warnings,omitempty"` //

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"` // Warnings, to be told in any language
}

// DefaultMaxAgeDays is how long a scale is believed (common practice, no source).
const DefaultMaxAgeDays = 90

// Target is what was photographed.
type Target struct {
	Kind       string  `json:"kind"`                  // [Chessboard], [Dots], [AsymmetricDots], [Ruler], [Disc]
	Cols       int     `json:"cols,omitempty"`        // marks in a row
	Rows       int     `json:"rows,omitempty"`        //
	PitchMM    float64 `json:"pitch_mm,omitempty"`    // between marks
	DiameterMM float64 `json:"diameter_mm,omitempty"` // of a disc or pin, or of each dot
	URel       float64 `json:"u_rel"`                 // relative standard uncertainty of pitch or diameter
	Identity   string  `json:"identity,omitempty"`    // serial or certificate number
}

// ScalePicture is one picture that a scale was made from, or that was left out.
type ScalePicture struct {
	File   string   `json:"file"`
	SHA256 string   `json:"sha256"` // of the file's bytes, lower case
	Used   bool     `json:"used"`
	Marks  int      `json:"marks"`
	RMSPX  *float64 `json:"rms_px,omitempty"`
	Note   string   `json:"note,omitempty"`

	NotePhrases []part.Phrase `json:"note_phrases,omitempty"` // Note, to be told in any language; several stand one after the other
}

// UndistortPX gives where a lens without distortion would have the picture's
// pixel p: p itself where the scale knows no lens, false where its lens cannot
// say.
func (s *Scale) UndistortPX(p part.Point) (part.Point, bool) {
	if s.Lens == nil {
		return p, true
	}
	return s.Lens.UndistortPX(p)
}

// Scale gives what the picture tells as the content of a scale file; who, when,
// camera, target, pictures and rating are left to fill in.
func (f *Flat) Scale() Scale {
	s := Scale{Schema: ScaleSchema, MMPerPX: f.MMPerPX, UMMPerPX: f.UMMPerPX, Projection: f.Projection, Lens: f.Lens, LensU: f.LensU,
		TiltDeg: known(f.TiltDeg), SkewDeg: known(f.SkewDeg), AspectRatio: known(f.AspectRatio),
		WidthPX: f.W, HeightPX: f.H, MaxAgeDays: DefaultMaxAgeDays, WarningPhrases: slices.Clone(f.Warnings),
		Warnings: lang.English().SayAll(f.Warnings)}
	if !math.IsNaN(f.RMSPX) {
		s.RMSPX = f.RMSPX
	}
	return s
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// EncodeScale writes a scale file's content, after looking whether it is whole.
func EncodeScale(w io.Writer, s Scale) error {
	if err := s.Validate(); err != nil {
		return err
	}
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("optics: scale file: %w", err)
	}
	if _, err := w.Write(append(b, '\n')); err != nil {
		return fmt.Errorf("optics: scale file: write: %w", err)
	}
	return nil
}

// DecodeScale reads a scale file's content. A key that is not known is an error:
// it may be a misspelt one that matters.
func DecodeScale(r io.Reader) (Scale, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxScaleBytes+1))
	if err != nil {
		return Scale{}, fmt.Errorf("optics: scale file: read: %w", err)
	}
	if len(b) > maxScaleBytes {
		return Scale{}, fmt.Errorf("optics: scale file: it is larger than %d bytes, so it is no scale file", maxScaleBytes)
	}
	if len(bytes.TrimSpace(b)) == 0 {
		return Scale{}, errors.New("optics: scale file: it is empty; make the scale again")
	}
	var kind struct {
		Schema *int `json:"schema"`
	}
	if err := json.Unmarshal(b, &kind); err != nil {
		return Scale{}, fmt.Errorf("optics: scale file: %s", jsonSentence(b, err))
	}
	if kind.Schema == nil {
		return Scale{}, errors.New("optics: scale file: it has no schema number, so it is no scale file; make the scale again")
	}
	if *kind.Schema != ScaleSchema {
		return Scale{}, fmt.Errorf("optics: scale file: its schema is %d and this program reads %d; make the scale again, or use the "+
			"program that wrote it", *kind.Schema, ScaleSchema)
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	var s Scale
	if err := d.Decode(&s); err != nil {
		return Scale{}, fmt.Errorf("optics: scale file: %s", jsonSentence(b, err))
	}
	return s, s.Validate()
}

// maxScaleBytes is far above what hundreds of pictures need.
const maxScaleBytes = 4 << 20

// jsonSentence tells where in the file what is wrong.
func jsonSentence(b []byte, err error) string {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		return fmt.Sprintf("line %d is no JSON: %v", 1+bytes.Count(b[:min(int(syntax.Offset), len(b))], []byte("\n")), syntax)
	case errors.As(err, &kind):
		return fmt.Sprintf("line %d: %s is a %s and must be a %v", 1+bytes.Count(b[:min(int(kind.Offset), len(b))], []byte("\n")),
			kind.Field, kind.Value, kind.Type)
	}
	if name, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		return fmt.Sprintf("the key %s is not known; is it misspelt?", name)
	}
	return err.Error()
}

// Validate tells the first thing that is wrong with the scale.
func (s *Scale) Validate() error {
	for _, check := range []func() error{s.validateScale, s.validateView, s.validateTarget, s.validatePictures} {
		if err := check(); err != nil {
			return fmt.Errorf("optics: scale file: %w", err)
		}
	}
	return nil
}

func (s *Scale) validateScale() error {
	switch {
	case s.Schema != ScaleSchema:
		return fmt.Errorf("schema is %d; it must be %d", s.Schema, ScaleSchema)
	case !(s.MMPerPX > 0) || math.IsInf(s.MMPerPX, 0):
		return fmt.Errorf("mm_per_px is %g; it must be above 0", s.MMPerPX)
	case !(s.UMMPerPX > 0) || math.IsInf(s.UMMPerPX, 0):
		return fmt.Errorf("u_mm_per_px is %g; it must be above 0: no scale is known exactly", s.UMMPerPX)
	case s.UMMPerPX >= s.MMPerPX:
		return fmt.Errorf("u_mm_per_px is %g, as large as mm_per_px itself (%g)", s.UMMPerPX, s.MMPerPX)
	case s.Projection != Telecentric && s.Projection != Perspective:
		return fmt.Errorf("projection is %q; it must be %s or %s", s.Projection, Telecentric, Perspective)
	case !(s.RMSPX >= 0) || math.IsInf(s.RMSPX, 0):
		return fmt.Errorf("rms_px is %g; it must be above 0, or absent", s.RMSPX)
	case s.Rating != RatedGood && s.Rating != RatedFair && s.Rating != RatedPoor:
		return fmt.Errorf("rating is %q; it must be %s, %s or %s", s.Rating, RatedGood, RatedFair, RatedPoor)
	case s.Made.IsZero():
		return errors.New("made, the date, is missing: without it the scale has no age")
	case s.MaxAgeDays <= 0:
		return fmt.Errorf("max_age_days is %d; it must be above 0", s.MaxAgeDays)
	}
	return nil
}

func (s *Scale) validateView() error {
	if s.WidthPX <= 0 || s.HeightPX <= 0 {
		return fmt.Errorf("width_px, height_px are %d, %d; both must be above 0", s.WidthPX, s.HeightPX)
	}
	for _, v := range []struct {
		name   string
		value  *float64
		lo, hi float64
	}{
		{"tilt_deg", s.TiltDeg, 0, 90}, {"skew_deg", s.SkewDeg, -90, 90}, {"aspect_ratio", s.AspectRatio, 0, 100}, {"focal_length_mm",
			s.FocalLengthMM, 0, 1e5},
	} {
		if v.value != nil && !(*v.value >= v.lo && *v.value <= v.hi) {
			return fmt.Errorf("%s is %g; it must be from %g to %g", v.name, *v.value, v.lo, v.hi)
		}
	}
	if s.AspectRatio != nil && *s.AspectRatio == 0 {
		return errors.New("aspect_ratio is 0; leave it out where it is not known")
	}
	if s.FocalLengthMM != nil && *s.FocalLengthMM == 0 {
		return errors.New("focal_length_mm is 0; leave it out where it is not known")
	}
	if s.Lens != nil {
		if err := s.Lens.Validate(); err != nil {
			return errors.New(strings.TrimPrefix(err.Error(), "optics: "))
		}
	}
	if s.LensU == nil {
		return nil
	}
	if s.Lens == nil {
		return errors.New("u_lens is given without lens")
	}
	for _, u := range s.LensU.list() {
		if !(*u.at >= 0) || math.IsInf(*u.at, 0) {
			return fmt.Errorf("u_lens: %s is %g; it must not be below 0", u.name, *u.at)
		}
	}
	return nil
}

func (s *Scale) validateTarget() error {
	t := &s.Target
	if !slices.Contains([]string{Chessboard, Dots, AsymmetricDots, Ruler, Disc}, t.Kind) {
		return fmt.Errorf("target: kind is %q; it must be %s, %s, %s, %s or %s", t.Kind, Chessboard, Dots, AsymmetricDots, Ruler, Disc)
	}
	if t.Kind == Disc && !(t.DiameterMM > 0) {
		return errors.New("target: a disc needs diameter_mm above 0")
	}
	if t.Kind != Disc && !(t.PitchMM > 0) {
		return fmt.Errorf("target: a %s needs pitch_mm above 0", t.Kind)
	}
	for _, v := range []float64{t.PitchMM, t.DiameterMM} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return fmt.Errorf("target: pitch_mm, diameter_mm are %g, %g; each must be above 0, or absent", t.PitchMM, t.DiameterMM)
		}
	}
	if t.Cols < 0 || t.Rows < 0 {
		return fmt.Errorf("target: %d columns and %d rows; neither can be below 0", t.Cols, t.Rows)
	}
	if !(t.URel >= 0 && t.URel < 1) {
		return fmt.Errorf("target: u_rel is %g; it must be from 0 to below 1", t.URel)
	}
	return nil
}

// CheckSHA256 says whether a picture's hash in a file of this program's is written as one.
func CheckSHA256(picture, sum string) error {
	if b, err := hex.DecodeString(sum); err != nil || len(b) != 32 || strings.ToLower(sum) != sum {
		return fmt.Errorf("pictures: %s: sha256 must be 64 digits 0-9, a-f", picture)
	}
	return nil
}

func (s *Scale) validatePictures() error {
	used := false
	for i, p := range s.Pictures {
		name := p.File
		if name == "" {
			return fmt.Errorf("pictures: number %d has no file name", i+1)
		}
		if err := CheckSHA256(name, p.SHA256); err != nil {
			return err
		}
		if p.Marks < 0 {
			return fmt.Errorf("pictures: %s: %d marks; that cannot be below 0", name, p.Marks)
		}
		if p.RMSPX != nil && !(*p.RMSPX >= 0 && !math.IsInf(*p.RMSPX, 0)) {
			return fmt.Errorf("pictures: %s: rms_px is %g; it must not be below 0", name, *p.RMSPX)
		}
		used = used || p.Used
	}
	if !used {
		return errors.New("pictures: none is marked as used, so that nothing vouches for the scale")
	}
	return nil
}
