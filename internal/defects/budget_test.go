package defects

import (
	"math"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// stated is one size with its uncertainty beside the truth, mm.
type stated struct{ got, u, want float64 }

// sizesOn returns the telling sizes of what is drawn on a face, found and named
// rightly, by kind.
func sizesOn(t *testing.T, pattern string, seed uint64, kinds map[part.Kind]int, into map[part.Kind][]stated) {
	t.Helper()
	scene, truth, mm := facePair(pattern, seed, nil, kinds)
	res, err := Find(scene, DefaultParams(mm))
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

// What a budget takes from a shape, on shapes drawn by formula.
func TestShapeForBudget(t *testing.T) {
	disc := pixelsOf(func(x, y float64) bool { return math.Hypot(x-100, y-90) <= 20 })
	if v := shapeOf(disc, 200, 0, 0).unevenPX(disc, 200); v > 1 {
		t.Errorf("a disc's diameter depends by %.2f px on what is meant by it, want less than a pixel", v)
	}
	// a right-angled corner 40 x 40, 6 wide: by its axes about 52 x 26, by its upright box 40 x 40
	corner := pixelsOf(func(x, y float64) bool { return x >= 60 && x < 100 && y >= 60 && y < 100 && (x < 66 || y < 66) })
	if v := shapeOf(corner, 200, 0, 0).unevenPX(corner, 200); v < 4 {
		t.Errorf("a corner's diameter depends by %.2f px on what is meant by it, want more than 4", v)
	}
	// an S of two quarter circles of radius 40: pi 40 along its course
	curve := pixelsOf(func(x, y float64) bool {
		first := math.Abs(math.Hypot(x-100, y-60)-40) < 1.5 && x <= 100 && y >= 60
		second := math.Abs(math.Hypot(x-100, y-140)-40) < 1.5 && x >= 100 && y <= 140
		return first || second
	})
	s := shapeOf(curve, 200, 0, 0)
	if got, want := s.coursePX(curve, 200, 6), math.Pi*40; math.Abs(got/want-1) > 0.05 || s.long > 0.95*want {
		t.Errorf("an S of %.0f px is followed over %.1f px, its axis is %.1f long", want, got, s.long)
	}
	// six lines whose left ends lie at 40, 50, 60, 40, 50, 60 and right ends at 150: median distance from 50 is 10 px
	lines := pixelsOf(func(x, y float64) bool {
		k := int(y-90) / 4
		return y >= 90 && y < 114 && int(y-90)%4 < 2 && x >= float64(40+10*(k%3)) && x < 150
	})
	sh := shapeOf(lines, 200, 0, 0)
	sh.setAxis(0, lines, 200)
	if got, want := sh.raggedPX(lines, 200, 6), 1.4826*10; math.Abs(got-want) > 0.01 {
		t.Errorf("ragged ends scatter by %.2f px, want %.2f", got, want)
	}
}
