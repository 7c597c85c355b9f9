package defects

import (
	"math"
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// stated is one size with its uncertainty beside the truth, mm.
type stated struct{ got, u, want float64 }

// sizesOn returns the telling sizes of what is drawn on a face, found and named
// rightly, by kind.
func sizesOn(t *testing.T, pattern string, seed uint64, kinds map[part.Kind]int, into map[part.Kind][]stated) {
	t.Helper()
	pictures, truth, mm := facePair(pattern, seed, nil, kinds)
	res, err := Find(pictures, scene.DefaultParams(mm))
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range truth.Defects {
		i := onlyFinding(res, q)
		if i < 0 {
			continue
		}
		f := res.Findings[i]
		s := stated{want: q.DiameterMM}
		got, u := f.DiameterMM, f.UDiamMM
		switch q.Kind {
		case part.Dust:
			s.want = math.Sqrt(q.Box[2]*q.Box[3]) * mm // by its length and width, not its area
		case part.Fibre, part.Sanding:
			s.want, got, u = q.LengthMM, f.LengthMM, f.ULengthMM
		}
		if got == nil || u == nil || f.Budget == nil {
			t.Errorf("%s on %s at %.0f, %.0f has no size, uncertainty or budget", q.Kind, pattern, q.XPX, q.YPX)
			continue
		}
		s.got, s.u = *got, *u
		into[q.Kind] = append(into[q.Kind], s)
	}
}

// onlyFinding is the one finding of the right kind that meets a drawn defect,
// and no other; -1 where there is none.
func onlyFinding(res Result, q synth.TruthDefect) int {
	at := -1
	for i, f := range res.Findings {
		if q.Box.Grow(3).Meets(f.Box) {
			if at >= 0 || f.Kind != q.Kind {
				return -1
			}
			at = i
		}
	}
	return at
}

// Over drawn faces, the error of a size stays within twice its stated
// uncertainty at about 19 of 20 findings.
func TestSizeUncertainty(t *testing.T) {
	sizes := map[part.Kind][]stated{}
	kinds := map[part.Kind]int{part.Bubble: 4, part.Dust: 6, part.Fibre: 3, part.Sanding: 1, part.Crater: 1}
	for i, pattern := range []string{"plain", "flake", "granite", "plain", "flake", "marble"} {
		sizesOn(t, pattern, uint64(700+i), kinds, sizes)
	}
	within, n := 0, 0
	for _, k := range []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater} {
		var bias, ss, zz, uu float64
		in := 0
		for _, s := range sizes[k] {
			d := s.got - s.want
			bias, ss, zz, uu = bias+d, ss+d*d, zz+d*d/s.u/s.u, uu+s.u
			if math.Abs(d) <= 2*s.u {
				in++
			} else {
				t.Logf("%s of %.3f mm measured as %.3f, u %.4f", k, s.want, s.got, s.u)
			}
		}
		m := float64(len(sizes[k]))
		t.Logf("%-8s %2.0f sizes: error %+.1f um in the mean, %.1f rms; u %.1f; within 2u %d; rms error/u %.2f",
			k, m, 1000*bias/m, 1000*math.Sqrt(ss/m), 1000*uu/m, in, math.Sqrt(zz/m))
		if z := math.Sqrt(zz / m); m >= 15 && !(z > 0.5 && z < 2) {
			t.Errorf("%s: the errors are %.2f times the stated uncertainties; these are no use", k, z)
		}
		within, n = within+in, n+len(sizes[k])
	}
	if n < 40 || float64(within) < 0.88*float64(n) {
		t.Errorf("error within twice the stated uncertainty at %d of %d sizes", within, n)
	}
}
