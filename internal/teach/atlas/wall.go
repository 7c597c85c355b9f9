package atlas

import (
	"context"
	"slices"
	"strings"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// wallOf draws, for each limit of the faceplate's lacquer that goes by a size, a
// defect 5 % inside and one 5 % outside it.
func wallOf(l *lang.Lang, limits grade.Limits, stage part.Stage) (report.Wall, error) {
	a := New(l, 2)
	w := report.Wall{Lang: l.Tag, Title: a.t("wall") + " – " + l.T("stage."+string(stage)), Line: a.t("wall.line"),
		Ruler: a.t("wall.ruler"), True: a.t("wall.true"),
		Cautions: report.AllCautions(l)}
	var missing []string
	for _, k := range part.Kinds {
		kind, err := a.wallKind(limits, stage, k)
		if err != nil {
			return w, err
		}
		if len(kind.Rows) == 0 {
			missing = append(missing, a.kind(k))
			continue
		}
		w.Kinds = append(w.Kinds, kind)
	}
	if len(missing) > 0 {
		w.Missing = a.t("wall.missing", "kinds", strings.Join(missing, ", "))
	}
	return w, nil
}

// bound is a limit between two severities.
type bound struct {
	severity part.Severity
	mm       float64
}

// boundsOf are the limits of a kind on the faceplate that go by the size it is
// drawn by.
func boundsOf(limits grade.Limits, stage part.Stage, k part.Kind) []bound {
	measure := grade.DiameterMM
	if k == part.Fibre || k == part.Sanding || k == part.Run {
		measure = grade.LengthMM
	}
	var out []bound
	for _, row := range limits.Surface {
		if !slices.Contains(row.Stages, stage) || !slices.Contains(row.Zones, part.ZoneFace) || !slices.Contains(row.Kinds, k) {
			continue
		}
		for _, by := range row.By {
			if by.Measure != measure {
				continue
			}
			for _, c := range []struct {
				s part.Severity
				v *float64
			}{{part.Minor, by.Minor}, {part.Moderate, by.Moderate}, {part.Major, by.Major}, {part.Critical, by.Critical}} {
				if c.v != nil && *c.v > 0 {
					out = append(out, bound{c.s, *c.v})
				}
			}
		}
	}
	return out
}

const (
	wallBeside = 0.05 // of the limit, inside and outside
	wallSide   = 28.0 // mm on paper of an enlarged picture
	WallPixels = 360  // of its side
)

func (a *Atlas) wallKind(limits grade.Limits, stage part.Stage, k part.Kind) (report.WallKind, error) {
	kind := report.WallKind{Name: a.kind(k)}
	if drawable[k] == nil {
		return kind, nil
	}
	for _, b := range boundsOf(limits, stage, k) {
		row := report.WallRow{Limit: a.t("wall.limit") + " " + a.t("size", "v", a.l.Number(b.mm, 2)),
			Class: a.t("wall.class", "severity", a.l.T("severity."+string(b.severity)))}
		sizes := []float64{b.mm * (1 - wallBeside), b.mm * (1 + wallBeside)}
		for i, s := range drawSizes(k, sizes) {
			p, err := a.wallSample(s, report.StripWindowMM(sizes[1]))
			if err != nil {
				return kind, err
			}
			p.Out, p.Word = i == 1, a.t([]string{"wall.inside", "wall.outside"}[i])
			row.Pairs = append(row.Pairs, p)
		}
		kind.Rows = append(kind.Rows, row)
	}
	return kind, nil
}

// wallSample is a drawn defect under the light that shows it best.
func (a *Atlas) wallSample(s Sample, windowMM float64) (report.WallSample, error) {
	o, err := s.Open(context.Background())
	if err != nil {
		return report.WallSample{}, err
	}
	defer o.Release()
	jpeg, err := report.MakePatch(report.StripPanel{Image: o.Images[0], Middle: o.Box[0].Centre(), MMPerPX: o.mmPerPX}, windowMM,
		WallPixels)
	if err != nil {
		return report.WallSample{}, err
	}
	return report.WallSample{JPEG: jpeg, MM: windowMM, BigMM: wallSide, Size: a.t("size", "v", a.l.Number(s.SizeMM, 3)),
		Big: a.t("wall.big", "k", a.l.Number(wallSide/windowMM, 1))}, nil
}
