package capture

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/capture/outline"
	"finishbench/internal/config"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

var (
	edgeShot    = part.Shot{File: "edge_030.jpg", View: part.Edge, AngleDeg: 30}
	diffuseShot = part.Shot{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse}
	rakingShot  = part.Shot{File: "face_raking.jpg", View: part.Face, Light: part.Raking}
)

// told lists a report's problems, warnings in brackets.
func told(r part.PictureReport) string {
	s := []string{string(r.State)}
	for _, p := range r.Problems {
		n := p.Name
		if p.Warn {
			n = "(" + n + ")"
		}
		s = append(s, n)
	}
	return strings.Join(s, " ")
}

// checkReport tests what holds for every report.
func checkReport(t *testing.T, r part.PictureReport) {
	t.Helper()
	fatal := false
	for _, p := range r.Problems {
		fatal = fatal || !p.Warn
		if p.Name == "" || p.Remedy == "" || strings.Contains(p.Remedy, "\n") || strings.Contains(p.Remedy, "NaN") ||
			strings.Contains(p.Remedy, "%!") {
			t.Errorf("problem %+v", p)
		}
		if (p.Value == nil) != (p.Limit == nil) && p.Name != Unread {
			t.Errorf("problem %s has a value without a limit or the other way round", p.Name)
		}
	}
	if fatal != (r.State == part.PictureNoOK) {
		t.Errorf("state %s with problems %s", r.State, told(r))
	}
	if r.Clipped != nil && (*r.Clipped < 0 || *r.Clipped > 1) {
		t.Errorf("clipped %g", *r.Clipped)
	}
}

// expectDegraded checks one spoilt picture.
func expectDegraded(t *testing.T, d degradation, im *part.Image, shot part.Shot) {
	t.Helper()
	out := d.do(im)
	if d.shot != nil {
		d.shot(&shot)
	}
	r := Check(out, shot, DefaultFitLimits())
	checkReport(t, r)
	hit, fatal := false, false
	for _, p := range r.Problems {
		if p.Name == d.want {
			hit, fatal = true, fatal || !p.Warn
		}
	}
	switch {
	case d.want == "" && r.State != part.PictureOK:
		t.Errorf("%s: %s, want ok", d.name, told(r))
	case d.want != "" && !hit:
		t.Errorf("%s: %s, want %s", d.name, told(r), d.want)
	case d.want != "" && !d.warn && !fatal:
		t.Errorf("%s: %s, want %s and not measured", d.name, told(r), d.want)
	}
}

// TestDegradedSynth: pictures drawn by formula are fit, and each way of spoiling
// them is called by its name. Motion is asked for on edge pictures only: on a
// dark ground it is told where the outline is sharp enough, and no more is
// promised.
func TestDegradedSynth(t *testing.T) {
	edge, _ := synth.Edge(synth.DefaultEdge())
	p := synth.DefaultFace()
	p.Pattern = "granite"
	diffuse, raking, _ := synth.Face(p)
	for _, d := range degradations {
		t.Run(d.name, func(t *testing.T) {
			if d.view != part.Face {
				expectDegraded(t, d, edge, edgeShot)
			}
			if d.view == part.Edge || d.want == Moved {
				return
			}
			expectDegraded(t, d, diffuse, diffuseShot)
			if d.not != part.Raking {
				expectDegraded(t, d, raking, rakingShot)
			}
		})
	}
}

// TestOtherRigs: pictures from other rigs are fit to measure.
func TestOtherRigs(t *testing.T) {
	for name, change := range map[string]func(*synth.EdgeParams){
		"dark panel":     func(p *synth.EdgeParams) { p.DarkPanel = true },
		"grey":           func(p *synth.EdgeParams) { p.Grey = true },
		"16 bit grey":    func(p *synth.EdgeParams) { p.Grey, p.Bits = true, 16 },
		"faceplate down": func(p *synth.EdgeParams) { p.FaceplateDown = true },
		"tilted":         func(p *synth.EdgeParams) { p.TiltDeg = -5 },
		"no holder":      func(p *synth.EdgeParams) { p.Holder = false },
		"5 um":           func(p *synth.EdgeParams) { p.W, p.H, p.MMPerPX, p.BlurSigmaPX = 4000, 3000, 0.005, 2 },
		"40 um":          func(p *synth.EdgeParams) { p.W, p.H, p.MMPerPX, p.BlurSigmaPX = 800, 600, 0.04, 0.6 },
		"black unit":     func(p *synth.EdgeParams) { p.ShellRGB, p.SameColour = [3]float64{0.01, 0.01, 0.01}, true },
		"white unit":     func(p *synth.EdgeParams) { p.ShellRGB, p.SameColour = [3]float64{0.75, 0.75, 0.7}, false },
		"noisy":          func(p *synth.EdgeParams) { p.NoiseSigma = 5 },
		"dim":            func(p *synth.EdgeParams) { p.Exposure = 0.3 },
		"off centre":     func(p *synth.EdgeParams) { p.OffsetXPX, p.OffsetYPX = 150, -60 },
		"grazing":        func(p *synth.EdgeParams) { p.Grazing = 0.8 },
	} {
		t.Run(name, func(t *testing.T) {
			synth.Sampled(t, 3)
			p := synth.DefaultEdge()
			change(&p)
			im, _ := synth.Edge(p)
			r := Check(im, edgeShot, DefaultFitLimits())
			checkReport(t, r)
			if r.State != part.PictureOK || r.SharpnessPX == nil || r.Clipped == nil {
				t.Errorf("%s, sharpness %v", told(r), r.SharpnessPX)
			}
		})
	}
	for name, change := range map[string]func(*synth.FaceParams){
		"plain":             func(*synth.FaceParams) {},
		"marble":            func(p *synth.FaceParams) { p.Pattern = "marble" },
		"wood":              func(p *synth.FaceParams) { p.Pattern = "wood" },
		"bright background": func(p *synth.FaceParams) { p.Background = "bright" },
		"grey":              func(p *synth.FaceParams) { p.Grey = true },
		"16 bit":            func(p *synth.FaceParams) { p.Bits = 16 },
		"no ring":           func(p *synth.FaceParams) { p.RingMM = 0 },
		"wide rim":          func(p *synth.FaceParams) { p.RimMM = 1 },
		"small":             func(p *synth.FaceParams) { *p = synth.SmallFace() },
		"round":             func(p *synth.FaceParams) { p.Stretch = 0 },
		"JPEG":              func(p *synth.FaceParams) { p.JPEGQuality = 90 },
	} {
		t.Run("face "+name, func(t *testing.T) {
			synth.Sampled(t, 3)
			p := synth.DefaultFace()
			change(&p)
			diffuse, raking, _ := synth.Face(p)
			for _, c := range []struct {
				im   *part.Image
				shot part.Shot
			}{{diffuse, diffuseShot}, {raking, rakingShot}} {
				r := Check(c.im, c.shot, DefaultFitLimits())
				checkReport(t, r)
				if r.State != part.PictureOK {
					t.Errorf("%s: %s", c.shot.Light, told(r))
				}
			}
		})
	}
}

// TestEdgeWidth: the 10-90 % width of a Gaussian-blurred edge is 2.5631 sigma
// (normal distribution: twice its 90 % point, 1.28155). A pixel's own area adds
// 1/12 to the variance. Drawn half-planes at all angles, as ellipse outlines.
func TestEdgeWidth(t *testing.T) {
	for _, sigma := range []float64{0.6, 0.8, 1, 1.5, 2, 3, 5} {
		p := synth.DefaultEdge()
		p.BlurSigmaPX, p.NoiseSigma, p.Flat, p.Holder = sigma, 1, true, false
		im, _ := synth.Edge(p)
		s, err := outline.Find(im)
		if err != nil {
			t.Fatal(err)
		}
		got := judgeEdges(edgeFits(im, s, false), false)
		want := risePerSigma * math.Sqrt(sigma*sigma+1./12)
		if math.Abs(got.width/want-1) > 0.05 {
			t.Errorf("sigma %g: width %.3f px, want %.3f", sigma, got.width, want)
		}
		if got.motion > 1.5+0.3*sigma {
			t.Errorf("sigma %g: motion of %.1f px in a still picture", sigma, got.motion)
		}
	}
}

// TestMotion: length and direction of a drawn motion, to a quarter and 12 deg.
// A uniform line of n pixels has the variance (n^2-1)/12.
func TestMotion(t *testing.T) {
	p := synth.DefaultEdge()
	p.NoiseSigma = 1
	sharp, _ := synth.Edge(p)
	for _, c := range []struct {
		n   int
		deg float64
	}{{8, 0}, {12, 0}, {10, 60}, {12, 90}, {9, 135}} {
		im := moved(c.n, c.deg)(sharp)
		s, err := outline.Find(im)
		if err != nil {
			t.Fatal(err)
		}
		got := judgeEdges(edgeFits(im, s, false), false)
		turn := math.Abs(math.Mod(got.heading-c.deg+270, 180) - 90)
		if !(math.Abs(got.motion/float64(c.n)-1) < 0.35) || turn > 12 {
			t.Errorf("%d px at %.0f deg: got %.1f px at %.0f deg", c.n, c.deg, got.motion, got.heading)
		}
	}
}

// TestUnreadable: a file that Read refuses is not measured, with the reason.
func TestUnreadable(t *testing.T) {
	path := write(t, "edge_000.jpg", nil)
	_, err := Read(path)
	if err == nil {
		t.Fatal("an empty file was read")
	}
	shot := part.Shot{File: "edge_000.jpg", Path: path, View: part.Edge}
	r := Unreadable(shot, err)
	if r.State != part.PictureNoOK || len(r.Problems) != 1 || r.Problems[0].Warn || strings.Contains(r.Problems[0].Remedy, path) ||
		!strings.Contains(r.Problems[0].Remedy, "empty") {
		t.Errorf("%+v", r)
	}
	if r := Unreadable(shot, errors.New("two\nlines")); strings.Contains(r.Problems[0].Remedy, "\n") {
		t.Errorf("%q", r.Problems[0].Remedy)
	}
	checkReport(t, Check(&part.Image{W: 3, H: 3, C: 1}, edgeShot, DefaultFitLimits()))
}

// DefaultFitLimits are the shipped limits.
func DefaultFitLimits() part.FitLimits {
	s, err := config.LoadStation("")
	if err != nil {
		panic(err)
	}
	return s.Fit
}

// TestFitLimits: each limit is used.
func TestFitLimits(t *testing.T) {
	im, _ := synth.Edge(synth.SmallEdge())
	for name, set := range map[string]func(*part.FitLimits){
		TooSmall:    func(l *part.FitLimits) { l.MinPixels = 1_000_000 },
		TooDark:     func(l *part.FitLimits) { l.MinPanel = 0.99 },
		OutOfFocus:  func(l *part.FitLimits) { l.EdgeWidthPX, l.EdgeWidthShare = 1, 0 },
		PanelUneven: func(l *part.FitLimits) { l.PanelUneven = 0.01 },
	} {
		l := DefaultFitLimits()
		set(&l)
		r := Check(im, edgeShot, l)
		checkReport(t, r)
		if !strings.Contains(told(r), " "+name) {
			t.Errorf("%s: %s", name, told(r))
		}
	}
	// A unit that is small in its picture.
	p := synth.SmallEdge()
	p.MMPerPX = 0.15
	small, _ := synth.Edge(p)
	if r := Check(small, edgeShot, DefaultFitLimits()); !strings.Contains(told(r), " "+TooSmall) {
		t.Errorf("small unit: %s", told(r))
	}
}

// Clipped highlights refuse an edge picture, but not a face or a shell: they are
// told of, until most of it is clipped. The shares of the cases are 5 % and 60 %
// of the unit's pixels, drawn by hand; limits are the shipped ones.
func TestClippedHighlights(t *testing.T) {
	c := func(view part.View, light part.Light, share float64) part.PictureReport {
		r := newReport(part.Shot{File: "x", View: view, Light: light})
		k := checker{r: &r, lim: DefaultFitLimits(), shot: part.Shot{View: view, Light: light}}
		k.light(nil, exposure{clipped: share, inner: share, unit: 0.9, panel: 0.9})
		return r
	}
	for _, x := range []struct {
		view  part.View
		light part.Light
		share float64
		ok    bool
		tells string
	}{
		{part.Edge, part.NoLight, 0.05, false, "clipped, limit 0.5 %"},
		{part.Face, part.Diffuse, 0.05, true, "what is clipped is not looked at"},
		{part.Face, part.Raking, 0.05, true, "what is clipped is not looked at"},
		{part.Shell, part.Raking, 0.5, true, "what is clipped is not looked at"},
		{part.Face, part.Diffuse, 0.6, false, "60 % of the surface is clipped, limit 50 %"},
		{part.Shell, part.Raking, 0.6, false, "60 % of the surface is clipped, limit 50 %"},
		{part.Face, part.Diffuse, 0.004, true, "light down a little"},
		{part.Face, part.Raking, 0.004, true, ""},
	} {
		r := c(x.view, x.light, x.share)
		said := ""
		for _, p := range r.Problems {
			said += p.Remedy
		}
		if (r.State == part.PictureOK) != x.ok || !strings.Contains(said, x.tells) || (x.tells == "") != (len(r.Problems) == 0) {
			t.Errorf("%s %s, %g clipped: %s, %+v", x.view, x.light, x.share, r.State, r.Problems)
		}
	}
	// Mostly white: a drawn unit at forty times its light.
	diffuse, raking, _ := synth.Face(synth.DefaultFace())
	for shot, im := range map[part.Shot]*part.Image{diffuseShot: diffuse, rakingShot: raking} {
		if r := Check(light(40)(im), shot, DefaultFitLimits()); !strings.Contains(told(r), " "+TooBright) {
			t.Errorf("a white picture under %s light is not refused for its light: %s", shot.Light, told(r))
		}
	}
}

// TestCheckSurface: a flat panel fills its picture; there is no unit to miss.
func TestCheckSurface(t *testing.T) {
	p := synth.DefaultPanel()
	diffuse, _, _ := synth.Panel(p)
	shot := part.Shot{File: "panel.png", Light: part.Diffuse}
	if r := CheckSurface(diffuse, shot, DefaultFitLimits()); r.State != part.PictureOK {
		t.Errorf("%s", told(r))
	}
	if r := CheckSurface(light(30)(diffuse), shot, DefaultFitLimits()); !strings.Contains(told(r), TooBright) {
		t.Errorf("bright: %s", told(r))
	}
	if r := CheckSurface(light(0.002)(diffuse), shot, DefaultFitLimits()); !strings.Contains(told(r), TooDark) {
		t.Errorf("dark: %s", told(r))
	}
}

// shared is the folder of shared units, or a skipped test.
func shared(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("FINISHBENCH_SHARED")
	if dir == "" {
		dir = "../../../shared"
	}
	dir = filepath.Join(dir, "units")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("the shared units are not beside the project; set FINISHBENCH_SHARED")
	}
	return dir
}

// TestSharedUnits: every picture of the shared units is fit, and its sharpness
// agrees with the blur it was made with: 2.5631 times its sigma and a pixel's own
// area together, within 15 %.
func TestSharedUnits(t *testing.T) {
	dirs, err := filepath.Glob(filepath.Join(shared(t), "u*"))
	if err != nil || len(dirs) == 0 {
		t.Fatal("no units", err)
	}
	if testing.Short() {
		dirs = dirs[:3]
	}
	for _, dir := range dirs {
		f, err := Scan(dir)
		if err != nil {
			t.Fatal(err)
		}
		psf := psfOf(t, dir)
		for _, shot := range f.Shots {
			im, err := Read(shot.Path)
			if err != nil {
				t.Fatal(err)
			}
			r := Check(im, shot, DefaultFitLimits())
			Release(im)
			checkReport(t, r)
			if r.State != part.PictureOK || len(r.Problems) > 0 || r.Clipped == nil {
				t.Errorf("%s/%s: %s", f.Name, shot.File, told(r))
			}
			if shot.View != part.Edge {
				continue
			}
			want := risePerSigma * math.Sqrt(psf[shot.File]*psf[shot.File]+1./12)
			if r.SharpnessPX == nil || math.Abs(*r.SharpnessPX/want-1) > 0.15 {
				t.Errorf("%s/%s: sharpness %s, want %.2f", f.Name, shot.File, num(r.SharpnessPX), want)
			}
		}
	}
}

func num(v *float64) string {
	if v == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.2f", *v)
}

// TestDegradedShared spoils shared pictures.
func TestDegradedShared(t *testing.T) {
	root := shared(t)
	for _, u := range []string{"u01-L"} {
		for _, shot := range []part.Shot{edgeShot, diffuseShot, rakingShot} {
			im, err := Read(filepath.Join(root, u, shot.File))
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range degradations {
				if d.view != "" && d.view != shot.View || d.want == Moved && shot.View != part.Edge || d.not != "" && d.not == shot.Light {
					continue
				}
				t.Run(u+" "+shot.File+" "+d.name, func(t *testing.T) {
					synth.Sampled(t, 3)
					expectDegraded(t, d, im, shot)
				})
			}
		}
	}
}

// BenchmarkCheck: one 1600x1200 picture.
func BenchmarkCheck(b *testing.B) {
	edge, _ := synth.Edge(synth.DefaultEdge())
	diffuse, _, _ := synth.Face(synth.DefaultFace())
	for _, c := range []struct {
		im   *part.Image
		shot part.Shot
	}{{edge, edgeShot}, {diffuse, diffuseShot}} {
		b.Run(string(c.shot.View), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Check(c.im, c.shot, DefaultFitLimits())
			}
		})
	}
}
