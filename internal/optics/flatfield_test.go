package optics

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// lamp is the light on a card: falls off to the corners by vignette, and from
// side to side by slope.
type lamp struct {
	w, h                   int
	level, vignette, slope float64
}

func (l lamp) at(x, y int) float64 {
	fx, fy := float64(x)-float64(l.w-1)/2, float64(y)-float64(l.h-1)/2
	q := (fx*fx + fy*fy) / (float64(l.w*l.w+l.h*l.h) / 4)
	return l.level * (1 - 0.6*l.vignette*q - 0.4*l.vignette*q*q) * (1 + l.slope*fx/float64(l.w))
}

// photo draws light as a picture with noise (SD in linear light), 8 or 16 bit.
func photo(w, h, channels, bits int, linear bool, noise float64, seed uint64, light func(x, y, c int) float64) *part.Image {
	rng := rand.New(rand.NewPCG(seed, 5))
	im := &part.Image{W: w, H: h, C: channels}
	top := float64(int(1)<<bits - 1)
	for y := range h {
		for x := range w {
			for c := range channels {
				v := min(max(light(x, y, c)+noise*rng.NormFloat64(), 0), 1)
				if !linear {
					v = LinearToSRGB(v)
				}
				if s := v*top + 0.5; bits == 16 {
					im.Pix16 = append(im.Pix16, uint16(s))
				} else {
					im.Pix8 = append(im.Pix8, uint8(s))
				}
			}
		}
	}
	return im
}

func whites(l lamp, n, channels, bits int, linear bool) []Named {
	var all []Named
	for k := range n {
		all = append(all, Named{"white" + string(rune('1'+k)), photo(l.w, l.h, channels, bits, linear, 0.006, uint64(k+1),
			func(x, y, c int) float64 {
				return l.at(x, y) * (1 - 0.1*float64(c))
			})})
	}
	return all
}

// TestFlatFieldEvens: 30 % of vignetting and 10 % of slope are taken off to
// within 0.5 % everywhere, in 8 and 16 bits, sRGB-coded and linear. The bar is
// the project's own.
func TestFlatFieldEvens(t *testing.T) {
	l := lamp{w: 400, h: 300, level: 0.6, vignette: 0.3, slope: 0.1}
	for _, c := range []struct {
		channels, bits int
		linear         bool
	}{{1, 8, false}, {3, 8, false}, {3, 16, false}, {1, 16, true}, {3, 8, true}} {
		o := DefaultFlatFieldOptions()
		o.Linear = c.linear
		f, err := NewFlatField(whites(l, 4, c.channels, c.bits, c.linear), nil, o)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(*f.VignettePct-30) > 0.5 || math.Abs(*f.GradientPct-10) > 2.5 {
			t.Errorf("%+v: vignetting %.2f %%, want 30; gradient %.2f %%, want about 10 (less in the corners)", c, *f.VignettePct,
				*f.GradientPct)
		}
		if want := 60 * (1 - 0.1*float64(c.channels-1)); math.Abs(f.LevelPct[c.channels-1]/want-0.85) > 0.1 {
			t.Errorf("%+v: level %v %%", c, f.LevelPct)
		}
		if len(f.Spots) != 0 || f.SpotsOnCard != 0 {
			t.Errorf("%+v: spots on a clean card: %v, %d", c, f.Spots, f.SpotsOnCard)
		}
		// The gains themselves, at each pixel, against the lamp.
		mean := 0.0
		for y := range l.h {
			for x := range l.w {
				mean += l.at(x, y) / float64(l.w*l.h)
			}
		}
		worst := 0.0
		row := make([]float32, l.w)
		for y := range l.h {
			f.GainRow(c.channels-1, y, row)
			for x := range l.w {
				_, _, b := f.Gain(x, y)
				if math.Abs(b-float64(row[x])) > 1e-5 {
					t.Fatalf("at %d,%d the gain is %g, by rows %g", x, y, b, row[x])
				}
				worst = max(worst, math.Abs(b*l.at(x, y)/mean-1))
			}
		}
		t.Logf("%+v: worst place off by %.3f %%", c, 100*worst)
		if worst > 0.005 {
			t.Errorf("%+v: light is uneven by %.3f %% after correction", c, 100*worst)
		}
		// A picture without noise comes out even.
		im := photo(l.w, l.h, c.channels, c.bits, c.linear, 0, 1, func(x, y, _ int) float64 { return 0.8 * l.at(x, y) })
		fixed, err := f.Apply(im)
		if err != nil {
			t.Fatal(err)
		}
		table := SamplesToLight(fixed, c.linear)
		half := 0.0
		if c.bits == 8 { // a step is up to 1.3 % of this light; half of it going in, half coming out
			half = 0.013
		}
		for i := range l.w * l.h * c.channels {
			if v := float64(table[SampleOf(fixed, i)]); math.Abs(v/(0.8*mean)-1) > 0.005+half {
				t.Fatalf("%+v: sample %d is %.4f after correction, want %.4f", c, i, v, 0.8*mean)
			}
		}
		p, err := f.Linear(im, 0)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range p.V {
			if math.Abs(float64(v)/(0.8*mean)-1) > 0.005+half {
				t.Fatalf("%+v: pixel %d has light %.4f, want %.4f", c, i, v, 0.8*mean)
			}
		}
	}
}

// TestFlatFieldClippedStay: clipped samples stay clipped, others do not become so.
func TestFlatFieldClippedStay(t *testing.T) {
	l := lamp{w: 200, h: 160, level: 0.6, vignette: 0.4}
	f, err := NewFlatField(whites(l, 2, 1, 8, false), nil, DefaultFlatFieldOptions())
	if err != nil {
		t.Fatal(err)
	}
	im := photo(l.w, l.h, 1, 8, false, 0, 1, func(x, y, _ int) float64 { return 0.9 })
	im.Pix8[100*l.w+100] = 255 // middle: gain below 1
	fixed, err := f.Apply(im)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range fixed.Pix8 {
		if (v == 255) != (i == 100*l.w+100) {
			t.Fatalf("sample %d is %d", i, v)
		}
	}
	p, err := f.Linear(im, 0)
	if err != nil {
		t.Fatal(err)
	}
	if v := p.At(100, 100); v < 1 {
		t.Errorf("a clipped sample has light %g", v)
	}
}

// TestFlatFieldDust: sensor dust is listed and does not print through; dust on a
// moving card is counted apart.
func TestFlatFieldDust(t *testing.T) {
	l := lamp{w: 400, h: 300, level: 0.6, vignette: 0.2}
	draw := func(k int) *part.Image {
		return photo(l.w, l.h, 1, 8, false, 0.006, uint64(k+1), func(x, y, _ int) float64 {
			v := l.at(x, y)
			if math.Hypot(float64(x-120), float64(y-80)) < 5 {
				v *= 0.85
			}
			if math.Hypot(float64(x-200-40*k), float64(y-200)) < 6 {
				v *= 0.7
			}
			return v
		})
	}
	f, err := NewFlatField([]Named{{"a", draw(0)}, {"b", draw(1)}, {"c", draw(2)}}, nil, DefaultFlatFieldOptions())
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Spots) != 1 || f.SpotsOnCard != 3 {
		t.Fatalf("%d spots on the sensor, %d on the card; want 1 and 3: %v", len(f.Spots), f.SpotsOnCard, f.Spots)
	}
	if s := f.Spots[0]; math.Hypot(s.XPX-120, s.YPX-80) > 3 || math.Abs(s.DepthPct-15) > 2 || math.Abs(s.DiameterPX-10) > 3 {
		t.Errorf("the spot: %+v, want 120,80, 10 px, 15 %%", s)
	}
	g, _, _ := f.Gain(120, 80)
	clean, _, _ := f.Gain(279, 219) // as far from the middle on the other side
	if math.Abs(g/clean-1) > 0.01 {
		t.Errorf("the dust prints through: gain %.4f, %.4f on the other side", g, clean)
	}
}

func TestFlatFieldDark(t *testing.T) {
	l := lamp{w: 160, h: 120, level: 0.5, vignette: 0.3}
	const dark = 0.04
	white := photo(l.w, l.h, 1, 16, true, 0.002, 1, func(x, y, _ int) float64 { return l.at(x, y) + dark })
	black := photo(l.w, l.h, 1, 16, true, 0.002, 2, func(x, y, _ int) float64 {
		if x == 20 && y == 30 {
			return 0.5
		}
		return dark
	})
	o := DefaultFlatFieldOptions()
	o.Linear = true
	f, err := NewFlatField([]Named{{"w", white}}, []Named{{"d", black}}, o)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.Dark[0]-dark) > 0.0005 || f.HotPixels != 1 {
		t.Errorf("dark level %.4f, want %.4f; %d hot pixels, want 1", f.Dark[0], dark, f.HotPixels)
	}
	p, err := f.Linear(white, 0)
	if err != nil {
		t.Fatal(err)
	}
	sum := [2]float64{}
	for y := range 30 { // a corner against the middle
		for x := range 40 {
			sum[0] += float64(p.At(x, y))
			sum[1] += float64(p.At(x+60, y+45))
		}
	}
	if r := sum[0] / sum[1]; math.Abs(r-1) > 0.005 {
		t.Errorf("corner to middle %.4f after correction", r)
	}
}

func TestFlatFieldRefusals(t *testing.T) {
	l := lamp{w: 160, h: 120, level: 0.6, vignette: 0.2}
	o := DefaultFlatFieldOptions()
	good := whites(l, 1, 1, 8, false)[0]
	draw := func(light func(x, y, c int) float64) []Named {
		return []Named{{"w", photo(160, 120, 1, 8, false, 0.004, 1, light)}}
	}
	small := lamp{w: 80, h: 60, level: 0.6}
	for _, c := range []struct {
		name        string
		white, dark []Named
		say         string
	}{
		{"none", nil, nil, "at least one"},
		{"clipped", draw(func(x, y, _ int) float64 { return 1.3 }), nil, "clipped"},
		{"black", draw(func(x, y, _ int) float64 { return 0 }), nil, "lengthen"},
		{"half a card", draw(func(x, y, _ int) float64 { return map[bool]float64{true: 0.7, false: 0.01}[x < 80] }), nil, "must fill"},
		{"a pattern", draw(func(x, y, _ int) float64 { return map[bool]float64{true: 0.7, false: 0.3}[(x/3+y/3)%2 == 0] }), nil,
			"no even card"},
		{"two sizes", []Named{good, whites(small, 1, 1, 8, false)[0]}, nil, "80x60"},
		{"grey and colour", []Named{good, whites(l, 1, 3, 8, false)[0]}, nil, "channels"},
		{"8 and 16 bits", []Named{good, whites(l, 1, 1, 16, false)[0]}, nil, "bits"},
		{"a dark frame that is none", []Named{good}, []Named{good}, "cover the lens"},
		{"tiny", whites(lamp{w: 10, h: 10, level: 0.5}, 1, 1, 8, false), nil, "16 pixels"},
	} {
		if _, err := NewFlatField(c.white, c.dark, o); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %q", c.name, err, c.say)
		}
	}
	f, err := NewFlatField([]Named{good}, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Apply(whites(small, 1, 1, 8, false)[0].Image); err == nil || !strings.Contains(err.Error(), "160x120") {
		t.Errorf("a picture of another size: %v", err)
	}
	if _, err := f.Linear(good.Image, 1); err == nil {
		t.Error("channel 1 of a grey picture was given")
	}
}

func TestFlatFieldFile(t *testing.T) {
	f, err := NewFlatField(whites(lamp{w: 160, h: 120, level: 0.6, vignette: 0.2}, 2, 3, 8, false), nil, DefaultFlatFieldOptions())
	if err != nil {
		t.Fatal(err)
	}
	f.Pictures = []FlatFieldPicture{{"white1.png", "00ff"}}
	var b bytes.Buffer
	if err := WriteFlatField(&b, f); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	back, err := ReadFlatField(&b)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range [][2]int{{0, 0}, {159, 119}, {80, 60}} {
		a, _, _ := f.Gain(at[0], at[1])
		c, _, _ := back.Gain(at[0], at[1])
		if math.Abs(a-c) > 1e-5 {
			t.Errorf("gain at %v: %g, read back %g", at, a, c)
		}
	}
	for _, c := range []struct{ from, to, say string }{
		{`"schema":1`, `"schema":2`, "schema is 2"},
		{`"schema":1`, `"schema":1,"colour":3`, "unknown field"},
		{`"rows":`, `"rows":1`, "nodes"},
		{`"channels":3`, `"channels":2`, "channels is 2"},
		{`"encoding":"srgb"`, `"encoding":"log"`, "encoding"},
		{`"max_age_days":90`, `"max_age_days":0`, "max_age_days"},
		{`"light":[[`, `"light":[[0,`, "light"},
		{"}\n", "}{}", "after the end"},
	} {
		if _, err := ReadFlatField(strings.NewReader(strings.Replace(text, c.from, c.to, 1))); err == nil ||
			!strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %q", c.to, err, c.say)
		}
	}
	if _, err := ReadFlatField(strings.NewReader(text[:len(text)/2])); err == nil {
		t.Error("half a file was read")
	}
}

func FuzzReadFlatField(f *testing.F) {
	f.Add(`{"schema":1,"width_px":16,"height_px":16,"channels":1,"encoding":"srgb","cols":3,"rows":3,"light":[[1,1,1,1,1,1,1,1,1]],"level_pct":[50],"uneven_pct":0,"residual_pct":0,"spots":[],"spots_on_card":0,"hot_pixels":0,"made":"2025-01-02T03:04:05Z","max_age_days":90,"pictures":[]}`)
	f.Fuzz(func(t *testing.T, s string) {
		ff, err := ReadFlatField(strings.NewReader(s))
		if err != nil {
			return
		}
		r, g, b := ff.Gain(ff.WidthPX-1, 0)
		if s := r + g + b; math.IsNaN(s) || s == 0 {
			t.Errorf("gain %g %g %g", r, g, b)
		}
	})
}
