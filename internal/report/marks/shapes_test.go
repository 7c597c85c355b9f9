package marks

import (
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// The outline of a shape keeps clear of any box it is put around.
func TestShapesKeepClear(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	kinds := append([]part.Kind{"something_new"}, part.Kinds...)
	for _, k := range kinds {
		for range 50 {
			b := part.Box{rng.Float64() * 100, rng.Float64() * 100, rng.Float64() * 200, rng.Float64() * 60}
			clear := 1 + rng.Float64()*10
			paths, cover := Of(k).Around(b, clear, 5)
			grown := b.Grow(clear * 0.98)
			for _, p := range paths {
				for i := 1; i < len(p); i++ {
					for s := 0.0; s <= 1; s += 0.05 {
						x, y := p[i-1].X+s*(p[i].X-p[i-1].X), p[i-1].Y+s*(p[i].Y-p[i-1].Y)
						if grown.Meets(part.Box{x, y, 1e-9, 1e-9}) {
							t.Fatalf("%s around %v: %.1f,%.1f is within %.1f px of the box", k, b, x, y, clear)
						}
						if !cover.Grow(1e-6).Meets(part.Box{x, y, 1e-9, 1e-9}) {
							t.Fatalf("%s: %.1f,%.1f is outside the area it is said to cover", k, x, y)
						}
					}
				}
			}
		}
	}
}

func TestEachKindHasItsOwnShape(t *testing.T) {
	seen := map[string]part.Kind{}
	for _, k := range append([]part.Kind{"something_new"}, part.Kinds...) {
		s := Of(k)
		d := s.SVGPath(0, 0, 1)
		for _, key := range []string{s.Name, d} {
			if o, ok := seen[key]; ok {
				t.Errorf("%s and %s share the shape %q", k, o, key)
			}
			seen[key] = k
		}
		if s.Inner < 0.3 {
			t.Errorf("%s: clear square of half side %.2f", k, s.Inner)
		}
	}
}
