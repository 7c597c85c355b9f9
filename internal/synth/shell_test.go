package synth

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// ball and can are a half ball and a cylinder without lens and noise, for closed forms.
func ball() ShellParams {
	p := RoundShell()
	p.W, p.H, p.MMPerPX, p.Bits = 320, 260, 0.08, 16
	p.BlurSigmaPX, p.NoiseSigma = 0, 0
	return p
}

func can() ShellParams {
	p := ball()
	p.Straight = true
	return p
}

// lightAt is the linear light of one channel.
func lightAt(im *part.Image, c, x, y int) float64 {
	return optics.SRGBToLinear(float64(im.Pix16[(y*im.W+x)*im.C+c]) / 65535)
}

// TestShellAreas: 2 pi r^2 for a half ball, 2 pi r h for a cylinder (Archimedes), and r^2 (2 pi)
// (1 - cos) of a cap: down to a depth h a ball's zone has 2 pi r h.
func TestShellAreas(t *testing.T) {
	for _, tc := range []struct {
		name      string
		p         ShellParams
		below, mm float64
	}{
		{"half ball", ball(), 7.6, 2 * math.Pi * 7.6 * 7.6},
		{"zone of a ball", ball(), 3, 2 * math.Pi * 7.6 * 3},
		{"cylinder", can(), 4, 2 * math.Pi * 7.6 * 4},
	} {
		tc.p.W, tc.p.H = 20, 20 // what is drawn does not matter here
		_, _, truth := Shell(tc.p)
		if got := truth.AreaMM2(tc.below); math.Abs(got-tc.mm) > 1e-3*tc.mm {
			t.Errorf("%s: area %.2f mm2, want %.2f", tc.name, got, tc.mm)
		}
	}
}

// TestShellPlace: on a ball the slope's cosine is the place's distance towards the camera over
// the radius, and the place follows the unit's turn.
func TestShellPlace(t *testing.T) {
	for _, turn := range []float64{0, 25, 300} {
		p := ball()
		p.W, p.H, p.TurnDeg = 20, 20, turn
		_, _, truth := Shell(p)
		for _, at := range []float64{0, 30, 340} {
			for _, v := range []float64{0.5, 3, 6} {
				x, y, slope := truth.Place(at, v)
				w := math.Sqrt(p.RadiusMM*p.RadiusMM - v*v)
				u := (turn - at) * math.Pi / 180
				wx, wy := truth.AxisXPX+w*math.Sin(u)/p.MMPerPX, truth.SeamYPX+v/p.MMPerPX
				ws := math.Acos(w*math.Cos(u)/p.RadiusMM) * 180 / math.Pi
				if math.Hypot(x-wx, y-wy) > 1e-6 || math.Abs(slope-ws) > 1e-6 {
					t.Errorf("turn %g, place %g, %g: %.3f %.3f at %.3f deg, want %.3f %.3f at %.3f", turn, at, v, x, y, slope, wx, wy, ws)
				}
			}
		}
	}
}

// TestShellFront: what is drawn at a pixel is the place that Place puts there, on an oval, too.
func TestShellFront(t *testing.T) {
	p := checkShell(DefaultShell())
	p.Oval, p.Third, p.TurnDeg = 0.1, 0.04, 77
	b := newShellBody(p)
	for _, v := range []float64{-0.5, 0.5, 4, 7.5} {
		w, dw := b.profile(v)
		for i := range 99 {
			x := b.left + (b.right-b.left)*(float64(i)+0.5)/99
			s := b.at(b.u(x), v, w, dw)
			if math.Abs(s.pos[0]-x*w) > 2e-4 { // straight lines between the table's places
				t.Errorf("depth %g: the place at x %.4f mm lies at %.4f", v, x*w, s.pos[0])
			}
			if s.normal[1] < -1e-6 {
				t.Errorf("depth %g, x %.4f: what is seen faces away, normal %v", v, x*w, s.normal)
			}
			// The normal is square to the surface: to the chord of two near places.
			u := b.u(x)
			for _, d := range []vec{b.at(u+1e-5, v, w, dw).pos.minus(s.pos), s.right, s.down} {
				if c := d.unit().dot(s.normal); math.Abs(c) > 1e-4 {
					t.Errorf("depth %g, x %.4f: normal leans by %.5f", v, x*w, c)
				}
			}
		}
	}
}

// TestShellSizes: on a cylinder a round mark is as high as on a plane and narrower by the
// slope's cosine; its area on the surface stays pi d^2/4 (within the half pixels of its edge).
func TestShellSizes(t *testing.T) {
	const d = 1.0
	for _, slope := range []float64{0, 30, 50, 60} {
		p := can()
		p.TurnDeg = slope
		p.Marks = []ShellMark{{TurnDeg: 0, BelowMM: 4, Defect: Defect{Kind: part.Crater, DiameterMM: d}}}
		_, _, truth := Shell(p)
		m := truth.Marks[0]
		px := d / p.MMPerPX
		if math.Abs(m.SlopeDeg-slope) > 1e-6 || !m.Visible {
			t.Errorf("slope %g: told %.3f, visible %v", slope, m.SlopeDeg, m.Visible)
		}
		if math.Abs(m.Box[3]-px) > 1 || math.Abs(m.Box[2]-px*math.Cos(slope*math.Pi/180)) > 1 {
			t.Errorf("slope %g: box of %.1f x %.1f px, want %.1f x %.1f", slope, m.Box[2], m.Box[3], px*math.Cos(slope*math.Pi/180), px)
		}
		if want := math.Pi * d * d / 4; math.Abs(m.AreaMM2-want) > 0.03*want {
			t.Errorf("slope %g: area %.4f mm2, want %.4f", slope, m.AreaMM2, want)
		}
	}
}

// TestShellMarksMove weighs a dark nib on a pale shell in two turns: it lies where Place says,
// to the right of where it was in the smaller turn, and is not seen from behind.
func TestShellMarksMove(t *testing.T) {
	last := math.Inf(-1)
	for _, turn := range []float64{-35, 10, 200} {
		p := ball()
		p.Oval, p.Third = 0.06, 0.02
		p.TurnDeg = turn
		p.ShellRGB = [3]float64{0.7, 0.7, 0.7}
		p.Marks = []ShellMark{{TurnDeg: 0, BelowMM: 3, Defect: Defect{Kind: part.Dust, DiameterMM: 0.6,
			Colour: [3]float64{0.02, 0.02, 0.02}}}}
		with, _, truth := Shell(p)
		m := truth.Marks[0]
		if turn == 200 {
			if m.Visible || m.Box != (part.Box{}) || m.CNRDiffuse != 0 {
				t.Errorf("a mark on the other side counts as seen: %+v", m)
			}
			continue
		}
		p.Marks = nil
		without, _, _ := Shell(p)
		var sum, sx, sy float64
		for y := range p.H {
			for x := range p.W {
				if d := lightAt(without, 1, x, y) - lightAt(with, 1, x, y); d > 0.05 {
					sum, sx, sy = sum+d, sx+d*float64(x), sy+d*float64(y)
				}
			}
		}
		c := m.Box.Centre()
		if wx, wy, _ := truth.Place(0, 3); math.Hypot(sx/sum-wx, sy/sum-wy) > 1.5 || math.Hypot(c.X-wx, c.Y-wy) > 1.5 {
			t.Errorf("turn %g: light says %.2f %.2f, the box %.2f %.2f, Place %.2f %.2f", turn, sx/sum, sy/sum, c.X, c.Y, wx, wy)
		}
		if sx/sum <= last {
			t.Errorf("turn %g: the mark did not move to the right: %.1f after %.1f", turn, sx/sum, last)
		}
		last = sx / sum
	}
}

// TestShellSilhouette counts what is brighter than the dark ground in rows of a drawn half ball: 2
// sqrt(r^2 - v^2) of the shell, and 2 r of the faceplate.
func TestShellSilhouette(t *testing.T) {
	p := ball()
	p.StemMM, p.Ground = 0, "dark"
	im, _, truth := Shell(p)
	for _, v := range []float64{-0.5, 1, 3.8, 6} {
		row := int(math.Round(truth.SeamYPX + v/p.MMPerPX))
		got := 0.0
		for x := range p.W {
			if lightAt(im, 0, x, row) > 0.02 {
				got += p.MMPerPX
			}
		}
		exact := (float64(row) - truth.SeamYPX) * p.MMPerPX
		want := 2 * p.RadiusMM
		if v > 0 {
			want = 2 * math.Sqrt(p.RadiusMM*p.RadiusMM-exact*exact)
		}
		if math.Abs(got-want) > 2*p.MMPerPX {
			t.Errorf("%g mm below the seam the unit is %.2f mm wide, want %.2f", v, got, want)
		}
	}
}

// TestWaves: orange peel has the rms slope that was asked for along any plane.
func TestWaves(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []vec{{0, 1, 0}, {0.6, 0, -0.8}} {
		sum, count := 0.0, 0
		for seed := range uint64(12) {
			w := newWaves(seed, 0.05, 0.6)
			for range 400 {
				g := w.gradient(vec{20 * rng.Float64(), 20 * rng.Float64(), 20 * rng.Float64()})
				g = g.minus(n.times(g.dot(n)))
				sum += g.dot(g)
				count++
			}
		}
		if got := math.Sqrt(sum / float64(count)); math.Abs(got-0.05) > 0.003 {
			t.Errorf("on the plane with normal %v: rms slope %.4f, want 0.05", n, got)
		}
	}
}

// TestRefract: Snell's law at 45 degrees into an index of 1.5, and no way out beyond its critical
// angle, whose sine is 1/1.5.
func TestRefract(t *testing.T) {
	n := vec{0, 1, 0}
	d, ok := refract(vec{math.Sqrt(0.5), -math.Sqrt(0.5), 0}, n, 1/1.5)
	if !ok || math.Abs(d[0]-math.Sqrt(0.5)/1.5) > 1e-12 || math.Abs(d.length()-1) > 1e-12 {
		t.Errorf("45 degrees into resin: %v, %v", d, ok)
	}
	for _, sin := range []float64{0.66, 0.67} {
		if _, out := refract(vec{sin, -math.Sqrt(1 - sin*sin), 0}, n, 1.5); out != (sin < 1/1.5) {
			t.Errorf("sine %g out of resin: out %v", sin, out)
		}
	}
}

// TestShellDull: under haze and on a bare place a mirrored panel loses its light, and the ground
// beside it turns paler; the clean shell beside them stays as it is.
func TestShellDull(t *testing.T) {
	for _, kind := range []part.Kind{part.Haze, part.Missed} {
		p := can()
		p.Rig, p.ShellRGB = "panels", [3]float64{0.1, 0.02, 0.02}
		clean, _, _ := Shell(p)
		p.Marks = []ShellMark{
			// Mirrors the panel at 47 degrees.
			{TurnDeg: 23.5, BelowMM: 4, Defect: Defect{Kind: kind, DiameterMM: 1.5, LengthMM: 1.5, WidthMM: 1.5}},
			{TurnDeg: 0, BelowMM: 4, Defect: Defect{Kind: kind, DiameterMM: 1.5, LengthMM: 1.5, WidthMM: 1.5}},
		}
		im, _, truth := Shell(p)
		at := func(im *part.Image, m TruthMark) float64 { return lightAt(im, 1, int(m.XPX+0.5), int(m.YPX+0.5)) }
		lamp, ground := truth.Marks[0], truth.Marks[1]
		// A panel stands to the left as seen: what lies at 23.5 degrees is left of the middle.
		if a, b := at(clean, lamp)-at(clean, ground), at(im, lamp)-at(im, ground); a < 0.05 || b > 0.6*a {
			t.Errorf("%s: the mirrored panel stands out by %.4f, without the mark by %.4f", kind, b, a)
		}
		if a, b := at(clean, ground), at(im, ground); b < 1.2*a {
			t.Errorf("%s: the ground has %.4f, without the mark %.4f", kind, b, a)
		}
		x := int(ground.XPX + 2.5/p.MMPerPX)
		if a, b := lightAt(clean, 1, x, int(ground.YPX)), lightAt(im, 1, x, int(ground.YPX)); a != b {
			t.Errorf("%s: %.5f beside the mark, without it %.5f", kind, b, a)
		}
	}
}

// TestShellInside: a part inside moves less than the surface in front of it, and its box holds
// what differs from an empty shell.
func TestShellInside(t *testing.T) {
	var boxes [2][]TruthInside
	for i, turn := range []float64{0, 8} {
		p := SeeThroughShell()
		p.W, p.H, p.MMPerPX, p.Bits = 320, 260, 0.08, 16
		p.BlurSigmaPX, p.NoiseSigma, p.TurnDeg = 0, 0, turn
		full, _, truth := Shell(p)
		boxes[i] = truth.Inside
		p.Boxes, p.Wires = 0, 0
		empty, _, _ := Shell(p)
		count := 0
		for y := range p.H {
			for x := range p.W {
				if math.Abs(lightAt(full, 1, x, y)-lightAt(empty, 1, x, y)) < 1e-4 {
					continue
				}
				count++
				in := false
				for _, o := range truth.Inside {
					in = in || o.Seen && o.Box.Grow(1).Meets(part.Box{float64(x), float64(y), 0.1, 0.1})
				}
				if !in {
					t.Fatalf("turn %g: parts change the light at %d, %d, outside their boxes", turn, x, y)
				}
			}
		}
		if count < 200 {
			t.Errorf("turn %g: parts inside show in %d pixels only", turn, count)
		}
	}
	surface := 7.6 / 0.08 * math.Sin(8*math.Pi/180)
	for i, a := range boxes[0] {
		ax := a.Box.Centre().X
		bx := boxes[1][i].Box.Centre().X
		if a.Seen && boxes[1][i].Seen && math.Abs(bx-ax) > 0.95*surface {
			t.Errorf("part %d moved by %.1f px, the surface by %.1f", i, bx-ax, surface)
		}
	}
}

// TestShellAgain: the same parameters give the same bytes; another turn's noise differs.
func TestShellAgain(t *testing.T) {
	p := RoundShell()
	p.W, p.H, p.MMPerPX = 200, 160, 0.12
	a, _, _ := Shell(p)
	b, _, _ := Shell(p)
	p.TurnDeg = 90
	c, _, _ := Shell(p)
	if string(a.Pix8) != string(b.Pix8) {
		t.Error("drawn twice, the pictures differ")
	}
	if string(a.Pix8) == string(c.Pix8) {
		t.Error("another turn of a ball has the same noise")
	}
}

// everyMark has each kind that a shell may bear.
var everyMark = map[part.Kind]int{
	part.Bubble: 6, part.Dust: 6, part.Fibre: 3, part.Sanding: 2,
	part.Crater: 3, part.Run: 3, part.Missed: 2, part.Haze: 2,
}

// TestShellStories writes pictures to look at, and says how long each took.
func TestShellStories(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	if dir == "" {
		t.Skip("set FINISHBENCH_STORIES to a folder for pictures")
	}
	write := func(name string, im *part.Image) {
		out := image.NewRGBA(image.Rect(0, 0, im.W, im.H))
		for i := range im.W * im.H {
			out.Set(i%im.W, i/im.W, color.RGBA{im.Pix8[3*i], im.Pix8[3*i+1], im.Pix8[3*i+2], 255})
		}
		f, err := os.Create(filepath.Join(dir, name+".png"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := png.Encode(f, out); err != nil {
			t.Fatal(err)
		}
	}
	for _, rig := range []string{"dome", "ring", "panels", "window"} {
		for _, resin := range []string{"opaque", "clear"} {
			for _, turn := range []float64{0, 60} {
				p := DefaultShell()
				if resin != "opaque" {
					p = SeeThroughShell()
				}
				switch rig {
				case "ring":
					p.Ground = "cloth"
					if resin == "clear" {
						p.Resin, p.ShellRGB = "tinted", [3]float64{0.75, 0.9, 0.8}
					}
				case "panels":
					p.ShellRGB[2] = 0.3 * p.ShellRGB[0]
					p.Ground, p.PeelSlope, p.PeelMM = "dark", 0.05, 0.6
				}
				p.Rig, p.TurnDeg, p.Seed = rig, turn, 7
				p.Marks = RandomMarks(p, everyMark, 3)
				start := time.Now()
				d, r, truth := Shell(p)
				took := time.Since(start)
				name := resin + "_" + rig + "_" + map[float64]string{0: "000", 60: "060"}[turn]
				write(name+"_diffuse", d)
				write(name+"_raking", r)
				t.Logf("%s: %v", name, took.Round(time.Millisecond))
				for _, m := range truth.Marks {
					if m.Visible {
						t.Logf("  %-12s at %4.0f %4.0f box %.0f slope %.0f cnr %.0f %.0f", m.Kind, m.XPX, m.YPX, m.Box, m.SlopeDeg,
							m.CNRDiffuse, m.CNRRaking)
					}
				}
			}
		}
	}
}

func BenchmarkShell(b *testing.B) {
	p := DefaultShell()
	p.Marks = RandomMarks(p, everyMark, 3)
	for b.Loop() {
		Shell(p)
	}
}
