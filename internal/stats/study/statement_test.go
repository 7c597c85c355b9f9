package study

import (
	"errors"
	"math"
	"strings"
	"testing"

	"finishbench/internal/lang"
)

func detect(t *testing.T, targets []Target, change func(*DetectionOptions)) Detection {
	t.Helper()
	o := DefaultDetectionOptions()
	if change != nil {
		change(&o)
	}
	d, err := NewDetection(targets, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Bliss's set: a90/95 by each method as in TestBliss, the sentence rounded up.
func TestStatementByCurve(t *testing.T) {
	d := detect(t, bliss, func(o *DetectionOptions) { o.Scale = PlainSize })
	if got, want := said(d.Statement("beetles")), "beetles of 1.9 mm and larger are found 9 times in 10 (95 % confidence)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	near(t, "a90/95", d.Size, 1.846771, 1e-6)
	if d.Basis != ByCurve || len(d.Warnings()) != 0 {
		t.Errorf("%s, %q", d.Basis, d.Warnings())
	}
	d = detect(t, bliss, func(o *DetectionOptions) { o.Scale, o.Bound = PlainSize, DeltaMethod })
	near(t, "by the delta method", d.Size, 1.846021, 1e-6)
}

// Where nearly all of even the smallest were found, the curve over the size itself reaches a half, and 9 in 10,
// below 0: these are no sizes, and a bound is no smaller than the smallest that was tried. Expected values: by the logit's
// line through 97 and 99.5 in 100, 3.48 at size 1 and 5.29 at 2, which is 0 at -0.92 and 2.2 at 0.29; one
// through 99 and 99.5 is 2.2 at -2.4.
func TestNoSizeIsBelowZero(t *testing.T) {
	plain := func(o *DetectionOptions) { o.Scale = PlainSize }
	d := detect(t, []Target{{1, 1000, 970}, {2, 1000, 995}}, plain)
	if !math.IsNaN(d.A50) {
		t.Errorf("a50 is %g", d.A50)
	}
	near(t, "a90", d.A90, 1+(math.Log(9)-math.Log(97.0/3))/(math.Log(199)-math.Log(97.0/3)), 1e-6)
	d = detect(t, []Target{{1, 10000, 9900}, {2, 10000, 9950}}, plain)
	if !math.IsNaN(d.A90) || d.Upper[LikelihoodRatio] != 1 || d.Size != 1 {
		t.Errorf("a90 is %g, its bound %v, stated is %g", d.A90, d.Upper, d.Size)
	}
}

// 29 of 29 show 90 % at 95 %: 0.05^(1/29) = 0.902, and 0.05^(1/28) = 0.8985.
func TestStatementByCount(t *testing.T) {
	d := detect(t, []Target{{0.052, 9, 9}, {0.3, 20, 20}}, nil)
	if got, want := said(d.Statement("dust inclusions")),
		"dust inclusions of 0.052 mm and larger are found 9 times in 10 (95 % confidence; all 29 were found)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	d = detect(t, []Target{{0.052, 8, 8}, {0.3, 20, 20}}, nil)
	if got, want := said(d.Statement("dust inclusions")),
		"dust inclusions of 0.052 to 0.3 mm: all 28 were found, so at least 89 % are (95 % confidence); to say 9 times in 10 takes 29 "+
			"without a miss"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestStatementNone(t *testing.T) {
	for name, c := range map[string]struct {
		targets     []Target
		says, warns string
	}{
		"none found": {[]Target{{1, 1, 0}, {2, 3, 0}}, "0 of 4 were found, at least 0 %", "add larger ones"},
		"separated":  {single(2.5, 1, 2, 3, 4), "no curve can be fitted", "from 3 mm on all 2 were found"},
		"reversed":   {[]Target{{1, 3, 3}, {2, 3, 0}}, "small ones were found and large ones missed", "mistake in the sizes"},
		"one size":   {[]Target{{1, 3, 2}}, "of 1 mm: 2 of 3 were found", "of one size"},
		"no slope":   {[]Target{{1, 4, 3}, {2, 4, 2}, {3, 4, 2}}, "not found more often", "does not rise"},
		"no bound":   {[]Target{{1, 10, 4}, {2, 10, 5}, {3, 10, 5}}, "is not clear enough", "clearly enough"},
		"beyond":     {[]Target{{1, 30, 3}, {2, 30, 10}, {3, 30, 20}}, "beyond the largest one", "beyond the largest target"},
	} {
		d := detect(t, c.targets, nil)
		if s := said(d.Statement("craters")); d.Basis != ByNone || !strings.Contains(s, c.says) || strings.Contains(s, "NaN") {
			t.Errorf("%s: %s: %q; %q is wanted", name, d.Basis, s, c.says)
		}
		if w := strings.Join(lang.English().SayAll(d.Warnings()), "\n"); !strings.Contains(w, c.warns) || strings.Contains(w, "NaN") {
			t.Errorf("%s: warns %q; %q is wanted", name, w, c.warns)
		}
		if !math.IsNaN(d.Size) {
			t.Errorf("%s: states %g", name, d.Size)
		}
	}
}

// A separated set is fitted by Firth's likelihood only where that is asked for,
// and says so.
func TestStatementFirth(t *testing.T) {
	var sizes []float64
	for i := range 80 {
		sizes = append(sizes, 0.02*float64(i+1))
	}
	set := single(0.41, sizes...)
	if d := detect(t, set, nil); d.Fit != nil || d.Basis != ByNone {
		t.Errorf("not asked for: %+v", d.Basis)
	}
	d := detect(t, set, func(o *DetectionOptions) { o.Firth = true })
	if d.Fit == nil || !d.Fit.Penalised || d.Basis != ByCurve || !(d.Size > 0.4 && d.Size < 1) ||
		!strings.Contains(strings.Join(lang.English().SayAll(d.Warnings()), " "), "Firth") {
		t.Errorf("%s of %g, %q", d.Basis, d.Size, d.Warnings())
	}
}

func TestDetectionRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		targets []Target
		change  func(*DetectionOptions)
	}{
		"nothing":     {nil, nil},
		"size 0":      {[]Target{{0, 1, 1}}, nil},
		"confidence":  {bliss, func(o *DetectionOptions) { o.Confidence = 95 }},
		"probability": {bliss, func(o *DetectionOptions) { o.Probability = 90 }},
		"scale":       {bliss, func(o *DetectionOptions) { o.Scale = "root" }},
	} {
		o := DefaultDetectionOptions()
		if c.change != nil {
			c.change(&o)
		}
		if _, err := NewDetection(c.targets, o); err == nil {
			t.Errorf("%s: no error", name)
		} else if errors.As(err, &NoFitError{}) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRoundUp(t *testing.T) {
	for v, want := range map[float64]float64{0.0871: 0.088, 0.087: 0.087, 0.0999: 0.1, 1.21: 1.3, 12: 12, 123: 130, 0.1: 0.1} {
		near(t, "rounded", roundUp(v), want, 1e-12)
	}
}

func TestTimes(t *testing.T) {
	for p, want := range map[float64]string{0.9: "9 times in 10", 0.5: "5 times in 10", 0.95: "19 times in 20", 0.99: "99 times in 100",
		0.93: "93 % of the time"} {
		if got := said(times(p)); got != want {
			t.Errorf("%g: %q, want %q", p, got, want)
		}
	}
}

func TestFalseCalls(t *testing.T) {
	r, err := NewRate(0, 18, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// -ln(0.025)/18 = 0.205.
	if got, want := said(FalseCalls(r)), "with no false call on 18 units (at most 0.21 per unit)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r, _ = NewRate(2, 18, 0.95)
	if got, want := said(FalseCalls(r)), "at 0.11 false calls per unit (0.013 to 0.41)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r, _ = NewRate(0, 0, 0.95)
	if got := said(FalseCalls(r)); !strings.Contains(got, "not measured") {
		t.Errorf("%q", got)
	}
}
