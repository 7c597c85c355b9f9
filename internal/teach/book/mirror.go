package book

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
	"finishbench/internal/stripes"
	"finishbench/internal/synth"
	"finishbench/internal/teach"
	"finishbench/internal/truth"
)

// What a mirror showed is asked in the pictures that are made of it, which are no photographs: they have a
// light of their own, and are made anew from the photographs each time.
const (
	GlossLight part.Light = "gloss_map"
	SlopeLight part.Light = "slope_map"
	refMap                = "map:" // of a screen's stripes: a mapRef
)

// mapRef says of which pictures, and how, a map is made.
type mapRef struct {
	MMPerPX float64             `json:"mm_per_px"`
	Of      []teach.ItemPicture `json:"of"`
}

// mapLight is the light of a map's picture.
func mapLight(name string) part.Light {
	if name == part.SlopeMap {
		return SlopeLight
	}
	return GlossLight
}

// screenPictures are the pictures of a set before a screen that a test shows: what is made of it first, then
// stripes, and the paint under the lit screen. of are the set's pictures; of less than a set only the lit screen's.
func screenPictures(ctx context.Context, store *records.Store, of []teach.ItemPicture, mmPerPX float64) ([]teach.ItemPicture, error) {
	shown := map[part.Light]teach.ItemPicture{}
	for _, p := range of {
		shown[p.Light] = p
	}
	var out []teach.ItemPicture
	images, err := screenImages(ctx, store, of)
	if err != nil {
		return nil, err
	}
	if m, err := MirrorMaps(images, nil, mmPerPX); err == nil {
		ref, err := json.Marshal(mapRef{mmPerPX, of})
		if err != nil {
			return nil, err
		}
		out = append(out, teach.ItemPicture{Light: GlossLight, Ref: refMap + string(ref)})
		if !m.Waving() {
			out = append(out, teach.ItemPicture{Light: SlopeLight, Ref: refMap + string(ref)})
		}
		out = append(out, shown[part.StripesX0])
	}
	if white, ok := shown[part.White]; ok {
		out = append(out, white)
	}
	return out, nil
}

// screenImages reads a set's pictures.
func screenImages(ctx context.Context, store *records.Store, of []teach.ItemPicture) (map[part.Light]*part.Image, error) {
	images := map[part.Light]*part.Image{}
	for _, p := range of {
		raw, err := QuizPicture(ctx, store, p)
		if err != nil {
			return nil, err
		}
		if images[p.Light], err = inspection.DecodeImage(raw, string(p.Light)+".jpg"); err != nil { // its content tells what it is
			return nil, fmt.Errorf("%w: %w", errGone, err)
		}
	}
	return images, nil
}

// mapPictureOf is a map's picture as a file.
func mapPictureOf(ctx context.Context, store *records.Store, p teach.ItemPicture) ([]byte, error) {
	r, err := mapRefOf(p)
	if err != nil {
		return nil, err
	}
	images, err := screenImages(ctx, store, r.Of)
	if err != nil {
		return nil, err
	}
	m, err := MirrorMaps(images, nil, r.MMPerPX)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errGone, err)
	}
	name, x0 := part.GlossMap, images[part.StripesX0]
	if p.Light == SlopeLight {
		name = part.SlopeMap
	}
	return report.EncodeJPEG(stripes.MapImage(m, name, x0.W, x0.H), 92)
}

func mapRefOf(p teach.ItemPicture) (r mapRef, err error) {
	if err = json.Unmarshal([]byte(strings.TrimPrefix(p.Ref, refMap)), &r); err != nil {
		err = fmt.Errorf("%w: what the map is made of cannot be read", errGone)
	}
	return r, err
}

// IsThere says whether a picture, or all of which a map is made, is there.
func IsThere(ctx context.Context, store *records.Store, p teach.ItemPicture) error {
	of := []teach.ItemPicture{p}
	if strings.HasPrefix(p.Ref, refMap) {
		r, err := mapRefOf(p)
		if err != nil {
			return err
		}
		of = r.Of
	}
	for _, q := range of {
		if _, err := QuizPicture(ctx, store, q); err != nil {
			return err
		}
	}
	return nil
}

// fromScreen says whether a known defect was told before a screen.
func fromScreen(k teach.KnownDefect) bool {
	return k.Light.OfScreen() || k.Light == GlossLight || k.Light == SlopeLight
}

// bestShown is the picture in which a defect is to be looked for: its own light where that is shown, and
// before a screen a map, or the lit screen for what the mirror does not show.
func bestShown(k teach.KnownDefect, shown []teach.ItemPicture) part.Light {
	has := func(l part.Light) bool {
		return slices.ContainsFunc(shown, func(p teach.ItemPicture) bool { return p.Light == l })
	}
	switch {
	case k.Light != part.NoLight && !k.Light.OfScreen():
		return k.Light
	case Mirrored(k.Kind) && has(GlossLight):
		return GlossLight
	case has(part.White):
		return part.White
	}
	return k.Light
}

// paintedSizes are the sizes, mm, of faults that are drawn for a test before a screen, all visible in what is made of
// it (common practice, no source).
var paintedSizes = map[part.Kind][2]float64{
	part.Bubble: {0.25, 1}, part.Crater: {0.25, 1}, part.Run: {0.8, 3}, part.Missed: {0.6, 2.4}, part.Haze: {0.9, 3},
}

const (
	paintedFaceMM = 5.6 // radius
	paintedSpotMM = 3.2 // faults lie within this distance of the face's middle,
	paintedGapMM  = 0.8 // and so far apart
)

// paintScreenUnit draws one unit before a screen: clean, or with a fault of a kind and up to two more of those that
// are asked and a mirror shows.
func paintScreenUnit(dir, name string, clean bool, kind part.Kind, o PaintOptions, rng *rand.Rand) error {
	p := synth.DefaultStripes()
	p.MMPerPX, p.RadiusMM, p.Paint, p.Seed = 0.018, paintedFaceMM, 0.08+0.3*rng.Float64(), rng.Uint64()>>8
	p.W = int(2.4 * p.RadiusMM / p.MMPerPX)
	p.H = p.W
	t := paintedTruth{Unit: name, Made: paintedMade, MMPerPX: p.MMPerPX, Pattern: "plain",
		Face: &truth.Surface{Files: map[string]string{}, Defects: []truth.Defect{}}}
	box := func(x, y, hx, hy float64) []float64 {
		b := part.BoxAround(part.Point{X: float64(p.W-1)/2 + x/p.MMPerPX, Y: float64(p.H-1)/2 - y/p.MMPerPX}, hx/p.MMPerPX, hy/p.MMPerPX)
		return b[:]
	}
	var faults []placedFlaw
	crown := 0.004 * rng.Float64() // rad per mm
	p.Slope = func(x, y float64) (sx, sy float64) { return crown * x, crown * y }
	switch {
	case clean:
	case kind == part.OrangePeel:
		slope, own := 0.002*math.Pow(4, rng.Float64()), p.Slope
		peel := synth.OrangePeel(0.5+0.8*rng.Float64(), slope, rng.Uint64())
		p.Slope = func(x, y float64) (float64, float64) {
			sx, sy := peel(x, y)
			ox, oy := own(x, y)
			return sx + ox, sy + oy
		}
		t.Face.Defects = append(t.Face.Defects, truth.Defect{Kind: string(kind), Box: box(0, 0, p.RadiusMM, p.RadiusMM),
			SlopeMRad: 1000 * slope})
	default:
		faults = scatterFlaws(kind, o, rng)
		own := p.Slope
		p.Slope = func(x, y float64) (float64, float64) {
			sx, sy := own(x, y)
			for _, f := range faults {
				tx, ty, _ := f.At(x-f.x, y-f.y)
				sx, sy = sx+tx, sy+ty
			}
			return sx, sy
		}
		p.Gloss = func(x, y float64) float64 {
			gloss := 1.0
			for _, f := range faults {
				_, _, g := f.At(x-f.x, y-f.y)
				gloss *= g
			}
			return gloss
		}
	}
	for _, f := range faults {
		hx, hy := f.HalfMM()
		d := truth.Defect{Kind: string(f.Kind), Box: box(f.x, f.y, hx, hy)}
		if f.Kind == part.Run {
			width := f.WidthMM()
			d.Length, d.Width = &f.SizeMM, &width
		} else {
			d.Diameter = &f.SizeMM
		}
		t.Face.Defects = append(t.Face.Defects, d)
	}
	images, _ := synth.Stripes(p)
	pictures := map[string]*part.Image{}
	for l, im := range images {
		file := "face_" + string(l) + ".jpg"
		t.Face.Files[string(l)], pictures[file] = file, im
	}
	return writePainted(dir, t, pictures)
}

// placedFlaw is a fault whose middle is at x, y mm from the face's.
type placedFlaw struct {
	synth.Flaw
	x, y float64
}

// scatterFlaws are a fault of a kind, and up to two more, that lie apart.
func scatterFlaws(kind part.Kind, o PaintOptions, rng *rand.Rand) []placedFlaw {
	kinds := []part.Kind{kind}
	for range rng.IntN(3) {
		if k := o.Kinds[rng.IntN(len(o.Kinds))]; slices.Contains(synth.FlawKinds, k) {
			kinds = append(kinds, k)
		}
	}
	var out []placedFlaw
	for _, k := range kinds {
		f := placedFlaw{Flaw: synth.Flaw{Kind: k, SlopeRad: 0.01 * math.Pow(4, rng.Float64()), Lost: 0.2 + 0.3*rng.Float64(),
			AngleDeg: 180 * rng.Float64()}}
		between := paintedSizes[k]
		spot := synth.Defect{DiameterMM: 1}
		resize(&spot, o.Difficulty, rng)
		f.SizeMM = between[0] * math.Pow(between[1]/between[0], math.Log(spot.DiameterMM/spotsMM[0])/math.Log(spotsMM[1]/spotsMM[0]))
		if k == part.Missed {
			f.SlopeRad = 0.05
		}
		for range 500 {
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			r := paintedSpotMM * math.Sqrt(rng.Float64())
			f.x, f.y = r*cos, r*sin
			hx, hy := f.HalfMM()
			if !slices.ContainsFunc(out, func(q placedFlaw) bool {
				qx, qy := q.HalfMM()
				return math.Abs(f.x-q.x) < hx+qx+paintedGapMM && math.Abs(f.y-q.y) < hy+qy+paintedGapMM
			}) {
				out = append(out, f)
				break
			}
		}
	}
	return out
}
