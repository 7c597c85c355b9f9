package body

import (
	"errors"
	"math"
	"strings"
	"testing"

	"finishbench/internal/outline"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// small is an opaque drawn shell in a picture of 640 x 480.
func small(mod ...func(*synth.ShellParams)) synth.ShellParams {
	p := synth.DefaultShell()
	p.W, p.H, p.MMPerPX = 640, 480, 0.036
	for _, m := range mod {
		m(&p)
	}
	return p
}

// drawn are both pictures of a turn.
func drawn(p synth.ShellParams) ([]*part.Image, synth.ShellTruth) {
	a, b, truth := synth.Shell(p)
	return []*part.Image{a, b}, truth
}

// moved draws pictures anew, each pixel from where from says, bilinear; beyond the frame its edge goes on.
func movedBy(images []*part.Image, from func(x, y float64) (float64, float64)) (out []*part.Image) {
	for _, im := range images {
		to := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
		for y := range im.H {
			for x := range im.W {
				fx, fy := from(float64(x), float64(y))
				fx, fy = max(0, min(fx, float64(im.W)-1.001)), max(0, min(fy, float64(im.H)-1.001))
				i, u, v := int(fy)*im.W+int(fx), fx-math.Floor(fx), fy-math.Floor(fy)
				for c := range im.C {
					at := func(k int) float64 { return float64(im.Pix8[(i+k)*im.C+c]) }
					to.Pix8[(y*im.W+x)*im.C+c] = uint8((at(0)*(1-u)+at(1)*u)*(1-v) + (at(im.W)*(1-u)+at(im.W+1)*u)*v + 0.5)
				}
			}
		}
		out = append(out, to)
	}
	return out
}

// TestSeamAndSides: on every ground and with every resin the seam is found where it is drawn, and both sides; also where the unit
// leans in the picture, and where the camera looks down on it so that the front of the seam lies lower. Tolerances: the glue line's own width
// for the seam, one sample of outline's thinned picture (2 px) for the sides, and twice that for tinted resin on cloth.
func TestSeamAndSides(t *testing.T) {
	clear := func(p *synth.ShellParams) {
		q := synth.SeeThroughShell()
		p.Resin, p.Boxes, p.Wires, p.ShellRGB = q.Resin, q.Boxes, q.Wires, q.ShellRGB
	}
	for i, c := range []struct {
		name            string
		seamMM, sidesPX float64
		roll, bowPX     float64
		mod             func(*synth.ShellParams)
	}{
		{"dark, no holder", 0.06, 2, 0, 0, func(p *synth.ShellParams) { p.Ground, p.StemMM = "dark", 0 }},
		{"cloth, panels", 0.06, 2, 0, 0, func(p *synth.ShellParams) { p.Ground, p.Rig = "cloth", "panels" }},
		{"leaning to the right", 0.06, 2, 0.03, 0, func(p *synth.ShellParams) { p.Rig = "window" }},
		{"seen from above", 0.06, 2, 0, 10, func(p *synth.ShellParams) { p.Ground, p.Rig = "dark", "ring" }},
		{"clear", 0.065, 2, 0, 0, clear},
		{"clear on dark", 0.065, 2, 0, 0, func(p *synth.ShellParams) { clear(p); p.Ground = "dark" }},
		{"tinted on cloth", 0.065, 4, 0, 0, func(p *synth.ShellParams) {
			clear(p)
			p.Resin, p.ShellRGB, p.Ground = "tinted", [3]float64{0.75, 0.9, 0.8}, "cloth"
		}},
		{"one colour, glue line", 0.16, 2, 0, 0, func(p *synth.ShellParams) { p.FaceRGB, p.GlueMM = p.ShellRGB, 0.06 }},
		{"noise, grey camera", 0.06, 2.5, 0, 0, func(p *synth.ShellParams) { p.NoiseSigma, p.Grey = 6, true }},
	} {
		p := small(c.mod)
		p.Seed, p.TurnDeg = uint64(i), float64(i*70)
		images, truth := drawn(p)
		ox, oy := truth.AxisXPX, truth.SeamYPX
		sin, cos := math.Sincos(math.Atan(c.roll))
		half := p.RadiusMM / p.MMPerPX
		bend := func(dx float64) float64 { return c.bowPX * math.Sqrt(max(0, 1-dx*dx/(half*half))) }
		if c.roll != 0 || c.bowPX != 0 {
			images = movedBy(images, func(x, y float64) (float64, float64) {
				x, y = x-ox, y-oy
				x, y = x*cos+y*sin, y*cos-x*sin
				return ox + x, oy + y - bend(x)
			})
		}
		v, err := Look(images, p.TurnDeg, p.MMPerPX)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if v.Flanks.Seen < 0.8 {
			t.Errorf("%s: edges were seen at %.2f of the rows", c.name, v.Flanks.Seen)
		}
		for x := -0.9; x <= 0.91; x += 0.1 {
			dx := x * half
			want := oy + c.roll*dx + bend(dx)
			if got := v.seamAt(ox + dx - v.MiddleX); math.Abs(got-want)*p.MMPerPX > c.seamMM {
				t.Errorf("%s: the seam lies at %.2f, %.0f px right of the middle; drawn at %.2f (roll %.4f, bow %.2f)", c.name, got, dx, want, v.Roll, v.Bow)
				break
			}
		}
		for _, q := range truth.Outline {
			below := (q.Y - oy) * p.MMPerPX
			if below < 0.3 || below > 0.8*p.DepthMM {
				continue
			}
			x, y := q.X-ox, q.Y-oy
			x, y = ox+x*cos-y*sin, oy+x*sin+y*cos
			if l, r := v.across(y); min(math.Abs(x-l), math.Abs(x-r)) > c.sidesPX {
				t.Errorf("%s: the sides lie at %.2f and %.2f in row %.1f, drawn at %.2f", c.name, l, r, y, x)
				break
			}
		}
	}
}

func TestLookTmp(t *testing.T) {
	say := func(name string, im []*part.Image, mm float64) {
		v, err := Look(im, 0, mm)
		if err != nil {
			t.Log(name, "->", err)
			return
		}
		t.Logf("%s -> seam %.1f mid %.1f half %.1f seen %.2f rows %d", name, v.SeamY, v.MiddleX, v.HalfPX, v.Flanks.Seen, len(v.rows))
	}
	base := small()
	im, _ := drawn(base)
	flip := movedBy(im, func(x, y float64) (float64, float64) { return x, float64(base.H-1) - y })
	say("upside down", flip, base.MMPerPX)
	pc := small(func(p *synth.ShellParams) {
		q := synth.SeeThroughShell()
		p.Resin, p.Boxes, p.Wires, p.ShellRGB = q.Resin, q.Boxes, q.Wires, q.ShellRGB
	})
	imc, _ := drawn(pc)
	say("clear upside down", movedBy(imc, func(x, y float64) (float64, float64) { return x, float64(base.H-1) - y }), base.MMPerPX)
	for _, pat := range []string{"plain", "granite", "wood"} {
		f := synth.DefaultFace()
		f.W, f.H, f.MMPerPX, f.SizeMM, f.Pattern = 640, 480, 0.036, 14, pat
		a, b, _ := synth.Face(f)
		say("face "+pat, []*part.Image{a, b}, 0.036)
	}
	// two units
	two := movedBy(im, func(x, y float64) (float64, float64) {
		cx := float64(base.W-1) / 2
		if x < 320 {
			return cx + (x-160)*1.6, 100 + (y-100)*1.6
		}
		return cx + (x-480)*1.6, 100 + (y-100)*1.6
	})
	say("two", two, base.MMPerPX*1.6)
	for _, g := range []float64{0.006, 0.02, 0.05} {
		p := small(func(p *synth.ShellParams) { p.ShellRGB = [3]float64{g, g, g}; p.Rig = "ring"; p.Ground = "dark" })
		q, _ := drawn(p)
		say("dark on dark "+string(rune('0'+int(g*100))), q, p.MMPerPX)
		p = small(func(p *synth.ShellParams) { p.ShellRGB = [3]float64{g, g, g}; p.Rig = "dome"; p.Ground = "grey" })
		q, _ = drawn(p)
		say("dark on grey "+string(rune('0'+int(g*100))), q, p.MMPerPX)
	}
	for _, d := range []float64{0.5, 0.7, 0.9, 1.1} {
		p := small(func(p *synth.ShellParams) { p.AxisXPX = p.RadiusMM / p.MMPerPX * d })
		q, _ := drawn(p)
		say("out to the left", q, p.MMPerPX)
		p = small(func(p *synth.ShellParams) { p.SeamYPX = float64(p.H) - p.DepthMM/p.MMPerPX*d })
		q, _ = drawn(p)
		say("out below", q, p.MMPerPX)
	}
	p := small(func(p *synth.ShellParams) { p.SeamYPX = 5 })
	q, _ := drawn(p)
	say("out above", q, p.MMPerPX)
	p = small(func(p *synth.ShellParams) { p.RadiusMM = 30 })
	q, _ = drawn(p)
	say("all filled", q, p.MMPerPX)
	e := synth.DefaultShell()
	e.W, e.H = 640, 480
	e.MMPerPX = 0.036
	e.RadiusMM, e.DepthMM = 0.5, 0.5
	q, _ = drawn(e)
	say("tiny", q, p.MMPerPX)
}

var _ = errors.Is
var _ = strings.Contains
var _ = outline.ErrNoFlanks
