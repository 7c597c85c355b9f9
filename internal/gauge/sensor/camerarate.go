package sensor

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// CameraLimits are what camera, lens and light are judged by. A [Limit] here is
// where good ends and where fair ends, upwards or downwards. Start from [DefaultCameraLimits].
type CameraLimits struct {
	MTF50CyPX    optics.Limit // cycles a pixel, at least
	TooSharpCyPX float64      // above it the picture is sharpened, or shows patterns that are not there
	EdgeSpread   optics.Limit // (sharpest - softest)/median over the picture, at most
	UnevenPct    optics.Limit // light over the picture, at most
	LinearityPct optics.Limit // at most
	SNRMax       optics.Limit // at least
	PRNUPct      optics.Limit // at most
	SpotDepthPct float64      // a deeper spot of sensor dust is seen as a defect
}

// DefaultCameraLimits is common practice, no source.
func DefaultCameraLimits() CameraLimits {
	return CameraLimits{
		MTF50CyPX: optics.Limit{Good: 0.18, Fair: 0.10}, TooSharpCyPX: 0.45, EdgeSpread: optics.Limit{Good: 0.4, Fair: 0.8},
		UnevenPct: optics.Limit{Good: 20, Fair: 45}, LinearityPct: optics.Limit{Good: 1, Fair: 3}, SNRMax: optics.Limit{Good: 100,
			Fair: 40}, PRNUPct: optics.Limit{Good: 1, Fair: 3}, SpotDepthPct: 5,
	}
}

// Judged is a part of the camera's rating with its reason.
type Judged struct {
	Word   string // [RatedGood], [RatedFair], [RatedPoor]; "": not measured
	Reason part.Phrase
}

// atMost rates a figure that should be small, atLeast one that should be large.
func atMost(v float64, limit optics.Limit) string {
	return atLeast(-v, optics.Limit{Good: -limit.Good, Fair: -limit.Fair})
}

func atLeast(v float64, limit optics.Limit) string {
	switch {
	case math.IsNaN(v):
		return ""
	case v >= limit.Good:
		return optics.RatedGood
	case v >= limit.Fair:
		return optics.RatedFair
	}
	return optics.RatedPoor
}

// WorstRated is the worst of ratings, those not measured left out; "" for none.
func WorstRated(words ...string) string {
	for _, w := range []string{optics.RatedPoor, optics.RatedFair, optics.RatedGood} {
		for _, have := range words {
			if have == w {
				return w
			}
		}
	}
	return ""
}

// JudgeSharpness judges found edges.
func (l CameraLimits) JudgeSharpness(found []optics.FoundEdge) []Judged {
	m, _ := optics.SharpnessOf(found)
	if math.IsNaN(m) {
		return []Judged{{Reason: part.Say("camera.sharpness_unmeasured")}}
	}
	j := []Judged{{atLeast(m, l.MTF50CyPX), part.Say("camera.mtf50", "v", fmt.Sprintf("%.3f", m), "good",
		fmt.Sprintf("%g", l.MTF50CyPX.Good), "fair", fmt.Sprintf("%g", l.MTF50CyPX.Fair))}}
	if m > l.TooSharpCyPX {
		j = append(j, Judged{optics.RatedFair, part.Say("camera.too_sharp", "v", fmt.Sprintf("%g", l.TooSharpCyPX))})
	}
	if len(found) > 1 {
		low, high := math.Inf(1), 0.0
		for _, e := range optics.CleanEdges(found) {
			low, high = min(low, e.MTF50CyPX), max(high, e.MTF50CyPX)
		}
		s := (high - low) / m
		j = append(j, Judged{atMost(s, l.EdgeSpread), part.Say("camera.edge_spread", "percent", fmt.Sprintf("%.0f", 100*s), "good",
			fmt.Sprintf("%.0f", 100*l.EdgeSpread.Good), "fair", fmt.Sprintf("%.0f", 100*l.EdgeSpread.Fair))})
	}
	return j
}

// JudgeFlatField judges light and cleanness.
func (l CameraLimits) JudgeFlatField(f *optics.FlatField) []Judged {
	j := []Judged{{atMost(f.UnevenPct, l.UnevenPct), part.Say("camera.uneven", "percent", fmt.Sprintf("%.1f", f.UnevenPct), "good",
		fmt.Sprintf("%g", l.UnevenPct.Good), "fair", fmt.Sprintf("%g", l.UnevenPct.Fair))}}
	deep := 0
	for _, s := range f.Spots {
		if s.DepthPct >= l.SpotDepthPct {
			deep++
		}
	}
	switch {
	case deep > 0 && len(f.Pictures) == 1:
		j = append(j, Judged{optics.RatedFair, part.Say("camera.spots_one", "depth_percent", fmt.Sprintf("%g", l.SpotDepthPct), "n",
			strconv.Itoa(deep))})
	case deep > 0:
		j = append(j, Judged{optics.RatedFair, part.Say("camera.spots", "depth_percent", fmt.Sprintf("%g", l.SpotDepthPct), "n",
			strconv.Itoa(deep))})
	}
	return j
}

// JudgeTransfer judges an exposure series. What was not measured is left out but
// for linearity, which must be known.
func (l CameraLimits) JudgeTransfer(t *Transfer) []Judged {
	j := []Judged{{atMost(t.LinearityPct, l.LinearityPct), part.Say("camera.linearity", "percent", fmt.Sprintf("%.2f", t.LinearityPct),
		"good", fmt.Sprintf("%g", l.LinearityPct.Good), "fair", fmt.Sprintf("%g", l.LinearityPct.Fair))}}
	if math.IsNaN(t.LinearityPct) {
		j[0].Reason = part.Say("camera.linearity_unmeasured")
	}
	if part.Num(t.SNRMax) != nil {
		j = append(j, Judged{atLeast(t.SNRMax, l.SNRMax), part.Say("camera.snr", "v", fmt.Sprintf("%.0f", t.SNRMax), "good",
			fmt.Sprintf("%g", l.SNRMax.Good), "fair", fmt.Sprintf("%g", l.SNRMax.Fair))})
	}
	if part.Num(t.PRNUPct) != nil {
		j = append(j, Judged{atMost(t.PRNUPct, l.PRNUPct), part.Say("camera.prnu", "percent", fmt.Sprintf("%.2f", t.PRNUPct), "good",
			fmt.Sprintf("%g", l.PRNUPct.Good), "fair", fmt.Sprintf("%g", l.PRNUPct.Fair))})
	}
	return j
}

// EdgeLight is a picture's brightness in linear light, for edges. A colour
// picture's samples are weighed as they are coded (ITU-R BT.601) and then made
// linear: JPEG keeps that sum at full resolution and the colours at half.
func EdgeLight(im *part.Image, linear bool) (*part.Plane, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	p := part.NewPlane(im.W, im.H)
	t := optics.SamplesToLight(im, linear)
	if im.C == 1 {
		for i := range p.V {
			p.V[i] = t[optics.SampleOf(im, i)]
		}
		return p, nil
	}
	top := len(t) - 1
	for i := range p.V {
		v := (77*optics.SampleOf(im, 3*i) + 150*optics.SampleOf(im, 3*i+1) + 29*optics.SampleOf(im, 3*i+2))
		k := v >> 8
		f := float32(v&255) / 256 // a sum of three samples has a fraction
		p.V[i] = t[k] + f*(t[min(k+1, top)]-t[k])
	}
	return p, nil
}
