package setup

import (
	"strings"
	"testing"
)

// focused is a unit with edges so many px wide; up to 3.25 px is in the zone.
func focused(px float64) Reading {
	r := unit()
	r.EdgeWidthPX = px
	return r
}

func TestWalkGoesOn(t *testing.T) {
	w := NewWalk(limits(), Names())
	bad := unit()
	bad.PanelUneven, bad.EdgeWidthPX = 0.9, 6
	good := focused(6)
	at := func(want Name, v View) {
		t.Helper()
		if n, _ := w.Current(); n != want || v.Step.Name != want {
			t.Fatalf("at %s, shown %s; want %s", n, v.Step.Name, want)
		}
	}
	v := w.See(bad)
	at(Panel, v)
	if !strings.Contains(said(v.Do), "evenly") || v.Again {
		t.Errorf("%+v", v)
	}
	if v = w.See(good); !v.Again || v.Do.Key != "" {
		t.Errorf("first picture inside: %+v", v)
	}
	at(Panel, v)
	// One outside between them: it starts again.
	at(Panel, w.See(bad))
	at(Panel, w.See(good))
	v = w.See(good) // exposure has been inside for as long
	at(Focus, v)
	if !w.Done(Panel) || !w.Done(Exposure) || w.Done(Focus) || len(v.Notice) != 2 {
		t.Errorf("%+v", v)
	}
	w.See(focused(3))
	v = w.See(focused(3))
	at(Squareness, v)
	if v.Step.State() != NotMeasured || !strings.Contains(said(v.Do), "target") {
		t.Errorf("a unit's picture at squareness: %s, %q", v.Step.State(), v.Do)
	}
	if v = w.See(board()); v.Finished {
		t.Error("finished after one picture")
	}
	v = w.See(board())
	if !v.Finished || v.Do.Key != "" {
		t.Errorf("not finished: %+v", v)
	}
	if _, more := w.Current(); more {
		t.Error("a step is left")
	}
}

// A picture that does not tell of the step breaks the row.
func TestWalkRowBroken(t *testing.T) {
	w := NewWalk(limits(), []Name{Squareness})
	for _, r := range []Reading{board(), unit(), board(), NewReading("nothing")} {
		if v := w.See(r); v.Finished {
			t.Fatalf("finished at %s", r.File)
		}
	}
}

// A step that is in order comes up again after two pictures outside, not one.
func TestWalkComesBack(t *testing.T) {
	w := NewWalk(limits(), []Name{Panel, Exposure, Focus})
	w.See(focused(6))
	w.See(focused(6))
	out := focused(6)
	out.Clipped = 0.2
	if v := w.See(out); v.Step.Name != Focus {
		t.Fatalf("back at %s after one picture", v.Step.Name)
	}
	v := w.See(out)
	if v.Step.Name != Exposure || len(v.Notice) != 1 || !strings.Contains(said(v.Notice[0]), "out again") || !strings.Contains(said(v.Do),
		"expose shorter") {
		t.Fatalf("%+v", v)
	}
}

func TestWalkDirection(t *testing.T) {
	w := NewWalk(limits(), []Name{Focus})
	want := func(px float64, trend string) {
		t.Helper()
		v := w.See(focused(px))
		if trend == "" && v.Trend.Key != "" || !strings.HasPrefix(said(v.Trend), trend) {
			t.Errorf("%g px: %q, want %q", px, v.Trend, trend)
		}
	}
	want(8, "")
	want(6, "better than before (8 px)")
	want(7, "worse than before (6 px)")
	want(6.95, "as before (7 px)")
	want(4, "better than before (6.95 px)")
	// A picture that was not measured is not compared, and is no step back.
	w.See(NewReading("x"))
	want(3.5, "better than before (4 px)")
	want(3, "")

	// Below the zone up is better.
	w = NewWalk(limits(), []Name{Panel})
	dark := unit()
	dark.PanelLevel = 0.01
	w.See(dark)
	dark.PanelLevel = 0.03
	if v := w.See(dark); !strings.HasPrefix(said(v.Trend), "better") {
		t.Errorf("lighter: %q", v.Trend)
	}
	dark.PanelLevel = 0.02
	if v := w.See(dark); !strings.HasPrefix(said(v.Trend), "worse") {
		t.Errorf("darker: %q", v.Trend)
	}
}
