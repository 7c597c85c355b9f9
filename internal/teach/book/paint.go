package book

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/synth"
	"finishbench/internal/teach"
	"finishbench/internal/truth"
)

// PaintOptions say which pictures are drawn.
type PaintOptions struct {
	Number     int
	Clean      float64
	Kinds      []part.Kind
	Difficulty teach.Difficulty // AnyDifficulty: mixed
	Seed       uint64
	Shell      bool // shells in turns, instead of faceplates
}

// PaintKinds are the kinds that are drawn under lamps, and PaintMirrored those that only a screen shows.
var (
	PaintKinds    = []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run}
	PaintMirrored = []part.Kind{part.OrangePeel, part.Haze, part.Missed}
)

// paintedTruth is the truth.json of a drawn unit: what truth.Unit reads.
type paintedTruth struct {
	Unit    string          `json:"unit"`
	Made    string          `json:"made"`
	MMPerPX float64         `json:"mm_per_px"`
	Pattern string          `json:"pattern,omitempty"`
	Shell   string          `json:"shell,omitempty"`
	Face    *truth.Surface  `json:"face,omitempty"`
	Shells  []truth.Surface `json:"shells,omitempty"`
}

const paintedMade = "drawn by formula with known defects (inspect quiz paint); no photograph"

// PaintUnits draws units' faceplates or shells with known defects into a folder each, in
// the form of testdata/images, and returns the folders.
func PaintUnits(dir string, o PaintOptions) ([]string, error) {
	all, usual := slices.Concat(PaintKinds, PaintMirrored), PaintKinds
	if o.Shell {
		all, usual = PaintShellKinds, PaintShellKinds
	}
	if len(o.Kinds) == 0 {
		o.Kinds = usual
	}
	for _, k := range o.Kinds {
		if !slices.Contains(all, k) {
			return nil, cli.Usagef("--kinds %s: it cannot be drawn; what can be is %s", k, part.JoinKinds(all))
		}
	}
	if o.Number < 1 || o.Number > 500 {
		return nil, cli.Usagef("--number %d: 1 to 500", o.Number)
	}
	if !(o.Clean >= 0 && o.Clean <= 1) {
		return nil, cli.Usagef("--clean %g: a share from 0 to 1", o.Clean)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, cli.Usagef("%s cannot be made: %w: name a folder to draw into", dir, cli.PlainPath(err))
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x9a1e7))
	clean := make([]bool, o.Number)
	for i := range int(o.Clean*float64(o.Number) + 0.5) {
		clean[i] = true
	}
	rng.Shuffle(len(clean), func(i, j int) { clean[i], clean[j] = clean[j], clean[i] })
	var units []string
	for i := range o.Number {
		name := fmt.Sprintf("drawn-%d-%03d", o.Seed, i+1)
		unit := filepath.Join(dir, name)
		if err := os.Mkdir(unit, 0o755); err != nil {
			return nil, cli.Usagef("%s cannot be made: %w: give another --seed, or another folder", unit, cli.PlainPath(err))
		}
		kind := o.Kinds[i%len(o.Kinds)]
		paint := paintUnit
		switch {
		case o.Shell:
			paint = paintShell
		case slices.Contains(PaintMirrored, kind):
			paint = paintScreenUnit
		}
		if err := paint(unit, name, clean[i], kind, o, rng); err != nil {
			return nil, err
		}
		units = append(units, unit)
	}
	return units, nil
}

// paintUnit draws one unit: clean, or with a defect of a kind and up to two more
// of the others that are asked.
func paintUnit(dir, name string, clean bool, kind part.Kind, o PaintOptions, rng *rand.Rand) error {
	p := synth.DefaultFace()
	p.W, p.H, p.SizeMM = 1200, 900, 11.5
	p.Pattern = []string{"plain", "flake", "granite", "marble"}[rng.IntN(4)]
	light := 0.15 + 0.4*rng.Float64()
	p.BaseRGB = [3]float64{light * (0.8 + 0.4*rng.Float64()), light * (0.8 + 0.4*rng.Float64()), light * (0.8 + 0.4*rng.Float64())}
	p.BlurSigmaPX, p.NoiseSigma, p.Seed = 0.7, 1.2, rng.Uint64()
	if !clean {
		n := map[part.Kind]int{kind: 1}
		for range rng.IntN(3) {
			if k := o.Kinds[rng.IntN(len(o.Kinds))]; slices.Contains(PaintKinds, k) {
				n[k]++
			}
		}
		p.Defects = synth.RandomDefects(p, n, rng.Uint64())
		for i := range p.Defects {
			resize(&p.Defects[i], o.Difficulty, rng)
		}
	}
	diffuse, raking, drawn := synth.Face(p)
	t := paintedTruth{Unit: name, Made: paintedMade, MMPerPX: p.MMPerPX, Pattern: p.Pattern,
		Face: &truth.Surface{Files: map[string]string{"diffuse": "face_diffuse.jpg", "raking": "face_raking.jpg"},
			Defects: []truth.Defect{}}}
	for _, d := range drawn.Defects {
		t.Face.Defects = append(t.Face.Defects, known(d.Kind, d.Box, d.DiameterMM, d.LengthMM, d.WidthMM, d.CNRDiffuse, d.CNRRaking))
	}
	return writePainted(dir, t, map[string]*part.Image{"face_diffuse.jpg": diffuse, "face_raking.jpg": raking})
}

// writePainted writes a drawn unit's pictures and truth.
func writePainted(dir string, t paintedTruth, pictures map[string]*part.Image) error {
	data, err := json.MarshalIndent(t, "", " ")
	if err != nil {
		return err
	}
	for file, im := range pictures {
		b, err := jpegOf(im)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, file), b, 0o644); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(dir, truth.File), append(data, '\n'), 0o644)
}

func shownCNR(v float64) float64 { return min(math.Round(v*10)/10, 1e6) }

// spotsMM are the least and the largest diameter of a spot.
var spotsMM = [2]float64{0.05, 1}

// resize gives a spot a size of the difficulty asked for; what stretches keeps its
// own. Mixed: all sizes alike often on a logarithmic scale.
func resize(d *synth.Defect, want teach.Difficulty, rng *rand.Rand) {
	if d.DiameterMM == 0 {
		return
	}
	between := map[teach.Difficulty][2]float64{teach.AnyDifficulty: spotsMM, teach.Easy: {0.52, 1}, teach.Middling: {0.21, 0.49},
		teach.Hard: {0.05, 0.19}}[want]
	d.DiameterMM = between[0] * math.Pow(between[1]/between[0], rng.Float64())
}

// jpegOf writes an 8-bit colour picture as a JPEG file.
func jpegOf(im *part.Image) ([]byte, error) {
	out := image.NewRGBA(image.Rect(0, 0, im.W, im.H))
	for i := range im.W * im.H {
		for c := range 3 {
			out.Pix[4*i+c] = im.Pix8[im.C*i+min(c, im.C-1)]
		}
		out.Pix[4*i+3] = 255
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 92})
	return b.Bytes(), err
}
