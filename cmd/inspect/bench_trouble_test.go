package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// needsGStreamer skips the test where a program or element is missing.
func needsGStreamer(t *testing.T, elements ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("starts programs; not with -short")
	}
	if _, err := exec.LookPath("gst-launch-1.0"); err != nil {
		t.Skip("gst-launch-1.0 is not installed (make setup-test)")
	}
	for _, e := range elements {
		if exec.Command("gst-inspect-1.0", e).Run() != nil {
			t.Skipf("GStreamer has no %s here (make setup-test)", e)
		}
	}
}

// stationBench is `inspect bench` by a station file, and two browsers that watch
// it, one in each language.
func stationBench(t *testing.T, file string) (db string, en, zh *benchBrowser) {
	t.Helper()
	db = filepath.Join(t.TempDir(), "bench.db")
	o := station.Options{Page: bench.Serving{Listen: "127.0.0.1:0"}}
	o.Station, o.MMPerPX, o.Stage, o.Jobs, o.Record.URL = file, 0.015, "wet", 2, db
	page, _ := benchHere(t, func(ctx context.Context, ready func(string)) error {
		return station.Run(ctx, o, nil, io.Discard, os.Stderr, ready)
	})
	return db, openBrowser(t, page, "en", false), openBrowser(t, page, "zh-Hans", false)
}

// A whole bench of camera, lights and turntable, all played from a stored unit,
// by the station file alone. Each unit meets another trouble in its middle: it is
// told on the page in both languages, what was taken before it is kept, and the
// unit comes to its end, with the verdict that it has without any trouble.
func TestBenchInTrouble(t *testing.T) {
	needsGStreamer(t, "souphttpsrc", "multipartdemux", "jpegdec")
	hw := newStandIn(t, "../../testdata/images/u06-R")
	db, en, zh := stationBench(t, hw.station(t))
	n := 0
	// unit presses for a unit, waits for its end, and returns how often the unit was
	// turned to 30 degrees, which comes before all trouble.
	unit := func(t *testing.T, during func()) {
		t.Helper()
		n++
		en.phase(t, bench.Ready)
		en.forget()
		zh.forget()
		hw.forget()
		en.start(t, fmt.Sprintf("u%03d", n))
		during()
		e, _ := en.within(t, 90*time.Second, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered })
		zh.phase(t, bench.Answered)
		if v := overrulable(e); v != part.Rework { // as 'inspect unit' says of testdata/images/u06-R: TestRecord
			t.Errorf("the verdict is %s", v)
		}
		if again := hw.turned(30); again != 1 {
			t.Errorf("turned to 30 degrees %d times: shots that were taken are taken again", again)
		}
		en.do(t, "press", nil)
		en.phase(t, bench.Ready)
		zh.phase(t, bench.Ready)
	}
	// at does something once, when the controller hears a line.
	at := func(line string, do func() (string, bool)) {
		var done atomic.Bool
		hw.set(func(l string) (string, bool) {
			if l == line && done.CompareAndSwap(false, true) {
				return do()
			}
			return "", false
		})
	}
	both := func(t *testing.T, english, chinese []string) {
		t.Helper()
		t.Logf("%s", excerpt(en.read(t, english...), english[0]))
		t.Logf("%s", excerpt(zh.read(t, chinese...), chinese[0]))
	}
	unit(t, func() {})
	before := holds(t)

	t.Run("camera killed and started again", func(t *testing.T) {
		at("G0 A60", func() (string, bool) { hw.stopCamera(); return "", false })
		unit(t, func() {
			both(t, []string{"Camera overhead: ", "It is waited for."}, []string{"相机 overhead：", "正在等待。"})
			hw.startCamera(hw.addr)
		})
	})
	t.Run("line lost and plugged in again", func(t *testing.T) {
		at("G0 A60", func() (string, bool) { hw.Unplug(); return "", true })
		unit(t, func() {
			both(t, []string{"Lights and turntable: ", "They are waited for."}, []string{"灯光与转台：", "正在等待。"})
			hw.Plug()
		})
	})
	t.Run("answer late", func(t *testing.T) {
		at("G0 A60", func() (string, bool) {
			time.Sleep(2 * time.Second) // twice as long as it is given
			return "", false
		})
		unit(t, func() {
			both(t, []string{"Lights and turntable: no answer for 1 s"}, []string{"灯光与转台：1 秒没有应答"})
		})
	})
	t.Run("no answer at all", func(t *testing.T) {
		var mute atomic.Bool
		hw.set(func(l string) (string, bool) {
			if l == "G0 A60" {
				mute.Store(true)
			}
			return "", mute.Load()
		})
		unit(t, func() {
			both(t, []string{"Lights and turntable: no answer for 1 s"}, []string{"灯光与转台：1 秒没有应答"})
			hw.set(nil)
		})
	})
	t.Run("wrong answer", func(t *testing.T) {
		at("G0 A60", func() (string, bool) { return "@#!?", true })
		unit(t, func() {
			both(t, []string{"Lights and turntable: the answer to G0 A60 makes no sense: @#!?"}, []string{"灯光与转台：对 G0 A60 的应答无法理解：@#!?"})
		})
	})
	t.Run("refused", func(t *testing.T) {
		at("G0 A60", func() (string, bool) { return "error:9 the cover is open", true })
		unit(t, func() {
			both(t, []string{"Interrupted", "G0 A60 was refused: error:9 the cover is open", "2 pictures are kept"},
				[]string{"已中断", "G0 A60 被拒绝：error:9 the cover is open", "已保留 2 张图片"})
			en.do(t, "press", nil) // the cover is shut
		})
	})
	hw.set(nil)
	unit(t, func() {})
	after := holds(t)
	if after.Children != before.Children || after.Goroutines > before.Goroutines+3 || after.Files > before.Files+3 {
		t.Errorf("trouble leaves something behind:\nbefore %v\nafter  %v", before, after)
	}
	onRecord(t, db, n, 5)
}

// excerpt is the part of a page's text around some words.
func excerpt(text, words string) string {
	i := max(0, strings.Index(text, words))
	return strings.ToValidUTF8(text[i:min(len(text), i+160)], "")
}

// onRecord checks that so many units are on record, each with its pictures.
func onRecord(t *testing.T, db string, units, pictures int) {
	t.Helper()
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(t.Context(), records.Filter{})
	if err != nil || len(all) != units {
		t.Fatalf("%d units on record, %d wanted; %v", len(all), units, err)
	}
	for _, in := range all {
		if len(in.Pictures) != pictures {
			t.Errorf("%s has %d pictures on record, %d wanted", in.Serial, len(in.Pictures), pictures)
		}
	}
}

// gigeCamera is the software GigE Vision camera of aravis-tools on this machine.
func gigeCamera(t *testing.T) (start, kill func()) {
	t.Helper()
	const name = "arv-fake-gv-camera-0.8"
	if _, err := exec.LookPath(name); err != nil {
		t.Skipf("%s is not installed (make setup-test)", name)
	}
	var mu sync.Mutex
	var cmd *exec.Cmd
	kill = func() {
		mu.Lock()
		defer mu.Unlock()
		if cmd != nil {
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
			cmd = nil
		}
	}
	start = func() {
		mu.Lock()
		defer mu.Unlock()
		cmd = exec.Command(name, "-i", "127.0.0.1", "-s", "FB2")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(kill)
	return start, kill
}

// withoutRawSockets puts a gst-launch-1.0 first in the path that has no right to
// raw sockets: with it, which root has, aravis listens where packets from this
// machine to itself do not pass.
func withoutRawSockets(t *testing.T) {
	t.Helper()
	if os.Getuid() != 0 {
		return
	}
	launch, err := exec.LookPath("gst-launch-1.0")
	if err != nil {
		t.Skip(err)
	}
	if _, err := exec.LookPath("setpriv"); err != nil {
		t.Skip("root, and setpriv is not installed (util-linux)")
	}
	dir := t.TempDir()
	script := "#!/bin/sh\nexec setpriv --bounding-set -net_raw --inh-caps -net_raw -- setpriv --reuid=65534 --regid=65534 --clear-groups " +
		"env HOME=/tmp " + launch + " \"$@\"\n"
	if err := os.WriteFile(filepath.Join(dir, "gst-launch-1.0"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir+string(os.PathListSeparator)+os.Getenv("PATH"))
}

// answersSoon skips a test where a camera in software itself needs seconds for three pictures, twice in a row: on such a machine
// the camera is lost, not the bench.
func answersSoon(t *testing.T, source ...string) {
	t.Helper()
	const most = 5 * time.Second
	for range 2 {
		ctx, stop := context.WithTimeout(t.Context(), most)
		out, err := exec.CommandContext(ctx, "gst-launch-1.0", slices.Concat([]string{"-q"}, source,
			[]string{"num-buffers=3", "!", "fakesink"})...).CombinedOutput()
		stop()
		if err != nil {
			t.Skipf("the camera in software does not give three pictures within %v here (%v): %.200s", most, err, out)
		}
	}
}

// A GigE Vision camera, killed in the middle of a unit and started again, with an
// operator who places the unit by hand. Its pictures are a ramp that shows no
// unit: each is taken twice, and the unit is not measured. That is told as well.
func TestBenchLosesGigECamera(t *testing.T) {
	if os.Getenv("FINISHBENCH_LONG") == "" {
		t.Skip("waits for a minute for a camera in software; make test-long does")
	}
	needsGStreamer(t, "aravissrc")
	start, kill := gigeCamera(t)
	withoutRawSockets(t)
	start()
	answersSoon(t, "aravissrc", "camera-name=Aravis-Fake-FB2")
	db, en, zh := stationBench(t, stationFile(t, `
cameras:
  - {name: gige, source: gstreamer, pipeline: 'aravissrc camera-name="Aravis-Fake-FB2"', width_px: 512, height_px: 512, format: grey, delay_ms: 100, silent_s: 2}
plan:
  - {view: face, light: diffuse}
  - {view: face, light: raking}
  - {view: edge, light: back, angle_deg: 0}
`))
	asked := func(words string) {
		t.Helper()
		en.within(t, 40*time.Second, words, func(e benchEvent) bool {
			return e.Phase == bench.Shooting &&
				strings.Contains(e.text(), words)
		})
	}
	en.start(t, "u001")
	asked("Switch the light to")
	kill()
	en.forget()
	zh.forget()
	en.do(t, "press", nil)
	t.Logf("%s", excerpt(en.read(t, "Camera gige: ", "It is waited for."), "Camera gige"))
	t.Logf("%s", excerpt(zh.read(t, "相机 gige：", "正在等待。"), "相机 gige"))
	en.read(t, "1 of 3")
	start()
	asked("Place the unit")
	en.do(t, "press", nil)
	e, _ := en.within(t, 40*time.Second, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered })
	if v := overrulable(e); v != part.NotMeasured {
		t.Errorf("the verdict on pictures of nothing is %s", v)
	}
	onRecord(t, db, 1, 3)
}
