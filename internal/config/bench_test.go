package config

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"finishbench/configs"
)

// examples takes the commented examples of cameras, lights and plan out of the
// shipped file: they are what people copy.
func examples(t *testing.T) string {
	t.Helper()
	var cameras, lights, plan, wet []string
	into := (*[]string)(nil)
	for _, line := range strings.Split(string(configs.StationYAML), "\n") {
		text, ok := strings.CutPrefix(strings.TrimLeft(line, " "), "#   ")
		switch {
		case !ok:
			into = nil
		case strings.HasPrefix(text, "cameras:"):
			into = &cameras
		case strings.HasPrefix(text, "lights:"):
			into = &lights
		case strings.HasPrefix(text, "plan:"):
			into = &plan
		case strings.HasPrefix(text, "plan_wet:"):
			into = &wet
		}
		if into != nil {
			*into = append(*into, text)
		}
	}
	if len(cameras) < 10 || len(lights) < 3 || len(plan) < 5 || len(wet) < 5 {
		t.Fatalf("examples not found: %d, %d, %d and %d lines", len(cameras), len(lights), len(plan), len(wet))
	}
	return "version: 1\n" + strings.Join(cameras, "\n") + "\nrig:\n  device: /dev/serial/by-id/usb-EXAMPLE\n  " +
		strings.Join(lights, "\n  ") +
		"\n    - {light: back, on: [M7], off: [M9]}\n" + strings.Join(append(plan, wet...), "\n") + "\n"
}

func written(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "station.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestShippedBenchExamples(t *testing.T) {
	path := written(t, examples(t))
	s, err := LoadStation(path)
	if err != nil {
		t.Fatal(err)
	}
	us, gain, k, focus := 8000.0, 0, 5000, 30
	want := Camera{Name: "edge", Source: "v4l2", Device: "/dev/v4l/by-id/usb-EXAMPLE-video-index0", WidthPX: 1600, HeightPX: 1200,
		Format: "rgb", PerS: 15,
		ExposureUS: &us, Gain: &gain, WhiteBalanceK: &k, Focus: &focus, DelayMS: 200, SilentS: 3, FrozenS: 10}
	if !reflect.DeepEqual(s.Cameras[0], want) {
		t.Errorf("got %+v\nwant %+v", s.Cameras[0], want)
	}
	if c := s.Cameras[1]; c.Pipeline != `aravissrc camera-name="EXAMPLE-1"` || c.Format != "grey16" || c.Bits != 12 {
		t.Errorf("got %+v", c)
	}
	if got, want := s.Cameras[2].Folder, filepath.Join(filepath.Dir(path), "incoming"); got != want {
		t.Errorf("folder %s, want %s", got, want)
	}
	if len(s.Plan) != 13 || *s.Plan[1].AngleDeg != 30 || s.Plan[3].Light != "raking" || s.Plan[0].SettleMS != 150 ||
		s.Plan[4].Light != ScreenLight || s.Plan[12].View != "shell" || *s.Plan[12].AngleDeg != 270 {
		t.Errorf("plan %+v", s.Plan)
	}
	if len(s.PlanWet) != 5 || s.PlanWet[1].Light != ScreenLight6 || *s.PlanWet[4].AngleDeg != 240 {
		t.Errorf("plan of wet units %+v", s.PlanWet)
	}
	if s.Rig.Turn != "G0 A{deg}" || s.Rig.Rest != "G4 P0" || len(s.Rig.Lights) != 3 || s.Rig.Lights[1].On[0] != "M3 S255" {
		t.Errorf("rig %+v", s.Rig)
	}
	if want := (Screen{PeriodMM: 6, Contrast: 0.8}); s.Screen != want { // common practice, no source
		t.Errorf("screen %+v, want %+v", s.Screen, want)
	}
	if s.Bench.Listen != "127.0.0.1:8080" || s.Bench.PedalKeys[0] != "PageDown" {
		t.Errorf("bench %+v", s.Bench)
	}
}

func TestBenchKeysRefused(t *testing.T) {
	const gst = "{name: edge, source: gstreamer, pipeline: videotestsrc, width_px: 64, height_px: 48}"
	const plan = "\nplan: [{view: face, light: raking}]"
	for _, c := range []struct{ text, want string }{
		{"cameras: [" + gst + "]" + plan, ""},
		{"cameras: [{name: p, source: replay, folder: units}]", ""}, // the units are the plan
		{"cameras: [" + gst + "]", `plan: is empty, but there are cameras: list the shots of a unit`},
		{"cameras: [{name: a b, source: replay, folder: u}]", `cameras[0].name: "a b": use up to 40`},
		{"cameras: [{name: a, source: v4l, folder: u}]", `cameras[0].source: "v4l" is not known here; did you mean v4l2?`},
		{"cameras: [{name: a, source: replay}]", `cameras[0].folder: is missing: name the folder`},
		{"cameras: [{name: a, source: replay, folder: u, width_px: 64}]",
			`cameras[0].width_px: is not for a camera of source replay: take it out`},
		{"cameras: [{name: a, source: replay, folder: u}, {name: a, source: replay, folder: u}]",
			`cameras[1].name: two cameras are called a`},
		{"cameras: [{name: a, source: v4l2, device: video0, width_px: 64, height_px: 48}]" + plan,
			`cameras[0].device: "video0": name it in full`},
		{"cameras: [{name: a, source: v4l2, device: /dev/x, width_px: 8, height_px: 48}]" + plan,
			`cameras[0].width_px: 8 is not between 16 and 32768`},
		{"cameras: [{name: a, source: v4l2, device: /dev/x, width_px: 64, height_px: 48, exposure_us: 50}]" + plan,
			`cameras[0].exposure_us: 50 is not between 100`},
		{"cameras: [{name: a, source: gstreamer, pipeline: x, width_px: 64, height_px: 48, focus: 3}]" + plan,
			`cameras[0].focus: is not for a camera of source gstreamer`},
		{"cameras: [{name: a, source: gstreamer, pipeline: x, width_px: 64, height_px: 48, bits: 12}]" + plan,
			`cameras[0].bits: is for format grey16 only`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: raking, camera: egde}]",
			`plan[0].camera: there is no camera "egde"; did you mean edge?`},
		{"cameras: [" + gst + "]\nplan: [{view: edge}]", `plan[0].angle_deg: is missing`},
		{"cameras: [" + gst + "]\nplan: [{view: face}]", `plan[0].light: "" is not known here; use diffuse, raking, back, screen, screen6`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: raking, angle_deg: 3}]",
			`plan[0].angle_deg: is for edge and shell shots only`},
		{"cameras: [" + gst + "]\nplan: [{view: shell, light: screen, angle_deg: 400}]",
			`plan[0].angle_deg: 400 is not between -360 and 360`},
		{"cameras: [" + gst +
			"]\nplan: [{view: shell, light: screen6, angle_deg: 0}, {view: shell, light: screen, angle_deg: 90}, {view: shell, light: " +
			"raking, angle_deg: 90}, {view: shell, light: raking}]", ""},
		{"cameras: [" + gst + "]\nplan: [{view: shell, light: raking}, {view: shell, light: raking, angle_deg: 360}]",
			`plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: shell, light: raking, angle_deg: -90}, {view: shell, light: raking, angle_deg: 270}]",
			`plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: screen6}, {view: face, light: diffuse}]", ""},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: screen6}, {view: face, light: screen}]", `plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: edge, light: back, angle_deg: 0}, {view: edge, angle_deg: 0}]",
			`plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: raking}, {view: face, light: raking}]", `plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: raking, settle_ms: -1}]", `plan[0].settle_ms: -1 is not between 0 and 10000`},
		{"cameras: [" + gst + "]" + plan + "\nplan_wet: [{view: shell, light: raking, angle_deg: 0}, {view: shell, light: raking}]",
			`plan_wet[1]: this shot is there twice`},
		{"cameras: [" + gst + "]" + plan + "\nplan_wet: [{view: edge, camera: egde, angle_deg: 0}]",
			`plan_wet[0].camera: there is no camera "egde"; did you mean edge?`},
		{"cameras: [{name: p, source: replay, folder: units}]\nplan_wet: [{view: face, light: raking}]",
			`plan_wet: is set, but plan is empty`},
		{"cameras: [" + gst + "]" + plan + "\nplan_wet: [{view: face, light: raking}, {view: shell, light: raking, angle_deg: -90}]", ""},
		{"plan: [{view: face, light: raking}]", `plan[0].camera: is missing: there are 0 cameras`},
		{"cameras: [" + gst + "]\nrig: {device: /dev/s}" + plan, `plan[0].light: rig.lights has no raking`},
		{"cameras: [" + gst + "]\nrig: {device: /dev/s}\nplan: [{view: face, light: screen}, {view: shell, light: screen}]", ""},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: screen}, {view: face, light: screen}]", `plan[1]: this shot is there twice`},
		{"cameras: [" + gst + "]\nplan: [{view: face, light: sreen}]", `plan[0].light: "sreen" is not known here; did you mean screen?`},
		{"cameras: [" + gst + "]\nplan: [{view: edge, light: screen, angle_deg: 0}]",
			`plan[0].light: "screen" is not known here; use diffuse, raking, back`},
		{"screen: {period_mm: 4, distance_mm: 20, tilt_deg: -30, contrast: 1}", ""},
		{"screen: {period_mm: 0}", `screen.period_mm: 0 is not between 0.5 and 100`},
		{"screen: {distance_mm: 5}", `screen.distance_mm: 5 is not between 20 and 2000 (0: not set)`},
		{"screen: {tilt_deg: 90}", `screen.tilt_deg: 90 is not between -75 and 75`},
		{"screen: {contrast: 0}", `screen.contrast: 0 is not between 0.1 and 1`},
		{"screen: {period: 4}", `screen.period: no such key; did you mean period_mm?`},
		{"rig: {device: ttyUSB0}", `rig.device: "ttyUSB0": name it in full`},
		{"rig: {turn: G0 A30}", `rig.turn: write {deg} where the angle goes`},
		{"rig: {ask: M114}", `rig.angle: give a regular expression`},
		{"rig: {angle: \"A:(.*)\"}", `rig.angle: is set without rig.ask`},
		{"rig: {home: [\"G28\\nM8\"]}", `rig.home[0]: "G28?M8": a line of G-code`},
		{"rig: {lights: [{light: dome, on: [M8], off: [M9]}]}", `rig.lights[0].light: "dome" is not known here`},
		{"rig: {lights: [{light: raking, on: [M8]}]}", `rig.lights[0].off: is missing`},
		{"rig: {baud: 1}", `rig.baud: 1 is not between 300 and 4e+06`},
		{"bench: {listen: here}", `bench.listen: "here" is no address and port`},
		{"bench: {pedal_keys: [\"\"]}", `bench.pedal_keys[0]: is empty`},
	} {
		_, err := LoadStation(written(t, "version: 1\n"+c.text+"\n"))
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s:\n got %v\nwant %s", c.text, err, c.want)
		}
	}
}
