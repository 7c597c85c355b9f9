package scaling

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// sheet shows the scale, how far it can be trusted, and what is left at the
// marks.
func (m *scaleMaking) sheet() (report.Sheet, error) {
	f := m.flat
	rel := f.UMMPerPX / f.MMPerPX
	s := report.Sheet{
		Lang: m.x, Title: m.x.T("scale.title"), Subject: m.scale.Camera, Rating: report.Rating(m.rating.Word),
		Word: m.x.T("rating." + m.rating.Word),
		Line: m.x.T("scale.line", "um", m.x.Shown4(1000*f.MMPerPX), "percent", fmt.Sprintf("%.2g", 200*rel), "file", m.atUnit.file),
		Facts: []report.Fact{
			{Name: m.x.T("scale.title"), Value: m.x.Shown4(1000*f.MMPerPX) + " µm/px"},
			{Name: m.x.T("scale.fact.u"), Value: fmt.Sprintf("%.2g %%", 200*rel)},
			{Name: m.x.T("scale.fact.tilt"), Value: m.x.WithUnit(f.TiltDeg, 2, "°")},
			{Name: m.x.T("scale.fact.rms"), Value: m.x.WithUnit(m.scale.RMSPX, 3, "px")},
			{Name: m.x.T("scale.fact.until"), Value: m.made.AddDate(0, 0, m.o.MaxAge).Format("2006-01-02")},
		},
		Reasons: m.x.SayAll(m.rating.Reasons), Warnings: m.x.SayAll(m.warnings),
	}
	if m.scale.RMSPX == 0 {
		s.Facts[3].Value = m.x.T("not_measured")
	}
	if !math.IsNaN(f.DistortionMaxPX) {
		s.Facts = append(s.Facts, report.Fact{Name: m.x.T("scale.fact.distortion"), Value: m.x.WithUnit(f.DistortionMaxPX, 1, "px")})
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
	sec := report.SheetSection{Heading: m.x.T("scale.residuals")}
	add := func(arrows []plots.Arrow, caption string) error {
		svg, err := plots.Arrows(plots.Options{X: "x / px", Y: "y / px"}, m.flat.W, m.flat.H, arrows, 0)
		if errors.Is(err, plots.ErrNothing) {
			return nil
		}
		if err != nil {
			return err
		}
		sec.Figures = append(sec.Figures, report.SheetFigure{SVG: svg, Caption: caption,
			Alt: m.x.T("scale.residuals.alt", "n", strconv.Itoa(len(arrows)))})
		return nil
	}
	if m.fitted != nil {
		var all []plots.Arrow
		for i := range m.shots {
			if v := m.viewOf(i); v != nil {
				all = append(all, arrowsOf(m.shots[i].found.View.Marks, v.Residuals)...)
			}
		}
		if err := add(all, m.x.T("scale.residuals.all", "n", strconv.Itoa(len(m.fitted.Views)))); err != nil {
			return sec, err
		}
	}
	err := add(arrowsOf(m.atUnit.found.View.Marks, m.flat.Residuals), m.x.T("scale.residuals.one", "file", m.atUnit.file))
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
	t := report.SheetTable{Caption: m.x.T("scale.pictures.caption"), Head: []string{m.x.T("scale.pictures.picture"),
		m.x.T("scale.pictures.marks"), m.x.T("scale.pictures.rms"), m.x.T("scale.pictures.scale"), m.x.T("scale.pictures.tilt"),
		m.x.T("scale.pictures.distance"), m.x.T("scale.pictures.remark")},
		Numeric: []bool{false, true, true, true, true, true, false}}
	for i, s := range m.shots {
		row := []string{s.file, "", "", "", "", "", m.note(s)}
		if s.used {
			row[1] = fmt.Sprint(len(s.found.View.Marks))
			row[2] = blankOr(m.rmsOf(i), 3)
		}
		if f := s.flat; f != nil {
			row[3], row[4], row[5] = blankOr(1000*f.MMPerPX, 4), blankOr(f.TiltDeg, 2), blankOr(f.DistanceMM, 1)
		}
		if s == m.atUnit {
			row[6] = m.joined(m.x.T("scale.tells"), m.note(s))
		}
		suspect := false
		for _, sp := range m.suspects {
			suspect = suspect || sp.Name == s.found.View.Name && s.used
		}
		if suspect {
			row[6] = m.joined(m.x.T("scale.spoils"), m.note(s))
		}
		t.Rows, t.Marked = append(t.Rows, row), append(t.Marked, suspect || !s.used)
	}
	return report.SheetSection{Heading: m.x.T("scale.pictures"), Text: []string{m.x.T("scale.target", "target", m.targetWords(),
		"identity", m.identityWords())}, Tables: []report.SheetTable{t}}
}

// blankOr is a number for a table; empty where there is none.
func blankOr(v float64, decimals int) string {
	if part.Num(v) == nil {
		return ""
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

func (m *scaleMaking) joined(a, b string) string {
	if b == "" {
		return a
	}
	return a + m.x.T("join.signals") + b
}

func (m *scaleMaking) note(s *targetShot) string {
	return strings.Join(m.x.SayAll(s.note), m.x.T("join.signals"))
}

// suspectSection says what leaving out a view does.
func (m *scaleMaking) suspectSection(s optics.SuspectView) report.SheetSection {
	sec := report.SheetSection{Heading: m.x.T("scale.suspect", "view", s.Name), Text: []string{m.x.Say(&s.Description)}}
	if s.Without == nil {
		return sec
	}
	t := report.SheetTable{Caption: m.x.T("scale.suspect.caption", "view", s.Name),
		Head: []string{"", m.x.T("scale.suspect.with"), m.x.T("scale.suspect.without"),
			m.x.T("scale.suspect.change")}, Numeric: []bool{false, true, true, true}}
	with, without := m.lensRows(m.fitted.Lens), m.lensRows(s.Without.Lens)
	change := m.lensRows(s.ChangeInU)
	t.Rows = append(t.Rows, []string{m.x.T("scale.suspect.rms"), blankOr(m.fitted.RMSPX, 3), blankOr(s.Without.RMSPX, 3), ""})
	for i := range with {
		if part.Num(change[i].v) == nil {
			continue
		}
		t.Rows = append(t.Rows, []string{with[i].name, blankOr(with[i].v, with[i].decimals), blankOr(without[i].v, with[i].decimals),
			blankOr(change[i].v, 1)})
	}
	sec.Tables = append(sec.Tables, t)
	sec.Text = append(sec.Text, m.x.T("scale.suspect.do", "view", s.Name))
	return sec
}

// lensRow is one parameter of a lens, to be shown.
type lensRow struct {
	name     string
	v        float64
	decimals int
}

func (m *scaleMaking) lensRows(l optics.Lens) []lensRow {
	return []lensRow{{m.x.T("scale.lens.fx"), l.FX, 2}, {m.x.T("scale.lens.fy"), l.FY, 2}, {m.x.T("scale.lens.cx"), l.CX, 2},
		{m.x.T("scale.lens.cy"), l.CY, 2},
		{"k1", l.K1, 5}, {"k2", l.K2, 5}, {"p1", l.P1, 6}, {"p2", l.P2, 6}, {"k3", l.K3, 5}}
}

// lensSection lists the lens.
func (m *scaleMaking) lensSection() report.SheetSection {
	t := report.SheetTable{Caption: m.x.T("scale.lens.caption"), Head: []string{"", m.x.T("study.value"), m.x.T("scale.lens.u")},
		Numeric: []bool{false, true, true}}
	var u []lensRow
	if m.scale.LensU != nil {
		u = m.lensRows(*m.scale.LensU)
	}
	for i, r := range m.lensRows(*m.scale.Lens) {
		row := []string{r.name, blankOr(r.v, r.decimals), ""}
		if u != nil && u[i].v > 0 {
			row[2] = blankOr(u[i].v, r.decimals)
		}
		t.Rows = append(t.Rows, row)
	}
	if f := m.fitted; f != nil && f.UChoice.FX > 0 {
		t.Caption += m.x.T("scale.lens.choice", "px", fmt.Sprintf("%.2g", f.UChoice.FX))
	}
	sec := report.SheetSection{Heading: m.x.T("scale.lens"), Tables: []report.SheetTable{t}}
	if m.fitted == nil {
		return sec
	}
	if len(m.fitted.Tried) > 0 {
		tried := report.SheetTable{Caption: m.x.T("scale.lens.tried"),
			Head: []string{m.x.T("scale.lens.terms"), m.x.T("scale.pictures.rms"), "AICc"}, Numeric: []bool{false, true, true}}
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
	t := report.SheetTable{Caption: m.x.T("scale.budget.caption"), Head: []string{m.x.T("scale.budget.source"),
		m.x.T("scale.budget.size"), m.x.T("scale.budget.nm"), m.x.T("scale.budget.share")}, Numeric: []bool{false, true, true, true}}
	for _, c := range m.flat.Budget {
		size := fmt.Sprintf("%.3g %s", c.Value, c.Unit)
		if c.Unit == "1" {
			size = fmt.Sprintf("%.3g %%", 100*c.Value)
		}
		t.Rows = append(t.Rows, []string{m.x.Named("scale.budget.", c.Name), size, blankOr(1e6*c.MMPerPX, 2),
			blankOr(100*math.Pow(c.MMPerPX/m.flat.UMMPerPX, 2), 0) + " %"})
	}
	t.Rows = append(t.Rows, []string{m.x.T("scale.budget.combined"), "", blankOr(1e6*m.flat.UMMPerPX, 2), ""},
		[]string{m.x.T("scale.budget.expanded"), "", blankOr(2e6*m.flat.UMMPerPX, 2), ""})
	return report.SheetSection{Heading: m.x.T("scale.uncertainty"), Tables: []report.SheetTable{t}}
}

func (m *scaleMaking) targetWords() string {
	t := m.target
	switch t.Kind {
	case optics.Ruler:
		return m.x.T("scale.target.ruler", "pitch_mm", fmt.Sprintf("%g", t.PitchMM))
	case optics.Disc:
		return m.x.T("scale.target.disc", "diameter_mm", fmt.Sprintf("%g", t.DiameterMM))
	}
	return m.x.T("scale.target.grid", "kind", string(m.x.Named("scale.kind.", t.Kind)), "cols", strconv.Itoa(t.Cols), "rows",
		strconv.Itoa(t.Rows), "pitch_mm", fmt.Sprintf("%g", t.PitchMM))
}

func (m *scaleMaking) identityWords() string {
	t := m.target
	s := ""
	if t.Identity != "" {
		s = ", " + t.Identity
	}
	if t.URel > 0 {
		return s + m.x.T("scale.target.known", "percent", fmt.Sprintf("%.3g", 100*t.URel))
	}
	return s + m.x.T("scale.target.unknown")
}
