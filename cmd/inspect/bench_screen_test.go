package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/config"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/synth"
)

// What a screen shows for each light: plain, and stripes by the contract of the names,
// number n along x or y at n times 90 degrees, of the station's period and contrast.
func TestPatternsOfASet(t *testing.T) {
	white := [3]float64{1, 1, 1}
	b := station.Screen{Screen: config.Screen{PeriodMM: 4, Contrast: 0.7}}
	stripes := func(axis string, deg float64) bench.Pattern {
		return bench.Pattern{Kind: bench.Stripes, Colour: white, Axis: axis, PeriodMM: 4, PhaseDeg: deg, Contrast: 0.7}
	}
	for l, want := range map[part.Light]bench.Pattern{
		part.White: {Kind: bench.Plain, Colour: white}, part.Black: {Kind: bench.Plain},
		part.StripesX0: stripes("x", 0), part.StripesX1: stripes("x", 90), part.StripesX2: stripes("x", 180),
		part.StripesX3: stripes("x", 270),
		part.StripesY0: stripes("y", 0), part.StripesY1: stripes("y", 90), part.StripesY2: stripes("y", 180),
		part.StripesY3: stripes("y", 270),
	} {
		if got := b.Pattern(l); got != want {
			t.Errorf("%s: %+v, want %+v", l, got, want)
		}
	}
}

// drawnSet is a folder with the pictures of a drawn face before a screen.
func drawnSet(t *testing.T, p synth.StripesParams) string {
	t.Helper()
	dir := t.TempDir()
	pictures, _ := synth.Stripes(p)
	pictures[part.Black] = &part.Image{W: p.W, H: p.H, C: 1, Pix8: make([]uint8, p.W*p.H)}
	for l, im := range pictures {
		if im.C != 1 || im.Pix8 == nil {
			t.Fatalf("%s is drawn with %d channels", l, im.C)
		}
		f, err := os.Create(filepath.Join(dir, "face_"+string(l)+".jpg"))
		if err != nil {
			t.Fatal(err)
		}
		if err := jpeg.Encode(f, &image.Gray{Pix: im.Pix8, Stride: im.W, Rect: image.Rect(0, 0, im.W, im.H)},
			&jpeg.Options{Quality: 100}); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// aDent is a round dent of a face, h (1 - r^2/a^2)^2 deep, at 1 mm beside the middle: the
// normal's tilt.
func aDent(depthMM, a float64) func(x, y float64) (sx, sy float64) {
	return func(x, y float64) (float64, float64) {
		u, v := (x-1)/a, y/a
		if q := 1 - u*u - v*v; q > 0 {
			k := -4 * depthMM * q / a
			return k * u, k * v
		}
		return 0, 0
	}
}

// playedTablet does what the light page does in a browser: it follows what it is asked to
// show, and tells when it is painted. The camera sees what it shows.
type playedTablet struct {
	*benchBrowser
	hw           *standIn
	token, name  string
	stream       *http.Response
	done         chan struct{}
	mu           sync.Mutex
	shown        []string // lights, in order
	last, hidden string   // number of what it shows; "1": asleep
}

var screenOnPage = regexp.MustCompile(`data-screen="([^"]+)"`)

func openTablet(t *testing.T, b *benchBrowser, hw *standIn) *playedTablet {
	t.Helper()
	page, err := b.get(t.Context(), "/light", "text/html")
	if err != nil {
		t.Fatal(err)
	}
	token, name := tokenOnPage.FindStringSubmatch(page), screenOnPage.FindStringSubmatch(page)
	if token == nil || name == nil {
		t.Fatalf("no light page: %.300s", page)
	}
	x := &playedTablet{benchBrowser: b, hw: hw, token: token[1], name: name[1], done: make(chan struct{})}
	if x.stream, err = b.http.Get(b.base + "/light/events?screen=" + url.QueryEscape(x.name)); err != nil {
		t.Fatal(err)
	}
	go x.follow()
	t.Cleanup(func() { _ = x.stream.Body.Close(); <-x.done })
	return x
}

func (x *playedTablet) follow() {
	defer close(x.done)
	lines := bufio.NewScanner(x.stream.Body)
	for lines.Scan() {
		data, ok := strings.CutPrefix(lines.Text(), "data: {")
		if !ok {
			continue
		}
		var a struct {
			Number  int64         `json:"number"`
			Pattern bench.Pattern `json:"pattern"`
		}
		if err := json.Unmarshal([]byte("{"+data), &a); err != nil {
			x.fault("%v", err)
			continue
		}
		x.show(strconv.FormatInt(a.Number, 10), a.Pattern)
	}
}

// show puts a pattern before the camera, and tells it.
func (x *playedTablet) show(number string, p bench.Pattern) {
	light := "white"
	switch grey := fmt.Sprintf("grey_%03.0f", 255*optics.LinearToSRGB(p.Colour[0])); {
	case p.Kind == bench.Plain && x.hw.pictures[grey] != nil:
		light = grey
	case p.Kind == bench.Stripes:
		light = fmt.Sprintf("stripes_%s%g", p.Axis, p.PhaseDeg/90)
	case p.Colour == [3]float64{}:
		light = "black"
	}
	x.hw.mu.Lock()
	x.hw.light = light
	x.hw.mu.Unlock()
	x.mu.Lock()
	x.shown, x.last = append(x.shown, light), number
	x.mu.Unlock()
	x.tell()
}

func (x *playedTablet) sleep(yes bool) {
	x.mu.Lock()
	x.hidden = map[bool]string{true: "1"}[yes]
	x.mu.Unlock()
	x.tell()
}

func (x *playedTablet) tell() {
	x.mu.Lock()
	form := url.Values{"screen": {x.name}, "painted": {x.last}, "lit": {"1"}, "hidden": {x.hidden}, "px_per_mm": {"5"}}
	x.mu.Unlock()
	q, err := http.NewRequest(http.MethodPost, x.base+"/light/state", strings.NewReader(form.Encode()))
	if err != nil {
		x.fault("%v", err)
		return
	}
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.Header.Set("X-Script", "1")
	q.Header.Set("X-Token", x.token)
	w, err := x.http.Do(q)
	if err != nil {
		return // the bench has ended
	}
	_ = w.Body.Close()
	if w.StatusCode != http.StatusNoContent {
		x.fault("told the screen's state: %s", w.Status)
	}
}

// A bench of a camera and a tablet, nothing else, both played: the tablet is missing at
// the start, and asleep once; both are told in both languages and waited for. The set is
// shot, each picture under its own pattern, and measured by the station's screen: the dent
// of the drawing is found, with its depth.
func TestBenchBeforeScreen(t *testing.T) {
	needsGStreamer(t, "souphttpsrc", "multipartdemux", "jpegdec")
	const depthUM = 1.2
	p := synth.DefaultStripes()
	p.MMPerPX = 0.015 // as stationBench is told
	p.Slope = aDent(depthUM/1000, 0.5)
	hw := newStandIn(t, drawnSet(t, p))
	hw.mu.Lock()
	hw.light = "white"
	hw.mu.Unlock()
	db, en, zh := stationBench(t, stationFile(t, fmt.Sprintf(`
cameras:
  - {name: above, source: gstreamer, pipeline: "souphttpsrc location=http://%s/ is-live=true ! multipartdemux ! jpegdec", width_px: %d, height_px: %d, format: rgb, delay_ms: 500}
screen: {period_mm: %g, distance_mm: %g, tilt_deg: %g, contrast: %g}
plan: [{view: face, light: screen}]
`, hw.addr, p.W, p.H, p.PeriodMM, p.DistanceMM, p.TiltDeg, p.Contrast)))
	en.phase(t, bench.Ready)
	en.start(t, "u001")
	en.read(t, "No screen gives light", "The pictures go on by themselves once it gives light.")
	zh.read(t, "没有屏幕发光", "发光后自动继续拍摄。")
	x := openTablet(t, en, hw)
	en.read(t, "screen stripes along x, 0°")
	x.sleep(true)
	en.read(t, "asleep", "The pictures go on by themselves once it gives light.")
	x.sleep(false)
	e, _ := en.within(t, 90*time.Second, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered })
	t.Logf("%s", e.text())
	if faults, _ := en.told(); len(faults) > 0 {
		t.Errorf("%q", faults)
	}
	if want := "face, gloss before the screen"; !strings.Contains(e.text(), want) { // stripes would hide the dent from the eye
		t.Errorf("the page does not show %q: %s", want, e.text())
	}
	// A pattern may come twice, after sleep; none is left out, and white is last.
	x.mu.Lock()
	var shown []string
	for _, l := range x.shown {
		if n := len(shown); n == 0 || shown[n-1] != l {
			shown = append(shown, l)
		}
	}
	x.mu.Unlock()
	if got, want := strings.Join(shown,
		" "), "white black stripes_x0 stripes_x1 stripes_x2 stripes_x3 stripes_y0 stripes_y1 stripes_y2 stripes_y3 white"; got != want {
		t.Errorf("shown %s\nwant  %s", got, want)
	}
	onRecord(t, db, 1, 10)
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(t.Context(), records.Filter{})
	if err != nil || len(all) != 1 {
		t.Fatalf("%d on record, %v", len(all), err)
	}
	r := all[0].Result
	for _, q := range r.Pictures {
		if q.State != part.PictureOK || !q.LookedAt() {
			t.Errorf("%s: %+v", q.File, q)
		}
	}
	for _, f := range r.Findings {
		t.Logf("%s %v %v", f.Kind, f.Box, f.Features)
		// by the drawing
		if um := f.Features["depth_um"]; f.Kind == part.Crater && um > depthUM-3*f.Features["u_depth_um"] &&
			um < depthUM+3*f.Features["u_depth_um"] {
			return
		}
	}
	t.Errorf("no crater of %.1f um among %d findings; warnings %q", depthUM, len(r.Findings), r.Warnings)
}

// A shell's turn before the screen, played, beside pictures that are looked into: the plan's
// entry gives its ten pictures, all are on record, the page and the result say that the shell
// was not looked at, and the verdict is that of the unit without them.
func TestBenchShellTurnBeforeScreen(t *testing.T) {
	own := map[string]string{"face_diffuse.jpg": "face_diffuse.jpg", "face_raking.jpg": "face_raking.jpg", "edge_000.jpg": "edge_000.jpg"}
	_, plain := inspectedAlone(t, aUnit(t, own))
	for _, l := range part.ScreenLights {
		own["shell_090_"+string(l)+".jpg"] = "edge_030.jpg"
	}
	db, en, zh := stationBench(t, stationFile(t, fmt.Sprintf(`
cameras: [{name: played, source: replay, folder: %s}]
plan:
  - {view: edge, light: back, angle_deg: 0}
  - {view: face, light: diffuse}
  - {view: face, light: raking}
  - {view: shell, light: screen, angle_deg: 90}
`, aUnit(t, own))))
	en.start(t, "u001")
	e, _ := en.within(t, 90*time.Second, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered })
	if want := "The shell at 90° was not looked at"; !strings.Contains(e.text(), want) {
		t.Errorf("the page does not say %q: %s", want, e.text())
	}
	en.read(t, "shell 90°, screen stripes along y, 270°") // while the pictures are taken
	zh.read(t, "壳体 90°")
	onRecord(t, db, 1, 13)
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(t.Context(), records.Filter{})
	if err != nil || len(all) != 1 {
		t.Fatalf("%d on record, %v", len(all), err)
	}
	r := all[0].Result
	if r.Verdict != plain.Verdict || len(r.Findings) != len(plain.Findings) || r.StoppedS != nil {
		t.Errorf("%s with %d findings, stood still for %v s; without the shell's pictures %s with %d", r.Verdict, len(r.Findings),
			r.StoppedS, plain.Verdict, len(plain.Findings))
	}
	if want := part.UnsearchedSurface(part.Shell, 90); !slices.ContainsFunc(r.Surfaces,
		func(s part.Surface) bool { return reflect.DeepEqual(s, want) }) {
		t.Errorf("surfaces %+v, want %+v among them", r.Surfaces, want)
	}
	for i, l := range part.ScreenLights {
		q := all[0].Pictures[3+i]
		if q.File != "shell_090_"+string(l)+".jpg" || q.View != part.Shell || q.Light != l || q.AngleDeg != 90 {
			t.Errorf("picture %d on record: %s, %s, %s, %g", 4+i, q.File, q.View, q.Light, q.AngleDeg)
		}
	}
}

// A short set by the plan: six pictures, each one that is looked into, by the bench and from
// their folder. It is never a pass: there is no edge.
func TestBenchShortSet(t *testing.T) {
	p := synth.DefaultStripes()
	p.MMPerPX = 0.015
	dir := drawnSet(t, p)
	s, err := shooterOf(t, fmt.Sprintf("cameras: [{name: played, source: replay, folder: %s}]\nplan: [{view: face, light: screen6}]\n",
		dir))
	if err != nil {
		t.Fatal(err)
	}
	shots, err := s.Shoot(t.Context(), part.UnitInfo{}, nil, func(bench.Progress) {})
	if err != nil || len(shots) != 6 {
		t.Fatalf("%d shots, %v", len(shots), err)
	}
	defer s.Release(shots)
	for i, x := range shots {
		if x.Light != part.ShortLights[i] || x.File != "face_"+string(x.Light)+".jpg" || !x.Report.LookedAt() || !x.Came.IsZero() {
			t.Errorf("shot %d: %s, %s, %+v, came %v", i, x.File, x.Light, x.Report, x.Came)
		}
	}
	for _, l := range []part.Light{part.White, part.Black, part.StripesX3, part.StripesY3} {
		if err := os.Remove(filepath.Join(dir, "face_"+string(l)+".jpg")); err != nil {
			t.Fatal(err)
		}
	}
	_, r := inspectedAlone(t, dir)
	if r.Verdict == part.Pass || len(r.Pictures) != 6 {
		t.Errorf("%s, %d pictures", r.Verdict, len(r.Pictures))
	}
	for _, q := range r.Pictures {
		if !q.LookedAt() {
			t.Errorf("%s is read only: %+v", q.File, q.Problems)
		}
	}
}
