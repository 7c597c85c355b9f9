package capture

import (
	"testing"

	"finishbench/internal/part"
)

// A picture that no part of the program looks into is fit, and told as such: also
// a black one, in which nothing is to be seen. The same picture under a light that
// is looked at is checked.
func TestNotLookedAt(t *testing.T) {
	black := &part.Image{W: 800, H: 600, C: 3, Pix8: make([]uint8, 3*800*600)}
	for _, c := range []struct {
		shot   part.Shot
		looked bool
	}{
		{part.Shot{File: "face_black.jpg", View: part.Face, Light: part.Black}, false},
		{part.Shot{File: "face_stripes_x2.jpg", View: part.Face, Light: part.StripesX2}, false},
		{part.Shot{File: "shell_white.jpg", View: part.Shell, Light: part.White}, false},
		{part.Shot{File: "shell_045_white.jpg", View: part.Shell, Light: part.White, AngleDeg: 45}, false},
		{part.Shot{File: "shell_045_back.jpg", View: part.Shell, Light: part.Back, AngleDeg: 45}, false},
		{part.Shot{File: "shell_045_raking.jpg", View: part.Shell, Light: part.Raking, AngleDeg: 45}, true},
		{part.Shot{File: "shell_raking.jpg", View: part.Shell, Light: part.Raking}, true},
		{part.Shot{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse}, true},
	} {
		r := Check(black, c.shot, DefaultFitLimits())
		if r.LookedAt() != c.looked || (r.State == part.PictureOK) == c.looked {
			t.Errorf("%s: looked at %v, state %s: %s", c.shot.File, r.LookedAt(), r.State, told(r))
		}
		if c.looked {
			continue
		}
		if len(r.Problems) != 1 || !r.Problems[0].Warn || r.Problems[0].Remedy == "" || r.WidthPX != 800 || r.SharpnessPX != nil ||
			r.Clipped != nil {
			t.Errorf("%s: %+v", c.shot.File, r)
		}
	}
}
