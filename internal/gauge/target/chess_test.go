package target

import (
	"fmt"
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

func board(cols, rows int) optics.Target {
	return optics.Target{Kind: optics.Chessboard, Cols: cols, Rows: rows, PitchMM: 5}
}

// Boards drawn in known places: corners within 0.02 px in the mean and 0.05 px
// standard deviation, and the stated uncertainty neither far too small nor too
// large. Expected values: the drawing's own.
func TestChessboardAccuracy(t *testing.T) {
	for _, tilt := range []float64{0, 35} {
		for _, blur := range []float64{0.5, 0.8, 1.4} {
			p := synth.DefaultTarget()
			p.BlurSigmaPX, p.NoiseSigma, p.Gradient = blur, 1.5, 0.3
			p.Map = synth.Tilted(wide, synth.Placement{XMM: 20, YMM: 12.5, DistanceMM: 95, AboutXDeg: tilt, AboutYDeg: -tilt / 2, AboutDeg: 4})
			name := fmt.Sprintf("tilt %g blur %g", tilt, blur)
			f, err := Find(synth.Chessboard(p, 9, 6, 5), board(9, 6), name)
			if err != nil || len(f.View.Marks) != 54 || f.Partial {
				t.Errorf("%s: %d marks, partial %v, %v", name, len(f.View.Marks), f.Partial, err)
				continue
			}
			bx, by, sd, ratio := off(f, p.Map)
			if math.Hypot(bx, by) > 0.02 || sd > 0.05 {
				t.Errorf("%s: corners off by %.4f, %.4f px in the mean, SD %.4f", name, bx, by, sd)
			}
			if ratio < 0.6 || ratio > 4 {
				t.Errorf("%s: errors are %.2f times the stated uncertainty", name, ratio)
			}
		}
	}
}

// A corner along whose edge the pixels jump from dark to light, as sharpened
// pictures show, still has an uncertainty well under a pixel.
func TestSaddleOnJump(t *testing.T) {
	p := part.NewPlane(40, 40)
	for y := range 40 {
		for x := range 40 {
			if (x < 20) == (y < 20) {
				p.V[y*40+x] = 0.1
			} else {
				p.V[y*40+x] = 0.7
			}
		}
	}
	c, ok := saddle(p, part.Point{X: 19.9, Y: 19.2}, vec{20, 0}, vec{0, 20}, 9)
	if !ok || math.Hypot(c.x-19.5, c.y-19.5) > 0.05 || !(c.u < 0.2) {
		t.Errorf("%+v, %v; want the corner at 19.5, 19.5", c, ok)
	}
}

// What is wrong with a picture of a board is said in a sentence.
func TestChessboardProblems(t *testing.T) {
	for _, c := range []struct {
		name   string
		origin part.Point
		asked  optics.Target
		want   string
		marks  int
	}{
		{"whole", part.Point{X: 120, Y: 90}, board(9, 6), "", 54},
		{"asked for a quarter turn", part.Point{X: 120, Y: 90}, board(6, 9), "", 54},
		{"too few asked", part.Point{X: 120, Y: 90}, board(8, 6), "the board seen has 9 x 6 inner corners or more; give the right numbers", 0},
		{"too many asked", part.Point{X: 120, Y: 90}, board(10, 7), "found in part: at least 9 x 6 of 10 x 7 corners; check the numbers", 54},
		{"cut above", part.Point{X: 120, Y: -20}, board(9, 6), "found in part: at least 9 x 5 of 9 x 6 corners; the picture's border seems to cut the board off", 45},
		{"cut at the left", part.Point{X: -60, Y: 90}, board(9, 6), "found in part: at least 6 x 6 of 9 x 6 corners; the picture's border", 36},
	} {
		p := synth.DefaultTarget()
		p.W, p.H = 640, 480
		p.Map = synth.Flat(0.13, c.origin, 10)
		f, err := Find(synth.Chessboard(p, 9, 6, 5), c.asked, "a.png")
		checkProblem(t, c.name, f, err, c.want, "", c.marks)
		if f.Partial != (c.want != "") && c.marks > 0 {
			t.Errorf("%s: partial %v", c.name, f.Partial)
		}
	}
	p := synth.DefaultTarget()
	p.W, p.H = 320, 240
	p.Map = synth.Flat(1.2, part.Point{X: 100, Y: 100}, 3)
	f, err := Find(synth.Chessboard(p, 9, 6, 5), board(9, 6), "a.png")
	if err == nil || len(f.View.Marks) != 0 {
		t.Errorf("squares 4.2 px wide: %d marks, %v", len(f.View.Marks), err)
	}
	p.Map = synth.Flat(0.2, part.Point{X: 60, Y: 60}, 3)
	p.Light, p.Dark = 0.02, 0.002
	f, err = Find(synth.Dots(p, dotGrid(8, 6), nil), board(9, 6), "a.png")
	checkProblem(t, "dark, and no board", f, err, "not found; the picture is dark", "", 0)
}
