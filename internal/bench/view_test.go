package bench

import (
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

// pastOf is an invented inspection with pictures of these names.
func pastOf(side string, names ...string) part.Inspection {
	p := part.Inspection{UnitInfo: part.UnitInfo{Serial: "k1", Side: side, Stage: part.Wet}, Result: part.Result{Verdict: part.Pass}}
	for _, n := range names {
		view, light, _ := strings.Cut(n, "_")
		q := part.StoredPicture{File: n + ".png", SHA256: n, View: part.View(view)}
		if turn, rest, ok := strings.Cut(light, "_"); ok && turn == "090" {
			light, q.AngleDeg = rest, 90
		}
		q.Light = part.Light(light)
		p.Pictures = append(p.Pictures, q)
	}
	return p
}

// Of an earlier unit a person is shown the pictures in which it is seen, each turn of the
// shell by its name; of a pair two that were taken alike.
func TestPicturesOfThePast(t *testing.T) {
	x := words{languages(t).ByTag("en")}
	names := func(all []pictureView) string {
		var out []string
		for _, p := range all {
			out = append(out, p.Caption)
		}
		return strings.Join(out, "; ")
	}
	const stripes = "face_stripes_x0 face_stripes_x1 face_stripes_x2 face_stripes_y0 face_stripes_y1 face_stripes_y2"
	for _, c := range []struct{ there, want string }{
		{"face_diffuse shell_090_raking shell_090_white shell_090_stripes_x0 shell_raking",
			"face, diffuse light; shell 90°, raking light; shell 90°, screen lit; shell 0°, raking light"},
		{"face_white face_black " + stripes, "face, screen lit"},
		{stripes, ""},
	} {
		p := pastOf("L", strings.Fields(c.there)...)
		if got := names(x.past(&p).Pictures); got != c.want {
			t.Errorf("%s: shown %q, want %q", c.there, got, c.want)
		}
	}
	l, r := pastOf("L", strings.Fields("face_stripes_x0 face_raking")...), pastOf("R", strings.Fields("face_stripes_x0 face_raking")...)
	if s := x.sides(&l, &r); len(s) != 2 || s[0].Caption != "face, raking light" {
		t.Errorf("sides %+v", s)
	}
	l, r = pastOf("L", "face_stripes_x0"), pastOf("R", "face_stripes_x0")
	if s := x.sides(&l, &r); len(s) != 0 {
		t.Errorf("stripes are shown as a pair: %+v", s)
	}
}

// The gloss is no picture on record, so no other side's is like it.
func TestAnswerInTheGloss(t *testing.T) {
	x, other := words{languages(t).ByTag("en")}, pastOf("R", "face_white", "face_black", "face_stripes_x0")
	for file, want := range map[string]int{part.GlossMap: 0, "face_white.png": 2} {
		a := &Answer{Inspection: part.Inspection{UnitInfo: part.UnitInfo{Serial: "k1", Side: "L", Stage: part.Wet}}, Other: &other,
			Outcome: Outcome{MainFile: file, Main: grey(8, 8),
				Result: &part.Result{Verdict: part.Pass, Stage: part.Wet, StoppedS: part.Num(4.6),
					Pictures: []part.PictureReport{{File: "face_white.png", View: part.Face, Light: part.White, State: part.PictureOK}}}}}
		v, err := newStill(t).answerView(x, a)
		if err != nil {
			t.Fatal(err)
		}
		if len(v.Sides) != want || v.Main.Caption != map[int]string{0: "face, gloss before the screen", 2: "face, screen lit"}[want] ||
			v.Stopped != "Stood still for 4.6 s" {
			t.Errorf("%s: %d sides, %q, %q", file, len(v.Sides), v.Main.Caption, v.Stopped)
		}
		a.Outcome.Result.Stage = part.Cured
		if v, err := newStill(t).answerView(x, a); err != nil || v.Stopped != "" {
			t.Error("cured, and told how long it stood still")
		}
	}
}

// newStill is a station that does nothing.
func newStill(t *testing.T) *Station {
	t.Helper()
	return NewStation(Parts{Shooter: newFakeShooter()}, part.UnitInfo{}, "")
}

// How long a unit stood still: from the press to the last picture that came, whichever that is;
// of one that was played back nothing is told.
func TestStoppedS(t *testing.T) {
	at := time.Date(2031, 4, 5, 6, 0, 0, 0, time.UTC)
	came := func(s ...float64) (out []part.Photo) {
		for _, v := range s {
			out = append(out, part.Photo{Came: at.Add(time.Duration(v * float64(time.Second)))})
		}
		return out
	}
	if s := stoppedS(State{Started: at, Shots: append(came(1, 4.56, 3), part.Photo{})}); s == nil || *s != 4.6 {
		t.Errorf("%v", s)
	}
	if s := stoppedS(State{Started: at, Shots: []part.Photo{{}, {}}}); s != nil {
		t.Errorf("played back: %v", *s)
	}
}

// What is known beforehand is told while the bench is ready.
func TestStoppedBeforehand(t *testing.T) {
	x := words{languages(t).ByTag("en")}
	for _, c := range []struct {
		s, wet *Stopped
		want   string
	}{{nil, nil, ""}, {&Stopped{S: 4.3}, nil, "The unit stands still for about 4.3 s<"},
		{&Stopped{S: 2.52, AtLeast: true}, nil, "The unit stands still for at least 2.5 s<"},
		{&Stopped{S: 4.3}, &Stopped{S: 1.7}, "The unit stands still for about 4.3 s · wet for about 1.7 s<"},
		{&Stopped{S: 4.3}, &Stopped{S: 1.7, AtLeast: true}, " · wet for at least 1.7 s<"}} {
		b := NewStation(Parts{Shooter: newFakeShooter(), Stopped: c.s, StoppedWet: c.wet}, part.UnitInfo{}, "")
		html, err := b.benchPart(x, b.Snapshot(), viewer{})
		if err != nil || c.want == "" && strings.Contains(string(html), "stands still") || !strings.Contains(string(html), c.want) {
			t.Errorf("%+v: %v, %s", c.s, err, html)
		}
	}
}
