package defects

import (
	"math"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/scene"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// inkOn mixes an ink into both pictures of a scene: share (0..1) of it at a pixel
// whose place is told in millimetres from the picture's middle.
func inkOn(pictures []scene.Picture, mmPX, reflects float64, share func(x, y float64) float64) {
	white := [2]float64{0.8, 0.4} // of the diffuse and the raking picture, linear light
	for k, p := range pictures {
		for i := range p.Image.Pix8 {
			px := i / p.Image.C
			x, y := float64(px%p.Image.W-p.Image.W/2)*mmPX, float64(px/p.Image.W-p.Image.H/2)*mmPX
			if s := share(x, y); s > 0 {
				v := optics.SRGBToLinear(float64(p.Image.Pix8[i]) / 255)
				p.Image.Pix8[i] = uint8(math.Round(255 * optics.LinearToSRGB(v*(1-s)+s*reflects*white[k])))
			}
		}
	}
}

// edge runs from 1 to 0 over a width around 0.
func edge(d, width float64) float64 { return max(0, min(1, 0.5-d/width)) }

// bars are three of 1.6 x 0.5 mm.
func bars(x, y float64) float64 {
	s := 0.0
	for k := range 3 {
		s = max(s, edge(max(math.Abs(x)-0.8, math.Abs(y-float64(k)+1)-0.25), 0.02))
	}
	return s
}

func saysPrint(s string) bool { return strings.Contains(s, "own print") }

// Print is told and left out with its edge only: what lies on it and right beside it is
// found. Expected values: by the drawing.
func TestLooksIntoPrint(t *testing.T) {
	for _, pattern := range []string{"plain", "flake"} {
		pictures, _, mm := facePair(pattern, 164, nil, nil)
		clean, err := Find(pictures, scene.DefaultParams(mm))
		if err != nil {
			t.Fatal(err)
		}
		inkOn(pictures, mm, 0.04, bars)
		inkOn(pictures, mm, 0.9, func(x, y float64) float64 { return edge(math.Hypot(x-0.3, y)-0.06, 0.02) })   // on the middle bar
		inkOn(pictures, mm, 0.02, func(x, y float64) float64 { return edge(math.Hypot(x-1.15, y)-0.06, 0.02) }) // beside it
		res, err := Find(pictures, scene.DefaultParams(mm))
		if err != nil {
			t.Fatal(err)
		}
		found, others := map[string]bool{}, 0
		for _, f := range res.Findings {
			c := f.Box.Centre()
			x, y := (c.X-float64(pictures[0].Image.W/2))*mm, (c.Y-float64(pictures[0].Image.H/2))*mm
			switch {
			case math.Hypot(x-0.3, y) < 0.1:
				found["on it"] = true
			case math.Hypot(x-1.15, y) < 0.1:
				found["beside it"] = true
			default:
				others++
			}
		}
		if others > len(clean.Findings) {
			t.Errorf("%s: %d false calls, %d without print", pattern, others, len(clean.Findings))
		}
		if !found["on it"] || !found["beside it"] {
			t.Errorf("%s: found %v", pattern, found)
		}
		if !slices.ContainsFunc(lang.English().SayAll(res.Warnings), saysPrint) || res.Seen.Why[part.Print] <= 0 ||
			res.Seen.Why[part.Print] > 0.06 {
			t.Errorf("%s: %q, left out %v", pattern, res.Warnings, res.Seen.Why)
		}
	}
}

// A pale patch whose edge is soft is no print, nor is one speck, however dark.
func TestNoPrint(t *testing.T) {
	for name, share := range map[string]func(x, y float64) float64{
		"soft":  func(x, y float64) float64 { return 0.5 * edge(math.Hypot(x/1.5, y)-0.5, 0.3) },
		"speck": func(x, y float64) float64 { return edge(math.Hypot(x, y)-0.25, 0.02) },
		"fibre": func(x, y float64) float64 { return edge(max(math.Abs(x)-1, math.Abs(y-0.3*x*x)-0.02), 0.02) },
	} {
		pictures, _, mm := facePair("plain", 165, nil, nil)
		inkOn(pictures, mm, 0.5, share)
		res, err := Find(pictures, scene.DefaultParams(mm))
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Findings) == 0 || slices.ContainsFunc(lang.English().SayAll(res.Warnings), saysPrint) {
			t.Errorf("%s: %d found, %q", name, len(res.Findings), res.Warnings)
		}
	}
}
