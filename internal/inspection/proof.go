package inspection

import (
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/defects"
	"finishbench/internal/part"
	"finishbench/internal/proof"
)

// proveLights refuses those pictures of one pose that do not show the light of their name.
func proveLights(pictures []*Picture) {
	refuseDoubted(pictures, proof.Lights(sightsOf(pictures)))
	refuseDoubted(pictures, otherFaces(pictures))
}

// otherFaces doubts pictures of one face whose outlines are those of two units; which is the unit's nobody can tell.
// To find an outline takes long, so it is asked only where the pictures' detail leaves a doubt.
func otherFaces(pictures []*Picture) (doubts []proof.Doubt) {
	curves := make([]*outline.Curve, len(pictures))
	curve := func(i int) *outline.Curve {
		if curves[i] == nil {
			curves[i], _ = outline.Face([]*part.Image{pictures[i].Image}) // nil: nothing to be told by
		}
		return curves[i]
	}
	for i, p := range pictures {
		for j, q := range pictures[:i] {
			if p.Shot.View != part.Face || p.sight == nil || !p.fit() || q.sight == nil || !q.fit() || p.Shot.Light == q.Shot.Light {
				continue
			}
			detail := proof.Detail(p.sight, q.sight)
			if detail >= proof.DetailSame || !proof.OutlinesApart(curve(i), curve(j), detail) {
				continue
			}
			other := func(at int, file string) proof.Doubt {
				return proof.Doubt{At: at, Name: proof.OtherUnit, Remedy: part.Say("proof.other_outline", "file", file)}
			}
			doubts = append(doubts, other(i, q.Shot.File), other(j, p.Shot.File))
		}
	}
	return doubts
}

// sightsOf are what pictures show, nil of those that are not fit.
func sightsOf(pictures []*Picture) []*proof.Sight {
	out := make([]*proof.Sight, len(pictures))
	for i, p := range pictures {
		if p.fit() {
			out[i] = p.sight
		}
	}
	return out
}

func refuseDoubted(pictures []*Picture, doubts []proof.Doubt) {
	for _, d := range doubts {
		for i, p := range pictures {
			if i == d.At || d.At == proof.OfFace && p.Shot.View == part.Face && p.fit() {
				p.refuse(d.Name, d.Remedy)
			}
		}
	}
}

// prove refuses pictures that do not show the turn of their name, or another unit, once all are measured: what they show is held against each
// other, and against the faceplate's outline. What was found in them may lie anywhere, and is not told.
func (u *Unit) prove() {
	if u.panel {
		return
	}
	plate := u.plate()
	var differs proof.TurnDiffers
	if plate != nil {
		differs = plate.Differs
	}
	note := func(doubts []proof.Doubt, untested []part.Phrase) {
		refuseDoubted(u.pictures, doubts)
		u.unproved = append(u.unproved, untested...)
	}
	note(proof.Turns(sightsOf(u.pictures), differs))
	note(proof.Colours(sightsOf(u.pictures)))
	if edges, shells := u.edgeLimbs(), u.shellLimbs(); plate != nil {
		note(plate.Course(part.Edge, edges))
		note(plate.Course(part.Shell, shells))
	} else if len(edges) > 1 {
		u.unproved = append(u.unproved, part.Say("proof.no_plate"))
	}
	for _, s := range u.Scenes {
		i := slices.IndexFunc(s.pictures, func(p *Picture) bool { return doubted(p) != nil })
		if i < 0 {
			continue
		}
		s.found, s.looked, s.plate = defects.Result{}, false, nil
		for _, p := range s.pictures {
			if q := doubted(s.pictures[i]); p.fit() {
				p.refuse(q.Name, q.Phrase()) // its other lights were taken at the same turn
			}
		}
	}
}

// doubted is the problem of a picture that shows another turn or unit than it is named; nil: none.
func doubted(p *Picture) *part.Problem {
	for i, q := range p.Report.Problems {
		switch q.Name {
		case proof.SameTurn, proof.OtherUnit, proof.WrongTurn, proof.MirrorView:
			return &p.Report.Problems[i]
		}
	}
	return nil
}

// plate is the faceplate's outline in the face picture; nil where none was found.
func (u *Unit) plate() *proof.Plate {
	for _, s := range u.Scenes {
		l, ok := u.lengthsOf(s.pose.View)
		if s.pose.View == part.Face && !s.Screen && len(s.found.Outline) > 2 && ok {
			return &proof.Plate{Outline: s.found.Outline, MMPerPX: l.MMPerPX}
		}
	}
	return nil
}

// edgeLimbs are the faceplate's sides at the seam in the edge pictures: the shell's, and the step.
func (u *Unit) edgeLimbs() []proof.Limbs {
	l, _ := u.lengthsOf(part.Edge)
	var out []proof.Limbs
	for i, p := range u.pictures {
		left, right := p.seam.Stations[0], p.seam.Stations[1]
		if p.Shot.View != part.Edge || !p.fit() || left.XPX == nil || right.XPX == nil {
			continue
		}
		middle := float64(p.Report.WidthPX-1) / 2
		out = append(out, proof.Limbs{At: i, File: p.Shot.File, TurnDeg: p.Shot.Pose().TurnDeg,
			LeftMM: (*left.XPX-middle)*l.MMPerPX - *left.StepUM/1000, RightMM: (*right.XPX-middle)*l.MMPerPX + *right.StepUM/1000})
	}
	return out
}

// shellLimbs are the unit's sides at the seam in the turns of the shell, by the first picture of each.
func (u *Unit) shellLimbs() []proof.Limbs {
	var out []proof.Limbs
	for _, s := range u.Scenes {
		if s.side == nil || !s.looked {
			continue
		}
		for i, p := range u.pictures {
			if s.holds(p) && p.fit() {
				left, right := s.side.AtSeam(float64(p.Report.WidthPX-1) / 2)
				out = append(out, proof.Limbs{At: i, File: p.Shot.File, TurnDeg: s.pose.TurnDeg, LeftMM: left, RightMM: right})
				break
			}
		}
	}
	return out
}

// SeenShots are what the pictures of a unit under way show, each told against those before it.
type SeenShots struct {
	shots  []part.Shot
	sights []*proof.Sight
}

// Differs tells a picture that shows no other turn or light than one before it; nil: it does, or that cannot be told yet. One taken once more
// takes the place of the first.
func (s *SeenShots) Differs(shot part.Shot, sight *proof.Sight) *proof.Doubt {
	for i, o := range s.shots {
		if o.Pose() == shot.Pose() && o.Light == shot.Light {
			s.shots, s.sights = slices.Delete(s.shots, i, i+1), slices.Delete(s.sights, i, i+1)
			break
		}
	}
	s.shots, s.sights = append(s.shots, shot), append(s.sights, sight)
	last := len(s.sights) - 1
	turns, _ := proof.Turns(s.sights, nil)
	for _, d := range slices.Concat(turns, proof.Lights(s.sights)) {
		if d.At == last {
			s.shots, s.sights = s.shots[:last], s.sights[:last] // the next one is told against the first of them
			return &d
		}
	}
	return nil
}
