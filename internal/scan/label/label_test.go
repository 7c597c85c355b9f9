package label

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	go_qr "github.com/piglig/go-qr"

	"finishbench/internal/scan"
)

// What is printed is read as what it was printed for.
func TestLabelsAreRead(t *testing.T) {
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("no poppler here: labels were not drawn")
	}
	long := strings.Repeat("X", scan.MostSerial)
	for _, c := range []struct {
		w, h  float64
		kind  scan.Kind
		names []string
	}{
		{50, 25, scan.Unit, []string{"P-01-L", "P-01 R", "A-1001", long + "-R"}},
		{25, 30, scan.Unit, []string{"P-01-L"}},
		{12, 15, scan.Badge, []string{"B17"}},
		{100, 60, scan.Lot, []string{"W 48"}},
		{70, 20, scan.Faceplate, []string{"FX-9"}},
	} {
		var all []Label
		for _, n := range c.names {
			l, err := New(c.kind, n)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, l)
		}
		var pdf bytes.Buffer
		if err := WritePDF(&pdf, all, c.w, c.h); err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		if keep := os.Getenv("FINISHBENCH_LABELS"); keep != "" { // to be looked at
			dir = keep
		}
		file, name := filepath.Join(dir, "labels.pdf"), fmt.Sprintf("%s-%gx%g", c.kind, c.w, c.h)
		if err := os.WriteFile(file, pdf.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("pdftoppm", "-r", "300", "-png", file, filepath.Join(dir, name)).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		pages, _ := filepath.Glob(filepath.Join(dir, name+"*.png"))
		if len(pages) != len(all) {
			t.Fatalf("%d pages for %d labels", len(pages), len(all))
		}
		for i, p := range pages {
			f, err := os.Open(p)
			if err != nil {
				t.Fatal(err)
			}
			img, err := png.Decode(f)
			_ = f.Close()
			if err != nil {
				t.Fatal(err)
			}
			// 300 dots an inch of 25.4 mm.
			if w, h := float64(img.Bounds().Dx())*25.4/300, float64(img.Bounds().Dy())*25.4/300; w < c.w-.2 || w > c.w+.2 || h < c.h-.2 ||
				h > c.h+.2 {
				t.Errorf("%s is %.1f x %.1f mm", p, w, h)
			}
			text, err := go_qr.Decode(img)
			if err != nil {
				t.Fatalf("%s of %s: %v", name, all[i].Name, err)
			}
			got, err := scan.Rules{}.Read(text, "")
			want, _, _ := scan.Serial(c.names[i])
			if c.kind != scan.Unit {
				want = c.names[i]
			}
			if err != nil || got.Kind != c.kind || got.Value != want || got.Name() != all[i].Name {
				t.Errorf("%q is read as %+v, %v", text, got, err)
			}
		}
	}
	l, err := New(scan.Unit, long)
	if err != nil {
		t.Fatal(err)
	}
	if err := WritePDF(&bytes.Buffer{}, []Label{l}, 9, 9); err == nil || !strings.Contains(err.Error(), "needs") {
		t.Errorf("a label that no reader reads: %v", err)
	}
	if _, err := New(scan.Unit, "a/b"); err == nil {
		t.Error("a name that cannot be read is printed")
	}
}
