package defects

import (
	"math"
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// What lies on the rim has the rim's zone, what lies further in the face's: the words
// of result.json. How far the rim reaches ([Params.RimMM]) is common practice, no source.
func TestZones(t *testing.T) {
	inMM := []float64{0.6, 0.6, 1.6, 5.5} // how far inside the outline, each in another direction
	p := synth.DefaultFace()
	p.W, p.H, p.SizeMM, p.Seed, p.JPEGQuality, p.Glare = 1120, 880, 11, 31, 95, false // lamps mirrored along the rim may hide a nib there
	_, _, bare := synth.Face(p)
	for i, in := range inMM {
		q := bare.Outline[(90+180*i)%len(bare.Outline)]
		x, y := (q.X-float64(p.W-1)/2)*p.MMPerPX, (q.Y-float64(p.H-1)/2)*p.MMPerPX
		keep := 1 - in/math.Hypot(x, y)
		p.Defects = append(p.Defects, synth.Defect{Kind: part.Dust, XMM: keep * x, YMM: keep * y, DiameterMM: 0.3,
			Colour: [3]float64{0.03, 0.03, 0.03}})
	}
	diffuse, raking, truth := synth.Face(p)
	pictures := []scene.Picture{
		{Shot: part.Shot{File: "d.jpg", View: part.Face, Light: part.Diffuse}, Image: diffuse},
		{Shot: part.Shot{File: "r.jpg", View: part.Face, Light: part.Raking}, Image: raking},
	}
	res, err := Find(pictures, scene.DefaultParams(p.MMPerPX))
	if err != nil {
		t.Fatal(err)
	}
	for i, q := range truth.Defects {
		want := part.ZoneFace
		if inMM[i] < scene.DefaultParams(p.MMPerPX).RimMM {
			want = part.ZoneRim
		}
		var got part.Zone
		for _, f := range res.Findings {
			if f.Box.Meets(q.Box) {
				got = f.Zone
			}
		}
		if got != want {
			t.Errorf("%.1f mm inside the outline: zone %q, want %q", inMM[i], got, want)
		}
	}
}
