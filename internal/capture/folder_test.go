package capture

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// folder makes a folder with empty files of the given names; unit.yaml's text
// may be given.
func folder(t *testing.T, yaml string, names ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "u07-L")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if err := os.WriteFile(filepath.Join(dir, n), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if yaml != "" {
		if err := os.WriteFile(filepath.Join(dir, UnitFile), []byte(yaml), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestScanByName(t *testing.T) {
	dir := folder(t, "", "edge_030.jpg", "edge_000.JPG", "edge_-22.5.tiff", "face_raking.png", "shell_diffuse.bmp", "face_white.jpg",
		"face_stripes_x3.jpg",
		"shell_000_raking.jpg", "shell_-22.5_stripes_y0.png", "shell_black.jpg", "Shell_360_white.tif", "truth.json", "setup.jpg",
		"._edge_060.jpg")
	f, err := Scan(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := []part.Shot{
		{File: "Shell_360_white.tif", View: part.Shell, Light: part.White},
		{File: "edge_-22.5.tiff", View: part.Edge, AngleDeg: -22.5},
		{File: "edge_000.JPG", View: part.Edge},
		{File: "edge_030.jpg", View: part.Edge, AngleDeg: 30},
		{File: "face_raking.png", View: part.Face, Light: part.Raking},
		{File: "face_stripes_x3.jpg", View: part.Face, Light: part.StripesX3},
		{File: "face_white.jpg", View: part.Face, Light: part.White},
		{File: "shell_-22.5_stripes_y0.png", View: part.Shell, Light: part.StripesY0, AngleDeg: 337.5},
		{File: "shell_000_raking.jpg", View: part.Shell, Light: part.Raking},
		{File: "shell_black.jpg", View: part.Shell, Light: part.Black},
		{File: "shell_diffuse.bmp", View: part.Shell, Light: part.Diffuse},
	}
	if f.Name != "u07-L" || f.Dir != dir || len(f.Shots) != len(want) {
		t.Fatalf("got %+v", f)
	}
	for i, w := range want {
		w.Path = filepath.Join(dir, w.File)
		if f.Shots[i] != w {
			t.Errorf("shot %d: %+v, want %+v", i, f.Shots[i], w)
		}
	}
}

func TestScanByUnitFile(t *testing.T) {
	dir := folder(t, `serial: 00123
pictures:
  - {file: b.png, view: edge, angle_deg: 60, light: back}
  - {file: face_raking.jpg, view: face, light: diffuse} # the list wins over the name
  - file: ./a.tif
    view: shell
  - {file: c.tif, view: shell, angle_deg: 0, light: raking}
`, "b.png", "a.tif", "c.tif", "face_raking.jpg", "edge_030.jpg")
	f, err := Scan(dir)
	if err != nil {
		t.Fatal(err)
	}
	if f.Name != "00123" { // as written, not the octal 83
		t.Errorf("serial %q", f.Name)
	}
	want := []part.Shot{
		{File: "a.tif", View: part.Shell},
		{File: "b.png", View: part.Edge, Light: part.Back, AngleDeg: 60},
		{File: "c.tif", View: part.Shell, Light: part.Raking},
		{File: "edge_030.jpg", View: part.Edge, AngleDeg: 30},
		{File: "face_raking.jpg", View: part.Face, Light: part.Diffuse},
	}
	if len(f.Shots) != len(want) {
		t.Fatalf("got %+v", f.Shots)
	}
	for i, w := range want {
		w.Path = filepath.Join(dir, w.File)
		if f.Shots[i] != w {
			t.Errorf("shot %d: %+v, want %+v", i, f.Shots[i], w)
		}
	}
}

func TestScanRefuses(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	one := func(s string) string { return folder(t, "pictures: ["+s+"]\n", "a.png") }
	for _, c := range []struct{ name, dir, want string }{
		{"missing", filepath.Join(t.TempDir(), "nowhere"), "no such folder"},
		{"a file", file, "this is a file"},
		{"empty", folder(t, ""), "it is empty"},
		{"no pictures", folder(t, "", "truth.json", "notes.txt"), "no .jpg, .png, .tif or .bmp"},
		{"other names", folder(t, "", "IMG_1.jpg"), "IMG_1.jpg"},
		{"bad angle", folder(t, "", "edge_000.jpg", "edge_0x3.jpg"), "edge_0x3.jpg"},
		{"angle too large", folder(t, "", "edge_999.jpg"), "edge_999.jpg"},
		{"angle not a number", folder(t, "", "edge_nan.jpg"), "edge_nan.jpg"},
		{"no angle", folder(t, "", "edge.jpg"), "edge.jpg"},
		{"bad light", folder(t, "", "face_ring.jpg"), "face_ring.jpg"},
		{"no light", folder(t, "", "face_.jpg"), "face_.jpg"},
		{"turn of a face", folder(t, "", "face_045_raking.jpg"), "as in face_raking.jpg"},
		{"bad turn", folder(t, "", "shell_4S_raking.jpg"), "as in shell_045_raking.jpg"},
		{"turn too large", folder(t, "", "shell_400_raking.jpg"), "as in shell_045_raking.jpg"},
		{"turn alone", folder(t, "", "shell_045.jpg"), "as in shell_045_raking.jpg"},
		{"turn without light", folder(t, "", "shell_045_.jpg"), "as in shell_045_raking.jpg"},
		{"turn with bad light", folder(t, "", "shell_045_ring.jpg"), "stripes_x0 to stripes_x3"},
		{"bad stripes", folder(t, "", "face_stripes_x4.jpg"), "stripes_x0 to stripes_x3"},
		{"turn 0 twice", folder(t, "", "shell_raking.jpg", "shell_000_raking.jpg"),
			"shell_000_raking.jpg and shell_raking.jpg are of one pose and one light"},
		{"a turn twice", folder(t, "", "shell_45_raking.jpg", "shell_405_raking.png", "shell_045_raking.png"), "shell_"},
		{"a whole turn further", folder(t, "", "shell_-90_raking.jpg", "shell_270_raking.png"), "one light"},
		{"a screen's light twice", folder(t, "", "face_white.jpg", "face_white.png"), "one light"},
		{"turn 0 twice by list", folder(t, "pictures: [{file: a.png, view: shell, light: raking, angle_deg: 0}]\n", "a.png",
			"shell_raking.png"), "one light"},
		{"not yaml", folder(t, "pictures: [", "a.png"), "unit.yaml"},
		{"empty yaml", folder(t, "# nothing\n", "a.png"), "unit.yaml is empty"},
		{"unknown key", folder(t, "serail: x\n", "edge_000.png"), "serail"},
		{"unknown picture key", one("{file: a.png, view: face, angel_deg: 3}"), "angel_deg"},
		{"wrong type", folder(t, "pictures: 3\n", "a.png"), "list of pictures"},
		{"two documents", folder(t, "serial: a\n---\nserial: b\n", "edge_000.png"), "more than one"},
		{"not there", one("{file: b.png, view: face}"), "b.png, which is not there"},
		{"no file", one("{view: face}"), "without a file name"},
		{"no view", one("{file: a.png}"), "view"},
		{"bad view", one("{file: a.png, view: side}"), "side"},
		{"bad light in list", one("{file: a.png, view: face, light: ring}"), "ring"},
		{"edge without angle", one("{file: a.png, view: edge}"), "angle_deg"},
		{"face with angle", one("{file: a.png, view: face, angle_deg: 3}"), "edge and shell pictures only"},
		{"edge before a screen", one("{file: a.png, view: edge, angle_deg: 3, light: white}"), "face and shell pictures only"},
		{"shell turned too far", one("{file: a.png, view: shell, angle_deg: 361}"), "-360 to 360"},
		{"angle nan in list", one("{file: a.png, view: edge, angle_deg: .nan}"), "angle_deg"},
		{"twice", one("{file: a.png, view: face}, {file: ./a.png, view: shell}"), "twice"},
		{"outside", one("{file: ../a.png, view: face}"), "outside"},
		{"outside in two", one("{file: x/../../a.png, view: face}"), "outside"},
		{"absolute", one("{file: /etc/passwd, view: face}"), "outside"},
		{"serial with slash", folder(t, "serial: ../x\n", "edge_000.png"), "serial"},
		{"serial dots", folder(t, "serial: ..\n", "edge_000.png"), "serial"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := Scan(c.dir)
			if err == nil {
				t.Fatalf("no error, got %+v", f)
			}
			if msg := err.Error(); !strings.Contains(msg, c.want) || strings.Contains(msg, "\n") {
				t.Errorf("message %q does not say %q in one line", msg, c.want)
			}
			t.Log(err)
		})
	}
	if _, err := Scan(folder(t, "")); !errors.Is(err, ErrNoPictures) {
		t.Errorf("empty folder: %v is not ErrNoPictures", err)
	}
}

// Two pictures of a face under one light were always taken, and still are; so is a
// shell under other lights than a turn 0 beside it.
func TestScanTakesTwo(t *testing.T) {
	for _, names := range [][]string{{"face_raking.jpg", "face_raking.png"},
		{"shell_raking.jpg", "shell_000_diffuse.jpg", "shell_030_raking.jpg"}} {
		if f, err := Scan(folder(t, "", names...)); err != nil || len(f.Shots) != len(names) {
			t.Errorf("%v: %+v, %v", names, f.Shots, err)
		}
	}
}

// FuzzPictureName: whatever a file is called, it is a shot that can be told again
// by its own parts, a name of another sort, or an error in one line.
func FuzzPictureName(f *testing.F) {
	for _, s := range []string{"edge_030.jpg", "face_raking.png", "shell_raking.jpg", "shell_045_raking.jpg", "shell_-0_stripes_y3.bmp",
		"shell_nan_white.tif", "shell__raking.jpg", "face_stripes_x0.jpg", "setup.jpg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		shot, ok, err := shotByName(name)
		if err != nil || !ok {
			return
		}
		if !slices.Contains(part.Views, shot.View) || !slices.Contains(part.Lights, shot.Light) || !goodAngle(shot.AngleDeg) ||
			shot.File != name {
			t.Errorf("%q: %+v", name, shot)
		}
		if shot.View != part.Edge && (shot.AngleDeg != shot.Pose().TurnDeg || shot.Light == part.NoLight) {
			t.Errorf("%q: %+v", name, shot)
		}
	})
}

// FuzzUnitYAML: whatever unit.yaml holds, reading it neither stops the program
// nor lets a file outside the folder through.
func FuzzUnitYAML(f *testing.F) {
	f.Add([]byte("serial: a\npictures:\n  - {file: a.png, view: edge, angle_deg: 30}\n"))
	f.Add([]byte("pictures: [{file: ../a, view: face}]"))
	f.Add([]byte("a: &a [*a]"))
	f.Add([]byte("serial: \"\\0\""))
	f.Fuzz(func(t *testing.T, data []byte) {
		u, err := parseUnitFile(data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("message of two lines: %q", err)
			}
			return
		}
		for _, p := range u.Pictures {
			s, err := p.shot()
			if err != nil || !filepath.IsLocal(s.File) || s.AngleDeg != s.AngleDeg {
				t.Errorf("let through: %+v, %v", s, err)
			}
		}
		if strings.ContainsAny(u.Serial, "/\\\n") {
			t.Errorf("serial %q", u.Serial)
		}
	})
}
