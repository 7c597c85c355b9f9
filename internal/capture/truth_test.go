package capture

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

// psfOf reads the blur of a shared unit's edge pictures, sigma in px by file.
func psfOf(t *testing.T, dir string) map[string]float64 {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Edge []struct {
			File string  `json:"file"`
			PSF  float64 `json:"psf_sigma_px"`
		} `json:"edge"`
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	m := map[string]float64{}
	for _, e := range truth.Edge {
		m[e.File] = e.PSF
	}
	return m
}
