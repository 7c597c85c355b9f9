package proof

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"finishbench/internal/capture/outline"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// again is a picture taken once more: the camera shaken by dx, dy pixels, brighter by gain, with noise of sigma levels, written as
// JPEG of a quality.
func again(t testing.TB, im *part.Image, dx, dy, gain, sigma float64, quality int, seed uint64) *part.Image {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1))
	o := image.NewRGBA(image.Rect(0, 0, im.W, im.H))
	fx, fy := math.Floor(dx), math.Floor(dy)
	ux, uy := dx-fx, dy-fy
	at := func(x, y, c int) float64 {
		return float64(im.Pix8[3*(min(im.H-1, max(0, y))*im.W+min(im.W-1, max(0, x)))+c])
	}
	for y := range im.H {
		for x := range im.W {
			for c := range 3 {
				i, j := x+int(fx), y+int(fy)
				v := (1-uy)*((1-ux)*at(i, j, c)+ux*at(i+1, j, c)) + uy*((1-ux)*at(i, j+1, c)+ux*at(i+1, j+1, c))
				o.Pix[o.PixOffset(x, y)+c] = uint8(max(0, min(255, gain*v+sigma*r.NormFloat64()+0.5)))
			}
			o.Pix[o.PixOffset(x, y)+3] = 255
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, o, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	out := &part.Image{W: im.W, H: im.H, C: 3, Pix8: make([]uint8, 0, 3*im.W*im.H)}
	for y := range im.H {
		for x := range im.W {
			r, g, b, _ := m.At(x, y).RGBA()
			out.Pix8 = append(out.Pix8, uint8(r>>8), uint8(g>>8), uint8(b>>8))
		}
	}
	return out
}

// shaken is again, by chance as a bench might: to 2 px, 10 % of brightness, noise of 3 levels, quality 70.
func shaken(t testing.TB, im *part.Image, r *rand.Rand) *part.Image {
	return again(t, im, 4*r.Float64()-2, 4*r.Float64()-2, 0.9+0.2*r.Float64(), 0.5+2.5*r.Float64(), 70+r.IntN(28), r.Uint64())
}

// drawn is a unit with pictures of its face and of six turns, all of one body: at each turn it is as wide as the faceplate's outline.
type drawn struct {
	plate  Plate
	limbs  []Limbs
	edges  []*part.Image
	lights [2]*part.Image // diffuse, raking
	face   []part.Point
}

const drawnMM = 0.05 // mm per pixel of drawn pictures, of 400 x 300

func drawUnit(r *rand.Rand) drawn {
	f := synth.DefaultFace()
	f.W, f.H, f.MMPerPX, f.SizeMM, f.Seed = 400, 300, drawnMM, 10+2*r.Float64(), r.Uint64()
	f.Stretch = 0.12 * r.Float64()
	f.Pattern = []string{"plain", "flake", "granite", "marble", "wood", "logo"}[r.IntN(6)]
	f.BaseRGB = [3]float64{0.05 + 0.5*r.Float64(), 0.05 + 0.5*r.Float64(), 0.05 + 0.5*r.Float64()}
	f.ShellRGB = [3]float64{0.05 + 0.5*r.Float64(), 0.05 + 0.5*r.Float64(), 0.05 + 0.5*r.Float64()}
	f.Glare, f.JPEGQuality, f.NoiseSigma = r.IntN(4) > 0, 80+r.IntN(18), 0.8+1.5*r.Float64()
	var u drawn
	var truth synth.FaceTruth
	u.lights[0], u.lights[1], truth = synth.Face(f)
	u.face = truth.Outline
	u.plate = Plate{Outline: truth.Outline, MMPerPX: drawnMM}
	axis := [2]float64{r.Float64() - 0.5, r.Float64() - 0.5} // where the unit sits on the spindle, mm
	e := synth.SmallEdge()
	e.W, e.H, e.MMPerPX = 400, 300, drawnMM
	e.FaceRGB, e.ShellRGB, e.ThicknessMM, e.WitnessMarks, e.Highlights = f.BaseRGB, f.ShellRGB, 1+0.5*r.Float64(), r.IntN(3), r.IntN(7)
	for k := range 6 {
		turn := 30 * float64(k)
		w, m := u.plate.at(turn)
		sin, cos := math.Sincos(turn * math.Pi / 180)
		e.WidthMM, e.Seed, e.NoiseSigma = 0.98*w, r.Uint64(), 0.8+1.5*r.Float64()
		middle := part.BoundsOf(truth.Outline).Centre()
		e.OffsetXPX = (m+axis[0]*cos+axis[1]*sin)/drawnMM - middle.X*cos - middle.Y*sin
		im, at := synth.Edge(e)
		u.edges = append(u.edges, im)
		column := float64(e.W-1) / 2
		u.limbs = append(u.limbs, Limbs{At: k, File: fmt.Sprintf("edge_%03.0f.jpg", turn), TurnDeg: turn,
			LeftMM: (at.Left.XPX-column)*drawnMM + 0.005*r.NormFloat64(), RightMM: (at.Right.XPX-column)*drawnMM + 0.005*r.NormFloat64()})
	}
	return u
}

func edgeShot(k int) part.Shot {
	return part.Shot{File: fmt.Sprintf("edge_%03d.jpg", 30*k), View: part.Edge, AngleDeg: float64(30 * k)}
}

func (u drawn) sights() (out []*Sight) {
	for k, im := range u.edges {
		out = append(out, Look(im, edgeShot(k)))
	}
	return out
}

var diffuseShot = part.Shot{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse}
var rakingShot = part.Shot{File: "face_raking.jpg", View: part.Face, Light: part.Raking}

// names are what is doubted, by the file's place: "same_turn 0 1".
func names(d []Doubt) string {
	var out []string
	for _, x := range d {
		out = append(out, fmt.Sprintf("%s %d", x.Name, x.At))
	}
	return strings.Join(out, ", ")
}

// Honest units of any shape, pattern and colour, taken once or shaken and written anew, are not doubted. 500 of them: FINISHBENCH_FIGURES=1.
func TestHonestUnits(t *testing.T) {
	n := 4
	if os.Getenv("FINISHBENCH_FIGURES") != "" {
		n = 500
	}
	r := rand.New(rand.NewPCG(11, 12))
	notes := map[string]int{}
	for k := range n {
		u := drawUnit(r)
		if k%2 == 1 {
			for i := range u.edges {
				u.edges[i] = shaken(t, u.edges[i], r)
			}
			for i := range u.lights {
				u.lights[i] = shaken(t, u.lights[i], r)
			}
		}
		s := u.sights()
		for _, differs := range []TurnDiffers{nil, u.plate.Differs} {
			d, untested := Turns(s, differs)
			if len(d) > 0 {
				t.Errorf("unit %d: %s, %v %v", k, names(d), s[d[0].At].even(), differs != nil)
			}
			notes["turns"] += len(untested)
		}
		if d, _ := Colours(s); len(d) > 0 {
			t.Errorf("unit %d: %s", k, names(d))
		}
		d, untested := u.plate.Course(part.Edge, u.limbs)
		if len(d) > 0 {
			t.Errorf("unit %d: %s: %s", k, names(d), says(d[0].Remedy))
		}
		notes["course"] += len(untested)
		a, b := Look(u.lights[0], diffuseShot), Look(u.lights[1], rakingShot)
		if d := Lights([]*Sight{a, b}); len(d) > 0 {
			t.Errorf("unit %d: %s", k, names(d))
		}
		if k%50 == 49 {
			t.Logf("%d units, not tested: %v", k+1, notes)
		}
		if detail := Detail(a, b); detail < DetailSame {
			p, _ := outline.Face([]*part.Image{u.lights[0]})
			q, _ := outline.Face([]*part.Image{u.lights[1]})
			if notes["outlines"]++; OutlinesApart(p, q, detail) {
				t.Errorf("unit %d: its two lights are called two units", k)
			}
		}
	}
	t.Logf("%d units, not tested: %v", n, notes)
}

// A unit that was not turned, be the picture taken anew or the very same, is doubted at both turns.
func TestStuckTurn(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for k := range 4 {
		u := drawUnit(r)
		s := u.sights()
		s[3] = Look(shaken(t, u.edges[1], r), edgeShot(3))
		if d, _ := Turns(s, func(a, b float64) bool { return a+b == 120 }); names(d) != "same_turn 1, same_turn 3" || !strings.Contains(says(d[0].Remedy), "edge_090.jpg") {
			t.Errorf("unit %d, taken anew: %q", k, names(d))
		}
		s[3] = Look(u.edges[1], edgeShot(3))
		if d, _ := Turns(s, nil); names(d) != "same_turn 1, same_turn 3" {
			t.Errorf("unit %d, copied: %q", k, names(d))
		}
	}
}

// A body of revolution looks the same at all turns: that is said, and no doubt. One that leans to a side does not.
func TestEvenBodyIsNotTested(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	e := synth.SmallEdge()
	e.WitnessMarks, e.Highlights = 0, 0
	var even, leaning []*Sight
	for k := range 3 {
		e.Seed = uint64(k)
		im, _ := synth.Edge(e)
		even = append(even, Look(im, edgeShot(k)))
		for y := range im.H { // below, the side to the right is farther out
			row := im.Pix8[3*y*im.W : 3*(y+1)*im.W]
			if by := 3 * (max(0, y-im.H/3) / 12); by > 0 {
				copy(row[by:], bytes.Clone(row[:len(row)-by]))
			}
		}
		for y := im.H / 2; y < im.H; y++ { // and bent
			row := im.Pix8[3*y*im.W : 3*(y+1)*im.W]
			if by := 3 * ((y - im.H/2) / 12); by > 0 {
				copy(row[:len(row)-by], bytes.Clone(row[by:]))
			}
		}
		leaning = append(leaning, Look(again(t, im, r.Float64(), r.Float64(), 1, 2, 90, e.Seed), edgeShot(k)))
	}
	if d, untested := Turns(even, nil); len(d) != 0 || len(untested) != 3 || !strings.Contains(says(untested[0]), "not tested") {
		t.Errorf("even: %s, %q", names(d), untested)
	}
	if d, _ := Turns(leaning, nil); len(d) != 3 {
		t.Errorf("leaning: %s", names(d))
	}
}

// One light under two names is told, be it the same file, taken anew, written anew or exposed otherwise, and so is a plate that
// mirrors one window in both, and two lights whose names are exchanged; two lights are not, nor where they are as bright.
func TestLights(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	p := synth.SmallFace()
	p.Pattern = "flake"
	d, k, _ := synth.Face(p)
	p.NoiseSigma = 2
	anew, _, _ := synth.Face(p)
	p.Glare = false
	dull, dullRaking, _ := synth.Face(p)
	mirror := synth.Unfit("mirror", synth.SmallFace())
	for _, c := range []struct {
		name string
		a, b *part.Image
		want string
	}{
		{"two lights", d, k, ""},
		{"no lamps mirrored", dull, dullRaking, ""},
		{"as bright", d, again(t, k, 0, 0, 1.6, 0, 95, 1), ""},
		{"copy", d, d, "same_light 1"},
		{"taken anew", d, anew, "same_light 1"},
		{"shaken", k, shaken(t, k, r), "same_light 1"},
		{"exposed otherwise", d, again(t, d, 0, 0, 0.7, 1, 95, 1), "same_light 1, same_light 0"},
		{"mirror", mirror["face_diffuse"], mirror["face_raking"], "same_light 1, same_light 0"},
		{"exchanged", k, d, "lights_swapped 1, lights_swapped 0"},
		{"exchanged, no lamps mirrored", dullRaking, dull, "lights_swapped 1, lights_swapped 0"},
	} {
		if got := names(Lights([]*Sight{Look(c.a, diffuseShot), Look(c.b, rakingShot)})); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// The face of another unit under one of two lights is told by its outline; u's own, turned by 3 degrees between them, is not.
func TestOtherFace(t *testing.T) {
	p := synth.SmallFace()
	p.Pattern = "granite"
	d, k, _ := synth.Face(p)
	p.Stretch, p.Seed = 0.02, 5
	_, other, _ := synth.Face(p)
	curve := func(im *part.Image) *outline.Curve {
		c, err := outline.Face([]*part.Image{im})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	own, foreign := Detail(Look(d, diffuseShot), Look(k, rakingShot)), Detail(Look(d, diffuseShot), Look(other, rakingShot))
	if OutlinesApart(curve(d), curve(k), own) || foreign >= DetailSame || !OutlinesApart(curve(d), curve(other), foreign) {
		t.Errorf("detail of its own light %.3f, of another unit %.3f", own, foreign)
	}
	turned := *curve(k)
	n := len(turned.RadiusN)
	turned.RadiusN = append(append([]float64(nil), turned.RadiusN[n-3*n/360:]...), turned.RadiusN[:n-3*n/360]...)
	if OutlinesApart(curve(d), &turned, 0) {
		t.Error("a unit turned by 3 degrees is called another one")
	}
}

// What turns and units are, told by limbs and the faceplate's outline. Expected: how the limbs were changed.
func TestCourse(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	var u, v drawn
	for u.limbs == nil { // one whose outline tells turns and direction
		if u = drawUnit(r); len(second(u.plate.Course(part.Edge, u.limbs))) > 0 {
			u.limbs = nil
		}
	}
	v = drawUnit(r)
	for _, c := range []struct {
		name   string
		change func(l []Limbs)
		want   string
		says   string
	}{
		{"as named", func([]Limbs) {}, "", ""},
		{"the other way round", func(l []Limbs) {
			for i := range l {
				l[i].TurnDeg = -l[i].TurnDeg
			}
		}, "wrong_turn 1, wrong_turn 2, wrong_turn 3, wrong_turn 4, wrong_turn 5", "wrong way round"},
		{"mirrored", func(l []Limbs) { l[2].LeftMM, l[2].RightMM = -l[2].RightMM-0.4, -l[2].LeftMM-0.4 }, "", ""},
		{"a turn left out", func(l []Limbs) {
			for i := 3; i < len(l); i++ {
				l[i].TurnDeg -= 30
			}
		}, "wrong_turn 3, wrong_turn 4, wrong_turn 5", "30 deg farther"},
		{"two exchanged", func(l []Limbs) { l[1].TurnDeg, l[4].TurnDeg = l[4].TurnDeg, l[1].TurnDeg }, "wrong_turn 1, wrong_turn 4", "exchange"},
		{"as at another turn", func(l []Limbs) { l[2].LeftMM, l[2].RightMM = l[3].LeftMM, l[3].RightMM }, "wrong_turn 2", "as at 90 deg, not at 60 deg"},
		{"another unit", func(l []Limbs) { l[2].LeftMM -= 0.3; l[2].RightMM += 0.4 }, "other_unit 2", "mm wide where"},
		{"another unit's face", func(l []Limbs) {
			for i := range l {
				l[i].LeftMM, l[i].RightMM = v.limbs[i].LeftMM, v.limbs[i].RightMM
			}
		}, "other_unit 0, other_unit 1, other_unit 2, other_unit 3, other_unit 4, other_unit 5, other_unit -1", "different units"},
	} {
		l := append([]Limbs(nil), u.limbs...)
		c.change(l)
		d, untested := u.plate.Course(part.Edge, l)
		if c.name == "mirrored" { // about the picture's middle, with the axis off it
			l = append([]Limbs(nil), u.limbs...)
			for i := range l {
				l[i].LeftMM, l[i].RightMM = l[i].LeftMM+0.4, l[i].RightMM+0.4
			}
			l[2].LeftMM, l[2].RightMM = -l[2].RightMM, -l[2].LeftMM
			d, untested = u.plate.Course(part.Edge, l)
			c.want, c.says = "mirrored 2", "mirrored picture"
		}
		if names(d) != c.want || len(d) > 0 && !strings.Contains(says(d[0].Remedy), c.says) || len(untested) > 0 {
			t.Errorf("%s: %q, %q, %+v", c.name, names(d), untested, d)
		}
	}
	// What cannot be told is said: a round plate, a unit put on anew for each turn, a face that lies turned, too few turns, a scale of another height.
	round := Plate{MMPerPX: 1}
	var still, wild, big []Limbs
	for k := range 90 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 45)
		round.Outline = append(round.Outline, part.Point{X: 6 * cos, Y: 6 * sin})
	}
	for k, l := range u.limbs {
		still = append(still, Limbs{TurnDeg: l.TurnDeg, LeftMM: -6, RightMM: 6})
		off := []float64{0.5, -0.4, 0.3, -0.6, 0.1, 0.4}[k]
		l.LeftMM, l.RightMM = l.LeftMM+off, l.RightMM+off
		wild = append(wild, l)
		l = u.limbs[k]
		l.LeftMM, l.RightMM = 1.08*l.LeftMM, 1.08*l.RightMM
		big = append(big, l)
	}
	for name, c := range map[string]struct {
		p    Plate
		l    []Limbs
		says string
	}{
		"round": {round, still, "too round"}, "put on anew": {u.plate, wild, "did not stay on its axis"}, "scale": {u.plate, big, "another height"},
	} {
		if d, untested := c.p.Course(part.Edge, c.l); len(d) > 0 || len(untested) != 1 || !strings.Contains(says(untested[0]), c.says) {
			t.Errorf("%s: %s, %q", name, names(d), untested)
		}
	}
}

func second(_ []Doubt, untested []part.Phrase) []part.Phrase { return untested }

// says is a phrase in English.
func says(p part.Phrase) string { return lang.English().Say(&p) }

// Of a dark unit before a ground as dark nothing shows but the lamps it mirrors, which may be the brighter under
// raking light: nothing is told of the lights. The same patches on a unit that is seen whole are no light of a dome.
func TestLightsOfLampsAlone(t *testing.T) {
	draw := func(level, unit uint8, patches [][4]int, lamp uint8) *part.Image {
		im := &part.Image{W: 320, H: 240, C: 3, Pix8: make([]uint8, 3*320*240)}
		fill := func(x0, y0, w, h int, v uint8) {
			for y := y0; y < y0+h; y++ {
				for i := 3 * (y*im.W + x0); i < 3*(y*im.W+x0+w); i++ {
					im.Pix8[i] = v + uint8(i*7919%3) // some noise
				}
			}
		}
		fill(0, 0, 320, 240, level)
		fill(80, 60, 160, 120, unit)
		for _, p := range patches {
			fill(p[0], p[1], p[2], p[3], lamp)
		}
		return im
	}
	strip, lamps := [][4]int{{150, 70, 4, 60}, {170, 70, 4, 60}}, [][4]int{{90, 70, 16, 50}, {210, 70, 16, 50}, {130, 150, 60, 16}}
	told := func(unit, dark uint8) []Doubt {
		d := Look(draw(40, unit, strip, 150), part.Shot{File: "d", View: part.Shell, Light: part.Diffuse})
		r := Look(draw(15, dark, lamps, 160), part.Shot{File: "r", View: part.Shell, Light: part.Raking})
		return Lights([]*Sight{d, r})
	}
	if got := told(40, 15); len(got) != 0 {
		t.Errorf("lamps alone: %+v", got)
	}
	if got := told(60, 130); len(got) != 2 || got[0].Name != Swapped {
		t.Errorf("a unit brighter under what is named raking: %+v", got)
	}
}
