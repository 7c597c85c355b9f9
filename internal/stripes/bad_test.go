package stripes

import (
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// small is a face of 8 mm, drawn and measured in less time than the larger one.
func small(seed uint64) synth.StripesParams {
	p := synth.DefaultStripes()
	p.W, p.H, p.RadiusMM, p.Seed = 540, 540, 4, seed
	return p
}

// ornament is a print of two lightnesses.
func ornament(x, y float64) float64 {
	if math.Sin(5*math.Hypot(x, y))*math.Cos(9*math.Atan2(y, x)) > 0.2 {
		return 0.4
	}
	return 0.06
}

// bare are faces without a fault: dark and light paint, a print, mild and strong waves.
func bare() map[string]synth.StripesParams {
	rng := rand.New(rand.NewPCG(5, 6))
	dark, light, print, mild, wavy := small(11), small(12), small(13), small(14), small(15)
	dark.Paint, light.Paint, print.PaintAt = 0.05, 0.5, ornament
	mild.Slope, wavy.Slope = waves(rng, 0.6, 0.001), waves(rng, 0.6, 0.006)
	faint := small(16)
	faint.PaintAt = func(x, y float64) float64 { return 0.1 + 0.15*ornament(x, y) }
	return map[string]synth.StripesParams{"faint": faint, "dark": dark, "light": light, "print": print, "mild": mild, "wavy": wavy}
}

// number is a picture's in the order in which a set is taken, 0 to 7; -1: white or black.
func number(l part.Light) int {
	for n := range 2 * Phases {
		if Lights[n/Phases][n%Phases] == l {
			return n
		}
	}
	return -1
}

// in gives one value to the pictures of some numbers and another to the rest.
func in(value, rest float64, numbers ...int) func(part.Light) float64 {
	return func(l part.Light) float64 {
		if slices.Contains(numbers, number(l)) {
			return value
		}
		return rest
	}
}

// moved moves the unit by some pixels in the pictures of some numbers.
func moved(px float64, numbers ...int) func(part.Light) (float64, float64) {
	by := in(px*0.016, 0, numbers...)
	return func(l part.Light) (float64, float64) { return 0.8 * by(l), 0.6 * by(l) }
}

// bands dim a screen by a share over 1.5 mm of every 4 mm, elsewhere in each picture.
func bands(share float64) func(part.Light, float64) float64 {
	return func(l part.Light, y float64) float64 {
		if math.Mod(y+40+1.37*float64(number(l)+1), 4) < 1.5 {
			return 1 - share
		}
		return 1
	}
}

// glare is a lamp's image of 3 times full scale, its skirts fainter.
func glare(numbers ...int) func(part.Light, float64, float64) float64 {
	return func(l part.Light, x, y float64) float64 {
		return in(1, 0, numbers...)(l) * 3 * math.Exp(-((x-1)*(x-1)+y*y)/0.02)
	}
}

// What a person is told of a set that has a fault, on faces that without it are measured, with
// nothing said and nothing found but the waves. Each fault on one face; with
// FINISHBENCH_LONG on all that are named. Expected words and shares by the drawing.
func TestFaultsAreTold(t *testing.T) {
	swapped := func(a, b int) func(map[part.Light]*part.Image) {
		return func(m map[part.Light]*part.Image) {
			u, v := Lights[a/Phases][a%Phases], Lights[b/Phases][b%Phases]
			m[u], m[v] = m[v], m[u]
		}
	}
	copied := func(a, b int) func(map[part.Light]*part.Image) {
		return func(m map[part.Light]*part.Image) {
			m[Lights[b/Phases][b%Phases]] = m[Lights[a/Phases][a%Phases]]
		}
	}
	type mirror = func(l part.Light, x, y, s, t float64) float64
	upTo := func(mm float64) mirror {
		return func(_ part.Light, _, _, s, _ float64) float64 { return map[bool]float64{true: 1}[s < mm] }
	}
	drawn, outlines := map[string]map[part.Light]*part.Image{}, map[string][]part.Point{}
	allLights := []int{-1, 0, 1, 2, 3, 4, 5, 6, 7}
	const order, one, hand, light, between, move, some, noise, part1 = "not in order", "one and the same", "other way than in a mirror",
		"differs by", "differ in light", "pixels apart", "not the others'", "lost in the noise", "of the face only"
	for _, c := range []struct {
		name  string
		faces string
		fault synth.StripesFault
		then  func(map[part.Light]*part.Image)
		err   string // one of these words, parted by |; "": no error
		warn  string // likewise; "": no warning
		least float64
	}{
		{name: "none", faces: "faint dark light print mild wavy", least: 0.8},
		{name: "x0 and x1 exchanged", faces: "dark wavy", then: swapped(0, 1), err: order},
		{name: "x1 and x2 exchanged", faces: "print", then: swapped(1, 2), err: order},
		{name: "y2 and y3 exchanged", faces: "light mild", then: swapped(6, 7), err: order},
		{name: "y3 and y0 exchanged", faces: "print", then: swapped(7, 4), err: order},
		{name: "x0 and x2 exchanged", faces: "dark", then: swapped(0, 2), warn: hand},
		{name: "y1 and y3 exchanged", faces: "print", then: swapped(5, 7), warn: hand},
		{name: "x and y exchanged", faces: "mild", then: func(m map[part.Light]*part.Image) {
			for k := range Phases {
				swapped(k, k+Phases)(m)
			}
		}, warn: hand},
		{name: "x1 is x0", faces: "dark", then: copied(0, 1), err: one},
		{name: "y2 is y0", faces: "dark", then: copied(4, 6), err: one},
		{name: "y0 is x0", faces: "dark", then: copied(0, 4), err: one},
		{name: "x1 is missing", faces: "dark", then: func(m map[part.Light]*part.Image) { m[part.StripesX1] = nil }, err: "is missing"},
		{name: "a lamp in x1", faces: "dark print", fault: synth.StripesFault{Lamp: in(0.5, 0, 1)}, err: light},
		{name: "a lamp in x2 and x3", faces: "dark mild", fault: synth.StripesFault{Lamp: in(0.5, 0, 2, 3)}, err: light},
		{name: "a lamp in y", faces: "dark mild", fault: synth.StripesFault{Lamp: in(0.5, 0, 4, 5, 6, 7)}, warn: between, least: 0.8},
		{name: "a lamp in all", faces: "light", fault: synth.StripesFault{Lamp: in(0.3, 0, allLights...)}, least: 0.8},
		{name: "asleep in x1", faces: "dark print", fault: synth.StripesFault{Screen: in(0, 1, 1)}, err: light},
		{name: "dimmed in x1", faces: "dark wavy", fault: synth.StripesFault{Screen: in(0.8, 1, 1)}, err: light + "|" + some},
		{name: "dimmed in half", faces: "dark print", fault: synth.StripesFault{Screen: in(0.8, 1, 2, 3, 4, 5)}, err: light},
		{name: "dimmed in y", faces: "dark", fault: synth.StripesFault{Screen: in(0.8, 1, 4, 5, 6, 7)}, warn: between, least: 0.8},
		{name: "dimming slowly", faces: "light print",
			fault: synth.StripesFault{Screen: func(l part.Light) float64 { return 1 - 0.03*float64(max(0, number(l))) }}, err: light},
		{name: "dimming slowly, dark", faces: "dark",
			fault: synth.StripesFault{Screen: func(l part.Light) float64 { return 1 - 0.03*float64(max(0, number(l))) }}, warn: light},
		{name: "moved by 0.7", faces: "faint", fault: synth.StripesFault{MovedMM: moved(0.7, 1)}, warn: move, least: 0.7},
		{name: "moved by 1, which plain paint does not tell", faces: "dark light",
			fault: synth.StripesFault{MovedMM: moved(1, 2, 3, 4, 5, 6, 7)}, least: 0.7},
		{name: "moved by 1, print", faces: "print", fault: synth.StripesFault{MovedMM: moved(1, 2, 3, 4, 5, 6, 7)}, err: move},
		{name: "moved by 3.5", faces: "print wavy", fault: synth.StripesFault{MovedMM: moved(3.5, 4, 5, 6, 7)}, err: move},
		{name: "moved by 10", faces: "dark print", fault: synth.StripesFault{MovedMM: moved(10, 1)}, err: move},
		{name: "glare in one", faces: "print mild", fault: synth.StripesFault{Glare: glare(2)}, least: 0.7},
		{name: "glare in all", faces: "light wavy", fault: synth.StripesFault{Glare: glare(allLights...)}, least: 0.7},
		{name: "moire on the face", faces: "print mild", fault: synth.StripesFault{Mirrored: func(_ part.Light, x, y, _,
			_ float64) float64 {
			return 1 + 0.2*math.Cos(2*math.Pi*(x+0.3*y)/0.5)
		}}, warn: "mirrored unevenly", least: 0.8},
		{name: "moire on the screen", faces: "light mild", fault: synth.StripesFault{Mirrored: func(_ part.Light, _, _, s,
			u float64) float64 {
			return 1 + 0.2*math.Cos(2*math.Pi*s/0.2)*math.Cos(2*math.Pi*u/0.3)
		}}, least: 0.8},
		{name: "bands of 5 %", faces: "dark mild", fault: synth.StripesFault{Band: bands(0.05)}, least: 0.7},
		{name: "bands of 30 %", faces: "dark print", fault: synth.StripesFault{Band: bands(0.3)}, err: some + "|" + light + "|" + move},
		{name: "matt", faces: "dark wavy", fault: synth.StripesFault{Mirrored: upTo(-100)}, err: noise},
		{name: "mirrors in half", faces: "dark print", fault: synth.StripesFault{Mirrored: upTo(0.4)}, warn: part1, least: 0.3},
	} {
		faces := strings.Fields(c.faces)
		if c.name != "none" && os.Getenv("FINISHBENCH_LONG") == "" {
			faces = faces[:1]
		}
		for _, face := range faces {
			t.Run(c.name+", "+face, func(t *testing.T) {
				p := bare()[face]
				p.Fault = c.fault
				var images map[part.Light]*part.Image
				var outline []part.Point
				switch {
				case c.name == "none":
					images, outline = synth.Stripes(p)
					drawn[face], outlines[face] = images, outline
				case c.then != nil: // of the pictures without a fault
					images, outline = maps.Clone(drawn[face]), outlines[face]
					c.then(images)
				default:
					synth.Sampled(t, 2)
					images, outline = synth.Stripes(p)
				}
				r, err := Measure(images, outline, paramsOf(p))
				if err != nil {
					if c.err == "" || !slices.ContainsFunc(strings.Split(c.err, "|"),
						func(s string) bool { return strings.Contains(err.Error(), s) }) {
						t.Errorf("%v", err)
					}
					return
				}
				told := strings.Join(lang.English().SayAll(r.Warnings), "; ")
				if c.err != "" || (c.warn == "") != (told == "") || !strings.Contains(told, c.warn) {
					t.Errorf("not refused, and told is %q, %+v", told, r.Consistency)
				}
				if r.Seen.LookedAt < c.least {
					t.Errorf("%.2f looked at", r.Seen.LookedAt)
				}
				if c.fault.MovedMM != nil && c.warn == "" && !math.IsNaN(r.Consistency.MovedPX) {
					t.Errorf("moved by %.2f px, where it cannot be measured", r.Consistency.MovedPX)
				}
				for _, f := range r.Findings {
					if f.Kind != part.OrangePeel || face != "wavy" {
						t.Errorf("%s at %.0f", f.Kind, f.Box)
					}
				}
			})
		}
	}
}

// Nothing that can be handed over makes it panic, and what cannot be measured is an error.
func TestOddInputIsRefused(t *testing.T) {
	p := small(1)
	images, outline := synth.Stripes(p)
	nan := math.NaN()
	for name, o := range map[string][]part.Point{
		"empty": nil, "two points": outline[:2], "NaN": {{X: nan, Y: 1}, {X: 2, Y: nan}, {X: 3, Y: 3}}, "infinite": {{X: math.Inf(1)},
			{X: 1}, {Y: 1}},
		"outside": {{X: 5000, Y: 5000}, {X: 6000, Y: 5000}, {X: 5000, Y: 6000}}, "left of it": {{X: -500, Y: 5}, {X: -400, Y: 5},
			{X: -400, Y: 90}}, "a line": {{X: 1, Y: 1}, {X: 500, Y: 500}, {X: 1, Y: 1}},
	} {
		if _, err := Measure(images, o, paramsOf(p)); err == nil {
			t.Errorf("outline %s: no error", name)
		}
	}
	for _, scale := range []float64{0, -1, nan, math.Inf(1), 1e-300, 1e-9, 10} {
		q := paramsOf(p)
		q.MMPerPX = scale
		if _, err := Measure(images, outline, q); err == nil {
			t.Errorf("scale %v: no error", scale)
		}
	}
	if _, err := Measure(nil, outline, paramsOf(p)); err == nil {
		t.Error("no pictures: no error")
	}
	for _, size := range []int{1, 2, 17, 40} {
		rng := rand.New(rand.NewPCG(1, uint64(size)))
		for _, c := range []int{1, 3} {
			tiny := map[part.Light]*part.Image{}
			for n := range 2 * Phases {
				im := &part.Image{W: size, H: size, C: c, Pix16: make([]uint16, size*size*c)}
				for i := range im.Pix16 {
					im.Pix16[i] = uint16(rng.IntN(1 << 16))
				}
				tiny[Lights[n/Phases][n%Phases]] = im
			}
			if _, err := Measure(tiny, []part.Point{{}, {X: float64(size)}, {X: float64(size), Y: float64(size)}, {Y: float64(size)}},
				paramsOf(p)); err == nil {
				t.Errorf("noise of %d pixels, %d colours: no error", size, c)
			}
		}
	}
	wide := slices.Clone(outline) // 1 mm too large: what is around the face mirrors nothing
	for i, q := range wide {
		mid := float64(p.W-1) / 2
		wide[i] = part.Point{X: mid + (q.X-mid)*5/4, Y: mid + (q.Y-mid)*5/4}
	}
	r, err := Measure(images, wide, paramsOf(p))
	if err != nil || len(r.Findings) > 0 || r.Seen.LookedAt > 0.65 { // (4/5)^2 of it mirrors
		t.Errorf("outline 1 mm too large: %v, %d found, %.2f looked at", err, len(r.Findings), r.Seen.LookedAt)
	}
	p.Bits, p.Noise = 16, 0
	images, outline = synth.Stripes(p)
	if r, err := Measure(images, outline, paramsOf(p)); err != nil || len(r.Findings)+len(r.Warnings) > 0 {
		t.Errorf("16 bit without noise: %v, %d found, %q", err, len(r.Findings), r.Warnings)
	}
}
