package optics

import "testing"

// Two megapixels in colour: what a picture costs to even, and to look over for
// edges.
func BenchmarkFlatFieldLinear(b *testing.B) {
	l := lamp{w: 1600, h: 1200, level: 0.6, vignette: 0.3}
	white := whites(l, 1, 3, 8, false)
	f, err := NewFlatField(white, nil, DefaultFlatFieldOptions())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		for c := range 3 {
			if _, err := f.Linear(white[0].Image, c); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkFindSlantedEdges(b *testing.B) {
	p := board(1600, 1200, 90, 5, 0.8, 0.005, 1)
	for b.Loop() {
		if _, err := FindSlantedEdges(p, DefaultFindOptions()); err != nil {
			b.Fatal(err)
		}
	}
}
