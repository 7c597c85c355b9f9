package seam

import (
	"math"
)

// StepFit is an evaluated step profile. Before and after are the sides with
// smaller and larger position.
type StepFit struct {
	Vertical    float64 // after minus before at the edge, along the height axis
	Normal      float64 // the same along the outline's normal
	SE          float64 // standard error of Vertical, points taken as independent
	U           float64 // standard uncertainty of Vertical: SE with neighbours' correlation
	SDBefore    float64 // standard deviation of the residuals
	SDAfter     float64
	SlopeBefore float64 // at the edge
	SlopeAfter  float64
	NBefore     int // points used
	NAfter      int
	before      polyFit
	after       polyFit
}

// joinSides makes the step of two sides, each a line or a gentle curve fitted by least
// squares and carried to the same edge: the distance of the two there. This is the
// single-edge form of the step-height practice of ISO 5436-1 and NIST. The normal
// is that of the mean of the two directions at the edge.
func joinSides(a, b polyFit) StepFit {
	s := StepFit{
		Vertical: b.c[0] - a.c[0],
		SE:       math.Hypot(a.sd*math.Sqrt(a.q00), b.sd*math.Sqrt(b.q00)),
		U:        math.Hypot(a.u(), b.u()),
		SDBefore: a.sd, SDAfter: b.sd,
		SlopeBefore: a.slope(a.x0), SlopeAfter: b.slope(b.x0),
		NBefore: a.n, NAfter: b.n,
		before: a, after: b,
	}
	s.Normal = s.Vertical * math.Cos((math.Atan(s.SlopeBefore)+math.Atan(s.SlopeAfter))/2)
	return s
}
