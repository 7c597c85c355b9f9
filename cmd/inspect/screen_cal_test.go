package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stripes"
	"finishbench/internal/synth"
)

// aGrey is the picture of a screen of some gamma at a level, with some stray light.
func aGrey(t *testing.T, level int, gamma float64) []byte {
	t.Helper()
	im := image.NewGray(image.Rect(0, 0, 320, 240))
	rng := rand.New(rand.NewPCG(uint64(level), 3))
	for i := range im.Pix {
		im.Pix[i] = uint8(math.Round(255*optics.LinearToSRGB(0.02+0.7*math.Pow(float64(level)/255, gamma)) + 0.8*rng.NormFloat64()))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, im, &jpeg.Options{Quality: 100}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// greyFolder is a wedge as it is photographed; without the greys that are named.
func greyFolder(t *testing.T, gamma float64, without ...string) string {
	t.Helper()
	dir := t.TempDir()
	shown := map[int]bool{}
	for _, level := range station.GreysToShow() {
		name := fmt.Sprintf("grey_%03d.jpg", level)
		data := aGrey(t, level, gamma)
		if shown[level] {
			name, data = fmt.Sprintf("grey_%03d_2.jpg", level), append(data, '\n') // another file of the same light
		}
		shown[level] = true
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range without {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// A wedge makes a file and a page, and the bench draws by it; past its age, or spoilt, it
// is refused. Expected: the drawing's gamma.
func TestScreenWedge(t *testing.T) {
	out := t.TempDir()
	code, stdout, stderr := runCode(t, "screen", "wedge", greyFolder(t, 1.9), "--out", out)
	if code != cli.ExitPass || !strings.Contains(stdout, "power of 1.") || !strings.Contains(stdout,
		"screen: {curve: screen-curve.json}") || !strings.Contains(stdout, "edges cut") {
		t.Fatalf("%d\n%s%s", code, stdout, stderr)
	}
	var c stripes.Curve
	path := filepath.Join(out, "screen-curve.json")
	readJSON(t, path, &c)
	if math.Abs(c.Gamma-1.9) > max(2*c.UGamma, 0.01) || len(c.Pictures) != 18 || math.Abs(c.Offset-0.02/0.7) > 0.005 {
		t.Errorf("gamma %.3f, u %.3f, stray light %.4f, %d pictures", c.Gamma, c.UGamma, c.Offset, len(c.Pictures))
	}
	if page, err := os.ReadFile(filepath.Join(out, "screen-curve.html")); err != nil || !strings.Contains(string(page), "<svg") {
		t.Errorf("no page with its plot: %v", err)
	}
	if g, err := inspection.ScreenGamma(config.Screen{Curve: path}, time.Now()); err != nil || g != c.Gamma {
		t.Errorf("the bench draws by %g, %v", g, err)
	}
	if g, err := inspection.ScreenGamma(config.Screen{}, time.Now()); err != nil || g != 0 {
		t.Errorf("without a file: %g, %v", g, err)
	}
	if _, err := inspection.ScreenGamma(config.Screen{Curve: path}, time.Now().AddDate(0, 4,
		0)); err == nil || !strings.Contains(err.Error(), "days old") {
		t.Errorf("past its age: %v", err)
	}
	if _, err := inspection.ScreenGamma(config.Screen{Curve: path + "x"}, time.Now()); err == nil || !strings.Contains(err.Error(),
		"no such file") {
		t.Errorf("not there: %v", err)
	}
	if err := os.WriteFile(path, []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := inspection.ScreenGamma(config.Screen{Curve: path}, time.Now()); err == nil || !strings.Contains(err.Error(),
		"measure again") {
		t.Errorf("empty: %v", err)
	}
}

// What is amiss is told in a line, and no file is written.
func TestScreenWedgeRefuses(t *testing.T) {
	twice := greyFolder(t, 2.2, "grey_064.jpg")
	data, err := os.ReadFile(filepath.Join(twice, "grey_128.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(twice, "grey_064.jpg"), data, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{greyFolder(t, 2.2, "grey_000.jpg", "grey_016.jpg")}, cli.ExitUnmeasured, "make no wedge"},
		{[]string{greyFolder(t, 0.9)}, cli.ExitUnmeasured, "exposure, gain and white balance by hand"},
		{[]string{twice}, cli.ExitUsage, "one and the same picture"},
		{[]string{t.TempDir()}, cli.ExitUsage, "no picture named grey_000"},
		{[]string{"/nowhere"}, cli.ExitUsage, "/nowhere"},
		{[]string{}, cli.ExitUsage, "name one folder"},
		{[]string{greyFolder(t, 2.2), "--max-age-days", "0"}, cli.ExitUsage, "1 to 3660"},
	} {
		out := t.TempDir()
		code, _, stderr := runCode(t, append([]string{"screen", "wedge", "--out", out}, c.args...)...)
		if code != c.code || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%v: %d, %s", c.args, code, stderr)
		}
		if left, err := os.ReadDir(out); err != nil || len(left) > 0 {
			t.Errorf("%v: %v is written, %v", c.args, left, err)
		}
	}
}

// mirrorFolder draws a flat mirror in three positions, the gauge of so many um under an edge 30 mm
// off. Tilted along x its middle rises as well, which moves the stripes as a screen does that is
// half the span times the sine of the tilt further off.
func mirrorFolder(t *testing.T, p synth.StripesParams, um float64) string {
	t.Helper()
	const spanMM = 30
	p.W, p.H, p.MMPerPX, p.RadiusMM, p.Paint, p.Mirrored = 320, 320, 0.04, 20, 0, 0.8
	a := math.Atan(um / 1000 / spanMM)
	ax := a * (1 + spanMM/2*math.Sin(p.TiltDeg*math.Pi/180)/p.DistanceMM)
	dir := t.TempDir()
	for i, s := range [3][2]float64{{}, {ax, 0}, {0, a}} {
		p.Seed = uint64(10 + i)
		p.Slope = func(float64, float64) (float64, float64) { return s[0], s[1] }
		if err := os.Rename(drawnSet(t, p), filepath.Join(dir, stripes.Positions[i])); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// A mirror makes a file and a page; slopes are told by it while the station's screen stands as it stood
// then. Expected: by the drawing, 4 pi D/P and its cosine.
func TestScreenMirror(t *testing.T) {
	p := synth.DefaultStripes()
	out := t.TempDir()
	screen := fmt.Sprintf("period_mm: %g, distance_mm: 156, tilt_deg: %g", p.PeriodMM, p.TiltDeg) // the ruler was 4 mm off
	dir := mirrorFolder(t, p, 140)
	code, stdout, stderr := runCode(t, "screen", "mirror", dir, "--gauge-um", "140", "--span-mm", "30", "--station",
		stationFile(t, "screen: {"+screen+"}\n"), "--out", out)
	if code != cli.ExitPass || !strings.Contains(stdout, "screen: {mirror: screen-mirror.json}") || !strings.Contains(stdout,
		"GOOD") && !strings.Contains(stdout, "good") {
		t.Fatalf("%d\n%s%s", code, stdout, stderr)
	}
	t.Log(stdout)
	path := filepath.Join(out, "screen-mirror.json")
	var m stripes.Mirror
	readJSON(t, path, &m)
	x := 4 * math.Pi * p.DistanceMM / p.PeriodMM
	for d, want := range [2]float64{x, x * math.Cos(p.TiltDeg*math.Pi/180)} {
		if math.Abs(m.RadPerRad[d]/want-1) > 0.005 || len(m.Pictures) != 24 {
			t.Errorf("along %c: %.1f, want %.1f; %d pictures", 'x'+rune(d), m.RadPerRad[d], want, len(m.Pictures))
		}
	}
	c := config.Screen{PeriodMM: p.PeriodMM, DistanceMM: 156, TiltDeg: p.TiltDeg, Mirror: path}
	s, doubts, err := inspection.ScreenOf(c, time.Now())
	if err != nil || len(doubts) > 0 || s.RadPerRad != m.RadPerRad || s.URel != m.URel() {
		t.Errorf("%+v, %q, %v", s, doubts, err)
	}
	if _, doubts, err = inspection.ScreenOf(c, time.Now().AddDate(0, 0,
		80)); err != nil || len(doubts) != 1 || !strings.Contains(lang.English().Say(&doubts[0]), "again soon") {
		t.Errorf("after 80 days: %q, %v", doubts, err)
	}
	for name, change := range map[string]func(*config.Screen, *time.Time){
		"days old":           func(_ *config.Screen, now *time.Time) { *now = now.AddDate(0, 4, 0) },
		"4 mm, 156 mm":       func(c *config.Screen, _ *time.Time) { c.PeriodMM = 4 },
		"6 mm, 160 mm":       func(c *config.Screen, _ *time.Time) { c.DistanceMM = 160 },
		"156 mm and 25: mea": func(c *config.Screen, _ *time.Time) { c.TiltDeg = 25 },
	} {
		other, now := c, time.Now()
		change(&other, &now)
		if _, _, err := inspection.ScreenOf(other, now); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A unit's slopes follow: with twice the sensitivity, half of them.
	unit := aScreenUnit(t, nil)
	var slope [2]float64
	for i := range slope {
		file := filepath.Join(t.TempDir(), "m.json")
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if i == 1 {
			for d := range m.RadPerRad {
				data = bytes.Replace(data, fmt.Appendf(nil, "%v", m.RadPerRad[d]), fmt.Appendf(nil, "%v", 2*m.RadPerRad[d]), 1)
			}
		}
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		res := t.TempDir()
		code, _, stderr := runCode(t, "unit", unit, "--out", res, "--station",
			stationFile(t, "mm_per_px: 0.018\nscreen: {"+screen+", mirror: "+file+"}\n"))
		var r part.Result
		readJSON(t, filepath.Join(res, "u", "result.json"), &r)
		if r.Screen == nil || r.Screen.SlopeMRad == nil {
			t.Fatalf("%d, %s: %+v", code, stderr, r.Screen)
		}
		slope[i] = *r.Screen.SlopeMRad
	}
	if math.Abs(slope[0]/slope[1]-2) > 0.01 {
		t.Errorf("root mean square slopes %.4f and %.4f mrad, want two to one", slope[0], slope[1])
	}
}

// What is amiss is told in a line, and no file is written.
func TestScreenMirrorRefuses(t *testing.T) {
	p := synth.DefaultStripes()
	good := mirrorFolder(t, p, 140)
	folder := func(change func(dir string) error) string {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(good)); err != nil {
			t.Fatal(err)
		}
		if err := change(dir); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	swap := func(a, b string) func(dir string) error {
		return func(dir string) error {
			at := func(s string) string { return filepath.Join(dir, s) }
			for _, m := range [3][2]string{{a, "t"}, {b, a}, {"t", b}} {
				if err := os.Rename(at(m[0]), at(m[1])); err != nil {
					return err
				}
			}
			return nil
		}
	}
	known := stationFile(t, "screen: {distance_mm: 160, tilt_deg: 20}\n")
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{folder(swap("tilted_x", "tilted_y")), "--station", known}, cli.ExitUnmeasured, "seem exchanged"},
		{[]string{folder(swap("tilted_x", "flat")), "--station", known}, cli.ExitUnmeasured, "another order"},
		{[]string{folder(func(dir string) error {
			if err := os.RemoveAll(filepath.Join(dir, "tilted_y")); err != nil {
				return err
			}
			return os.CopyFS(filepath.Join(dir, "tilted_y"), os.DirFS(filepath.Join(dir, "flat")))
		}), "--station", known}, cli.ExitUnmeasured, "one set was given twice"},
		{[]string{folder(func(dir string) error { return os.Remove(filepath.Join(dir, "flat", "face_stripes_y2.jpg")) }), "--station",
			known}, cli.ExitUnmeasured, "position flat: the picture stripes_y2 is missing"},
		{[]string{folder(func(dir string) error { return os.RemoveAll(filepath.Join(dir, "tilted_x")) }), "--station", known},
			cli.ExitUsage, "tilted_x"},
		{[]string{good, "--station", known, "--gauge-um", "500"}, cli.ExitUnmeasured, "use one of"},
		{[]string{good}, cli.ExitUnmeasured, "write distance_mm in the station file"},
		{[]string{good, "--station", known, "--span-mm", "30,40,50"}, cli.ExitUsage, "--span-mm"},
		{[]string{good, "--station", known, "--gauge-um", "0"}, cli.ExitUsage, "10 to 2000 um"},
	} {
		out := t.TempDir()
		args := append([]string{"screen", "mirror", "--out", out, "--gauge-um", "140"}, c.args...)
		if !strings.Contains(strings.Join(args, " "), "--span-mm") {
			args = append(args, "--span-mm", "30")
		}
		code, _, stderr := runCode(t, args...)
		if code != c.code || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%q: %d, %s", c.want, code, stderr)
		}
		if left, err := os.ReadDir(out); err != nil || len(left) > 0 {
			t.Errorf("%q: %v is written, %v", c.want, left, err)
		}
	}
}

// A wedge and a set are shot by the station's camera before a screen, both played, into a folder from which
// the first is measured. Expected: the drawing's gamma.
func TestScreenShoot(t *testing.T) {
	needsGStreamer(t, "souphttpsrc", "multipartdemux", "jpegdec")
	p := synth.DefaultStripes()
	p.W, p.H, p.MMPerPX = 320, 240, 0.04
	hw := newStandIn(t, drawnSet(t, p))
	hw.mu.Lock()
	hw.light = "white"
	for _, level := range station.GreysToShow() {
		hw.pictures[fmt.Sprintf("grey_%03d", level)] = aGrey(t, level, 2.4)
	}
	hw.mu.Unlock()
	file := stationFile(t, fmt.Sprintf(`
mm_per_px: 0.015
cameras:
  - {name: above, source: gstreamer, pipeline: "souphttpsrc location=http://%s/ is-live=true ! multipartdemux ! jpegdec", width_px: %d, height_px: %d, format: rgb, delay_ms: 500}
screen: {mirror: not-there.json, curve: not-there.json}
plan: [{view: face, light: screen}]
`, hw.addr, p.W, p.H))
	dir := t.TempDir()
	shot := func(what string) (said string) {
		t.Helper()
		o := station.Options{Page: bench.Serving{Listen: "127.0.0.1:0"}, Take: station.ScreenShoot{What: what, Dir: dir}}
		o.Station, o.Jobs, o.Record.URL, o.Remeasures = file, 2, "none", true
		var out bytes.Buffer
		ended := make(chan error, 1)
		page, _ := benchHere(t, func(ctx context.Context, ready func(string)) error {
			err := station.Run(ctx, o, nil, &out, os.Stderr, ready)
			ended <- err
			return err
		})
		openTablet(t, openBrowser(t, page, "en", false), hw)
		select {
		case <-ended:
		case <-time.After(2 * time.Minute):
			t.Fatalf("%s is not shot after two minutes", what)
		}
		return out.String()
	}
	said := shot(station.ShootWedge)
	if !strings.Contains(said, "/light") || !strings.Contains(said, "inspect screen wedge "+dir) {
		t.Errorf("%s", said)
	}
	if err := os.Remove(filepath.Join(dir, "grey_255_2.png")); err != nil { // played, it is the very same picture
		t.Fatal(err)
	}
	out := t.TempDir()
	code, stdout, stderr := runCode(t, "screen", "wedge", dir, "--out", out)
	var c stripes.Curve
	if code != cli.ExitPass || !strings.Contains(stdout, "no grey was shown twice") {
		t.Fatalf("%d\n%s%s", code, stdout, stderr)
	}
	readJSON(t, filepath.Join(out, "screen-curve.json"), &c)
	if math.Abs(c.Gamma-2.4) > max(2*c.UGamma, 0.02) || len(c.Pictures) != 17 {
		t.Errorf("gamma %.3f, u %.3f, %d pictures", c.Gamma, c.UGamma, len(c.Pictures))
	}
	if err := os.WriteFile(file, bytes.Replace(must(os.ReadFile(file)), []byte(", curve: not-there.json"), nil, 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if said := shot("tilted_x"); !strings.Contains(said, "inspect screen mirror") {
		t.Errorf("%s", said)
	}
	if set, err := os.ReadDir(filepath.Join(dir, "tilted_x")); err != nil || len(set) != 10 {
		t.Errorf("%d pictures of a set, %v", len(set), err)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
