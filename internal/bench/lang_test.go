package bench

import (
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

func languages(t testing.TB) *lang.Languages {
	t.Helper()
	l, lacking, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	for tag, n := range lacking {
		t.Errorf("%s lacks %d keys", tag, n)
	}
	return l
}

// Every word of the program that the page may show has its text.
func TestEveryWordHasAText(t *testing.T) {
	var keys []string
	add := func(prefix string, words ...string) {
		for _, w := range words {
			keys = append(keys, prefix+w)
		}
	}
	for _, k := range part.Kinds {
		add("kind.", string(k))
		if k == part.Step {
			continue
		}
		for _, st := range part.Stages {
			add("remedy.", string(k)+"."+string(st))
		}
	}
	for _, st := range part.Stages {
		add("", "stage."+string(st), "remedy.pass."+string(st), "why.beyond."+string(st), "remedy.step_proud."+string(st),
			"remedy.step_recessed."+string(st))
	}
	for _, z := range part.Zones {
		add("zone.", string(z))
	}
	for _, s := range part.Severities {
		add("severity.", string(s))
	}
	for _, v := range part.Views {
		add("view.", string(v))
	}
	for _, l := range part.Lights[1:] {
		add("light.", string(l))
	}
	for _, w := range part.Whys {
		add("cause.", string(w))
	}
	for _, v := range []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured} {
		add("", "verdict."+string(v), "verdict_short."+string(v))
	}
	for _, m := range grade.SeamMeasures {
		add("why.", m)
	}
	add("check.", "none", "baseline", "out", "not_measured", "old", "unusable") // study.Bar's
	add("reason.", part.OverruleReasons()...)
	add("unit.", "um", "mm", "mm2", "lines") // of grade.Cause.Measure
	add("follow.", Follows...)
	add("change.", "gone", "there", "smaller", "larger", "new", "unmeasured")
	for _, x := range languages(t).All() {
		for _, k := range keys {
			if !x.Has(k) {
				t.Errorf("%s has no text %s", x.Tag, k)
			}
		}
	}
}

// Every key that code and templates name is there.
func TestKeysInCodeAreThere(t *testing.T) {
	x := languages(t).All()[0]
	named := regexp.MustCompile(`(?:\.T|refuse|s\.wrong\(w, r, [A-Za-z.]+,|told)\(? ?"([a-z0-9_]+(?:\.[a-z0-9_]+)*)"|Key: "([a-z0-9_.]+)"`)
	files, _ := filepath.Glob("*.go")
	pages, _ := filepath.Glob("page/*.html")
	n := 0
	for _, f := range append(files, pages...) {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range named.FindAllStringSubmatch(string(data), -1) {
			k := m[1] + m[2]
			n++
			if !x.Has(k) && !strings.HasSuffix(k, ".") {
				t.Errorf("%s names the key %s, which is not there", f, k)
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d keys were found in the code; does the search still fit it?", n)
	}
}

// What makes the steps one fault is told in each language, and what to do as grade says it.
func TestSeamCausesInWords(t *testing.T) {
	l := languages(t)
	cos := func(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }
	curves := map[string]func(d float64) float64{
		"off-centre":           func(d float64) float64 { return 84 * cos(d-40) },
		"off-centre, beyond":   func(d float64) float64 { return 184 * cos(d-40) },
		"off-centre, proud":    func(d float64) float64 { return 30 + 50*cos(d-90) },
		"off-centre, recessed": func(d float64) float64 { return -30 + 50*cos(d-90) },
		"proud":                func(float64) float64 { return 70 }, "recessed": func(float64) float64 { return -70 },
		"proud, beyond": func(float64) float64 { return 550 },
		"oval":          func(d float64) float64 { return 60 * cos(2*(d-30)) }, "in turn": func(d float64) float64 { return 60 * cos(3*d) },
		"one place": func(d float64) float64 { return map[bool]float64{true: 75}[d == 120] },
	}
	for name, curve := range curves {
		for _, st := range part.Stages {
			r := &part.Result{Stage: st, MMPerPX: .015, Pictures: []part.PictureReport{{View: part.Edge, State: part.PictureOK, File: "e"},
				{View: part.Face, State: part.PictureOK, File: "f"}}}
			for a := 0.0; a < 180; a += 30 {
				for _, s := range []part.StepStation{{Side: part.Left, StepUM: part.Num(curve(a + 180))},
					{Side: part.Right, StepUM: part.Num(curve(a))}} {
					s.Image, s.AngleDeg, s.State, s.UUM, s.GapUM, s.BeadUM = "e", a, part.Measured, part.Num(1), part.Num(0), part.Num(0)
					r.Seam.Stations = append(r.Seam.Stations, s)
				}
			}
			r.Seam.Shape = seam.ShapeOf(r.Seam.Stations)
			grade.Judge(r, grade.DefaultLimits())
			if first := r.Plan.First(); !strings.HasPrefix(first.WhyPhrase.Key, "why.") {
				t.Fatalf("%s, %s: %+v", name, st, first)
			}
			for _, f := range r.Findings {
				for _, x := range l.All() {
					if s := x.Say(&r.Plan.First().WhyPhrase) + x.Say(f.AdvicePhrase); strings.ContainsAny(s, "{@") ||
						strings.Contains(s, "why.") || strings.Contains(s, "where.") {
						t.Errorf("%s, %s, %s: %s", name, st, x.Tag, s)
					}
				}
			}
			if name == "off-centre" && st == part.Trim {
				o := Outcome{Result: r}
				for tag, want := range map[string]string{
					"en": "Faceplate off-centre by 84 µm towards 40°: proud by 83 µm at 30°, right (limit 50 µm) and recessed by 83 " +
						"µm at 30°, left (limit 50 µm).",
					"zh-Hans": "面板偏心 84 µm，朝向 40°：30° 右侧处凸出 83 µm（限度 50 µm），30° 左侧处凹入 83 µm（限度 50 µm）。",
				} {
					if got := (words{l.ByTag(tag)}).why(&Answer{Outcome: o}); got != want {
						t.Errorf("%s: %s", tag, got)
					}
				}
			}
		}
	}
}

// The one sentence tells number, limit and place.
func TestWhy(t *testing.T) {
	l := languages(t)
	o := reworking()
	a := &Answer{Outcome: o}
	for tag, want := range map[string]string{
		"en":      "Faceplate proud by 92 µm at 120°, left (limit 50 µm).",
		"zh-Hans": "120° 左侧处面板凸出 92 µm（限度 50 µm）。",
	} {
		if got := (words{l.ByTag(tag)}).why(a); got != want {
			t.Errorf("%s: %s", tag, got)
		}
	}
	// A value that would read as its limit gets more decimals.
	if got := (words{l.ByTag("en")}).why(&Answer{Outcome: reworkingBy(50.2)}); !strings.Contains(got, "50.2 µm") ||
		!strings.Contains(got, "50.0 µm") {
		t.Error(got)
	}
	un := unmeasuring()
	if got := (words{l.ByTag("en")}).why(&Answer{Outcome: un}); got != "Picture face, raking light: out of focus." {
		t.Error(got)
	}
	un.Result.Plan = grade.GaugePlan(un.Result.Plan, part.Say("check.out", "at", "2026-11-25 08:00", "line", "7"))
	if got := (words{l.ByTag("en")}).why(&Answer{Outcome: un}); !strings.Contains(got,
		"the check piece is out of limits since 2026-11-25 08:00 (line 7") {
		t.Error(got)
	}
}

// Orange peel is told by its slope, of an octave and of a lower bound too; and waviness that was
// not measured, with what to do. The bounds are those shipped: 2, 4 and 6 mrad of all waves, 1.5, 3 and 4.5 of an octave.
func TestWavinessInWords(t *testing.T) {
	l := languages(t)
	// waving has the root mean square slope of all waves, u, and that of the waves of 2 to 1 mm.
	waving := func(slope, u, octave float64, least bool) *Answer {
		r := fakeResult(4)
		r.Findings = []part.Finding{{Kind: part.OrangePeel, Zone: part.ZoneFace, AreaMM2: part.Num(30), Image: "face_diffuse.jpg",
			Confidence: .9}}
		r.Screen = &part.Mirror{SlopeMRad: &slope, USlopeMRad: &u, AtLeast: least}
		for i, to := range part.OctaveEndsMM[1:] {
			v := 0.0
			if to == 1 {
				v = octave * octave
			}
			r.Screen.Octaves = append(r.Screen.Octaves, part.Octave{FromMM: part.OctaveEndsMM[i], ToMM: to, Variance: v, UVariance: 0.01})
		}
		grade.Judge(r, grade.DefaultLimits())
		return &Answer{Outcome: Outcome{Result: r}}
	}
	for tag, want := range map[string][]string{
		"en": {"Orange peel of 6.5 mrad, on the faceplate: major over 6.0 mrad.",
			"Orange peel of 4.6 mrad in waves of 2 to 1 mm, on the faceplate: major over 4.5 mrad.",
			"Orange peel of at least 6.5 mrad, on the faceplate: major over 6.0 mrad.",
			"Orange peel of 6.5 mrad, on the faceplate: major over 6.0 mrad. Close to the limit (u = 0.31 mrad).",
			"Waviness not measured: at least 1.5 mrad, with slopes too steep for these stripes.",
			"Set wider stripes or bring the screen nearer, then take again; or look at it by eye."},
		"zh-Hans": {"面板上有橘皮，6.5 mrad：超过 6.0 mrad 为严重。", "面板上有橘皮，波长 2 至 1 mm 处 4.6 mrad：超过 4.5 mrad 为严重。",
			"面板上有橘皮，至少 6.5 mrad：超过 6.0 mrad 为严重。", "面板上有橘皮，6.5 mrad：超过 6.0 mrad 为严重。接近限度（u = 0.31 mrad）。",
			"波纹度未测得：至少 1.5 mrad，有些斜面对此条纹太陡。", "用更宽的条纹或将屏幕移近后重拍；或用眼检查。"},
	} {
		x := words{l.ByTag(tag)}
		bound := waving(1.5, .1, 0, true)
		for i, got := range []string{x.why(waving(6.5, .1, 0, false)), x.why(waving(5, .1, 4.6, false)), x.why(waving(6.5, .1, 0, true)),
			x.why(waving(6.5, .31, 0, false)), x.why(bound), first(x.todo(bound))} {
			if got != want[i] {
				t.Errorf("%s: %s, want %s", tag, got, want[i])
			}
		}
	}
	for want, f := range map[string]part.Finding{"20.00 mm²": {Kind: part.Haze, AreaMM2: part.Num(20)},
		"30 lines": {Kind: part.Sanding, Lines: 30}, "4.53 mm": {Kind: part.Fibre, LengthMM: part.Num(4.53)}} { // other units
		f.Zone, f.Image, f.Confidence = part.ZoneFace, "face_diffuse.jpg", .9
		r := fakeResult(4)
		r.Findings = []part.Finding{f}
		if got := (words{l.ByTag("en")}).why(&Answer{Outcome: outcomeOf(r)}); !strings.Contains(got, want+",") {
			t.Errorf("%s: %s", want, got)
		}
	}
	r := fakeResult(4)
	r.Screen = &part.Mirror{RangeMRad: part.Num(5)}
	if got := (words{l.ByTag("en")}).why(&Answer{Outcome: outcomeOf(r)}); !strings.Contains(got, "too little of the faceplate mirrors") {
		t.Error(got)
	}
}

// How much was looked at is told in every language; in English with the numbers of
// the result's own sentence.
func TestLooked(t *testing.T) {
	l := languages(t)
	r := &part.Result{Verdict: part.Pass, Stage: part.Wet,
		Surfaces: []part.Surface{{View: part.Face, LookedAt: 0.904, OneLight: 0.06, NotLookedAt: 0.036,
			Why: map[part.Why]float64{part.Mirrored: 0.026, part.Outermost: 0.01}}, part.UnsearchedSurface(part.Shell, 0),
			part.UnsearchedSurface(part.Shell, 120)},
		Pictures: []part.PictureReport{{View: part.Face, Light: part.Diffuse, State: part.PictureOK},
			{View: part.Face, Light: part.Raking, State: part.PictureOK}}}
	en, zh := words{l.ByTag("en")}, words{l.ByTag("zh-Hans")}
	for i, want := range []string{
		"Looked at 90 % of the face in both lights, 6 % in one, 4 % not at all (left out: mirrored lamps 3 %, outermost strip 1 %)",
		"The shell was not looked at in any of 2 turns",
	} {
		if got := en.SayAll(r.LookedAtPhrases())[i]; got != want {
			t.Errorf("%s, want %s", got, want)
		}
		if own := en.SayAll(r.LookedAtPhrases())[i]; strings.Split(own, " (")[0] != strings.Split(want, " (")[0] {
			t.Errorf("the result says %q, the page %q", own, want)
		}
	}
	if got := strings.Join(zh.SayAll(r.LookedAtPhrases()), "\n"); !strings.Contains(got, "90 %") ||
		!strings.Contains(got, "灯的反光 3 %、最外边缘 1 %") || strings.Contains(got, "{") {
		t.Error(got)
	}
	if got, want := en.why(&Answer{Outcome: Outcome{Result: r}}),
		"Within the limits of this stage, as far as looked at: 96 % of the face."; got != want {
		t.Error(got)
	}
	if got := en.why(&Answer{Outcome: Outcome{Result: &part.Result{Verdict: part.Pass, Stage: part.Trim}}}); !strings.Contains(got,
		"rests on the seam alone") {
		t.Error(got)
	}
	few := fakeResult(4)
	few.Surfaces = r.Surfaces
	limits := grade.DefaultLimits()
	limits.LookedAt = []grade.LookedAt{{Stages: part.Stages, Views: []part.View{part.Face}, Least: 0.98}}
	grade.Judge(few, limits)
	a := &Answer{Outcome: Outcome{Result: few}}
	if why, todo := en.why(a), first(en.todo(a)); why != "Only 96 % of the face could be looked at (at least 98 %)." ||
		!strings.HasPrefix(todo, "Move the lamp") {
		t.Errorf("%s %s", why, todo)
	}
	limits.LookedAt[0].Views = []part.View{part.Shell}
	grade.Judge(few, limits)
	if why, todo := en.why(a), first(en.todo(a)); why != "The shell at 0° was not looked at (at least 98 % is asked for)." ||
		todo != "Look at it by eye." {
		t.Errorf("%s %s", why, todo)
	}
}

// Each turn of the shell is told by itself, and what all of them showed together.
func TestLookedTurns(t *testing.T) {
	en, zh := words{languages(t).ByTag("en")}, words{languages(t).ByTag("zh-Hans")}
	ok := func(turn float64, l part.Light) part.PictureReport {
		return part.PictureReport{View: part.Shell, AngleDeg: turn, Light: l, State: part.PictureOK}
	}
	r := &part.Result{Verdict: part.Pass, Stage: part.Wet, Surfaces: []part.Surface{{View: part.Face, LookedAt: 1},
		{View: part.Shell, LookedAt: 0.5, OneLight: 0.3, NotLookedAt: 0.2},
		{View: part.Shell, AngleDeg: 120, LookedAt: 0.7, NotLookedAt: 0.3}, part.UnsearchedSurface(part.Shell, 240)},
		Pictures: []part.PictureReport{{View: part.Face, State: part.PictureOK}, ok(0, part.Diffuse), ok(0, part.Raking),
			ok(120, part.Diffuse)}}
	said := func(x words, want ...string) {
		t.Helper()
		for i, got := range x.SayAll(r.LookedAtPhrases()) {
			if got != want[i] {
				t.Errorf("%s, want %s", got, want[i])
			}
		}
	}
	said(en, "Looked at 100 % of the face in one light", "Looked at 50 % of the shell at 0° in both lights, 30 % in one, 20 % not at all",
		"Looked at 70 % of the shell at 120° in one light, 30 % not at all", "The shell at 240° was not looked at")
	said(zh, "面板：单一光照下检查了 100 %", "壳体 0°：两种光照下都检查了 50 %，仅一种光照下 30 %，20 % 未检查", "壳体 120°：单一光照下检查了 70 %，30 % 未检查", "壳体 240°未检查")
	if got, want := en.why(&Answer{Outcome: Outcome{Result: r}}),
		"Within the limits of this stage, as far as looked at: 100 % of the face, 80 % of the shell at 0°, "+
			"70 % of the shell at 120°."; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	r.Shell = &part.ShellMap{LookedAt: 0.66}
	if got, want := en.why(&Answer{Outcome: Outcome{Result: r}}),
		"Within the limits of this stage, as far as looked at: 100 % of the face, 66 % of the shell."; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if got := en.SayAll(r.LookedAtPhrases()); got[len(got)-1] != "Over all its turns 66 % of the shell was looked at" {
		t.Error(got)
	}
}

// No words stand in templates or in the script: they come from the language
// files. A template's text between tags, and the attributes that are read out,
// hold no letters of their own.
func TestNoWordsInTemplates(t *testing.T) {
	action := regexp.MustCompile(`\{\{[^}]*\}\}`)
	letters := regexp.MustCompile(`\pL`)
	err := fs.WalkDir(pageFiles, "page", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := pageFiles.ReadFile(path)
		if err != nil {
			return err
		}
		text := action.ReplaceAllString(string(data), "")
		for _, between := range regexp.MustCompile(`<[^>]*>`).Split(text, -1) {
			if letters.MatchString(between) {
				t.Errorf("%s: the words %q", path, strings.TrimSpace(between))
			}
		}
		for _, m := range regexp.MustCompile(`\b(alt|title|placeholder|aria-label)="([^"]*)"`).FindAllStringSubmatch(text, -1) {
			if letters.MatchString(m[2]) {
				t.Errorf("%s: the words %q in %s", path, m[2], m[1])
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestNoWordsInScript(t *testing.T) {
	comment := regexp.MustCompile(`(?m)(^|\s)//.*$|/\*.*?\*/`)
	for _, name := range []string{"bench.js", "light.js"} {
		data, err := assets.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		code := strings.Replace(comment.ReplaceAllString(string(data), ""), `"use strict";`, "", 1)
		for _, m := range regexp.MustCompile(`"([^"\n]*)"`).FindAllStringSubmatch(code, -1) {
			if regexp.MustCompile(`\pL+ \pL+`).MatchString(m[1]) && !strings.ContainsAny(m[1], "[#.=") {
				t.Errorf("%s: the words %q", name, m[1])
			}
		}
	}
}

func first(a, _ string) string { return a }
