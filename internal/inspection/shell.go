package inspection

import (
	"finishbench/internal/body"
	"finishbench/internal/capture/outline"
	"finishbench/internal/cli"
	"finishbench/internal/defects"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// aim finds the shell in the pictures of a turn, and tells the search where it is. flanks are its sides in
// these pictures; nil where they were not sought yet.
func (s *Scene) aim(p *scene.Params, fit []scene.Picture, flanks *outline.Flanks) error {
	var images []*part.Image
	for _, f := range fit {
		images = append(images, f.Image)
	}
	v, err := body.Look(images, flanks, s.pose.TurnDeg, p.MMPerPX)
	if err != nil {
		return err
	}
	views := []*body.View{v}
	shape, _, err := body.Fit(views)
	if err != nil {
		return err
	}
	seen := shape.In(views, 0)
	p.Shell, s.side = &seen, v
	return nil
}

// unroll tells what all turns say of the shell together: one shape, one finding for each defect, one
// map. It changes the scenes' findings; nil where no turn was looked at.
func (u *Unit) unroll() (*part.ShellMap, []part.Phrase) {
	var scenes []*Scene
	var views []*body.View
	for _, s := range u.Scenes {
		if s.side != nil && s.looked {
			scenes, views = append(scenes, s), append(views, s.side)
		}
	}
	if len(scenes) == 0 {
		return nil, nil
	}
	shape, misfits, err := body.Fit(views)
	if err != nil {
		return nil, []part.Phrase{cli.Why(err)}
	}
	var turns []defects.Turn
	for k, s := range scenes {
		turns = append(turns, defects.Turn{Seen: shape.In(views, k), Found: &s.found})
	}
	m := defects.JoinTurns(turns)
	return m, misfits
}
