package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// smallMMPerPX is the scale of the small units.
const smallMMPerPX = 0.03

// smallUnits writes the units of testdata/images to a folder at half their size, each with the
// pictures of these names: four pixels' samples become their mean.
func smallUnits(t testing.TB, pictures ...string) string {
	t.Helper()
	const root = "../../testdata/images"
	dir := t.TempDir()
	for _, picture := range pictures {
		files, err := filepath.Glob(filepath.Join(root, "*", picture))
		if err != nil || len(files) == 0 {
			t.Fatalf("no %s in %s: %v", picture, root, err)
		}
		for _, file := range files {
			small, err := halved(file)
			if err != nil {
				t.Fatal(err)
			}
			unit := filepath.Join(dir, filepath.Base(filepath.Dir(file)))
			if err := os.MkdirAll(unit, 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(unit, picture), small, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	return dir
}

func halved(file string) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	im, err := jpeg.Decode(f)
	if err != nil {
		return nil, err
	}
	b := im.Bounds()
	small := image.NewRGBA(image.Rect(0, 0, b.Dx()/2, b.Dy()/2))
	for y := range b.Dy() / 2 {
		for x := range b.Dx() / 2 {
			var sum [3]uint32
			for k := range 4 {
				red, green, blue, _ := im.At(b.Min.X+2*x+k%2, b.Min.Y+2*y+k/2).RGBA()
				sum[0], sum[1], sum[2] = sum[0]+red, sum[1]+green, sum[2]+blue
			}
			small.SetRGBA(x, y, color.RGBA{R: uint8(sum[0] / 4 >> 8), G: uint8(sum[1] / 4 >> 8), B: uint8(sum[2] / 4 >> 8), A: 255})
		}
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, small, &jpeg.Options{Quality: 95})
	return out.Bytes(), err
}

// The small units are measured as the large ones are: each picture is fit, the seam has its two
// steps, the face findings.
func TestSmallUnits(t *testing.T) {
	r, _ := resultIn(t, cli.ExitFails, filepath.Join(smallUnits(t, "face_diffuse.jpg", "face_raking.jpg", "edge_000.jpg"), "u06-R"),
		"--mm-per-px", "0.03", "--stage", "wet")
	for _, s := range r.Seam.Stations {
		if s.StepUM == nil {
			t.Errorf("no step at %s %s: %s", s.Image, s.Side, s.Reason)
		}
	}
	if len(r.Seam.Stations) != 2 || len(r.Findings) == 0 || len(r.Pictures) != 3 {
		t.Errorf("%d stations, %d findings, %d pictures: %q", len(r.Seam.Stations), len(r.Findings), len(r.Pictures), r.Warnings)
	}
	for _, p := range r.Pictures {
		if p.State != part.PictureOK {
			t.Errorf("%s is %s: %+v", p.File, p.State, p.Problems)
		}
	}
}
