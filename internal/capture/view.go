package capture

import (
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
)

// straightSide is the longest straight side of the silhouette, as a share of
// its extent along that side, and the side's outward direction in degrees
// (clockwise from the x axis as seen: -90 is up). A side is straight as far as
// it lies within 0.6 % of the unit's longer side, plus half a sample, of a line
// that touches it. Only lines within 8 degrees of the frame's sides are tried.
func straightSide(s *outline.Silhouette) (share, heading float64) {
	size := max(s.Box[2], s.Box[3])
	tol := 0.006*size + float64(s.Step)/2
	b := s.Boundary
	for _, side := range [4]float64{-90, 0, 90, 180} {
		for turn := -8.0; turn <= 8; turn++ {
			a := (side + turn) * math.Pi / 180
			nx, ny := math.Cos(a), math.Sin(a)
			support := math.Inf(-1)
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, p := range b {
				support = max(support, p.X*nx+p.Y*ny)
				t := p.Y*nx - p.X*ny
				lo, hi = min(lo, t), max(hi, t)
			}
			on0, on1 := math.Inf(1), math.Inf(-1)
			for _, p := range b {
				if support-(p.X*nx+p.Y*ny) <= tol {
					t := p.Y*nx - p.X*ny
					on0, on1 = min(on0, t), max(on1, t)
				}
			}
			if v := (on1 - on0) / (hi - lo); v > share {
				share, heading = v, side+turn
			}
		}
	}
	return share, heading
}

// Limits of the view check, as shares of the unit's extent. An edge picture
// shows the faceplate's flat side nearly whole (0.9 and more, half of it where
// the camera looks down by 5 degrees); a face is round (a circle gives 0.15).
// Between them nothing is said. Common practice, no source.
const (
	flatAsEdge  = 0.75
	roundAsFace = 0.40
)

// viewLooks says which view a silhouette must be of, or "" where it is not
// sure.
func viewLooks(s *outline.Silhouette) (v part.View, straight float64) {
	straight, _ = straightSide(s)
	switch {
	case s.Touches.Any():
		return "", straight
	case straight >= flatAsEdge && s.HasStem || straight >= 0.9:
		return part.Edge, straight
	case straight <= roundAsFace && !s.HasStem:
		return part.Face, straight
	}
	return "", straight
}
