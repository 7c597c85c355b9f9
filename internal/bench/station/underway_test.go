package station

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/codec"
	"finishbench/internal/part"
)

// TestUnderway: what is kept comes back as it was, pictures to the last bit; what is given up or damaged does not come back as a unit.
func TestUnderway(t *testing.T) {
	k := &underway{dir: filepath.Join(t.TempDir(), "bench.db-underway-1")}
	if unit, shown, err := k.Kept(); unit != nil || shown != nil || err != nil {
		t.Fatalf("%v %v %v where nothing is", unit, shown, err)
	}
	u := bench.Underway{Unit: part.UnitInfo{Serial: "k041", Side: "L", Stage: part.Wet, Operator: "张伟"}, Follow: bench.FollowNumber,
		Started: time.Date(2026, 12, 1, 16, 0, 0, 0, time.UTC), Key: "a1"}
	im := &part.Image{W: 40, H: 30, C: 3, Pix8: make([]uint8, 40*30*3)}
	for i := range im.Pix8 {
		im.Pix8[i] = byte(i * 7)
	}
	raw, err := codec.EncodePNG(im)
	if err != nil {
		t.Fatal(err)
	}
	x := part.Photo{Shot: part.Shot{File: "edge_030.png", View: part.Edge, AngleDeg: 30}, Camera: "side", Raw: raw, MIME: "image/png",
		Came: u.Started.Add(time.Second), Report: part.PictureReport{File: "edge_030.png", View: part.Edge, AngleDeg: 30,
			State: part.PictureOK, SharpnessPX: part.Num(2.5), Problems: []part.Problem{}}}
	if err := k.Begin(u); err != nil {
		t.Fatal(err)
	}
	if err := k.add(x, raw); err != nil {
		t.Fatal(err)
	}
	got, _, err := (&underway{dir: k.dir}).Kept()
	if err != nil || got == nil || len(got.Shots) != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	back := got.Shots[0]
	if !reflect.DeepEqual(back.Image.Pix8, im.Pix8) {
		t.Error("other pixels")
	}
	back.Image = nil
	if got.Shots = nil; !reflect.DeepEqual(*got, u) || !reflect.DeepEqual(back, x) {
		t.Errorf("%+v\n%+v, want\n%+v", *got, back, x)
	}
	if st, err := os.Stat(k.dir); err != nil || st.Mode().Perm() != 0o700 {
		t.Errorf("%v %v: others can read it", st.Mode(), err)
	}

	// A picture that was being written when the program ended does not count.
	for name, data := range map[string]string{"02.png": "half", "03.json.new": "{"} {
		if err := os.WriteFile(filepath.Join(k.dir, name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got, _, err := (&underway{dir: k.dir}).Kept(); err != nil || len(got.Shots) != 1 {
		t.Errorf("%+v, %v", got, err)
	}
	// The next unit finds none of its pictures.
	if err := k.Begin(bench.Underway{Key: "a2"}); err != nil {
		t.Fatal(err)
	}
	if got, _, err := k.Kept(); err != nil || got.Key != "a2" || len(got.Shots) != 0 {
		t.Errorf("%+v, %v", got, err)
	}
	for _, damage := range []string{"", "{", `"x"`} {
		if err := os.WriteFile(filepath.Join(k.dir, underwayUnit), []byte(damage), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, _, err := k.Kept(); err == nil || got != nil {
			t.Errorf("%q: %+v", damage, got)
		}
	}
	if err := k.Drop(); err != nil {
		t.Fatal(err)
	}
	if got, shown, err := k.Kept(); got != nil || shown != nil || err != nil {
		t.Errorf("after it was dropped: %v %v %v", got, shown, err)
	}
}
