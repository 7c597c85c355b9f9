package report

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
	"finishbench/internal/report/plots"
)

// shellView is the page's map of the unit: the shell unrolled, the faceplate above it.
type shellView struct {
	Plot      template.HTML
	Sentences []string
	Unplaced  []unplaced // findings that have no place on it
}

type unplaced struct {
	ref
	Icon        template.HTML
	Kind, Where string
}

// shellMap is nil where nothing is told of the shell.
func (x words) shellMap(r *part.Result) (*shellView, error) {
	if r.Shell.Columns() == 0 {
		return nil, nil
	}
	girth := 2 * math.Pi * r.Shell.MeanRadiusMM()
	u := plots.Unrolled{GirthMM: girth, DepthMM: r.Shell.DepthMM(), Looked: r.Shell.Rows,
		Names: plots.UnrolledNames{Plate: x.T("page.map.plate"), Shell: x.T("page.map.shell"), Turn: x.T("page.map.turn"), Below: x.T("page.map.below"),
			Some: x.T("page.map.some"), None: x.T("page.map.none")}}
	spots := newMapped(r)
	u.Plate = spots.plate
	v := &shellView{}
	var onPlate, onShell []string // for those who do not see the map
	seen := map[part.Kind]bool{}
	for i, f := range byNumber(r) {
		p, ok := spots.of(f, girth)
		if !ok {
			id := findingID(f.Number)
			if i > 0 && r.Findings[i-1].Number == f.Number {
				id = fmt.Sprintf("%s-%d", id, i)
			}
			where := x.zone(f.Zone)
			if f.StepStation != "" {
				where = x.stepStation(f.StepStation)
			}
			v.Unplaced = append(v.Unplaced, unplaced{ref{f.Number, id}, icon(f.Kind), x.kind(f.Kind), where})
			continue
		}
		p.Outline, p.Label, p.Heavy = outlineOf(f.Kind), fmt.Sprint(f.Number), f.Severity.Rank() >= part.Major.Rank()
		if p.Heavy {
			p.LabelColor = palette.Yellow
		}
		if p.Shell {
			onShell = append(onShell, fmt.Sprintf("%d %s, ", f.Number, x.kind(f.Kind))+x.onShell(f))
		} else {
			onPlate = append(onPlate, fmt.Sprintf("%d %s, %s", f.Number, x.kind(f.Kind), x.zone(f.Zone)))
		}
		u.Marks = append(u.Marks, p)
		seen[f.Kind] = true
	}
	for _, k := range part.Kinds {
		if seen[k] {
			u.Kinds = append(u.Kinds, plots.Kind{Name: x.kind(k), Outline: outlineOf(k)})
		}
	}
	svg, err := plots.Unroll(u)
	if err != nil && !errors.Is(err, plots.ErrNothing) {
		return nil, fmt.Errorf("report: map of the shell: %w", err)
	}
	v.Plot = inlineSVG(svg, x.T("page.map_head")+": "+strings.Join(append(onPlate, onShell...), "; "))
	v.Sentences = append(v.Sentences, x.T("page.map.looked", "share", part.Percent(r.Shell.LookedAt)))
	if r.Shell.SeeThrough {
		v.Sentences = append(v.Sentences, x.T("page.map.see_through"))
	}
	scale := x.T("page.map.scale", "girth_mm", trimNumber(girth, 1))
	if u.Plate == nil {
		scale += x.T("page.map.no_plate")
	}
	v.Sentences = append(v.Sentences, scale)
	return v, nil
}

// onShell says where on the shell a finding lies.
func (x words) onShell(f *part.Finding) string {
	return x.T("page.on_shell", "turn_deg", trimNumber(*f.TurnDeg, 0), "below_mm", trimNumber(*f.BelowMM, 1))
}

// outlineOf is a kind's shape and colour for a plot.
func outlineOf(k part.Kind) plots.Outline {
	s := marks.Of(k)
	return plots.Outline{Paths: s.Corners(), Closed: s.Closed, Inner: s.Inner, Colour: marks.Colour(k)}
}
