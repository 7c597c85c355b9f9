package grade

import (
	"reflect"
	"testing"

	"finishbench/internal/part"
)

// judged returns the severities, in the order given, of spots that are judged on
// a wet unit. 2 mm are 133.3 px at 0.015 mm per pixel.
func judged(t *testing.T, l Limits, spots ...part.Finding) []part.Severity {
	t.Helper()
	r := unit(part.Wet)
	r.Findings = append([]part.Finding(nil), spots...)
	for i := range r.Findings {
		r.Findings[i].Features = map[string]float64{"order": float64(i)}
	}
	Judge(r, l)
	out := make([]part.Severity, len(spots))
	for _, f := range r.Findings {
		out[int(f.Features["order"])] = f.Severity
	}
	return out
}

func TestClusters(t *testing.T) {
	dust := func(size, x, y float64) part.Finding { return spot(part.Dust, size, x, y) }
	inDiffuse := dust(0.12, 240, 100)
	inDiffuse.Image = "face_diffuse.jpg"
	inEdge := dust(0.12, 240, 100)
	inEdge.Image = "edge_120.jpg"
	doubted := dust(0.12, 240, 100)
	doubted.Confidence = 0.1
	minor, moderate, major, none := part.Minor, part.Moderate, part.Major, part.None
	for _, c := range []struct {
		name  string
		spots []part.Finding
		want  []part.Severity
	}{
		{"two are no cluster", []part.Finding{dust(0.12, 100, 100), dust(0.12, 200, 100)}, []part.Severity{minor, minor}},
		// 133 px are 1.995 mm: within; 134 px are 2.01 mm: not.
		{"three in reach of the middle one", []part.Finding{dust(0.12, 100, 100), dust(0.12, 233, 100), dust(0.12, 366, 100)},
			[]part.Severity{moderate, moderate, moderate}},
		{"one just out of reach", []part.Finding{dust(0.12, 100, 100), dust(0.12, 233, 100), dust(0.12, 367, 100)},
			[]part.Severity{minor, minor, minor}},
		{"each by one class, major stays", []part.Finding{dust(0.12, 100, 100), dust(0.25, 150, 100), dust(0.45, 200, 100)},
			[]part.Severity{moderate, major, major}},
		{"too small to matter does not count", []part.Finding{dust(0.12, 100, 100), dust(0.12, 150, 100), dust(0.05, 200, 100)},
			[]part.Severity{minor, minor, none}},
		{"two lights of one pose are one scene", []part.Finding{dust(0.12, 100, 100), dust(0.12, 170, 100), inDiffuse},
			[]part.Severity{moderate, moderate, moderate}},
		{"another pose is not", []part.Finding{dust(0.12, 100, 100), dust(0.12, 170, 100), inEdge}, []part.Severity{minor, minor, minor}},
		{"fibres do not count", []part.Finding{dust(0.12, 100, 100), dust(0.12, 170, 100), spot(part.Fibre, 0.3, 240, 100)},
			[]part.Severity{minor, minor, minor}},
		{"the doubtful do not count", []part.Finding{dust(0.12, 100, 100), dust(0.12, 170, 100), doubted},
			[]part.Severity{minor, minor, none}},
	} {
		if got := judged(t, DefaultLimits(), c.spots...); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	off := DefaultLimits()
	off.Cluster = Cluster{}
	if got := judged(t, off, dust(0.12, 100, 100), dust(0.12, 150, 100), dust(0.12, 200, 100)); !reflect.DeepEqual(got,
		[]part.Severity{minor, minor, minor}) {
		t.Errorf("without the rule: %v", got)
	}
}

func TestClusterSaysSo(t *testing.T) {
	r := unit(part.Wet)
	r.Findings = []part.Finding{spot(part.Dust, 0.25, 100, 100), spot(part.Dust, 0.12, 150, 100), spot(part.Dust, 0.12, 200, 100)}
	Judge(r, DefaultLimits())
	// Moderate and twice minor become major and twice moderate: 50 + 10 + 10.
	num(t, "score", r.Score, 70)
	verdict(t, r, part.Rework, "dust of 0.25 mm on the face (major: 3 lie within 2 mm)")
}
