package lotreport

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// formats writes a report in each format that is one file.
func formats(t testing.TB, r *Report, tag string) map[string][]byte {
	t.Helper()
	l := language(t, tag)
	out := map[string][]byte{}
	for name, write := range map[string]func(*bytes.Buffer) error{
		"lot.pdf":  func(b *bytes.Buffer) error { return r.WritePDF(b, l, tag, time.UTC) },
		"lot.xlsx": func(b *bytes.Buffer) error { return r.WriteXLSX(b, l, tag, time.UTC) },
		"lot.json": func(b *bytes.Buffer) error { return r.WriteJSON(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = b.Bytes()
	}
	for _, n := range CSVNames() {
		var b bytes.Buffer
		if err := r.WriteCSV(&b, n); err != nil {
			t.Fatalf("%s: %v", n, err)
		}
		out[n+".csv"] = b.Bytes()
	}
	return out
}

// With FINISHBENCH_STORIES each format is stored there, to be looked at.
func TestStories(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	for _, tag := range []string{"en", "zh-Hans"} {
		for name, data := range formats(t, invented(3200, 200, Accepted), tag) {
			if len(data) == 0 {
				t.Errorf("%s, %s: empty", tag, name)
			}
			if dir != "" {
				if err := os.WriteFile(filepath.Join(dir, tag+"-"+name), data, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}
