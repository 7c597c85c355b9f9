package optics

import (
	"time"

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
	RMSPX         float64        `json:"rms_px"`                    // of the marks about the fit
	Rating        string         `json:"rating"`                    // good, fair, poor
	Warnings      []string       `json:"warnings,omitempty"`        //
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
