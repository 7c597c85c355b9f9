package defects

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// strewFlakes makes round flakes brighter than the plate, each in one picture alone:
// 4 a square millimetre, 0.04 to 0.1 mm across (common practice, no source).
func strewFlakes(pictures []scene.Picture, mm float64, seed uint64, over []synth.TruthDefect) {
	rng := rand.New(rand.NewPCG(seed, 1))
	w, h := pictures[0].Image.W, pictures[0].Image.H
	for range int(4 * float64(w*h) * mm * mm) {
		im := pictures[rng.IntN(2)].Image
		x, y, r := rng.Float64()*float64(w), rng.Float64()*float64(h), (0.04+0.06*rng.Float64())/2/mm
		gain := 1.2 + 0.5*rng.Float64()
		if slices.ContainsFunc(over, func(d synth.TruthDefect) bool { // dust lies on flakes, not under them
			b := d.Box.Grow(3)
			return d.Kind != part.Sanding && x > b[0] && y > b[1] && x < b[0]+b[2] && y < b[1]+b[3]
		}) {
			continue
		}
		for j := max(0, int(y-r-2)); j < min(h, int(y+r+3)); j++ {
			for i := max(0, int(x-r-2)); i < min(w, int(x+r+3)); i++ {
				in := math.Max(0, math.Min(1, r+0.8-math.Hypot(float64(i)-x, float64(j)-y)))
				for c := range im.C {
					p := &im.Pix8[(j*w+i)*im.C+c]
					*p = uint8(math.Min(250, float64(*p)*(1+in*(gain-1))))
				}
			}
		}
	}
}

// A plate whose flakes shine in one light each is not called full of defects, what is
// bright or dark in both lights is found on it, and the result says what cannot be told.
// The bars are the issue's .8 found and one false call a face, and a margin.
func TestSparkle(t *testing.T) {
	var all tally
	var misses []string
	for seed := uint64(71); seed < 74; seed++ {
		pictures, truth, mm := facePair("plain", seed, nil, everyKind)
		strewFlakes(pictures, mm, seed, truth.Defects)
		res, err := Find(pictures, scene.DefaultParams(mm))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(strings.Join(lang.English().SayAll(res.Warnings), "\n"), "sparkles") {
			t.Errorf("seed %d: warnings %q", seed, res.Warnings)
		}
		misses = append(misses, all.add(res, truth)...)
	}
	if all.visible < 25 || float64(all.found) < 0.9*float64(all.visible) || all.falseCalls > 3 {
		t.Errorf("found %d of %d, right kind %d, false calls %d on three faces\n%s", all.found, all.visible, all.right, all.falseCalls,
			strings.Join(misses, "\n"))
	}
}
