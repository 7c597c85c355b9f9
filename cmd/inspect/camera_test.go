package main

import (
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/camera"
	"finishbench/internal/optics"
)

// cameraDrawing draws a camera's pictures into a folder; all data is invented.
type cameraDrawing struct {
	t   *testing.T
	dir string
}

func (d cameraDrawing) save(name string, im image.Image) string {
	d.t.Helper()
	path := filepath.Join(d.dir, name)
	f, err := os.Create(path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, im); err != nil {
		d.t.Fatal(err)
	}
	return path
}

// colour draws light by channel as an sRGB-coded colour picture.
func (d cameraDrawing) colour(name string, w, h int, noise float64, seed uint64, light func(x, y int) float64) string {
	rng := rand.New(rand.NewPCG(seed, 1))
	im := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			l := light(x, y)
			var c [3]uint8
			for i, tint := range [3]float64{0.8, 1, 0.93} {
				v := min(max(l*tint+noise*rng.NormFloat64(), 0), 1)
				c[i] = uint8(255*optics.LinearToSRGB(v) + 0.5)
			}
			im.SetNRGBA(x, y, color.NRGBA{c[0], c[1], c[2], 255})
		}
	}
	return d.save(name, im)
}

// whites draws three pictures of a card: 30 % of vignetting, a slope, dust on
// the sensor at 120,90 and dust on the card, which moves.
func (d cameraDrawing) whites(w, h int) []string {
	var all []string
	for k := range 3 {
		all = append(all, d.colour(fmt.Sprintf("white%d.png", k+1), w, h, 0.006, uint64(k), func(x, y int) float64 {
			fx, fy := float64(x)-float64(w-1)/2, float64(y)-float64(h-1)/2
			q := (fx*fx + fy*fy) / (float64(w*w+h*h) / 4)
			l := 0.62 * (1 - 0.2*q - 0.1*q*q) * (1 + 0.06*fx/float64(w))
			if math.Hypot(float64(x-120), float64(y-90)) < 6 {
				l *= 0.88
			}
			if math.Hypot(float64(x-150-50*k), float64(y-200)) < 7 {
				l *= 0.75
			}
			return l
		}))
	}
	return all
}

// board draws a chessboard with squares of 60 px, turned by deg, behind a blur of
// 0.8 px and pixels' squares.
func (d cameraDrawing) board(name string, w, h int, deg float64) string {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	// The integral of a blurred edge over a pixel, along one direction.
	ramp := func(t float64) float64 {
		const s = 0.8
		return t*math.Erfc(-t/s/math.Sqrt2)/2 + s*math.Exp(-t*t/s/s/2)/math.Sqrt(2*math.Pi)
	}
	wave := func(t float64) float64 {
		const square = 60
		t = math.Mod(math.Mod(t, 2*square)+2*square, 2*square)
		v := 1.0
		for k := -1; k <= 3; k++ {
			sign := 2.0
			if k%2 != 0 {
				sign = -2
			}
			v += sign * (ramp(t-float64(k*square)+0.5) - ramp(t-float64(k*square)-0.5))
		}
		return v
	}
	return d.colour(name, w, h, 0.004, 9, func(x, y int) float64 {
		fx, fy := float64(x)-float64(w)/2, float64(y)-float64(h)/2
		return 0.4 + 0.3*wave(fx*cos+fy*sin)*wave(fy*cos-fx*sin)
	})
}

// series draws an exposure series of a sensor with 12 bits: 0.28 DN an electron,
// 11 electrons of read noise, 1 % of scatter between pixels.
func (d cameraDrawing) series(levels int) string {
	const k, read, black, full, w, h = 0.28, 11, 60, 4095, 160, 120
	table := "file,exposure_ms,kind\n"
	for i := range levels {
		ms := 8 * float64(i+1) / float64(levels)
		for _, kind := range []string{"light", "dark"} {
			for _, ab := range "ab" {
				pattern := rand.New(rand.NewPCG(5, 5))
				rng := rand.New(rand.NewPCG(uint64(i), uint64(ab)+uint64(len(kind))*1000))
				im := image.NewGray16(image.Rect(0, 0, w, h))
				for y := range h {
					for x := range w {
						gain, offset := 1+0.01*pattern.NormFloat64(), 4*pattern.NormFloat64()
						e := 0.0
						if kind == "light" {
							e = 2070 * ms * gain
							e += math.Sqrt(e) * rng.NormFloat64() // many electrons: as good as Poisson's
						}
						v := math.Floor(black + k*(e+offset+read*rng.NormFloat64()) + 0.5)
						im.SetGray16(x, y, color.Gray16{Y: uint16(min(max(v, 0), full))})
					}
				}
				name := fmt.Sprintf("%s%02d%c.png", kind, i, ab)
				d.save(name, im)
				table += fmt.Sprintf("%s,%g,%s\n", name, ms, kind)
			}
		}
	}
	path := filepath.Join(d.dir, "series.csv")
	if err := os.WriteFile(path, []byte(table), 0o666); err != nil {
		d.t.Fatal(err)
	}
	return path
}

// TestCamera: what was drawn comes back through the command.
func TestCamera(t *testing.T) {
	d := cameraDrawing{t, t.TempDir()}
	whites, board, series := d.whites(400, 300), d.board("board.png", 480, 360, 5), d.series(14)
	out := filepath.Join(d.dir, "out")
	code, stdout, stderr := runCode(t, "camera", "--white", strings.Join(whites, ","), "--edge", board, "--mm-per-px", "0.015", "--camera",
		"edge-1", "--json", "--out", out)
	if code != cli.ExitPass {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	var got camera.Numbers
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatal(err)
	}
	want := optics.MTF50OfSigma(0.8)
	if s := got.Sharpness; s == nil || s.MTF50 == nil || math.Abs(*s.MTF50/want-1) > 0.02 || math.Abs(*s.LinePairs-want/0.015) > 0.4 {
		t.Errorf("sharpness %+v, want MTF50 %.4f", s, want)
	}
	if f := got.FlatField; f == nil || math.Abs(*f.VignettePct-30) > 1 || len(f.Spots) != 1 || f.SpotsOnCard != 3 {
		t.Errorf("flat field: vignetting %v, spots %v, %d on the card", f.VignettePct, f.Spots, f.SpotsOnCard)
	}
	file, err := os.Open(filepath.Join(out, camera.FlatFieldFile))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	f, err := optics.ReadFlatField(file)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Pictures) != 3 || len(f.Pictures[0].SHA256) != 64 || f.Made.IsZero() {
		t.Errorf("the file's pictures %v, made %v", f.Pictures, f.Made)
	}
	page, err := os.ReadFile(filepath.Join(out, "camera.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, say := range []string{"edge-1", "line pairs a millimetre", "3 and 60 Hz", "<svg", "vignetting"} {
		if !strings.Contains(string(page), say) {
			t.Errorf("the page lacks %q", say)
		}
	}

	code, stdout, stderr = runCode(t, "camera", "--exposures", series, "--linear", "--json")
	if code != cli.ExitPass {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	got = camera.Numbers{}
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatal(err)
	}
	s := got.Sensor
	if s == nil || s.K == nil || s.ReadNoise == nil || s.PRNU == nil || s.LinearityMax == nil || s.DynamicRange == nil {
		t.Fatalf("sensor %+v", s)
	}
	for _, c := range []struct {
		name             string
		got, want, share float64
	}{{"gain", *s.K, 0.28, 0.05}, {"read noise", *s.ReadNoise, 11, 0.08}, {"PRNU", *s.PRNU, 1, 0.15},
		{"saturation", *s.SaturationE, 4035 / 0.28, 0.13}} {
		if math.Abs(c.got/c.want-1) > c.share {
			t.Errorf("%s is %.4g, drawn %.4g", c.name, c.got, c.want)
		}
	}
	if s.Responsivity != nil || s.QuantumEfficiency != nil {
		t.Error("photons were told without any given")
	}
	// The same as text, as if sRGB-coded: electrons are said not to be the sensor's.
	_, stdout, _ = runCode(t, "camera", "--exposures", series)
	if !strings.Contains(stdout, "not of the sensor") {
		t.Errorf("sRGB-coded pictures are not told: %s", stdout)
	}
}

// TestCameraNotMeasured: what cannot be measured is said, with what to do, and is
// no pass.
func TestCameraNotMeasured(t *testing.T) {
	d := cameraDrawing{t, t.TempDir()}
	flat := d.colour("flat.png", 200, 160, 0.004, 1, func(x, y int) float64 { return 0.5 })
	clipped := d.colour("clipped.png", 200, 160, 0.004, 1, func(x, y int) float64 { return 1.3 })
	square := d.board("square.png", 300, 240, 0.2)
	other := d.colour("other.png", 160, 200, 0.004, 1, func(x, y int) float64 { return 0.5 })
	for _, c := range []struct {
		args []string
		say  string
	}{
		{[]string{"--edge", flat}, "turned by about 5 degrees"},
		{[]string{"--edge", square}, "within 2 degrees of the pixel grid"},
		{[]string{"--white", clipped}, "are clipped"},
		{[]string{"--white", flat + "," + other}, "160x200"},
		{[]string{"--white", flat, "--edge", flat}, "Not all"},
		{[]string{"--white", square}, "no even card"},
	} {
		code, stdout, stderr := runCode(t, append([]string{"camera"}, c.args...)...)
		if code != cli.ExitUnmeasured || !strings.Contains(stdout, c.say) || strings.Contains(stdout, "NaN") ||
			strings.Contains(stdout, "optics:") || stderr != "" {
			t.Errorf("%q: exit code %d, %s%s", c.args, code, stdout, stderr)
		}
	}
}

// TestCameraSeriesTable: what is wrong with a table is one line, with line and
// column.
func TestCameraSeriesTable(t *testing.T) {
	d := cameraDrawing{t, t.TempDir()}
	for _, n := range []string{"a", "b", "c", "d"} {
		d.colour(n+".png", 64, 64, 0.01, uint64(n[0]), func(x, y int) float64 { return 0.4 })
	}
	d.colour("small.png", 48, 48, 0.01, 7, func(x, y int) float64 { return 0.4 })
	d.colour("small2.png", 48, 48, 0.01, 8, func(x, y int) float64 { return 0.4 })
	for _, c := range []struct {
		table, say string
		code       int
	}{
		{"", "table is empty", cli.ExitUsage},
		{"file,exposure_ms\n", "names no picture", cli.ExitUsage},
		{"picture,ms\na.png,1\n", "no column file", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nb.png,x\n", `line 3, column exposure_ms: "x"`, cli.ExitUsage},
		{"file,exposure_ms\na.png,-1\n", `line 2, column exposure_ms: "-1"`, cli.ExitUsage},
		{"file,exposure_ms\n,1\n", "line 2, column file", cli.ExitUsage},
		{"file,exposure_ms,kind\na.png,1,grey\n", "line 2, column kind", cli.ExitUsage},
		{"file,exposure_ms,photons\na.png,1,none\n", "line 2, column photons", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nb.png,1\nc.png,1\n", "line 4: a third", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nb.png,2\n", "the only light picture at 1 ms", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\na.png,1\n", "stands in line 2 already", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nnone.png,1\n", "line 3", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nsmall.png,1\n", "line 3", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nb.png,1\nsmall.png,2\nsmall2.png,2\n", "line 4: small.png has 48x48", cli.ExitUsage},
		{"file,exposure_ms\n\"a.png,1\n", "line", cli.ExitUsage},
		{"file,exposure_ms\na.png,1\nb.png,1\n", "two at least", cli.ExitUnmeasured},
		{"file,exposure_ms\na.png,1\nb.png,1\nc.png,2\nd.png,2\n", "does not rise", cli.ExitUnmeasured},
	} {
		path := filepath.Join(d.dir, "series.csv")
		if err := os.WriteFile(path, []byte(c.table), 0o666); err != nil {
			t.Fatal(err)
		}
		code, stdout, stderr := runCode(t, "camera", "--exposures", path)
		if code != c.code || !strings.Contains(stdout+stderr, c.say) || strings.Count(stderr, "\n") > 1 {
			t.Errorf("%q: exit code %d, %s%s; want %q", c.table, code, stdout, stderr, c.say)
		}
	}
	for _, args := range [][]string{{}, {"--dark", "a.png"}, {"--white", "none.png"}, {"--edge", "none.png"}, {"--exposures", "none.csv"},
		{"--edge", "a.png", "--mm-per-px", "15"}, {"--white", "a.png,a.png"}, {"x.png"}} {
		if code, stdout, stderr := runCode(t, append([]string{"camera"}, args...)...); code != cli.ExitUsage ||
			strings.Count(stderr, "\n") != 1 || stdout != "" {
			t.Errorf("%q: exit code %d, %s%s", args, code, stdout, stderr)
		}
	}
}
