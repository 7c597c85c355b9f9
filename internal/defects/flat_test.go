package defects

import (
	"math"
	"slices"
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// shaded is a picture with less light away from its middle, and a white card
// taken with the same lens.
func shaded(t *testing.T, im *part.Image) (*part.Image, *optics.FlatField) {
	t.Helper()
	fall := func(x, y int) float64 {
		dx, dy := float64(2*x-im.W)/float64(im.W), float64(2*y-im.H)/float64(im.H)
		return 1 - 0.25*(dx*dx+dy*dy)
	}
	make8 := func(light func(i, x, y int) float64) *part.Image {
		out := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
		for y := range im.H {
			for x := range im.W {
				for c := range im.C {
					i := (y*im.W+x)*im.C + c
					out.Pix8[i] = uint8(math.Round(255 * optics.LinearToSRGB(light(i, x, y)*fall(x, y))))
				}
			}
		}
		return out
	}
	table := optics.Linear8()
	card := make8(func(int, int, int) float64 { return 0.7 })
	flat, err := optics.NewFlatField([]optics.Named{{Name: "card", Image: card}}, nil, optics.DefaultFlatFieldOptions())
	if err != nil {
		t.Fatal(err)
	}
	return make8(func(i, x, y int) float64 { return float64(table[im.Pix8[i]]) }), flat
}

// unlike is by what share two planes differ, at most, apart from a common
// factor: a flat field keeps the mean light, not the brightest.
func unlike(a, b *part.Plane) float64 {
	var ratio []float64
	for k, v := range b.V {
		if v > 0.05 { // below, a step of 8 bits is more than a per cent
			ratio = append(ratio, float64(a.V[k]/v))
		}
	}
	middle := robust.Quantile(slices.Clone(ratio), 0.5)
	worst := 0.0
	for _, r := range ratio {
		worst = max(worst, math.Abs(r/middle-1))
	}
	return worst
}

// With a flat field a shaded picture is evened before anything is looked for:
// its planes are those of the unshaded picture, and so is what is found.
func TestFlatFieldEvensTheScene(t *testing.T) {
	pictures, truth, mm := facePair("plain", 3, nil, everyKind)
	even, err := Find(pictures, scene.DefaultParams(mm))
	if err != nil {
		t.Fatal(err)
	}
	dark := make([]scene.Picture, len(pictures))
	for i, p := range pictures {
		im, flat := shaded(t, p.Image)
		dark[i] = scene.Picture{Shot: p.Shot, Image: im, Flat: flat}
		want, got := p.Plane(0, 2, 0, 0, 560, 440), dark[i].Plane(0, 2, 0, 0, 560, 440)
		bare := scene.Picture{Image: im}.Plane(0, 2, 0, 0, 560, 440)
		worst, without := unlike(got, want), unlike(bare, want)
		// An 8-bit step is 1.5 % of linear light at this level; the gain's own bar is 0.5 %.
		if worst > 0.025 || without < 0.1 {
			t.Errorf("%s: evened to %.3f, without %.3f", p.Shot.File, worst, without)
		}
	}
	found, err := Find(dark, scene.DefaultParams(mm))
	if err != nil {
		t.Fatal(err)
	}
	var a, b tally
	a.add(even, truth)
	b.add(found, truth)
	if b.found < a.found-1 || b.falseCalls > a.falseCalls+1 {
		t.Errorf("found %d of %d, %d false calls; in even light %d, %d", b.found, b.visible, b.falseCalls, a.found, a.falseCalls)
	}
	small := *dark[0].Flat
	small.WidthPX /= 2
	if _, err := Find([]scene.Picture{{Shot: dark[0].Shot, Image: dark[0].Image, Flat: &small}}, scene.DefaultParams(mm)); err == nil {
		t.Error("a flat field of another size was taken")
	}
}
