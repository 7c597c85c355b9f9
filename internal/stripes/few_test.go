package stripes

import (
	"maps"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// few is a set without its fourth phases, as a reduced set is taken.
func few(of map[part.Light]*part.Image) map[part.Light]*part.Image {
	out := maps.Clone(of)
	for _, l := range []part.Light{part.White, part.StripesX3, part.StripesY3} {
		delete(out, l)
	}
	return out
}

// Six pictures tell waves and depths as drawn: Sdq within 15 %, a dent's depth within three standard
// uncertainties; faces without a fault have none. Expected values: by the drawing.
func TestReducedSetMeasures(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	p := small(81)
	p.Slope = waves(rng, 0.6, 0.002)
	images, outline := synth.Stripes(p)
	r, err := Measure(few(images), outline, paramsOf(p))
	if want := 1000 * rmsSlope(p); err != nil || math.Abs(r.Waves.SlopeMRad/want-1) > 0.15 {
		t.Errorf("waves of %.2f mrad: %.2f, %v", want, r.Waves.SlopeMRad, err)
	}
	p = small(82)
	p.Slope = dent(0.7, -0.5, 0.0015, 0.5)
	images, outline = synth.Stripes(p)
	if r, err = Measure(few(images), outline, paramsOf(p)); err != nil || len(r.Findings) != 1 || r.Findings[0].Kind != part.Crater {
		t.Fatalf("a dent: %v, %+v", err, r.Findings)
	}
	f := r.Findings[0].Features
	if math.Abs(f["depth_um"]-1.5) > 3*f["u_depth_um"] {
		t.Errorf("a dent of 1.5 um: %.2f, u %.2f", f["depth_um"], f["u_depth_um"])
	}
	for name, p := range bare() {
		images, outline := synth.Stripes(p)
		r, err := Measure(few(images), outline, paramsOf(p))
		if err != nil || len(r.Warnings) > 0 || r.Seen.LookedAt < 0.8 {
			t.Errorf("%s: %v, %q, %.2f looked at", name, err, r.Warnings, r.Seen.LookedAt)
			continue
		}
		for _, f := range r.Findings {
			if f.Kind != part.OrangePeel || name != "wavy" {
				t.Errorf("%s: %s at %.0f", name, f.Kind, f.Box)
			}
		}
	}
}

// What is wrong with a reduced set is told, or it is refused.
func TestReducedSetBelongsTogether(t *testing.T) {
	faults := map[string]synth.StripesFault{
		"a lamp in x1": {Lamp: in(0.5, 0, 1)}, "a lamp in x0": {Lamp: in(0.5, 0, 0)}, "a lamp in y": {Lamp: in(0.5, 0, 4, 5, 6)},
		"asleep in y0": {Screen: in(0, 1, 4)}, "asleep in x1": {Screen: in(0, 1, 1)}, "matt": {Mirrored: func(part.Light, float64,
			float64, float64, float64) float64 {
			return 0
		}},
		"moved by 10": {MovedMM: moved(10, 1)},
	}
	for _, c := range []struct{ name, face, says string }{
		{"a lamp in x1", "dark", "differs by"}, {"a lamp in x0", "print", "lamp was switched"}, {"a lamp in y", "mild", "differ in light"},
		{"asleep in y0", "dark", "differ"}, {"asleep in x1", "print", "differs by"}, {"matt", "dark",
			"lost in the noise"}, {"moved by 10", "print", "pixels apart"},
	} {
		p := bare()[c.face]
		p.Fault = faults[c.name]
		images, outline := synth.Stripes(p)
		if _, err := Measure(few(images), outline, paramsOf(p)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s, %s: %v", c.name, c.face, err)
		}
	}
	p := bare()["print"]
	images, outline := synth.Stripes(p)
	six := few(images)
	for name, c := range map[string]struct {
		a, b part.Light
		says string
	}{
		"x0 and x1": {part.StripesX0, part.StripesX1, "not in order"}, "y1 and y2": {part.StripesY1, part.StripesY2, "not in order"},
		"x0 and x2": {part.StripesX0, part.StripesX2, "other way"}, "x1 and y1": {part.StripesX1, part.StripesY1, ""},
	} {
		of := maps.Clone(six)
		of[c.a], of[c.b] = of[c.b], of[c.a]
		r, err := Measure(of, outline, paramsOf(p))
		told := strings.Join(lang.English().SayAll(r.Warnings), "; ")
		if err != nil {
			told = err.Error()
		}
		if told == "" || !strings.Contains(told, c.says) {
			t.Errorf("%s exchanged: told is %q", name, told)
		}
	}
	delete(six, part.StripesY2)
	if _, err := Measure(six, outline, paramsOf(p)); err == nil || !strings.Contains(err.Error(), "y2 is missing") {
		t.Errorf("y2 missing: %v", err)
	}
}
