package synth

import (
	"encoding/json"
	"flag"
	"hash/fnv"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"finishbench/internal/part"
)

var (
	alterTo   = flag.String("alter", "", "folder to write altered sets of units to")
	alterFrom = flag.String("from", "", "folder of the units to alter")
	alterSeed = flag.Uint64("seed", 1, "seed of the altered sets")
)

// sparkleUnits is how many units, drawn at random, are given sparkle.
const sparkleUnits = 10

// TestAlterSets writes DIR/<seed>/<condition>/<unit>/ with both altered face pictures
// and the truth, for each condition and each ray-traced unit:
//
//	go test ./internal/synth -run AlterSets -alter DIR -from UNITS -seed 1
//
// Folders as seen from this package. A set that is there already is left alone.
func TestAlterSets(t *testing.T) {
	if *alterTo == "" {
		t.Skip("writes altered sets, where told to with -alter DIR -from UNITS")
	}
	units, _ := filepath.Glob(filepath.Join(*alterFrom, "*", "truth.json"))
	if len(units) == 0 {
		t.Fatalf("no units in %q: say where they are with -from", *alterFrom)
	}
	for _, condition := range Conditions {
		set := filepath.Join(*alterTo, strconv.FormatUint(*alterSeed, 10), condition)
		if _, err := os.Stat(set); err == nil {
			continue
		}
		chosen := units
		if condition == "sparkle" {
			chosen = slices.Clone(units)
			rand.New(rand.NewPCG(*alterSeed, 0)).Shuffle(len(chosen), func(i, j int) { chosen[i], chosen[j] = chosen[j], chosen[i] })
			chosen = chosen[:min(sparkleUnits, len(chosen))]
		}
		for _, u := range chosen {
			alterUnit(t, filepath.Dir(u), set+".unfinished", condition)
		}
		if err := os.Rename(set+".unfinished", set); err != nil {
			t.Fatal(err)
		}
	}
}

func alterUnit(t *testing.T, from, set, condition string) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(from, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth map[string]any
	var has struct {
		MMPerPX float64 `json:"mm_per_px"`
		Face    struct {
			Outline [][2]float64 `json:"outline_px"`
			Defects []struct {
				Type part.Kind
				Box  part.Box `json:"box_px"`
			}
		}
	}
	if err := json.Unmarshal(raw, &truth); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &has); err != nil {
		t.Fatal(err)
	}
	name := filepath.Base(from)
	h := fnv.New64a()
	h.Write([]byte(condition + "/" + name + "/" + strconv.FormatUint(*alterSeed, 10)))
	seed := h.Sum64()

	p := Photographed{Diffuse: readJPEG(t, filepath.Join(from, "face_diffuse.jpg")),
		Raking: readJPEG(t, filepath.Join(from, "face_raking.jpg")), MMPerPX: has.MMPerPX}
	for _, q := range has.Face.Outline {
		p.Outline = append(p.Outline, part.Point{X: q[0], Y: q[1]})
	}
	for _, d := range has.Face.Defects {
		p.Defects = append(p.Defects, d.Box)
		p.Opaque = append(p.Opaque, d.Type == part.Dust)
	}
	diffuse, raking, err := Alter(p, condition, seed)
	if err != nil {
		t.Fatalf("%s, %s: %v", condition, name, err)
	}
	to := filepath.Join(set, name)
	if err := os.MkdirAll(to, 0o777); err != nil {
		t.Fatal(err)
	}
	writeJPEG(t, filepath.Join(to, "face_diffuse.jpg"), diffuse)
	writeJPEG(t, filepath.Join(to, "face_raking.jpg"), raking)
	truth["edge"], truth["shells"] = []any{}, []any{}
	truth["altered"] = map[string]any{"condition": condition, "seed": *alterSeed}
	b, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(to, "truth.json"), b, 0o666); err != nil {
		t.Fatal(err)
	}
}

func readJPEG(t *testing.T, file string) *part.Image {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	src, err := jpeg.Decode(f)
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return fromJPEG(src)
}

// writeJPEG writes a picture as the ray-traced units are: quality 95, 4:2:0.
func writeJPEG(t *testing.T, file string, im *part.Image) {
	t.Helper()
	c := image.NewRGBA(image.Rect(0, 0, im.W, im.H))
	for i := range im.W * im.H {
		copy(c.Pix[4*i:], []uint8{im.Pix8[3*i], im.Pix8[3*i+1], im.Pix8[3*i+2], 255})
	}
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(f, c, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
