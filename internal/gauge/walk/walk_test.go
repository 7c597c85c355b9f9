package walk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/scaling"
	"finishbench/internal/gauge/setup"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// testBench is a bench with the shipped limits, a chessboard as its target and
// a scale of 25 um a pixel.
func testBench(t testing.TB, now time.Time) *setupBench {
	t.Helper()
	o := Options{View: "edge", TargetOptions: scaling.TargetOptions{Kind: optics.Chessboard, Cols: 9, Rows: 6, PitchMM: 2, URel: 0.0002}}
	b, err := o.bench(now)
	if err != nil {
		t.Fatal(err)
	}
	b.limits.Scale = &setup.Scale{Name: "scale.json", MMPerPX: 0.025, U: 0.00001, AgeDays: math.NaN(), MaxAgeDays: math.NaN()}
	return b
}

func drawnUnit(change func(*synth.EdgeParams)) *part.Image {
	p := synth.SmallEdge()
	change(&p)
	im, _ := synth.Edge(p)
	return im
}

// drawnBoard is a board turned by 5 degrees before a lens of 6000 px: at 150 mm
// a pixel is 25 um.
func drawnBoard(change func(*synth.TargetParams, *synth.Placement)) *part.Image {
	p, at := synth.DefaultTarget(), synth.Placement{XMM: 8, YMM: 5, DistanceMM: 150, AboutDeg: 5}
	p.W, p.H = 1200, 900
	change(&p, &at)
	p.Map = synth.Tilted(optics.Lens{FX: 6000, FY: 6000, CX: 600, CY: 450}, at)
	return synth.Chessboard(p, 9, 6, 2)
}

// Pictures drawn on either side of each limit: the state flips, and what to do
// points the right way. How far off each picture is follows from its drawing.
func TestSetupDrawn(t *testing.T) {
	b := testBench(t, time.Now())
	for _, c := range []struct {
		name string
		step setup.Name
		im   *part.Image
		key  string // outside; "": in its zone
		do   string
	}{
		{"panel", setup.Panel, drawnUnit(func(p *synth.EdgeParams) {}), "", ""},
		{"panel empty", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.NoUnit, p.Holder = true, false }), "", ""},
		{"panel off", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.NoUnit, p.Holder, p.DarkPanel = true, false, true }),
			"panel_light_pct", "switch the panel on"},
		{"panel at 0.04", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.NoUnit, p.Holder, p.PanelLevel = true, false, 0.04 }),
			"panel_light_pct", "turn it up"},
		{"panel falls off", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.PanelGradient = 0.7 }), "panel_uneven_pct", "left"},
		{"panel falls off to the right", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.PanelGradient = -0.7 }), "panel_uneven_pct",
			"right"},
		{"panel specked", setup.Panel, drawnUnit(func(p *synth.EdgeParams) { p.NoUnit, p.Holder, p.PanelDirt = true, false, 30 }),
			"panel_dirt_pct", "wipe"},
		{"exposure", setup.Exposure, drawnUnit(func(p *synth.EdgeParams) {}), "", ""},
		{"exposure too long", setup.Exposure, drawnUnit(func(p *synth.EdgeParams) { p.Exposure = 3 }), "panel_clipped_pct",
			"turn the panel down"},
		{"exposure too short", setup.Exposure, drawnUnit(func(p *synth.EdgeParams) { p.Exposure = 0.04 }), "panel_light_pct",
			"expose longer"},
		{"exposure of a board", setup.Exposure, drawnBoard(func(p *synth.TargetParams, _ *synth.Placement) { p.Light = 0.7 }), "", ""},
		{"board too bright", setup.Exposure, drawnBoard(func(p *synth.TargetParams, _ *synth.Placement) { p.Light = 1.4 }), "clipped_pct",
			"expose shorter"},
		// 2.5631 sqrt(sigma^2 + 1/12) reaches 3.25 px at a sigma of 1.23.
		{"sharp", setup.Focus, drawnUnit(func(p *synth.EdgeParams) { p.BlurSigmaPX = 1.05 }), "", ""},
		{"soft", setup.Focus, drawnUnit(func(p *synth.EdgeParams) { p.BlurSigmaPX = 1.45 }), "edge_width_px", "focus ring"},
		{"board sharp", setup.Focus, drawnBoard(func(p *synth.TargetParams, _ *synth.Placement) { p.BlurSigmaPX = 1.1 }), "", ""},
		{"board soft", setup.Focus, drawnBoard(func(p *synth.TargetParams, _ *synth.Placement) { p.BlurSigmaPX = 1.4 }), "edge_width_px",
			"focus ring"},
		{"moved", setup.Focus, drawnUnit(func(p *synth.EdgeParams) { p.MotionPX, p.MotionDeg = 9, 0 }), "motion_px", "the picture's width"},
		// The zone ends at 2.56 degrees; across the picture of 30 mm at 150 mm the
		// scale then changes by more than 0.2 %, so that the tilts are small here.
		{"square", setup.Squareness, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) {}), "", ""},
		{"from the side", setup.Squareness, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.AboutYDeg = 4 }), "tilt_deg",
			"left or right"},
		{"from above", setup.Squareness, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.AboutXDeg = 4 }), "tilt_deg",
			"up or down"},
		{"from a corner", setup.Squareness, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.AboutXDeg, p.AboutYDeg = 4, 4 }),
			"tilt_deg", "corner"},
		// U = 2 sqrt(0.0004^2 + u^2): the target's 0.0002 and the fit's.
		{"at its distance", setup.ScaleStep, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) {}), "", ""},
		{"nearer", setup.ScaleStep, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.DistanceMM = 149.6 }), "scale_off_pct",
			"move it back"},
		{"further", setup.ScaleStep, drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.DistanceMM = 150.4 }), "scale_off_pct",
			"move it nearer"},
	} {
		r := b.live(capture.Frame{Image: c.im, Path: "x.png"}, c.step)
		s := b.limits.Judge(c.step, r)
		m, _ := s.First()
		want := setup.Inside
		if c.key != "" {
			want = setup.Outside
		}
		if s.State() != want || m.Key != c.key || !strings.Contains(said(s.Do()), c.do) {
			t.Errorf("%s: %s, %s %s: %q (%s); want %s, %s, %q", c.name, s.State(), m.Key, m.Value(), s.Do(), r.Trouble, want, c.key, c.do)
		}
	}
}

// A picture of something else than a step needs is not measured, and says why.
func TestSetupWrongSubject(t *testing.T) {
	b := testBench(t, time.Now())
	unit := drawnUnit(func(*synth.EdgeParams) {})
	empty := drawnUnit(func(p *synth.EdgeParams) { p.NoUnit, p.Holder = true, false })
	cut := drawnBoard(func(_ *synth.TargetParams, p *synth.Placement) { p.XMM = -4 })
	for _, c := range []struct {
		step setup.Name
		im   *part.Image
		do   string
	}{
		{setup.Exposure, empty, "unit"},
		{setup.Focus, empty, "unit or a target"},
		{setup.Squareness, unit, "9 x 6 inner corners"},
		{setup.Squareness, cut, "9 x 6 inner corners"},
		{setup.ScaleStep, empty, "9 x 6 inner corners"},
	} {
		s := b.limits.Judge(c.step, b.live(capture.Frame{Image: c.im, Path: "x.png"}, c.step))
		if s.State() != setup.NotMeasured || !strings.Contains(said(s.Do()), c.do) {
			t.Errorf("%s: %s, %q, want %q", c.step, s.State(), s.Do(), c.do)
		}
	}
}

// fakeArrivals gives frames, and errors between them.
type fakeArrivals struct {
	next []any // *part.Image or error
	n    int
}

func (s *fakeArrivals) Next(ctx context.Context) (capture.Frame, error) {
	if s.n == len(s.next) {
		return capture.Frame{}, context.Canceled
	}
	s.n++
	switch x := s.next[s.n-1].(type) {
	case error:
		return capture.Frame{}, x
	case *part.Image:
		im := *x // the watch releases it
		im.Pix8 = append([]uint8(nil), x.Pix8...)
		return capture.Frame{Image: &im, Path: fmt.Sprintf("p%d.png", s.n)}, nil
	}
	panic("neither")
}

func TestSetupWatch(t *testing.T) {
	b := testBench(t, time.Now())
	good := drawnUnit(func(*synth.EdgeParams) {})
	soft := drawnUnit(func(p *synth.EdgeParams) { p.BlurSigmaPX = 2.5 })
	softer := drawnUnit(func(p *synth.EdgeParams) { p.BlurSigmaPX = 3.2 })
	names := []setup.Name{setup.Panel, setup.Exposure, setup.Focus}
	src := &fakeArrivals{next: []any{
		softer, capture.PictureError{Path: "/in/bad.png", Err: os.ErrInvalid}, softer,
		fmt.Errorf("capture: folder in is %w", capture.ErrAway), soft, softer, good, good,
	}}
	var out, errs bytes.Buffer
	if err := setupWatch(t.Context(), lang.English(), src, b, names, Options{Watch: "in"}, &out, &errs); err != nil || errs.Len() > 0 {
		t.Fatalf("%v, %s\n%s", err, &errs, &out)
	}
	text := out.String()
	for _, want := range []string{
		"Ultraviolet", "3 and 60", "class 1 or 2", "Local codes", "Waiting for new pictures in in.",
		"p1.png: panel: ", "bad.png could not be used", "p3.png: Panel is in order.", "p3.png: Exposure is in order.", "p3.png: focus: ",
		"out of reach: waiting", "better than before", "worse than before", "one more picture", "All steps are in order.",
	} {
		at := strings.Index(text, want)
		if at < 0 {
			t.Fatalf("%q is missing, or out of its turn:\n%s", want, &out)
		}
		text = text[at+len(want):]
	}
	// Stopped before the end.
	src = &fakeArrivals{next: []any{soft, soft}}
	out.Reset()
	err := setupWatch(t.Context(), lang.English(), src, b, names, Options{Watch: "in", SheetOptions: cli.SheetOptions{Out: t.TempDir()}},
		&out, &errs)
	if code := cli.Tell(&errs, err); code != cli.ExitInterrupted || !strings.Contains(errs.String(),
		"2 of 3 steps") || !strings.Contains(out.String(), "setup.html") {
		t.Errorf("code %d, %s\n%s", code, &errs, &out)
	}
}

func TestSetupWatchJSON(t *testing.T) {
	b := testBench(t, time.Now())
	good := drawnUnit(func(*synth.EdgeParams) {})
	var out, errs bytes.Buffer
	if err := setupWatch(t.Context(), lang.English(), &fakeArrivals{next: []any{good, good}}, b, []setup.Name{setup.Focus},
		Options{SheetOptions: cli.SheetOptions{JSON: true}}, &out, &errs); err != nil {
		t.Fatal(err)
	}
	var lines []setupLineJSON
	for d := json.NewDecoder(&out); d.More(); {
		var l setupLineJSON
		if err := d.Decode(&l); err != nil {
			t.Fatal(err)
		}
		lines = append(lines, l)
	}
	if len(lines) != 2 || lines[0].Finished || !lines[1].Finished || lines[0].Step.Measures[0].Value == nil || len(lines[1].Done) != 1 {
		t.Errorf("%+v", lines)
	}
}

// The live screen draws over what it drew: as many lines up as it wrote.
func TestSetupLiveScreen(t *testing.T) {
	b := testBench(t, time.Now())
	names := []setup.Name{setup.Focus, setup.Squareness}
	w := setup.NewWalk(b.limits, names)
	var out bytes.Buffer
	s := &liveScreen{to: &out, x: lang.English(), walk: w, names: names, width: func() int { return 60 }}
	s.begin("in")
	if !strings.Contains(out.String(), "Ultraviolet") || !strings.Contains(out.String(), "[>] Focus  [ ] Squareness") {
		t.Errorf("first screen:\n%s", &out)
	}
	down := s.drawn
	soft := b.live(capture.Frame{Image: drawnUnit(func(p *synth.EdgeParams) { p.BlurSigmaPX = 2.5 }), Path: "a\x1b[2Jb.png"}, setup.Focus)
	for range 3 {
		out.Reset()
		s.view(w.See(soft))
		text := out.String()
		if !strings.HasPrefix(text, fmt.Sprintf("\x1b[%dA\r\x1b[J", down)) || strings.Count(text, "\x1b") != 2 {
			t.Errorf("%q does not go %d lines up, or has a control sequence of the file's name", text, down)
		}
		down = strings.Count(text, "\n")
		for _, want := range []string{"width of edges", "]--", "X", "not sharp", "DO: Turn the focus ring"} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is missing in\n%s", want, text)
			}
		}
		for _, l := range strings.Split(text, "\n")[1:] {
			if len([]rune(l)) > 60 {
				t.Errorf("a line of %d characters on a terminal of 60: %q", len([]rune(l)), l)
			}
		}
	}
	out.Reset()
	s.note("x")
	if !strings.Contains(out.String(), "DO: ") || !strings.Contains(out.String(), "Note: x") {
		t.Errorf("a note wipes the screen:\n%s", &out)
	}
}

func TestSetupScaleInForce(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	write := func(name string, sc optics.Scale) string {
		var b bytes.Buffer
		if err := optics.EncodeScale(&b, sc); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	sc := optics.Scale{Schema: optics.ScaleSchema, MMPerPX: 0.025, UMMPerPX: 0.00001, Projection: optics.Perspective, WidthPX: 1200,
		HeightPX: 900,
		Target:   optics.Target{Kind: optics.Chessboard, Cols: 9, Rows: 6, PitchMM: 2, URel: 0.0002}, Made: now.AddDate(0, 0,
			-10), MaxAgeDays: 90,
		Pictures: []optics.ScalePicture{{File: "a.png", SHA256: strings.Repeat("0", 64), Used: true, Marks: 54}}, Rating: optics.RatedGood}
	im := drawnBoard(func(*synth.TargetParams, *synth.Placement) {})
	for _, c := range []struct {
		name   string
		change func(*optics.Scale)
		state  setup.State
		do     string
	}{
		{"fresh", func(*optics.Scale) {}, setup.Inside, ""},
		{"soon over", func(s *optics.Scale) { s.Made = now.AddDate(0, 0, -80) }, setup.Outside, "make it again soon"},
		{"over", func(s *optics.Scale) { s.Made = now.AddDate(0, 0, -100) }, setup.Outside, "make it again before measuring"},
		{"still to come", func(s *optics.Scale) { s.Made = now.AddDate(0, 0, 100) }, setup.NotMeasured, "clock"},
		{"another size", func(s *optics.Scale) { s.WidthPX = 1201 }, setup.NotMeasured, "not for this picture"},
	} {
		s := sc
		c.change(&s)
		o := Options{View: "edge", Scale: write("s.json", s), TargetOptions: scaling.TargetOptions{Kind: optics.Chessboard, Cols: 9,
			Rows: 6, PitchMM: 2, URel: 0.0002}}
		b, err := o.bench(now)
		if err != nil {
			t.Fatal(err)
		}
		st := b.limits.Judge(setup.ScaleStep, b.live(capture.Frame{Image: im, Path: "x.png"}, setup.ScaleStep))
		if st.State() != c.state || !strings.Contains(said(st.Do()), c.do) {
			t.Errorf("%s: %s, %q; want %s, %q", c.name, st.State(), st.Do(), c.state, c.do)
		}
	}
}

func TestWrapped(t *testing.T) {
	for _, c := range []struct {
		line string
		n    int
		want string
	}{
		{"a b c", 5, "a b c"}, {"aa bb cc", 5, "aa bb|cc"}, {"  aa bb cc", 7, "  aa bb|  cc"}, {"aaaaaaaa b", 4, "aaaaaaaa|b"},
	} {
		if got := strings.Join(wrapped(c.line, c.n), "|"); got != c.want {
			t.Errorf("%q: %q, want %q", c.line, got, c.want)
		}
	}
}

// said is a phrase in English; empty where it has no key.
func said(p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	return lang.English().Say(&p)
}
