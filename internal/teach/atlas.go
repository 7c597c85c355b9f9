package teach

import (
	"cmp"
	"math"
	"slices"

	"finishbench/internal/part"
)

// Sample is a finding that could stand in the atlas.
type Sample struct {
	Inspection int64 // its number in the records; 0: none
	Unit       string
	Finding    part.Finding
	SizeMM     float64 // what its size goes by; NaN: not measured
	Confirmed  bool    // a person said that the kind is right, or its truth is known
	Pinned     bool    // the trainer wants it
	Hidden     bool    // the trainer does not
	Caption    string  // the trainer's
}

// Size is what a finding's size goes by: the diameter of spots, the length of
// fibres, marks and runs, the root of an area; in mm. Seam findings: micrometres as
// mm. NaN where none was measured.
func Size(f part.Finding) float64 {
	switch {
	case f.ValueUM != nil:
		return math.Abs(*f.ValueUM) / 1000
	case f.DiameterMM != nil:
		return *f.DiameterMM
	case f.LengthMM != nil:
		return *f.LengthMM
	case f.AreaMM2 != nil:
		return math.Sqrt(*f.AreaMM2)
	}
	return math.NaN()
}

// Choose picks up to n samples of one kind, from just visible to severe. Pinned
// ones are in. The others are put in order of size and cut into as many spans of
// equal number as there are places left; of each span the one that is confirmed,
// then surest, is taken, units not seen yet first. The same samples give the same
// choice.
func Choose(samples []Sample, n int) []Sample {
	var out, rest []Sample
	for _, s := range samples {
		switch {
		case s.Hidden:
		case s.Pinned && len(out) < n:
			out = append(out, s)
		case !math.IsNaN(s.SizeMM):
			rest = append(rest, s)
		}
	}
	slices.SortStableFunc(rest, func(a, b Sample) int {
		return cmp.Or(cmp.Compare(a.SizeMM, b.SizeMM), cmp.Compare(a.Inspection, b.Inspection), cmp.Compare(a.Unit, b.Unit),
			cmp.Compare(a.Finding.Number, b.Finding.Number))
	})
	units := map[string]bool{}
	for _, s := range out {
		units[s.Unit] = true
	}
	spans := min(n-len(out), len(rest))
	for i := range spans {
		span := rest[i*len(rest)/spans : (i+1)*len(rest)/spans]
		best := slices.MinFunc(span, func(a, b Sample) int {
			return cmp.Or(second(units[a.Unit], units[b.Unit]), second(!a.Confirmed, !b.Confirmed),
				cmp.Compare(b.Finding.Confidence, a.Finding.Confidence))
		})
		units[best.Unit] = true
		out = append(out, best)
	}
	slices.SortStableFunc(out, func(a, b Sample) int { return cmp.Compare(a.SizeMM, b.SizeMM) })
	return out
}

// second puts what holds behind what does not.
func second(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// CleanPlace is the middle of a square window of side windowPX beside a finding, in
// the same picture, that lies wholly inside the outline and clear of all findings;
// false where there is none. A window near the finding has the same light and
// pattern, so nearer places are tried first.
func CleanPlace(at part.Point, windowPX float64, outline []part.Point, boxes []part.Box) (part.Point, bool) {
	for ring := 1.2; ring <= 4; ring += 0.4 {
		for i := range 16 {
			a := float64(i) * math.Pi / 8
			m := part.Point{X: at.X + ring*windowPX*math.Cos(a), Y: at.Y + ring*windowPX*math.Sin(a)}
			if isClear(m, windowPX, outline, boxes) {
				return m, true
			}
		}
	}
	return part.Point{}, false
}

func isClear(m part.Point, side float64, outline []part.Point, boxes []part.Box) bool {
	h := side / 2
	for _, b := range boxes {
		if b[0] < m.X+h && b[0]+b[2] > m.X-h && b[1] < m.Y+h && b[1]+b[3] > m.Y-h {
			return false
		}
	}
	for _, d := range [][2]float64{{-1, -1}, {1, -1}, {-1, 1}, {1, 1}, {0, -1}, {0, 1}, {-1, 0}, {1, 0}} {
		if !(part.Point{X: m.X + d[0]*h, Y: m.Y + d[1]*h}).Inside(outline) {
			return false
		}
	}
	return true
}

// The trainer's choices, as the journal of the records names them.
const (
	Pin     = "pin"
	Hide    = "hide"
	Free    = "free" // as if never pinned or hidden
	Caption = "caption"
)

// Ref names a finding of a recorded inspection.
type Ref struct {
	Inspection int64 `json:"inspection"`
	Number     int   `json:"number"`
}

// Mark is one choice about one finding.
type Mark struct {
	Kind string `json:"-"`
	Ref
	Text string `json:"text,omitempty"` // of a caption; "" takes it away
}

// Marks are the choices in force.
type Marks map[Ref]Standing

// Standing is what was chosen for a finding.
type Standing struct {
	Pinned, Hidden bool
	Caption        string
}

// Take carries out a choice after those before it.
func (m Marks) Take(c Mark) {
	s := m[c.Ref]
	switch c.Kind {
	case Pin:
		s.Pinned, s.Hidden = true, false
	case Hide:
		s.Pinned, s.Hidden = false, true
	case Free:
		s.Pinned, s.Hidden = false, false
	case Caption:
		s.Caption = c.Text
	}
	m[c.Ref] = s
}
