package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/codec"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach/atlas"
	"finishbench/internal/teach/book"
)

// drawnTurn is a shell on its holder seen from the side, drawn by formula: a body of revolution, 6.8 mm wide at
// 0.02 mm per pixel, with a seam and dark specks at fixed places around it. Its light comes
// from all around or, raking, from the left.
func drawnTurn(light part.Light, turnDeg float64) *part.Image {
	const w, h, top, bottom, half, middle = 660, 520, 70.0, 400.0, 170.0, 330.0
	im := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	noise := rand.New(rand.NewPCG(uint64(10*turnDeg), uint64(len(light))))
	for y := range h {
		down := (float64(y) - top) / (bottom - top)
		radius := 0.0
		if down >= 0 && down < 1 {
			radius = half * math.Sqrt(1-down*down)
		}
		for x := range w {
			v := 0.02
			if math.Abs(float64(x)-middle) < 14 && down > 0.9 { // the holder
				v = 0.06
			}
			if at := (float64(x) - middle) / radius; radius > 0 && math.Abs(at) < 1 {
				v = 0.12 + 0.2*math.Sqrt(1-at*at)
				if light == part.Raking {
					v = 0.1 + 0.22*max(0, 0.8*math.Sqrt(1-at*at)-0.6*at)
				}
				if y == 100 || y == 101 { // the seam
					v *= 0.7
				}
				for k, speck := range [3]float64{0, 110, 250} {
					around := math.Remainder(turnDeg+math.Asin(at)*180/math.Pi-speck, 360) * math.Pi / 180 * radius
					if math.Hypot(around, float64(y-190-30*k)) < 8 {
						v *= 0.3
					}
				}
			}
			level := 255*math.Pow(v, 1/2.2) + 1.2*noise.NormFloat64()
			for c := range 3 {
				im.Pix8[3*(y*w+x)+c] = uint8(min(255, max(0, level)))
			}
		}
	}
	return im
}

// aTurnedUnit is a folder with drawn shells under the names told: shell_120_raking.png is
// drawn at 120 degrees.
func aTurnedUnit(t testing.TB, names ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "u")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		var turn float64
		_, rest, _ := strings.Cut(strings.TrimSuffix(name, ".png"), "_")
		if deg, light, ok := strings.Cut(rest, "_"); ok {
			if _, err := fmt.Sscan(deg, &turn); err != nil {
				t.Fatal(err)
			}
			rest = light
		}
		writeDrawn(t, filepath.Join(dir, name), part.Light(rest), turn)
	}
	return dir
}

func writeDrawn(t testing.TB, path string, light part.Light, turnDeg float64) {
	t.Helper()
	data, err := codec.EncodePNG(drawnTurn(light, part.Turn(turnDeg)))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func begins(list []string, with string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.HasPrefix(s, with) })
}

// Each turn of the shell is looked into and told by itself, in order, whatever order the
// names are in; what is missing among the turns is said.
func TestShellInTurns(t *testing.T) {
	dir := aTurnedUnit(t, "shell_270_diffuse.png", "shell_270_raking.png", "shell_diffuse.png", "shell_raking.png", "shell_-270_raking.png")
	_, r := inspectedAlone(t, dir)
	want := []part.Pose{part.PoseOf(part.Shell, 0), part.PoseOf(part.Shell, 90), part.PoseOf(part.Shell, 270)}
	for i, s := range r.Surfaces {
		if i >= len(want) || s.Pose() != want[i] || s.Unsearched() || s.Seen() <= 0 {
			t.Errorf("surface %d: %+v, want %v", i, s, want)
		}
		lights := 2
		if s.AngleDeg == 90 {
			lights = 1
		}
		if r.Lights(s) != lights {
			t.Errorf("%s: %d lights, want %d", s.Pose(), r.Lights(s), lights)
		}
	}
	if len(r.Surfaces) != len(want) {
		t.Errorf("surfaces %+v, want %v", r.Surfaces, want)
	}
	for _, p := range r.Pictures {
		if p.View == part.Shell && (p.State != part.PictureOK || !p.LookedAt() || p.AngleDeg != part.Turn(p.AngleDeg)) {
			t.Errorf("%+v", p)
		}
	}
	for _, w := range []string{"shell: nothing was photographed between 90 and 270 deg: a picture at 180 deg is probably missing", "shell at 90 deg: no diffuse picture", "shell at 90 deg: one light only"} {
		if !begins(r.Warnings, w) {
			t.Errorf("no warning %q among %q", w, r.Warnings)
		}
	}
}

// The list in unit.yaml tells turns as well as names do, and angles that differ by whole
// turns are one.
func TestShellTurnsByList(t *testing.T) {
	dir := aTurnedUnit(t)
	for name, turn := range map[string]float64{"a.png": 120, "b.png": 240, "c.png": 0} {
		writeDrawn(t, filepath.Join(dir, name), part.Diffuse, turn)
	}
	list := "pictures: [{file: a.png, view: shell, light: diffuse, angle_deg: -240}, {file: b.png, view: shell, light: diffuse, angle_deg: 240}, {file: c.png, view: shell, light: diffuse}]\n"
	if err := os.WriteFile(filepath.Join(dir, "unit.yaml"), []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	_, r := inspectedAlone(t, dir)
	var turns []float64
	for _, s := range r.Surfaces {
		turns = append(turns, s.AngleDeg)
	}
	if !slices.Equal(turns, []float64{0, 120, 240}) || begins(r.Warnings, "shell: ") {
		t.Errorf("turns %g, %q", turns, r.Warnings)
	}
	if !begins(r.Warnings, "shell at 0, 120 and 240 deg: one light only") {
		t.Errorf("%q", r.Warnings)
	}
}

// One picture given as two turns is no picture of either: nothing that it shows counts.
func TestShellTurnCopied(t *testing.T) {
	dir := aTurnedUnit(t, "shell_000_diffuse.png", "shell_240_diffuse.png")
	data, err := os.ReadFile(filepath.Join(dir, "shell_000_diffuse.png"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "shell_120_diffuse.png"), data, 0o600); err != nil {
		t.Fatal(err)
	}
	code, r := inspectedAlone(t, dir)
	if code != cli.ExitUnmeasured || !begins(r.Reasons, "shell_120_diffuse.png is not fit to measure: same turn (it shows the unit as it stands in shell_000_diffuse.png") {
		t.Errorf("exit status %d, %q", code, r.Reasons)
	}
	for _, p := range r.Pictures {
		if copied := p.AngleDeg < 180 && p.View == part.Shell; copied != (p.State != part.PictureOK) {
			t.Errorf("%s: %s, %+v", p.File, p.State, p.Problems)
		}
	}
	for _, s := range r.Surfaces {
		if s.Unsearched() != (s.View == part.Shell && s.AngleDeg < 180) {
			t.Errorf("%+v", s)
		}
	}
	for _, f := range r.Findings {
		if strings.HasPrefix(f.Image, "shell_000") || strings.HasPrefix(f.Image, "shell_120") {
			t.Errorf("%+v", f)
		}
	}
}

// A light of turn 0 under both of its names is given twice, and the folder is refused.
func TestShellTurnTwice(t *testing.T) {
	code, _, stderr := runCode(t, "unit", aTurnedUnit(t, "shell_raking.png", "shell_000_raking.png"), "--out", t.TempDir(), "--mm-per-px", "0.02")
	if code != cli.ExitUnmeasured || !strings.Contains(stderr, "shell_000_raking.png and shell_raking.png are of one pose and one light") {
		t.Errorf("exit status %d, %s", code, stderr)
	}
}

// What an atlas shows beside a finding on the shell is of its own turn: the other light, and
// where other findings lie.
func TestAtlasKeepsToThePose(t *testing.T) {
	shot := func(file string, v part.View, turn float64, l part.Light) part.StoredPicture {
		return part.StoredPicture{File: file, View: v, AngleDeg: turn, Light: l}
	}
	in := part.Inspection{Pictures: []part.StoredPicture{shot("f", part.Face, 0, part.Diffuse), shot("a", part.Shell, 0, part.Diffuse), shot("b", part.Shell, 90, part.Back),
		shot("c", part.Shell, 90, part.Diffuse), shot("d", part.Shell, 450, part.Raking), shot("e", part.Shell, 90, part.StripesX0)}}
	for file, want := range map[string]string{"f": "", "a": "", "c": "d", "d": "c", "g": ""} {
		if got := atlas.OtherLight(in.Pictures, file); got != want {
			t.Errorf("beside %s: %q, want %q", file, got, want)
		}
	}
	box := func(x float64) part.Box { return part.Box{x, 0, 1, 1} }
	in.Result.Findings = []part.Finding{{Image: "f", Box: box(1)}, {Image: "a", Box: box(2), AlsoIn: []part.Sighting{{Image: "d", Box: box(3)}}}, {Image: "c", Box: box(4)}}
	if got, want := atlas.InPoseOf(in, in.Result.Findings[2]), []part.Box{box(3), box(4)}; !slices.Equal(got, want) {
		t.Errorf("findings in the pose: %v, want %v", got, want)
	}
}

// A bench whose plan has turns of the shell: a wet unit is shot by the plan for wet ones, others by the whole; each
// turn is looked into, told on the page and on record. Turns that were listed light by light are told.
func TestBenchShellTurns(t *testing.T) {
	dir := aTurnedUnit(t, "shell_000_diffuse.png", "shell_000_raking.png", "shell_120_diffuse.png", "shell_120_raking.png", "shell_240_diffuse.png", "shell_240_raking.png")
	text := fmt.Sprintf(`
cameras: [{name: played, source: replay, folder: %s, loop: "yes"}]
plan:
  - {view: shell, light: diffuse, angle_deg: 0}
  - {view: shell, light: diffuse, angle_deg: 120}
  - {view: shell, light: diffuse, angle_deg: -120}
  - {view: shell, light: raking, angle_deg: 0}
  - {view: shell, light: raking, angle_deg: 120}
  - {view: shell, light: raking, angle_deg: 240}
plan_wet:
  - {view: shell, light: diffuse, angle_deg: 0}
  - {view: shell, light: diffuse, angle_deg: 120}
`, dir)
	s, err := shooterOf(t, text)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		stage part.Stage
		want  string
	}{
		{part.Cured, "shell_000_diffuse.png shell_120_diffuse.png shell_240_diffuse.png shell_000_raking.png shell_120_raking.png shell_240_raking.png"},
		{part.Wet, "shell_000_diffuse.png shell_120_diffuse.png"},
	} {
		shots, err := s.Shoot(t.Context(), part.UnitInfo{Stage: c.stage}, nil, func(bench.Progress) {})
		var files []string
		for _, x := range shots {
			files = append(files, x.File)
			if pose := part.PoseOf(x.View, x.AngleDeg); x.View != part.Shell || x.AngleDeg != pose.TurnDeg || !x.Report.LookedAt() {
				t.Errorf("%+v", x)
			}
		}
		if err != nil || strings.Join(files, " ") != c.want {
			t.Errorf("%s: %v, %v, want %s", c.stage, files, err, c.want)
		}
		s.Release(shots)
	}

	db, en, zh := stationBench(t, stationFile(t, text))
	en.read(t, "The station file’s plan turns the unit 6 times where 3 would do")
	en.start(t, "u001")
	e, _ := en.within(t, 90*time.Second, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered })
	for _, want := range []string{"Over all its turns ", " of the shell was looked at"} {
		if !strings.Contains(e.text(), want) {
			t.Errorf("the page does not say %q: %s", want, e.text())
		}
	}
	zh.read(t, "所有转角合计检查了壳体的")
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(t.Context(), records.Filter{})
	if err != nil || len(all) != 1 || len(all[0].Pictures) != 2 {
		t.Fatalf("%v: %+v", err, all)
	}
	for i, p := range all[0].Pictures {
		if book.PoseOf(p) != part.PoseOf(part.Shell, float64(120*i)) || book.PoseOf(p) != all[0].Result.Surfaces[i].Pose() {
			t.Errorf("picture %d: %+v, surfaces %+v", i, p, all[0].Result.Surfaces)
		}
	}
}

// What a person confirms of one turn of the shell is asked by itself, in that turn's pictures,
// beside the faceplate's; what shows best in another turn lies where this one shows it.
func TestQuizAsksATurn(t *testing.T) {
	dir := aTurnedUnit(t, "shell_000_diffuse.png", "shell_000_raking.png", "shell_120_diffuse.png", "shell_120_raking.png")
	db := filepath.Join(t.TempDir(), "bench.db")
	if _, _, stderr := runCode(t, "unit", dir, "--out", t.TempDir(), "--mm-per-px", "0.02", "--record", db); stderr != "" {
		t.Fatal(stderr)
	}
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	in, err := store.Get(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	best, here := part.Box{300, 200, 10, 10}, part.Box{420, 200, 8, 10}
	in.Result.Findings = []part.Finding{{Number: 1, Image: "shell_000_raking.png", Kind: part.Dust, Box: best, DiameterMM: part.Num(0.2), AlsoIn: []part.Sighting{{Image: "shell_120_diffuse.png", Box: here}}},
		{Number: 2, Image: "shell_000_diffuse.png", Kind: part.Fibre, Box: best, LengthMM: part.Num(1)}}
	body, err := book.Confirmation{ShellDeg: part.Num(120), Verdict: part.Rework}.Confirmed(in)
	if err != nil || len(body.Known) != 1 || body.Known[0].Box != here || body.Known[0].Light != part.Diffuse || body.Name() != "1-shell-120" {
		t.Fatalf("%+v, %v", body, err)
	}
	it, err := book.RecordItem(t.Context(), store, in, body, "T1")
	if err != nil || len(it.Pictures) != 2 || it.Key != "record-1-shell-120" || it.WidthPX != 660 {
		t.Fatalf("%+v, %v", it, err)
	}
	for _, p := range it.Pictures {
		if q := book.PictureOf(in.Pictures, "shell_120_"+string(p.Light)+".png"); q == nil || q.SHA256 != p.SHA256 {
			t.Errorf("%s shows another picture: %+v", p.Light, p)
		}
	}
	for _, args := range [][]string{{"--shell", "0"}, {"--shell", "-240"}, {"--shell", "120"}} {
		code, stdout, stderr := runCode(t, append([]string{"quiz", "confirm", "1", "--record", db, "--by", "T1", "--verdict", "pass"}, args...)...)
		if code != 0 || !strings.Contains(stdout, "defects on the shell at "+strings.Replace(args[1], "-240", "120", 1)+" deg") {
			t.Errorf("%v: %d, %s%s", args, code, stdout, stderr)
		}
	}
	all, gone, err := book.PoolRecords(t.Context(), store)
	if err != nil || gone != 0 || len(all) != 2 || all[0].Key != "record-1-shell-0" || all[1].Key != "record-1-shell-120" {
		t.Errorf("%d items, %d gone, %v: %+v", len(all), gone, err, all)
	}
	for args, want := range map[string]string{"--shell 90": "no picture of the shell at 90 deg", "--shell 400": "-360 to 360", "--side L": "unknown flag"} {
		code, _, stderr := runCode(t, append([]string{"quiz", "confirm", "1", "--record", db, "--by", "T1", "--verdict", "pass"}, strings.Fields(args)...)...)
		if code != cli.ExitUsage || !strings.Contains(stderr, want) {
			t.Errorf("%s: %d, %s", args, code, stderr)
		}
	}
}
