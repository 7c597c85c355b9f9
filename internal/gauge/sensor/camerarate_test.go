package sensor

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

func TestCameraRatings(t *testing.T) {
	l := DefaultCameraLimits()
	edges := func(m ...float64) (f []optics.FoundEdge) {
		for _, v := range m {
			f = append(f, optics.FoundEdge{Sharpness: optics.Sharpness{MTF50CyPX: v, UMTF50CyPX: 0.01}})
		}
		return f
	}
	transfer := func(linearity, snr float64) *Transfer {
		tr := notMeasured()
		tr.LinearityPct, tr.SNRMax = linearity, snr
		return tr
	}
	flat := func(uneven, depth float64) *optics.FlatField {
		f := &optics.FlatField{UnevenPct: uneven}
		if depth > 0 {
			f.Spots = []optics.Spot{{DepthPct: depth}}
		}
		return f
	}
	nan := math.NaN()
	for _, c := range []struct {
		name string
		j    []Judged
		want string
	}{
		{"sharp", l.JudgeSharpness(edges(0.25, 0.26)), optics.RatedGood},
		{"soft", l.JudgeSharpness(edges(0.12)), optics.RatedFair},
		{"blurred", l.JudgeSharpness(edges(0.06)), optics.RatedPoor},
		{"soft at one side", l.JudgeSharpness(edges(0.3, 0.25, 0.15)), optics.RatedFair},
		{"sharpened", l.JudgeSharpness(edges(0.5)), optics.RatedFair},
		{"no edge", l.JudgeSharpness(nil), ""},
		{"even", l.JudgeFlatField(flat(10, 3)), optics.RatedGood},
		{"uneven", l.JudgeFlatField(flat(30, 0)), optics.RatedFair},
		{"very uneven", l.JudgeFlatField(flat(70, 0)), optics.RatedPoor},
		{"dusty", l.JudgeFlatField(flat(10, 8)), optics.RatedFair},
		{"straight", l.JudgeTransfer(transfer(0.4, 150)), optics.RatedGood},
		{"noisy", l.JudgeTransfer(transfer(0.4, 60)), optics.RatedFair},
		{"bent", l.JudgeTransfer(transfer(5, nan)), optics.RatedPoor},
		{"linearity not known", l.JudgeTransfer(transfer(nan, nan)), ""},
	} {
		var words []string
		for _, j := range c.j {
			words = append(words, j.Word)
			if strings.Contains(said(j.Reason), "NaN") || j.Reason.Key == "" {
				t.Errorf("%s: reason %q", c.name, j.Reason)
			}
		}
		if got := WorstRated(words...); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestEdgeLight(t *testing.T) {
	grey := &part.Image{W: 2, H: 1, C: 1, Pix8: []uint8{100, 255}}
	colour := &part.Image{W: 2, H: 1, C: 3, Pix16: []uint16{100 * 257, 100 * 257, 100 * 257, 65535, 65535, 65535}}
	for _, linear := range []bool{false, true} {
		a, err := EdgeLight(grey, linear)
		if err != nil {
			t.Fatal(err)
		}
		b, err := EdgeLight(colour, linear)
		if err != nil {
			t.Fatal(err)
		}
		want := 100. / 255
		if !linear {
			want = optics.SRGBToLinear(want)
		}
		for _, v := range []float32{a.V[0], b.V[0]} {
			if math.Abs(float64(v)-want) > 1e-5 {
				t.Errorf("linear %v: %g, want %g", linear, v, want)
			}
		}
		if a.V[1] != 1 || b.V[1] != 1 {
			t.Errorf("white is %g and %g", a.V[1], b.V[1])
		}
	}
}

// said is a phrase in English; empty where it has no key.
func said(p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	return lang.English().Say(&p)
}
