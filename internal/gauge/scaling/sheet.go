package scaling

import (
	"errors"
	"fmt"
	"math"

	"finishbench/internal/cli"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
)

// sheet shows the scale, how far it can be trusted, and what is left at the
// marks.
func (m *scaleMaking) sheet() (report.Sheet, error) {
	f := m.flat
	rel := f.UMMPerPX / f.MMPerPX
	s := report.Sheet{
		Title: "Scale", Subject: m.scale.Camera, Rating: report.Rating(m.rating.Word), Word: m.rating.Word,
		Line: fmt.Sprintf("One pixel is %s µm, ± %.2g %% (k = 2), where %s was taken.", cli.Shown4(1000*f.MMPerPX), 200*rel, m.atUnit.file),
		Facts: []report.Fact{
			{Name: "Scale", Value: cli.Shown4(1000*f.MMPerPX) + " µm/px"},
			{Name: "Uncertainty (k = 2)", Value: fmt.Sprintf("%.2g %%", 200*rel)},
			{Name: "Tilt of the target", Value: cli.WithUnit(f.TiltDeg, 2, "°")},
			{Name: "Marks about the fit", Value: cli.WithUnit(m.scale.RMSPX, 3, "px")},
			{Name: "Good until", Value: m.made.AddDate(0, 0, m.o.MaxAge).Format("2006-01-02")},
		},
		Reasons: m.rating.Reasons, Warnings: m.warnings,
	}
	if m.scale.RMSPX == 0 {
		s.Facts[3].Value = "not measured"
	}
	if !math.IsNaN(f.DistortionMaxPX) {
		s.Facts = append(s.Facts, report.Fact{Name: "Distortion, most", Value: cli.WithUnit(f.DistortionMaxPX, 1, "px")})
	}
	residuals, err := m.residuals()
	if err != nil {
		return s, err
	}
	s.Sections = append(s.Sections, residuals, m.pictureTable())
	for _, sp := range m.suspects {
		s.Sections = append(s.Sections, m.suspectSection(sp))
	}
	if m.scale.Lens != nil {
		s.Sections = append(s.Sections, m.lensSection())
	}
	s.Sections = append(s.Sections, m.budgetSection())
	return s, nil
}

// residuals draws what is left at each mark: of the picture that tells the
// scale, and of all that tell the lens.
func (m *scaleMaking) residuals() (report.SheetSection, error) {
	sec := report.SheetSection{Heading: "What is left at each mark"}
	add := func(arrows []plots.Arrow, caption string) error {
		svg, err := plots.Arrows(plots.Options{X: "x / px", Y: "y / px"}, m.flat.W, m.flat.H, arrows, 0)
		if errors.Is(err, plots.ErrNothing) {
			return nil
		}
		if err != nil {
			return err
		}
		sec.Figures = append(sec.Figures, report.SheetFigure{SVG: svg, Caption: caption,
			Alt: fmt.Sprintf("Arrows from %d marks to where they were found, much enlarged", len(arrows))})
		return nil
	}
	if m.fitted != nil {
		var all []plots.Arrow
		for i := range m.shots {
			if v := m.viewOf(i); v != nil {
				all = append(all, arrowsOf(m.shots[i].found.View.Marks, v.Residuals)...)
			}
		}
		if err := add(all, fmt.Sprintf("All %d pictures of the lens together. Arrows that turn in one direction over a region: the lens is not described well there. Arrows that point anywhere: noise.", len(m.fitted.Views))); err != nil {
			return sec, err
		}
	}
	err := add(arrowsOf(m.atUnit.found.View.Marks, m.flat.Residuals), m.atUnit.file+", which tells the scale.")
	return sec, err
}

func arrowsOf(marks []optics.Mark, residuals []part.Point) []plots.Arrow {
	var out []plots.Arrow
	for i, k := range marks {
		if i < len(residuals) {
			out = append(out, plots.Arrow{X: k.XPX, Y: k.YPX, DX: residuals[i].X, DY: residuals[i].Y})
		}
	}
	return out
}

// pictureTable lists the pictures.
func (m *scaleMaking) pictureTable() report.SheetSection {
	t := report.SheetTable{Caption: "Pictures of the target", Head: []string{"picture", "marks", "about the fit, px", "scale, µm/px", "tilt, °", "distance, mm", "remark"},
		Numeric: []bool{false, true, true, true, true, true, false}}
	for i, s := range m.shots {
		row := []string{s.file, "", "", "", "", "", s.note}
		if s.used {
			row[1] = fmt.Sprint(len(s.found.View.Marks))
			row[2] = blankOr(m.rmsOf(i), 3)
		}
		if f := s.flat; f != nil {
			row[3], row[4], row[5] = blankOr(1000*f.MMPerPX, 4), blankOr(f.TiltDeg, 2), blankOr(f.DistanceMM, 1)
		}
		if s == m.atUnit {
			row[6] = joined("tells the scale", s.note)
		}
		suspect := false
		for _, sp := range m.suspects {
			suspect = suspect || sp.Name == s.found.View.Name && s.used
		}
		if suspect {
			row[6] = joined("spoils the fit", s.note)
		}
		t.Rows, t.Marked = append(t.Rows, row), append(t.Marked, suspect || !s.used)
	}
	return report.SheetSection{Heading: "Pictures", Text: []string{fmt.Sprintf("Target: %s%s.", targetWords(m.target), identityWords(m.target))}, Tables: []report.SheetTable{t}}
}

// blankOr is a number for a table; empty where there is none.
func blankOr(v float64, decimals int) string {
	if part.Num(v) == nil {
		return ""
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

func joined(a, b string) string {
	if b == "" {
		return a
	}
	return a + "; " + b
}

// suspectSection says what leaving out a view does.
func (m *scaleMaking) suspectSection(s optics.SuspectView) report.SheetSection {
	sec := report.SheetSection{Heading: "The view that spoils the fit: " + s.Name, Text: []string{s.Description}}
	if s.Without == nil {
		return sec
	}
	t := report.SheetTable{Caption: "With and without " + s.Name, Head: []string{"", "with all", "without it", "change, in u"}, Numeric: []bool{false, true, true, true}}
	with, without := lensRows(m.fitted.Lens), lensRows(s.Without.Lens)
	change := lensRows(s.ChangeInU)
	t.Rows = append(t.Rows, []string{"marks about the fit, px", blankOr(m.fitted.RMSPX, 3), blankOr(s.Without.RMSPX, 3), ""})
	for i := range with {
		if part.Num(change[i].v) == nil {
			continue
		}
		t.Rows = append(t.Rows, []string{with[i].name, blankOr(with[i].v, with[i].decimals), blankOr(without[i].v, with[i].decimals), blankOr(change[i].v, 1)})
	}
	sec.Tables = append(sec.Tables, t)
	sec.Text = append(sec.Text, "To leave it out: --leave-out "+s.Name)
	return sec
}

// lensRow is one parameter of a lens, to be shown.
type lensRow struct {
	name     string
	v        float64
	decimals int
}

func lensRows(l optics.Lens) []lensRow {
	return []lensRow{{"focal length along x, px", l.FX, 2}, {"focal length along y, px", l.FY, 2}, {"axis meets the picture at x, px", l.CX, 2}, {"and y, px", l.CY, 2},
		{"k1", l.K1, 5}, {"k2", l.K2, 5}, {"p1", l.P1, 6}, {"p2", l.P2, 6}, {"k3", l.K3, 5}}
}

// lensSection lists the lens.
func (m *scaleMaking) lensSection() report.SheetSection {
	t := report.SheetTable{Caption: "The lens (Brown 1966)", Head: []string{"", "value", "standard uncertainty"}, Numeric: []bool{false, true, true}}
	var u []lensRow
	if m.scale.LensU != nil {
		u = lensRows(*m.scale.LensU)
	}
	for i, r := range lensRows(*m.scale.Lens) {
		row := []string{r.name, blankOr(r.v, r.decimals), ""}
		if u != nil && u[i].v > 0 {
			row[2] = blankOr(u[i].v, r.decimals)
		}
		t.Rows = append(t.Rows, row)
	}
	if f := m.fitted; f != nil && f.UChoice.FX > 0 {
		t.Caption += fmt.Sprintf("; of the focal length's uncertainty %.2g px are the choice of distortion terms: others explain the marks as well", f.UChoice.FX)
	}
	sec := report.SheetSection{Heading: "Lens", Tables: []report.SheetTable{t}}
	if m.fitted == nil {
		return sec
	}
	if len(m.fitted.Tried) > 0 {
		tried := report.SheetTable{Caption: "Distortion terms tried; the least criterion (AICc) is taken", Head: []string{"terms", "about the fit, px", "AICc"}, Numeric: []bool{false, true, true}}
		for _, k := range m.fitted.Tried {
			tried.Rows = append(tried.Rows, []string{string(k.Terms), blankOr(k.RMSPX, 4), blankOr(k.AICC, 1)})
			tried.Marked = append(tried.Marked, k.Terms == m.fitted.Terms)
		}
		sec.Tables = append(sec.Tables, tried)
	}
	return sec
}

// budgetSection lists what the scale's uncertainty comes from.
func (m *scaleMaking) budgetSection() report.SheetSection {
	t := report.SheetTable{Caption: "Uncertainty of the scale (JCGM 100:2008)", Head: []string{"source", "its size", "contributes, nm/px", "share of the variance"}, Numeric: []bool{false, true, true, true}}
	for _, c := range m.flat.Budget {
		size := fmt.Sprintf("%.3g %s", c.Value, c.Unit)
		if c.Unit == "1" {
			size = fmt.Sprintf("%.3g %%", 100*c.Value)
		}
		t.Rows = append(t.Rows, []string{c.Name, size, blankOr(1e6*c.MMPerPX, 2), blankOr(100*math.Pow(c.MMPerPX/m.flat.UMMPerPX, 2), 0) + " %"})
	}
	t.Rows = append(t.Rows, []string{"combined (k = 1)", "", blankOr(1e6*m.flat.UMMPerPX, 2), ""}, []string{"expanded (k = 2)", "", blankOr(2e6*m.flat.UMMPerPX, 2), ""})
	return report.SheetSection{Heading: "Uncertainty", Tables: []report.SheetTable{t}}
}

func targetWords(t optics.Target) string {
	switch t.Kind {
	case optics.Ruler:
		return fmt.Sprintf("ruler, pitch %g mm", t.PitchMM)
	case optics.Disc:
		return fmt.Sprintf("disc or pin of %g mm", t.DiameterMM)
	}
	return fmt.Sprintf("%s, %d x %d marks, pitch %g mm", t.Kind, t.Cols, t.Rows, t.PitchMM)
}

func identityWords(t optics.Target) string {
	s := ""
	if t.Identity != "" {
		s = ", " + t.Identity
	}
	if t.URel > 0 {
		return s + fmt.Sprintf(", known to %.3g %% (k = 1)", 100*t.URel)
	}
	return s + ", without a stated uncertainty"
}
