package sensor

import (
	"fmt"
	"math"

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
		UnevenPct: optics.Limit{Good: 20, Fair: 45}, LinearityPct: optics.Limit{Good: 1, Fair: 3}, SNRMax: optics.Limit{Good: 100, Fair: 40}, PRNUPct: optics.Limit{Good: 1, Fair: 3}, SpotDepthPct: 5,
	}
}

// Judged is a part of the camera's rating with its reason.
type Judged struct {
	Word   string // [RatedGood], [RatedFair], [RatedPoor]; "": not measured
	Reason string
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
		return []Judged{{"", "sharpness is not measured"}}
	}
	j := []Judged{{atLeast(m, l.MTF50CyPX), fmt.Sprintf("MTF50 is %.3f cycles a pixel (good from %g, fair from %g)", m, l.MTF50CyPX.Good, l.MTF50CyPX.Fair)}}
	if m > l.TooSharpCyPX {
		j = append(j, Judged{optics.RatedFair, fmt.Sprintf("MTF50 above %g cycles a pixel: the camera sharpens its pictures, or fine patterns turn into false ones", l.TooSharpCyPX)})
	}
	if len(found) > 1 {
		low, high := math.Inf(1), 0.0
		for _, e := range optics.CleanEdges(found) {
			low, high = min(low, e.MTF50CyPX), max(high, e.MTF50CyPX)
		}
		s := (high - low) / m
		j = append(j, Judged{atMost(s, l.EdgeSpread), fmt.Sprintf("from the softest edge to the sharpest MTF50 changes by %.0f %% (good to %.0f, fair to %.0f)", 100*s, 100*l.EdgeSpread.Good, 100*l.EdgeSpread.Fair)})
	}
	return j
}

// JudgeFlatField judges light and cleanness.
func (l CameraLimits) JudgeFlatField(f *optics.FlatField) []Judged {
	j := []Judged{{atMost(f.UnevenPct, l.UnevenPct), fmt.Sprintf("light is uneven by %.1f %% over the picture (good to %g, fair to %g)", f.UnevenPct, l.UnevenPct.Good, l.UnevenPct.Fair)}}
	deep := 0
	for _, s := range f.Spots {
		if s.DepthPct >= l.SpotDepthPct {
			deep++
		}
	}
	switch {
	case deep > 0 && len(f.Pictures) == 1:
		j = append(j, Judged{optics.RatedFair, fmt.Sprintf("dark spots of %[2]g %% or more, %[1]d of them: dust on the card, the lens or the sensor", deep, l.SpotDepthPct)})
	case deep > 0:
		j = append(j, Judged{optics.RatedFair, fmt.Sprintf("dark spots of %[2]g %% or more in every picture, %[1]d of them: dust on the lens or the sensor, which would look like dust in lacquer", deep, l.SpotDepthPct)})
	}
	return j
}

// JudgeTransfer judges an exposure series. What was not measured is left out but
// for linearity, which must be known.
func (l CameraLimits) JudgeTransfer(t *Transfer) []Judged {
	j := []Judged{{atMost(t.LinearityPct, l.LinearityPct), fmt.Sprintf("linearity error is %.2f %% (good to %g, fair to %g)", t.LinearityPct, l.LinearityPct.Good, l.LinearityPct.Fair)}}
	if math.IsNaN(t.LinearityPct) {
		j[0].Reason = "linearity is not measured"
	}
	if part.Num(t.SNRMax) != nil {
		j = append(j, Judged{atLeast(t.SNRMax, l.SNRMax), fmt.Sprintf("SNR max is %.0f (good from %g, fair from %g)", t.SNRMax, l.SNRMax.Good, l.SNRMax.Fair)})
	}
	if part.Num(t.PRNUPct) != nil {
		j = append(j, Judged{atMost(t.PRNUPct, l.PRNUPct), fmt.Sprintf("the response of pixels scatters by %.2f %% (good to %g, fair to %g)", t.PRNUPct, l.PRNUPct.Good, l.PRNUPct.Fair)})
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
