package synth

import (
	"bytes"
	"math"
	"testing"

	"finishbench/internal/part"
)

// photographed draws a small plate with a dark speck of dust 2.5 mm to the right
// of its middle and 1 mm below, and a fibre.
func photographed(t *testing.T) Photographed {
	t.Helper()
	p := SmallFace()
	p.W, p.H, p.MMPerPX = 400, 300, 0.03 // coarse, to be quick
	p.BaseRGB = [3]float64{0.5, 0.5, 0.3}
	p.Defects = []Defect{
		{Kind: part.Dust, DiameterMM: 0.3, XMM: 2.5, YMM: 1, Colour: [3]float64{0.02, 0.02, 0.02}},
		{Kind: part.Fibre, LengthMM: 1, WidthMM: 0.02, XMM: -1, YMM: -1, AngleDeg: 20, Colour: [3]float64{0.05, 0.05, 0.06}},
	}
	d, r, truth := Face(p)
	out := Photographed{Diffuse: d, Raking: r, MMPerPX: p.MMPerPX, Outline: truth.Outline}
	for _, x := range truth.Defects {
		out.Defects, out.Opaque = append(out.Defects, x.Box), append(out.Opaque, x.Kind == part.Dust)
	}
	return out
}

func altered(t *testing.T, p Photographed, condition string, seed uint64) (diffuse, raking *part.Image) {
	t.Helper()
	d, r, err := Alter(p, condition, seed)
	if err != nil {
		t.Fatal(err)
	}
	return d, r
}

// speck finds the dust's middle near its drawn place, as the
// centroid of the light that it takes.
func speck(t *testing.T, im *part.Image, box part.Box) part.Point {
	t.Helper()
	pl, c := linear(t, im, 1), box.Centre()
	ground := float64(pl.At(int(c.X), int(c.Y)-20))
	var sum, sx, sy float64
	for y := int(c.Y) - 16; y <= int(c.Y)+16; y++ {
		for x := int(c.X) - 16; x <= int(c.X)+16; x++ {
			if v := ground - float64(pl.At(x, y)); v > 0.3*ground {
				sum, sx, sy = sum+v, sx+v*float64(x), sy+v*float64(y)
			}
		}
	}
	return part.Point{X: sx / sum, Y: sy / sum}
}

// TestAlterMoves: how far a speck goes when the picture is shifted by 4 px,
// turned by 0.5 degrees or scaled by 1 % about its middle follows from its
// distance from there (geometry).
func TestAlterMoves(t *testing.T) {
	p := photographed(t)
	from := speck(t, p.Raking, p.Defects[0])
	r := math.Hypot(from.X-float64(p.Raking.W-1)/2, from.Y-float64(p.Raking.H-1)/2)
	for condition, want := range map[string]float64{"shift": 4, "rotate": 2 * r * math.Sin(0.25*math.Pi/180), "scale": 0.01 * r} {
		for seed := range uint64(3) {
			d, k := altered(t, p, condition, seed)
			if !bytes.Equal(d.Pix8, p.Diffuse.Pix8) {
				t.Errorf("%s: the diffuse picture changed", condition)
			}
			to := speck(t, k, p.Defects[0])
			if got := math.Hypot(to.X-from.X, to.Y-from.Y); math.Abs(got-want) > 0.1 {
				t.Errorf("%s, seed %d: the speck went %.2f px, want %.2f", condition, seed, got, want)
			}
		}
	}
}

// TestKeys: weights of one sum, and a parabola is met exactly (Keys 1981: the
// kernel with a = -0.5 is of third order).
func TestKeys(t *testing.T) {
	for _, at := range []float64{0, 0.2, 0.5, 0.9} {
		sum, square := 0.0, 0.0
		for i, w := range keys(at) {
			x := float64(i - 1)
			sum, square = sum+w, square+w*x*x
		}
		if math.Abs(sum-1) > 1e-12 || math.Abs(square-at*at) > 1e-12 {
			t.Errorf("at %g: weights sum to %g, a parabola gives %g, want 1 and %g", at, sum, square, at*at)
		}
	}
}

// TestSharpen: half a pixel past a step of 50 levels a Gaussian of 1.5 px has
// reached 0.6306 of it (normal distribution at 1/3, from memory), so that an
// amount of 1 adds 18 levels there.
func TestSharpen(t *testing.T) {
	im := &part.Image{W: 40, H: 5, C: 3, Pix8: make([]uint8, 40*5*3)}
	for i := range im.Pix8 {
		im.Pix8[i] = 100
		if i/3%40 >= 20 {
			im.Pix8[i] = 150
		}
	}
	out := sharpen(im, 1.5, 1)
	for x, want := range map[int]int{19: 82, 20: 168, 5: 100, 35: 150} {
		if got := int(out.Pix8[(2*40+x)*3]); got < want-1 || got > want+1 {
			t.Errorf("column %d: %d, want %d", x, got, want)
		}
	}
}

// TestPaintNoise: light that is doubled by painting gets the shot noise that the
// added light brings, L/9000 (the definition of shot noise at that full well).
func TestPaintNoise(t *testing.T) {
	a := &altering{w: 200, h: 200, light: [2]*canvas{newCanvas(200, 200, false), nil}}
	for _, ch := range a.light[0].ch {
		for i := range ch {
			ch[i] = 0.1
		}
	}
	a.paint(0, func(x, y int) (float64, [3]float64) { return 1, [3]float64{0.1, 0.1, 0.1} })
	var sum, sum2 float64
	n := float64(200 * 200)
	for _, v := range a.light[0].ch[1] {
		sum, sum2 = sum+float64(v), sum2+float64(v)*float64(v)
	}
	mean := sum / n
	got, want := sum2/n-mean*mean, 0.1/9000
	if math.Abs(mean-0.2) > 1e-4 || math.Abs(got/want-1) > 0.05 {
		t.Errorf("mean %.5f, variance %.3g, want 0.2 and %.3g", mean, got, want)
	}
}

// TestAlterGround: nothing changes on the plate; around it the light is what the
// condition asks for (0.05 to 0.4, in shadow less), and darker in raking light.
func TestAlterGround(t *testing.T) {
	p := photographed(t)
	a := &altering{Photographed: p}
	for _, q := range p.Outline {
		a.mid.X, a.mid.Y = a.mid.X+q.X/float64(len(p.Outline)), a.mid.Y+q.Y/float64(len(p.Outline))
	}
	in, out := a.toward(0.97), a.toward(1.2)
	for _, kind := range []string{"wood", "cloth"} {
		d, r := altered(t, p, kind, 5)
		ld, lr := linear(t, d, 1), linear(t, r, 1)
		var sumD, sumR, n float64
		for y := range p.Diffuse.H {
			for x := range p.Diffuse.W {
				i, q := y*p.Diffuse.W+x, part.Point{X: float64(x), Y: float64(y)}
				switch {
				case q.Inside(in):
					if d.Pix8[3*i+1] != p.Diffuse.Pix8[3*i+1] || r.Pix8[3*i+1] != p.Raking.Pix8[3*i+1] {
						t.Fatalf("%s: the plate changed at %d, %d", kind, x, y)
					}
				case !q.Inside(out):
					sumD, sumR, n = sumD+float64(ld.V[i]), sumR+float64(lr.V[i]), n+1
				}
			}
		}
		if sumD/n < 0.05 || sumD/n > 0.4 || sumR > 0.5*sumD || sumR < 0.2*sumD {
			t.Errorf("%s: mean light around the plate %.3f diffuse, %.3f raking", kind, sumD/n, sumR/n)
		}
	}
	for i := range p.Diffuse.Pix8 {
		p.Diffuse.Pix8[i] = max(p.Diffuse.Pix8[i], 80)
	}
	if _, _, err := Alter(p, "wood", 1); err == nil {
		t.Error("a unit on bright ground was put on wood")
	}
}

// TestAlterLogo: no defect is covered, the print has one reflectance in both
// lights (that is what makes it a print), and in the poses that want it a stroke
// runs by within a few pixels of a defect.
func TestAlterLogo(t *testing.T) {
	p := photographed(t)
	near, far := 0, 0
	for seed := range uint64(8) {
		d, r := altered(t, p, "logo", seed)
		ld, lr := linear(t, d, 1), linear(t, r, 1)
		od, or := linear(t, p.Diffuse, 1), linear(t, p.Raking, 1)
		least, painted, apart := math.Inf(1), 0, 0
		for i := range ld.V {
			if math.Abs(float64(lr.V[i]-or.V[i])) < 0.015 {
				continue
			}
			painted++
			x, y := float64(i%p.Diffuse.W), float64(i/p.Diffuse.W)
			for _, b := range p.Defects {
				least = min(least, math.Hypot(max(b[0]-x, x-b[0]-b[2], 0), max(b[1]-y, y-b[1]-b[3], 0)))
			}
			// An edge pixel is a mixture in both lights alike.
			wasD, wasR := (float64(od.V[i])-gloss[dome])/matt[dome], (float64(or.V[i])-gloss[rake])/matt[rake]
			isD, isR := (float64(ld.V[i])-gloss[dome])/matt[dome], (float64(lr.V[i])-gloss[rake])/matt[rake]
			if math.Abs((isD-wasD)-(isR-wasR)) > 0.1 {
				apart++
			}
		}
		if painted < 300 || apart > painted/100 || least < 2 {
			t.Errorf("seed %d: %d pixels painted, %d of them unlike in the two lights, %.1f px from a defect", seed, painted, apart, least)
		}
		if least < 12 {
			near++
		} else if least > 25 {
			far++
		}
	}
	if near < 3 || far < 3 {
		t.Errorf("of 8 prints %d run right past a defect and %d keep away", near, far)
	}
}

// TestAlterSparkle: flakes are bright in one light each, and none lies over dust.
func TestAlterSparkle(t *testing.T) {
	p := photographed(t)
	d, r := altered(t, p, "sparkle", 3)
	var only [2]int
	both := 0
	for i := range p.Diffuse.W * p.Diffuse.H {
		inD, inR := int(d.Pix8[3*i])-int(p.Diffuse.Pix8[3*i]) > 12, int(r.Pix8[3*i])-int(p.Raking.Pix8[3*i]) > 12
		switch {
		case inD && inR:
			both++
		case inD:
			only[0]++
		case inR:
			only[1]++
		}
	}
	if only[0] < 100 || only[1] < 100 || both > (only[0]+only[1])/20 {
		t.Errorf("%d pixels brighter in diffuse light only, %d in raking only, %d in both", only[0], only[1], both)
	}
	if c := p.Defects[0].Centre(); d.Pix8[3*(int(c.Y)*d.W+int(c.X))] != p.Diffuse.Pix8[3*(int(c.Y)*d.W+int(c.X))] {
		t.Error("a flake lies over the dust")
	}
}

// TestAlterFingerprint: nothing in the diffuse picture; in the raking one ridges
// of 1 to 2 % of the samples (the condition's definition), whose root mean square
// is therefore between 0.3 % (faint towards the edge) and 1.4 % of the middle.
func TestAlterFingerprint(t *testing.T) {
	p := photographed(t)
	d, r := altered(t, p, "fingerprint", 2)
	if !bytes.Equal(d.Pix8, p.Diffuse.Pix8) {
		t.Error("the diffuse picture changed")
	}
	var sum, n float64
	for i := range r.Pix8 {
		if was, is := float64(p.Raking.Pix8[i]), float64(r.Pix8[i]); was != is && was > 30 {
			sum, n = sum+(is/was-1)*(is/was-1), n+1
		}
	}
	mm2 := n / 3 * p.MMPerPX * p.MMPerPX
	if rms := math.Sqrt(sum / n); mm2 < 3 || mm2 > 28 || rms < 0.003 || rms > 0.025 {
		t.Errorf("%.1f mm2 changed, by %.2f %% (root mean square)", mm2, 100*rms)
	}
}

func TestAlterIsRepeatable(t *testing.T) {
	p := photographed(t)
	for _, condition := range Conditions {
		d1, r1 := altered(t, p, condition, 7)
		d2, r2 := altered(t, p, condition, 7)
		_, r3 := altered(t, p, condition, 8)
		if !bytes.Equal(d1.Pix8, d2.Pix8) || !bytes.Equal(r1.Pix8, r2.Pix8) {
			t.Errorf("%s: one seed, two pictures", condition)
		}
		if bytes.Equal(r1.Pix8, r3.Pix8) && condition != "rotate" && condition != "scale" {
			t.Errorf("%s: two seeds, one picture", condition)
		}
	}
	if _, _, err := Alter(p, "rain", 1); err == nil {
		t.Error("a condition that there is not was carried out")
	}
}
