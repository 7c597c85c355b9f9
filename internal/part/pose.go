package part

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Pose is how a unit stands before the camera: all pictures of one pose, under whatever
// lights, show the same places. Poses are equal where their fields are.
type Pose struct {
	View    View
	TurnDeg float64 // of an edge or shell picture, 0 <= TurnDeg < 360; a face has none: 0; NaN: all turns together
}

// PoseOf is the pose of a view with the unit turned by any angle.
func PoseOf(v View, angleDeg float64) Pose {
	if v == Face {
		angleDeg = 0
	}
	return Pose{v, Turn(angleDeg)}
}

// Turn is an angle as a turn, 0 <= turn < 360 degrees: 360 is 0, -90 is 270.
func Turn(angleDeg float64) float64 { return math.Mod(math.Mod(angleDeg, 360)+360, 360) }

// Pose is that of a picture.
func (s Shot) Pose() Pose { return PoseOf(s.View, s.AngleDeg) }

// Pose is that of a picture.
func (p *PictureReport) Pose() Pose { return PoseOf(p.View, p.AngleDeg) }

// Pose is that of the pictures that show a surface.
func (s Surface) Pose() Pose { return PoseOf(s.View, s.AngleDeg) }

// String is the pose in words: "face", "shell at 120 deg".
func (p Pose) String() string {
	if p.View == Face || math.IsNaN(p.TurnDeg) {
		return string(p.View)
	}
	return fmt.Sprintf("%s at %s", p.View, Degrees(p.TurnDeg))
}

// Phrase is the pose in words of each language.
func (p Pose) Phrase() Phrase {
	view := "@view." + string(p.View)
	if p.View == Face || math.IsNaN(p.TurnDeg) {
		return Say("pose.view", "view", view)
	}
	turn, _ := strings.CutSuffix(Degrees(p.TurnDeg), " deg")
	return Say("pose.at", "view", view, "turn_deg", turn)
}

// ShotName is a shot in words of each language; a shell at turn 0 without its turn where its light is not known.
func ShotName(v View, l Light, angleDeg float64) Phrase {
	view, light := "@view."+string(v), "@light."+string(l)
	switch {
	case v == Edge:
		return Say("shot.edge", "angle", Decimal(angleDeg))
	case l == NoLight:
		return Say("pose.view", "view", view)
	case v == Shell:
		return Say("shot.turn", "view", view, "angle", Decimal(Turn(angleDeg)), "light", light)
	}
	return Say("shot.light", "view", view, "light", light)
}

// ShotName is a picture of the unit in words: "edge 120°", "face, raking light"; the file's name where it is none of its own.
func (r *Result) ShotName(file string) Phrase {
	for _, s := range r.Seam.Stations {
		if s.Image == file {
			return ShotName(Edge, NoLight, s.AngleDeg)
		}
	}
	for _, p := range r.Pictures {
		if p.File == file && slices.Contains(Views, p.View) && p.View != Edge {
			return ShotName(p.View, p.Light, p.AngleDeg)
		}
	}
	if file == GlossMap {
		return Say("shot.gloss")
	}
	return Text(file)
}

// Turns are turns in words of each language: "120 deg", "0, 90 and 180 deg".
func Turns(turns ...float64) Phrase {
	numbers, _ := strings.CutSuffix(Degrees(turns...), " deg")
	first, last, several := strings.Cut(numbers, " and ")
	p := Say("turns", "last_deg", numbers)
	if several {
		p = Say("turns.several", "last_deg", last)
		for _, t := range strings.Split(first, ", ") {
			p = p.With("first", Say("turns.one", "turn_deg", t))
		}
	}
	return p
}

// Degrees are turns in words: "120 deg", "0, 90 and 180 deg".
func Degrees(turns ...float64) string {
	var words []string
	for _, t := range turns {
		words = append(words, strconv.FormatFloat(math.Round(100*t)/100, 'f', -1, 64))
	}
	if n := len(words); n > 1 {
		words = append(words[:n-2], words[n-2]+" and "+words[n-1])
	}
	return strings.Join(words, ", ") + " deg"
}

// Compare orders poses as they are listed: by view, then by turn.
func (p Pose) Compare(o Pose) int {
	return cmp.Or(cmp.Compare(slices.Index(Views, p.View), slices.Index(Views, o.View)), cmp.Compare(p.TurnDeg, o.TurnDeg))
}
