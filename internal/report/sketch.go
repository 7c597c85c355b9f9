package report

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report/plots"
)

// PlanSketch draws where a result's plan is to be carried out, with the steps' numbers: as an
// element of SVG, or on a canvas. It is nil where no step has a place.
func PlanSketch(r *part.Result, p *part.Plan, l *lang.Lang, onto plots.Onto) ([]byte, error) {
	if p == nil || !slices.ContainsFunc(p.Steps, func(s part.PlanStep) bool { return len(s.Findings) > 0 }) {
		return nil, nil
	}
	x := wordsOf(l)
	s := plots.Sketch{Onto: onto, Names: plots.SketchNames{Plate: x.T("page.map.plate"), Shell: x.T("plan.sketch.shell"), Hour: x.T("plan.sketch.hour"),
		Some: x.T("page.map.some"), None: x.T("page.map.none")}}
	if r.Shell.Columns() > 0 {
		s.GirthMM, s.DepthMM, s.Looked = 2*math.Pi*r.Shell.MeanRadiusMM(), r.Shell.DepthMM(), r.Shell.Rows
	}
	spots := newMapped(r)
	s.Plate = spots.plate
	for i := range r.Seam.Stations {
		t := &r.Seam.Stations[i]
		s.Ring = append(s.Ring, plots.RingPlace{AroundDeg: t.AroundDeg(), Label: stepsAt(p, t), Unknown: t.State != part.Measured})
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		n := p.StepOf(f.Number)
		m, ok := spots.of(f, s.GirthMM)
		if n == 0 || !ok {
			continue
		}
		m.Outline, m.Label = outlineOf(f.Kind), strconv.Itoa(n)
		s.Marks = append(s.Marks, m)
	}
	fewerLabels(s.Marks)
	svg, err := s.Draw()
	if err != nil && !errors.Is(err, plots.ErrNothing) {
		return nil, fmt.Errorf("report: sketch of the plan: %w", err)
	}
	return svg, nil
}

// stepsAt are the numbers of the steps that have something to do at a station: "1, 2".
func stepsAt(p *part.Plan, t *part.StepStation) string {
	name := strconv.FormatFloat(t.AngleDeg, 'g', 6, 64) + " deg, " + string(t.Side)
	var of []string
	for i, s := range p.Steps {
		if slices.Contains(s.Stations, name) {
			of = append(of, strconv.Itoa(i+1))
		}
	}
	return strings.Join(of, ", ")
}

// labelApartMM is how near marks of one step share a label.
const labelApartMM = 1.5

// fewerLabels leaves of the labels of one step that lie close together the first.
func fewerLabels(marks []plots.Placed) {
	for i := range marks {
		for k := range i {
			if a, b := &marks[i], &marks[k]; b.Label == a.Label && a.Shell == b.Shell && math.Hypot(a.X-b.X, a.Y-b.Y) < labelApartMM {
				a.Label = ""
				break
			}
		}
	}
}

// mapped knows where findings lie on the faceplate's outline and on the unrolled shell.
type mapped struct {
	r       *part.Result
	plate   [][2]float64 // the outline, mm from its first point; nil: not known
	origin  part.Point
	plateMM float64
	views   map[string]part.View
}

func newMapped(r *part.Result) mapped {
	m := mapped{r: r, views: map[string]part.View{}}
	if f := r.Faceplate; f != nil && len(f.OutlinePX) > 2 {
		m.origin, m.plateMM = part.Point{X: f.OutlinePX[0][0], Y: f.OutlinePX[0][1]}, r.ScaleOf(f.Image)
		for _, q := range f.OutlinePX {
			m.plate = append(m.plate, [2]float64{m.plateMM * (q[0] - m.origin.X), m.plateMM * (q[1] - m.origin.Y)})
		}
	}
	for i := range r.Pictures {
		m.views[r.Pictures[i].File] = r.Pictures[i].View
	}
	return m
}

// of is where a finding lies, without its shape; false where that is not known.
func (m mapped) of(f *part.Finding, girthMM float64) (p plots.Placed, ok bool) {
	box, mm := f.Box, m.r.ScaleOf(f.Image)
	switch {
	case f.TurnDeg != nil && f.BelowMM != nil:
		p.Shell, p.X, p.Y = true, part.Turn(*f.TurnDeg)/360*girthMM, *f.BelowMM
	case m.plate != nil && m.plateMM > 0 && m.views[f.Image] == part.Face && f.Zone != part.ZoneShell:
		// Face pictures are of one pose: a place in one is that place in all.
		if b, found := boxIn(f, m.r.Faceplate.Image); found {
			box, mm = b, m.plateMM
		}
		p.X, p.Y = m.plateMM*(box.Centre().X-m.origin.X), m.plateMM*(box.Centre().Y-m.origin.Y)
	default:
		return p, false
	}
	p.WideMM, p.HighMM = box[2]*mm, box[3]*mm
	return p, true
}
