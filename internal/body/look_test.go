package body

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// small is an opaque drawn shell in a picture of 540 x 370.
func small(mod ...func(*synth.ShellParams)) synth.ShellParams {
	p := synth.DefaultShell()
	p.W, p.H, p.MMPerPX, p.SeamYPX = 540, 370, 0.036, 85
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
// leans in the picture, and where the camera looks down on it so that the front of the seam lies lower. Tolerances: the glue line
// and two pixels
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
		{"leaning to the right, noise", 0.107, 2, 0.03, 0, func(p *synth.ShellParams) { p.Rig, p.NoiseSigma = "window", 6 }},
		{"seen from above, no holder", 0.107, 2, 0, 10, func(p *synth.ShellParams) { p.Ground, p.Rig, p.StemMM = "dark", "ring", 0 }},
		{"clear on dark", 0.107, 2, 0, 0, func(p *synth.ShellParams) { clear(p); p.Ground = "dark" }},
		{"tinted on cloth, panels", 0.107, 4, 0, 0, func(p *synth.ShellParams) {
			clear(p)
			p.Resin, p.ShellRGB, p.Ground, p.Rig = "tinted", [3]float64{0.75, 0.9, 0.8}, "cloth", "panels"
		}},
		{"one colour, glue line", 0.16, 2, 0, 0, func(p *synth.ShellParams) { p.FaceRGB, p.GlueMM = p.ShellRGB, 0.06 }},
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
		v, err := Look(images, nil, p.TurnDeg, p.MMPerPX)
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
				t.Errorf("%s: the seam lies at %.2f, %.0f px right of the middle; drawn at %.2f (roll %.4f, bow %.2f)", c.name, got, dx,
					want, v.Roll, v.Bow)
				break
			}
		}
		for _, q := range truth.Outline {
			below := (q.Y - oy) * p.MMPerPX
			if below < 0.3 || below > 0.8*p.DepthMM {
				continue
			}
			x, y := q.X-ox, q.Y-oy
			y += bend(x)
			x, y = ox+x*cos-y*sin, oy+x*sin+y*cos
			if l, r := v.across(y); min(math.Abs(x-l), math.Abs(x-r)) > c.sidesPX {
				t.Errorf("%s: the sides lie at %.2f and %.2f in row %.1f, drawn at %.2f", c.name, l, r, y, x)
				break
			}
		}
	}
}

// TestLookRefuses: each picture that shows no shell from the side is refused, and the error says what to do.
func TestLookRefuses(t *testing.T) {
	p := small()
	images, truth := drawn(p)
	c := synth.SeeThroughShell()
	clear, _ := drawn(small(func(p *synth.ShellParams) { p.Resin, p.Boxes, p.ShellRGB = c.Resin, c.Boxes, c.ShellRGB }))
	f := synth.DefaultFace()
	f.W, f.H, f.MMPerPX, f.SizeMM, f.Pattern = p.W, p.H, p.MMPerPX, 14, "granite"
	faceA, faceB, _ := synth.Face(f)
	h := float64(p.H - 1)
	over := func(x, y float64) (float64, float64) { return x, h - y }
	for _, q := range []struct {
		name   string
		images []*part.Image
		err    []error // any of these
	}{
		{"upside down", movedBy(images, over), []error{ErrUpsideDown}},
		// Its limb is not seen on its ground, which is said.
		{"a clear one upside down", movedBy(clear, over), []error{nil, ErrUpsideDown, ErrNoLimb}},
		{"the face", []*part.Image{faceA, faceB}, []error{ErrUpsideDown, ErrNoSeam, ErrNoLimb}},
		{"its shell is like the ground", movedBy(images, func(x, y float64) (float64, float64) {
			if y > truth.SeamYPX+0.8/p.MMPerPX {
				x = 10 + math.Mod(x, 30)
			}
			return x, y
		}), []error{nil, ErrNoLimb, outline.ErrNoFlanks}}, // then it is taken as straight under its faceplate
		{"half out of the frame", movedBy(images, func(x, y float64) (float64, float64) { return x + 150, y }),
			[]error{ErrNoLimb, outline.ErrNoFlanks}},
		{"nothing at all", movedBy(images, func(x, y float64) (float64, float64) { return 10 + math.Mod(x, 30), y }),
			[]error{outline.ErrNoFlanks, ErrNoSeam, ErrNoLimb}},
	} {
		v, err := Look(q.images, nil, 0, p.MMPerPX)
		if err == nil && v.Straight && slices.Contains(q.err, nil) {
			continue
		}
		if err == nil || !slices.ContainsFunc(q.err, func(e error) bool { return e != nil && errors.Is(err, e) }) {
			t.Errorf("%s: %v, %+v", q.name, err, v)
		} else if !strings.Contains(err.Error(), "photograph") {
			t.Errorf("%s: nothing is said to do: %v", q.name, err)
		}
	}
	for _, mm := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Look(images, nil, 0, mm); err == nil || !strings.Contains(err.Error(), "positive") {
			t.Errorf("%v mm per pixel: %v", mm, err)
		}
	}
	if _, err := Look([]*part.Image{images[0], {W: 100, H: 100, C: 1, Pix8: make([]uint8, 10000)}}, nil, 0, 0.03); err == nil {
		t.Error("pictures of two sizes are one pose")
	}
}

// TestLampsClearerThanTheLimb: a shell on a ground almost as bright as it, with two lamps mirrored in faceplate and shell, is seen by its
// own faint limb, not taken as straight between the lamps. All is drawn; the sides may lie off by one sample of outline's thinned picture
// (2 px).
func TestLampsClearerThanTheLimb(t *testing.T) {
	const w, h, seam, half, depth, mid = 540, 370, 90, 190.0, 190.0, 262.0
	noise := rand.New(rand.NewPCG(1, 2))
	im := &part.Image{W: w, H: h, C: 1, Pix8: make([]uint8, w*h)}
	for y := range h {
		for x := range w {
			dx, below := math.Abs(float64(x)-mid), float64(y-seam)
			v := 40.0
			switch {
			case below < -40:
			case dx > 100 && dx < 130 && below < 110:
				v = 220
			case below < 0 && dx <= half:
				v = 60
			case below >= 0 && below < depth && dx <= half*math.Sqrt(1-below*below/depth/depth):
				v = 46
			case below >= depth*0.98 && dx < 30:
				v = 25
			}
			im.Pix8[y*w+x] = uint8(v + 2*noise.NormFloat64() + 0.5)
		}
	}
	v, err := Look([]*part.Image{im}, nil, 0, 0.036)
	if err != nil || v.Straight || math.Abs(v.SeamY-seam) > 3 {
		t.Fatalf("%v, %+v", err, v)
	}
	for below := 10.0; below < 0.8*depth; below += 10 {
		want := half * math.Sqrt(1-below*below/depth/depth)
		if l, r := v.across(seam + below); math.Abs(mid-l-want) > 2 || math.Abs(r-mid-want) > 2 {
			t.Errorf("%g px below the seam: %.1f to %.1f, drawn %.1f to %.1f", below, l, r, mid-want, mid+want)
		}
	}
}

// seamAt is the seam's row, dx full-resolution pixels right of MiddleX.
func (v *View) seamAt(dx float64) float64 {
	return v.SeamY + v.Roll*dx + v.Bow*math.Sqrt(max(0, 1-dx*dx/(v.HalfPX*v.HalfPX)))
}
