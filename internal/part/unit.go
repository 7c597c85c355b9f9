package part

import (
	"math"
	"slices"
	"time"
)

// Shot is one picture of a unit as listed, before it is read.
type Shot struct {
	File     string    // name inside the unit's folder
	Path     string    // where to read it
	View     View      //
	Light    Light     // NoLight where the name does not say
	AngleDeg float64   // turn about the axis out of the faceplate; 0 for a face, 0 <= AngleDeg < 360 for a shell
	Set      ScreenSet // the set before a screen that it belongs to: see MarkSets
}

// Photo is a shot that was taken and looked at.
type Photo struct {
	Shot
	Camera string    // its name in the station file; "": not told
	Image  *Image    // nil: the file could not be read, or its pixels were let go
	Raw    []byte    // the file as it came; nil: it came as samples
	MIME   string    // of Raw
	Came   time.Time // when it was here; zero: it was played back, or could not be read
	Report PictureReport
}

// Searched says whether some part of the program looks into such a picture. Into
// the others, told by [NotLookedAt], it does not look yet: they are read and
// listed, and change nothing else. A surface lit from behind shows its outline alone.
func (s Shot) Searched() bool {
	return (!s.Light.OfScreen() || s.Set != NoSet) && (s.View == Edge || s.Light != Back)
}

// MarkSets tells each face picture before a screen which set it belongs to: the full one
// where all of its pictures are there, else the short one where all of that are. The short
// set has no fourth phase: a picture of one belongs to no set then. Without one of the short
// set's pictures none of a screen is searched.
func MarkSets(shots []*Shot) {
	var have []Light
	for _, s := range shots {
		if s.View == Face {
			have = append(have, s.Light)
		}
	}
	set := setOf(have)
	for _, s := range shots {
		s.Set = NoSet
		fourth := s.Light == StripesX3 || s.Light == StripesY3
		if s.View == Face && s.Light.OfScreen() && !(set == ShortSet && fourth) {
			s.Set = set
		}
	}
}

// setOf is the set that pictures under these lights make up.
func setOf(have []Light) ScreenSet {
	missing := func(l Light) bool { return !slices.Contains(have, l) }
	switch {
	case !slices.ContainsFunc(ScreenLights, func(l Light) bool { return l != Black && missing(l) }):
		return FullSet
	case !slices.ContainsFunc(ShortLights, missing):
		return ShortSet
	}
	return NoSet
}

// Folder is one unit as found on disk: a name and its shots, sorted by name.
type Folder struct {
	Name  string // the folder's name, or the serial given in unit.yaml
	Dir   string
	Shots []Shot
}

// Result is what one unit's inspection says: result.json. docs/formats.md tells each field,
// docs/result.schema.json its form. A number that could not be measured is absent.
type Result struct {
	Schema  int        `json:"schema"`
	Unit    string     `json:"unit"`
	Stage   Stage      `json:"stage"`
	Verdict Verdict    `json:"verdict"`
	Score   *float64   `json:"score,omitempty"` // demerits; absent where the unit could not be measured
	Reasons []string   `json:"reasons"`
	MMPerPX float64    `json:"mm_per_px"`        // of all pictures, or, with a scale file a view, of the first picture
	Scales  []ScaleUse `json:"scales,omitempty"` // the scale files that were used
	// What the faceplate mirrors of a screen; absent where there are no such pictures, or they could not be measured.
	Screen   *Mirror         `json:"screen,omitempty"`
	Seam     Seam            `json:"seam"`
	Surfaces []Surface       `json:"surfaces,omitempty"` // how much of each surface was looked at
	Shell    *ShellMap       `json:"shell,omitempty"`    // the shell over all its turns; absent: no shell picture was looked into
	Findings []Finding       `json:"findings"`
	Pictures []PictureReport `json:"pictures"`
	Warnings []string        `json:"warnings"` // what a reader must know, e.g. one light only

	// At the bench: so long the unit stood still, from the press that started it to its last picture.
	StoppedS  *float64   `json:"stopped_s,omitempty"`
	KindModel *ModelUse  `json:"kind_model,omitempty"` // absent: the rules alone said what kind each finding is
	Faceplate *Faceplate `json:"faceplate,omitempty"`  // absent: no face picture, or its outline was not found

	Plan *Plan `json:"plan,omitempty"` // what to do; absent in results of earlier programs

	ReasonPhrases  []Phrase `json:"reason_phrases,omitempty"` // Reasons and Warnings, each in its place, to be told in any language
	WarningPhrases []Phrase `json:"warning_phrases,omitempty"`
}

// Seam is the step all around the unit.
type Seam struct {
	Stations    []StepStation `json:"stations"`
	WorstStepUM *float64      `json:"worst_step_um,omitempty"` // the step of largest size, with its sign
	Shape       *SeamShape    `json:"shape,omitempty"`         // absent: too few stations were measured
}

// Surface says how much of a surface was looked at, as shares of it (0..1): in
// all its lights, in some but not all, and in none. The three add up to 1.
type Surface struct {
	View        View            `json:"view"`
	AngleDeg    float64         `json:"angle_deg"` // turn of the shell; 0 for a face
	LookedAt    float64         `json:"looked_at"`
	OneLight    float64         `json:"one_light"`
	NotLookedAt float64         `json:"not_looked_at"`
	Why         map[Why]float64 `json:"why,omitempty"` // shares that were not looked at in all lights, by cause
}

// ShellMap says how much of the shell was looked at over all turns, on its unrolled surface. The
// shell begins at the seam; below the last row, where the holder or the turned-away bottom begins, nothing was looked for in any turn.
type ShellMap struct {
	SeeThrough bool      `json:"see_through"` // clear or tinted: what lies inside shows
	LookedAt   float64   `json:"looked_at"`   // share of its area, over all turns, that was looked at in at least one light, 0..1
	StepDeg    float64   `json:"step_deg"`    // a column's width, degrees of turn; 360 is a whole number of columns
	StepMM     float64   `json:"step_mm"`     // a row's height along the axis, mm
	RadiusMM   []float64 `json:"radius_mm"`   // each row's mean distance from the axis, mm, from the seam down
	// As many: a digit a column, the first at turn 0: 2 looked at in all lights, 1 in some, 0 in none.
	Rows []string `json:"rows"`
}

// Side is a limb of an edge picture, as seen in the picture.
type Side string

// State says whether something was measured.
type State string

// The sides and states.
const (
	Left  Side = "left"
	Right Side = "right"

	Measured    State = "measured"
	Unmeasured  State = "not_measured"
	PictureOK   State = "ok"
	PictureNoOK State = "not_measured"
)

// StepStation is the step at one limb of one edge picture: at the left or right end of the seam there, where the
// unit's outline turns away from the camera.
type StepStation struct {
	Image    string   `json:"image"`
	AngleDeg float64  `json:"angle_deg"`
	Side     Side     `json:"side"`
	State    State    `json:"state"`
	Reason   string   `json:"reason,omitempty"`  // why it was not measured
	StepUM   *float64 `json:"step_um,omitempty"` // + proud: the faceplate stands out beyond the shell
	UUM      *float64 `json:"u_um,omitempty"`    // standard uncertainty, k = 1
	GapUM    *float64 `json:"gap_um,omitempty"`  // depth of a groove below the fitted sides
	BeadUM   *float64 `json:"bead_um,omitempty"` // height of glue above the fitted sides
	XPX      *float64 `json:"x_px,omitempty"`    // where the seam meets the limb
	YPX      *float64 `json:"y_px,omitempty"`
	SeamFrom string   `json:"seam_from,omitempty"` // "picture": seen; "rim": from the faceplate's rim and thickness
	Warnings []string `json:"warnings,omitempty"`
	Budget   *Budget  `json:"budget,omitempty"` // how UUM comes about; kept in result.json only where asked for

	ReasonPhrase   *Phrase  `json:"reason_phrase,omitempty"` // Reason and Warnings, to be told in any language
	WarningPhrases []Phrase `json:"warning_phrases,omitempty"`
}

// Why is Reason as a phrase, also of a station that has none.
func (s *StepStation) Why() Phrase {
	if s.ReasonPhrase == nil {
		return Text(s.Reason)
	}
	return *s.ReasonPhrase
}

// Finding is one defect, seen in one or more pictures of a pose.
type Finding struct {
	Number     int      `json:"number"` // from 1, as drawn in the pictures
	Image      string   `json:"image"`  // the picture in which it shows best
	Kind       Kind     `json:"type"`
	Box        Box      `json:"box_px"`
	DiameterMM *float64 `json:"diameter_mm,omitempty"` // spots: geometric mean of length and width; a disc's diameter
	LengthMM   *float64 `json:"length_mm,omitempty"`
	WidthMM    *float64 `json:"width_mm,omitempty"`
	UDiamMM    *float64 `json:"u_diameter_mm,omitempty"` // standard uncertainties of these, k = 1
	ULengthMM  *float64 `json:"u_length_mm,omitempty"`
	UWidthMM   *float64 `json:"u_width_mm,omitempty"`
	AreaMM2    *float64 `json:"area_mm2,omitempty"`
	AngleDeg   *float64 `json:"angle_deg,omitempty"` // of the long axis, 0..180, counter-clockwise from the picture's x axis
	Lines      int      `json:"lines,omitempty"`     // sanding marks: number of lines
	// On the shell: with the unit turned by so much it lies in the middle of the picture, 0..360.
	TurnDeg     *float64           `json:"turn_deg,omitempty"`
	BelowMM     *float64           `json:"below_mm,omitempty"` // on the shell: so far below the seam, along the axis, >= 0
	Zone        Zone               `json:"zone"`
	Severity    Severity           `json:"severity"`
	Confidence  float64            `json:"confidence"`
	Advice      string             `json:"advice"`
	Features    map[string]float64 `json:"features,omitempty"` // what led to its kind
	AlsoIn      []Sighting         `json:"also_in,omitempty"`  // the same defect in the scene's other pictures
	StepStation string             `json:"station,omitempty"`  // seam findings: "120 deg, left"
	ValueUM     *float64           `json:"value_um,omitempty"` // seam findings: the step, gap or bead
	Rule        *RuleCall          `json:"rule,omitempty"`     // what the rules call it, where a learned model was asked
	// Of the diameter, else of the length; kept in result.json only where asked for.
	Budget *Budget `json:"budget,omitempty"`

	AdvicePhrase *Phrase `json:"advice_phrase,omitempty"` // Advice, to be told in any language
}

// RuleCall is what the rules call a finding, beside what a learned model does.
type RuleCall struct {
	Kind       Kind    `json:"type"`
	Confidence float64 `json:"confidence"`
}

// ModelUse is a learned model that kinds were called with.
type ModelUse struct {
	Name   string `json:"name"`   // its date and the beginning of its hash
	SHA256 string `json:"sha256"` // of its file's bytes
	Made   string `json:"made"`   // date
	Labels int    `json:"labels"` // that it was fitted to
}

// Sighting is where else a finding shows.
type Sighting struct {
	Image string `json:"image"`
	Box   Box    `json:"box_px"`
}

// PictureReport says whether a picture was fit to measure.
type PictureReport struct {
	File        string    `json:"file"`
	View        View      `json:"view"`
	Light       Light     `json:"light"`
	AngleDeg    float64   `json:"angle_deg,omitempty"` // the unit's turn, of edge and shell pictures; absent: 0
	State       State     `json:"state"`               // ok | not_measured
	Problems    []Problem `json:"problems"`
	SharpnessPX *float64  `json:"sharpness_px,omitempty"` // 10-90 % width of the outline's edge
	Clipped     *float64  `json:"clipped,omitempty"`      // share of the unit's pixels at full scale
	MMPerPX     *float64  `json:"mm_per_px,omitempty"`    // where it differs from the result's
	WidthPX     int       `json:"width_px,omitempty"`
	HeightPX    int       `json:"height_px,omitempty"`
}

// GlossMap and SlopeMap are the names of the pictures that are made of a screen's stripes.
const (
	GlossMap = "face_gloss_map.jpg"
	SlopeMap = "face_slope_map.jpg"
)

// Mirror is how a faceplate mirrors a screen that shows stripes. Slopes are over wavelengths
// of 0.125 to 4 mm, the faceplate's own shape and the noise taken off.
type Mirror struct {
	// Share of the face whose slopes are too steep to follow, or that mirrors nothing, 0..1.
	LostGloss float64  `json:"lost_gloss"`
	PhaseRad  *float64 `json:"phase_rad,omitempty"`   // root mean square of the stripes' phase
	UPhaseRad *float64 `json:"u_phase_rad,omitempty"` // standard uncertainty, k = 1
	// Root mean square slope; absent where the station does not tell where the screen stands.
	SlopeMRad  *float64  `json:"slope_mrad,omitempty"`
	USlopeMRad *float64  `json:"u_slope_mrad,omitempty"` //
	AtLeast    bool      `json:"lower_bound,omitempty"`  // what is told is a lower bound: slopes too steep to follow are not in it
	MainMM     *float64  `json:"main_wave_mm,omitempty"` // the wavelength around which there is most
	Octaves    []Octave  `json:"octaves,omitempty"`      // the longest waves first
	WaveMM     []float64 `json:"wave_mm,omitempty"`      // the curve: wavelengths,
	// And variance per octave: mrad^2, or rad^2 of phase where slopes are absent.
	PerOctave []float64 `json:"variance_per_octave,omitempty"`
	// Slopes beside the limits of this stage; absent where slopes are, or there are no limits.
	Bands     []Band   `json:"bands,omitempty"`
	RangeRad  float64  `json:"relief_rad"`            // phase that the slope map shows as white or black
	RangeMRad *float64 `json:"relief_mrad,omitempty"` // and slope
}

// Octave is the variance of the waves between two wavelengths.
type Octave struct {
	FromMM    float64 `json:"from_mm"`
	ToMM      float64 `json:"to_mm"`
	Variance  float64 `json:"variance"`
	UVariance float64 `json:"u_variance"` // standard uncertainty
}

// OctaveEndsMM are the wavelengths between which octaves lie, the longest first.
var OctaveEndsMM = []float64{4, 2, 1, 0.5, 0.25, 0.125}

// Band is the root mean square slope of the waves between two wavelengths, beside its limits;
// all in mrad. A class holds what is over its bound; one that is absent is never reached.
type Band struct {
	FromMM     float64  `json:"from_mm"` // of OctaveEndsMM, as the next
	ToMM       float64  `json:"to_mm"`
	SlopeMRad  float64  `json:"slope_mrad"`
	USlopeMRad float64  `json:"u_slope_mrad"` // standard uncertainty
	Minor      *float64 `json:"minor_mrad,omitempty"`
	Moderate   *float64 `json:"moderate_mrad,omitempty"`
	Major      *float64 `json:"major_mrad,omitempty"`
	Critical   *float64 `json:"critical_mrad,omitempty"`
	Severity   Severity `json:"severity,omitempty"` // what this band makes of the orange peel; absent where there is none
}

// Slope is the root mean square slope of the waves between two of OctaveEndsMM, mrad, and
// its standard uncertainty; what makes octaves uncertain, their scale first, is taken to be the
// same in all. ok is false where slopes were not measured.
func (m *Mirror) Slope(fromMM, toMM float64) (mrad, u float64, ok bool) {
	if m == nil || m.SlopeMRad == nil {
		return 0, 0, false
	}
	if fromMM >= OctaveEndsMM[0] && toMM <= OctaveEndsMM[len(OctaveEndsMM)-1] && m.USlopeMRad != nil {
		return *m.SlopeMRad, *m.USlopeMRad, true
	}
	v, uv := 0.0, 0.0
	for _, o := range m.Octaves {
		if o.FromMM <= fromMM && o.ToMM >= toMM {
			v, uv, ok = v+o.Variance, uv+o.UVariance, true
		}
	}
	mrad, u = RootOf(v, uv)
	return mrad, u, ok
}

// RootOf is the root of a variance, and the standard uncertainty that it has from the variance's.
func RootOf(v, u float64) (root, uRoot float64) {
	root = math.Sqrt(max(0, v))
	if u > 0 {
		uRoot = u / (2 * max(root, math.Sqrt(u)))
	}
	return root, uRoot
}

// ScaleUse is a scale file that a unit was measured with.
type ScaleUse struct {
	View    View    `json:"view,omitempty"` // absent: all views
	File    string  `json:"file"`
	SHA256  string  `json:"sha256"` // of the file's bytes
	Made    string  `json:"made"`   // date
	MMPerPX float64 `json:"mm_per_px"`
	URel    float64 `json:"u_rel"` // relative standard uncertainty, k = 1
	Lens    bool    `json:"lens"`  // whether its distortion was taken off
}

// ScaleOf returns the scale of a picture, mm per pixel; 0 where it is not known.
func (r *Result) ScaleOf(file string) float64 {
	for i := range r.Pictures {
		if p := &r.Pictures[i]; p.File == file && p.MMPerPX != nil {
			return *p.MMPerPX
		}
	}
	return r.MMPerPX
}

// Problem is one check that a picture did not meet.
type Problem struct {
	Name   string   `json:"name"`            // e.g. "too_bright"
	Value  *float64 `json:"value,omitempty"` // what was measured
	Limit  *float64 `json:"limit,omitempty"` // and its limit, in the same unit
	Unit   string   `json:"unit,omitempty"`  // "share", "px", ...
	Remedy string   `json:"remedy"`          // one line: what to do
	Warn   bool     `json:"warn,omitempty"`  // true: told, but the picture is measured all the same

	RemedyPhrase *Phrase `json:"remedy_phrase,omitempty"` // Remedy, to be told in any language
}

// Phrase is the remedy as a phrase, also of a report that has none.
func (q Problem) Phrase() Phrase {
	if q.RemedyPhrase == nil {
		return Text(q.Remedy)
	}
	return *q.RemedyPhrase
}

// NotLookedAt is the name of the problem, a mere warning, of a picture that was
// read and into which no part of the program looks.
const NotLookedAt = "not_looked_at"

// LookedAt says whether a picture counts as one of its view: whether it is not
// one that was read only.
func (p *PictureReport) LookedAt() bool {
	return !slices.ContainsFunc(p.Problems, func(q Problem) bool { return q.Name == NotLookedAt })
}

// OrNaN is a number that may not have been measured; NaN where it was not.
func OrNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// Num wraps a measured number; NaN and infinities become "not measured" (nil).
func Num(v float64) *float64 {
	if v != v || v > 1e300 || v < -1e300 {
		return nil
	}
	return &v
}
