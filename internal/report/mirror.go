package report

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/report/plots"
)

// mirrorView is the page's part on what the faceplate mirrors of a screen: the paint, the
// gloss and the slopes in one place, to change between them, and the waviness.
type mirrorView struct {
	Figures   []figure
	Sentences []string
	Plot      template.HTML // the waves' spectrum
	Waves     []wavesRow
	Unit      string   // of the waves: mrad, or rad of phase
	Classes   []string // that have limits; none: no row has
}

// wavesRow is what lies between two wavelengths, and its limits.
type wavesRow struct {
	From, To, Value, U string
	Limits             []string // one for each class
	Judged             string   // where it lies to them
	Over               bool
}

// mirror takes its figures out of the others. It is nil where there is no screen.
func (x words) mirror(r *part.Result, lists ...*[]figure) (*mirrorView, error) {
	m := r.Screen
	if m == nil {
		return nil, nil
	}
	v := &mirrorView{Unit: "rad"}
	for _, file := range []string{whitePicture(r), part.GlossMap, part.SlopeMap} {
		for _, list := range lists {
			if i := slices.IndexFunc(*list, func(f figure) bool { return f.File == file }); i >= 0 {
				v.Figures = append(v.Figures, (*list)[i])
				*list = slices.Delete(*list, i, i+1)
			}
		}
	}
	relief := x.T("page.mirror.relief_rad", "relief_rad", fixedText(&m.RangeRad, 2))
	if m.RangeMRad != nil {
		relief = fixedText(m.RangeMRad, 2) + " mrad"
		v.Unit = "mrad"
	}
	v.Sentences = append(v.Sentences, x.T("page.mirror.maps", "share", part.Percent(m.LostGloss), "relief", relief))
	if m.PhaseRad == nil {
		v.Sentences = append(v.Sentences, x.T("page.mirror.unmeasured"))
		return v, nil
	}
	least := ""
	if m.AtLeast {
		least = x.T("least")
	}
	around := ""
	if m.MainMM != nil {
		around = x.T("page.mirror.around", "main_mm", fixedText(m.MainMM, 2))
	}
	waves := x.T("page.mirror.phase", "least", least, "phase_rad", fixedText(m.PhaseRad, 2), "u_rad", fixedText(twice(m.UPhaseRad), 2),
		"around", around)
	if m.SlopeMRad != nil {
		waves = x.T("page.mirror.slope", "least", least, "slope_mrad", fixedText(m.SlopeMRad, 2), "u_mrad",
			fixedText(twice(m.USlopeMRad), 2), "around", around)
	}
	v.Sentences = append(v.Sentences, waves)
	if m.AtLeast {
		v.Sentences = append(v.Sentences, x.T("page.mirror.too_steep"))
	}
	v.rows(m, x)
	octaves, curve := plots.Series{Name: x.T("page.mirror.octaves")}, plots.Series{Name: x.T("page.mirror.finer"), X: m.WaveMM}
	for _, o := range m.Octaves {
		value, _ := part.RootOf(o.Variance, o.UVariance)
		octaves.X, octaves.Y = append(octaves.X, o.FromMM, o.ToMM, math.NaN()), append(octaves.Y, value, value, math.NaN())
	}
	for _, variance := range m.PerOctave {
		curve.Y = append(curve.Y, math.Sqrt(variance))
	}
	y := x.T("page.mirror.y_mrad")
	if m.SlopeMRad == nil {
		y = x.T("page.mirror.y_rad")
	}
	svg, err := plots.Lines(plots.Options{X: x.T("page.mirror.x"), Y: y, LogX: true, HeightMM: 70},
		append([]plots.Series{octaves, curve}, x.limitCurves(m.Bands)...))
	if err != nil {
		return nil, fmt.Errorf("report: the waves' spectrum: %w", err)
	}
	v.Plot = inlineSVG(svg, x.T("page.mirror.plot"))
	return v, nil
}

// rows fills the table: each octave, then what else there are limits for.
func (v *mirrorView) rows(m *part.Mirror, x words) {
	var shown []waveClass
	for _, c := range x.waveClasses() {
		if slices.ContainsFunc(m.Bands, func(b part.Band) bool { return c.bound(b) != nil }) {
			shown, v.Classes = append(shown, c), append(v.Classes, c.name)
		}
	}
	row := func(fromMM, toMM, value, u float64) {
		r := wavesRow{From: number3(fromMM), To: number3(toMM), Limits: make([]string, len(shown))}
		r.Value, r.U = fmt.Sprintf("%.2f", value), fmt.Sprintf("%.2f", 2*u)
		if i := slices.IndexFunc(m.Bands, func(b part.Band) bool { return b.FromMM == fromMM && b.ToMM == toMM }); i >= 0 {
			b := m.Bands[i]
			for k, c := range shown {
				if limit := c.bound(b); limit != nil {
					r.Limits[k] = number3(*limit)
				}
			}
			r.Over = b.Severity.Rank() > 0
			switch {
			case r.Over:
				r.Judged = x.T("page.mirror.over", "severity", x.severity(b.Severity))
			case m.AtLeast:
				r.Judged = x.T("not_measured")
			case b.Severity == "":
				r.Judged = x.T("page.mirror.no_peel")
			default:
				r.Judged = x.T("page.mirror.within")
			}
		}
		v.Waves = append(v.Waves, r)
	}
	for _, o := range m.Octaves {
		value, u := part.RootOf(o.Variance, o.UVariance)
		row(o.FromMM, o.ToMM, value, u)
	}
	for _, b := range m.Bands {
		if b.FromMM > 2*b.ToMM {
			row(b.FromMM, b.ToMM, b.SlopeMRad, b.USlopeMRad)
		}
	}
	if ends := part.OctaveEndsMM; !slices.ContainsFunc(m.Bands,
		func(b part.Band) bool { return b.FromMM == ends[0] && b.ToMM == ends[len(ends)-1] }) {
		value, u := m.PhaseRad, m.UPhaseRad
		if m.SlopeMRad != nil {
			value, u = m.SlopeMRad, m.USlopeMRad
		}
		row(ends[0], ends[len(ends)-1], *value, *u)
	}
}

func number3(v float64) string { return fmt.Sprintf("%.3g", v) }

// waveClass is one of the classes between which limits of waves lie.
type waveClass struct {
	name  string
	bound func(part.Band) *float64
}

func (x words) waveClasses() []waveClass {
	return []waveClass{
		{x.T("page.mirror.class", "severity", x.severity(part.Minor)), func(b part.Band) *float64 { return b.Minor }},
		{x.T("page.mirror.class", "severity", x.severity(part.Moderate)), func(b part.Band) *float64 { return b.Moderate }},
		{x.T("page.mirror.class", "severity", x.severity(part.Major)), func(b part.Band) *float64 { return b.Major }},
		{x.T("page.mirror.class", "severity", x.severity(part.Critical)), func(b part.Band) *float64 { return b.Critical }},
	}
}

// limitCurves are the limits of single octaves, a stair for each class over the octaves that have it.
func (x words) limitCurves(bands []part.Band) []plots.Series {
	var out []plots.Series
	octaves := slices.Clone(bands)
	slices.SortFunc(octaves, func(a, b part.Band) int { return cmp.Compare(b.FromMM, a.FromMM) })
	for _, class := range x.waveClasses() {
		s := plots.Series{Name: class.name}
		for _, b := range octaves {
			limit := class.bound(b)
			if b.FromMM != 2*b.ToMM || limit == nil {
				continue
			}
			if n := len(s.X); n > 0 && s.X[n-1] != b.FromMM { // octaves between without one
				s.X, s.Y = append(s.X, math.NaN()), append(s.Y, math.NaN())
			}
			s.X, s.Y = append(s.X, b.FromMM, b.ToMM), append(s.Y, *limit, *limit)
		}
		if len(s.X) > 0 {
			out = append(out, s)
		}
	}
	return out
}

// whitePicture is the name of the picture under the white screen.
func whitePicture(r *part.Result) string {
	for i := range r.Pictures {
		if p := &r.Pictures[i]; p.View == part.Face && p.Light == part.White {
			return p.File
		}
	}
	return ""
}
