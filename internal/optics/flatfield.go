package optics

import (
	"fmt"
	"time"

	"finishbench/internal/part"
)

// FlatField is what a white card shows: how much light each place of the picture
// gets, smooth, by channel. It is the content of a flat-field file (JSON), and
// corrects later pictures of the same camera, lens, stop, focus and lamp. Start
// from [NewFlatField] or [ReadFlatField].
type FlatField struct {
	Schema   int    `json:"schema"` // 1
	WidthPX  int    `json:"width_px"`
	HeightPX int    `json:"height_px"`
	Channels int    `json:"channels"` // 1 or 3
	Encoding string `json:"encoding"` // of the pictures' samples: "srgb" or "linear"

	// The grid's nodes are the middles of Cols x Rows equal cells of the picture.
	Cols int `json:"cols"`
	Rows int `json:"rows"`
	// Light is by channel, row by row: linear light at the nodes, dark taken off,
	// as a share of the channel's mean.
	Light [][]float64 `json:"light"`
	// Dark is by channel the dark frame's linear light, 0..1, mean over the
	// picture; absent: no dark frame was taken, none is taken off.
	Dark []float64 `json:"dark,omitempty"`

	LevelPct    []float64 `json:"level_pct"`              // mean linear light of the card by channel, % of full
	VignettePct *float64  `json:"vignette_pct,omitempty"` // loss at the corners that is even about the middle; nil: too few cells
	GradientPct *float64  `json:"gradient_pct,omitempty"` // change from side to side that is left: the lamp's or the card's
	UnevenPct   float64   `json:"uneven_pct"`             // (most - least) / most
	ResidualPct float64   `json:"residual_pct"`           // rms of the averaged picture about the grid: grain, dust, noise
	// Dust on the sensor or lens; on the card too where there is one picture only.
	Spots        []Spot             `json:"spots"`
	SpotsOnCard  int                `json:"spots_on_card"` // spots that were not in every picture
	HotPixels    int                `json:"hot_pixels"`    // of the dark frame
	Made         time.Time          `json:"made"`
	MaxAgeDays   int                `json:"max_age_days"`
	Pictures     []FlatFieldPicture `json:"pictures"`
	DarkPictures []FlatFieldPicture `json:"dark_pictures,omitempty"`
	Warnings     []string           `json:"warnings,omitempty"`

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"` // Warnings, to be told in any language
}

// FlatFieldPicture is a picture that a flat field was made from.
type FlatFieldPicture struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
}

// Spot is a dark place that a speck of dust throws on the sensor.
type Spot struct {
	XPX        float64 `json:"x_px"`
	YPX        float64 `json:"y_px"`
	DiameterPX float64 `json:"diameter_px"` // of the disc of the same area
	DepthPct   float64 `json:"depth_pct"`   // loss of light in its middle
}

// FlatFieldOptions are the limits of [NewFlatField]. Start from
// [DefaultFlatFieldOptions].
type FlatFieldOptions struct {
	Linear    bool    // samples are proportional to light; false: sRGB-encoded
	Cells     int     // along the longer side
	ClipShare float64 // more clipped samples than this share refuse a picture
	LeastMean float64 // darker pictures, linear light, are refused
	LeastCell float64 // a cell darker than this share of the brightest: no card there
	MostOff   float64 // share of pixels that may lie 10 % off the grid
	SpotDepth float64 // a spot takes at least this share of the light
}

// DefaultFlatFieldOptions is common practice, no source.
func DefaultFlatFieldOptions() FlatFieldOptions {
	return FlatFieldOptions{Cells: 32, ClipShare: 0.001, LeastMean: 0.05, LeastCell: 0.1, MostOff: 0.02, SpotDepth: 0.02}
}

// Named is a picture with the name that messages call it by.
type Named struct {
	Name  string
	Image *part.Image
}

// linearTable gives linear light, 0..1, for each sample of an image's depth.
func (o FlatFieldOptions) linearTable(im *part.Image) []float32 { return SamplesToLight(im, o.Linear) }

// SamplesToLight is the table from samples to light.
func SamplesToLight(im *part.Image, linear bool) []float32 {
	if !linear {
		if im.Pix16 != nil {
			return Linear16()
		}
		return Linear8()
	}
	n := im.MaxSample()
	t := make([]float32, n+1)
	for i := range t {
		t[i] = float32(i) / float32(n)
	}
	return t
}

// NewFlatField makes a flat field from pictures of an evenly lit white card that
// fills the view, out of focus best, and from dark frames (lens covered, the
// same exposure), which may be none. Several pictures are averaged; move the card
// between them, and dust on the card can be told from dust on the sensor. Made,
// MaxAgeDays and the pictures' hashes are left to the caller.
//
// Each cell of the grid gets the mean of its pixels near their median, so that
// neither dust nor noise prints through.
//
// Errors: no picture; sizes, channels or depths differ; clipped; too dark; not an
// even card.
func NewFlatField(white, dark []Named, o FlatFieldOptions) (*FlatField, error) {
	if len(white) == 0 {
		return nil, fmt.Errorf("optics: flat field: give at least one picture of a white card")
	}
	if err := sameKind(append(append([]Named{}, white...), dark...)); err != nil {
		return nil, err
	}
	im := white[0].Image
	f := &FlatField{Schema: 1, WidthPX: im.W, HeightPX: im.H, Channels: im.C, Encoding: "srgb", MaxAgeDays: 90, Spots: []Spot{}}
	if o.Linear {
		f.Encoding = "linear"
	}
	f.Cols, f.Rows = gridSize(im.W, im.H, o.Cells)
	for _, n := range white {
		if err := checkWhite(n, o); err != nil {
			return nil, err
		}
	}
	if err := f.takeDark(dark, o); err != nil {
		return nil, err
	}
	for c := range im.C {
		mean := meanLight(white, c, o)
		if len(f.Dark) > 0 {
			for i := range mean.V {
				mean.V[i] -= float32(f.Dark[c])
			}
		}
		f.addChannel(mean)
	}
	if err := f.check(white, o); err != nil {
		return nil, err
	}
	f.describe(len(white), o)
	return f, nil
}

// sameKind refuses pictures that do not go together.
func sameKind(all []Named) error {
	for i, n := range all {
		if err := n.Image.Validate(); err != nil {
			return fmt.Errorf("optics: flat field: %s: %w", n.Name, err)
		}
		a, b := all[0].Image, n.Image
		switch {
		case a.W != b.W || a.H != b.H:
			return fmt.Errorf("optics: flat field: %s has %dx%d pixels, %s has %dx%d: all must come from one camera at one setting",
				all[0].Name, a.W, a.H, all[i].Name, b.W, b.H)
		case a.C != b.C:
			return fmt.Errorf("optics: flat field: %s has %d channels, %s has %d: all must be grey or all in colour", all[0].Name, a.C,
				all[i].Name, b.C)
		case a.MaxSample() != b.MaxSample():
			return fmt.Errorf("optics: flat field: %s and %s differ in bits a sample: all must come from one camera at one setting",
				all[0].Name, all[i].Name)
		}
	}
	if all[0].Image.W < 16 || all[0].Image.H < 16 {
		return fmt.Errorf("optics: flat field: %s is smaller than 16 pixels a side", all[0].Name)
	}
	return nil
}

// gridSize is the number of cells each way: square ones, 16 px at least so
// that noise averages out.
func gridSize(w, h, cells int) (cols, rows int) {
	size := max(16, float64(max(w, h))/float64(cells))
	return max(3, int(float64(w)/size)), max(3, int(float64(h)/size))
}

// checkWhite refuses a picture that is clipped or too dark.
func checkWhite(n Named, o FlatFieldOptions) error {
	top := n.Image.MaxSample()
	t := o.linearTable(n.Image)
	clipped, sum, total := 0, 0.0, n.Image.W*n.Image.H*n.Image.C
	for i := range total {
		s := SampleOf(n.Image, i)
		sum += float64(t[s])
		if s >= top {
			clipped++
		}
	}
	if share := float64(clipped) / float64(total); share > o.ClipShare {
		return fmt.Errorf("optics: flat field: %.1f %% of the samples of %s are clipped: shorten the exposure until the card's brightest "+
			"part is at about 70 %% of full", 100*share, n.Name)
	}
	if mean := sum / float64(total); mean < o.LeastMean {
		return fmt.Errorf("optics: flat field: %s has only %.1f %% of full light on average: lengthen the exposure until the card's "+
			"brightest part is at about 70 %% of full", n.Name, 100*mean)
	}
	return nil
}
