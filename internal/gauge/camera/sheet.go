package camera

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"finishbench/internal/gauge/sensor"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
)

// cameraSheet is the page of a look at a camera.
func cameraSheet(x *lang.Lang, o Options, r cameraResult, j cameraJudgement) (report.Sheet, error) {
	s := report.Sheet{Lang: x, Title: x.T("camera.title"), Subject: o.Name, Rating: cameraRating(j), Word: cameraWord(x, j),
		Line: cameraLine(x, j), Facts: cameraFacts(x, o, r)}
	for _, p := range j.parts {
		for _, i := range p.items {
			word := x.Named("rating.", i.Word)
			if i.Word == "" {
				word = x.T("not_known")
			}
			s.Reasons = append(s.Reasons, x.T("camera.reason", "part", x.T("camera.part."+p.name), "word", word, "reason",
				x.Say(&i.Reason)))
		}
	}
	s.Warnings = cameraWarnings(x, r)
	for _, section := range []func(*lang.Lang, Options, cameraResult) (report.SheetSection, bool, error){edgeSection, flatSection,
		sensorSection, linearSection} {
		sec, ok, err := section(x, o, r)
		if err != nil {
			return s, err
		}
		if ok {
			s.Sections = append(s.Sections, sec)
		}
	}
	s.Sections = append(s.Sections, report.SheetSection{Heading: x.T("camera.light_head"), Text: []string{
		x.T("camera.caution"),
		x.T("camera.limits"),
	}})
	return s, nil
}

// cameraRating: what was asked for and not measured is never a pass.
func cameraRating(j cameraJudgement) report.Rating {
	switch {
	case j.word == optics.RatedPoor:
		return report.Poor
	case j.missing || j.word == "":
		return report.Unrated
	case j.word == optics.RatedFair:
		return report.Fair
	}
	return report.Good
}

func cameraWord(x *lang.Lang, j cameraJudgement) string {
	if w := cameraRating(j); w != report.Unrated {
		return x.T("rating." + string(w))
	}
	if j.word == "" {
		return x.T("not_measured")
	}
	return x.T("camera.word.some")
}

// cameraLine names what decides.
func cameraLine(x *lang.Lang, j cameraJudgement) string {
	var lacking []string
	for _, p := range j.parts {
		for _, i := range p.items {
			if i.Word == "" {
				lacking = append(lacking, x.T("camera.part."+p.name))
				break
			}
		}
	}
	if len(lacking) > 0 && j.word != optics.RatedPoor {
		return x.T("camera.line.lacking", "parts", strings.Join(lacking, x.T("looked.comma")))
	}
	for _, p := range j.parts {
		for _, i := range p.items {
			if i.Word == j.word && j.word != optics.RatedGood {
				return x.T("camera.line.decides", "part", x.T("camera.part."+p.name), "reason", x.Say(&i.Reason))
			}
		}
	}
	return x.T("camera.line.good")
}

func cameraFacts(x *lang.Lang, o Options, r cameraResult) []report.Fact {
	var f []report.Fact
	add := func(name, value string) { f = append(f, report.Fact{Name: name, Value: value}) }
	if len(r.edges) > 0 {
		m, u := optics.SharpnessOf(r.allEdges())
		add(x.T("camera.fact.mtf50"), withU(x, m, u, 4, x.T("camera.cy_px")))
		if o.MmPerPX > 0 {
			add(x.T("camera.fact.lp_mm"), withU(x, optics.LinePairsPerMM(m, o.MmPerPX), optics.LinePairsPerMM(u, o.MmPerPX), 2,
				x.T("camera.lp_mm")))
		}
	}
	if r.flat != nil {
		add(x.T("camera.fact.uneven"), fmt.Sprintf("-%.1f %%", r.flat.UnevenPct))
	}
	if t := r.transfer; t != nil {
		add(x.T("camera.fact.linearity"), unitOf(x, t.LinearityPct, 2, "%"))
		add(x.T("camera.fact.snr"), unitOf(x, t.SNRMax, 0, ""))
	}
	return f
}

// withU is a number with its standard uncertainty.
func withU(x *lang.Lang, v, u float64, decimals int, unit string) string {
	switch {
	case part.Num(v) == nil:
		return x.T("not_measured")
	case part.Num(u) == nil:
		return x.T("camera.bare", "v", fmt.Sprintf("%.*f", decimals, v), "unit", unit)
	}
	return x.T("camera.with_u", "v", fmt.Sprintf("%.*f", decimals, v), "u", fmt.Sprintf("%.*f", decimals, u), "unit", unit)
}

// unitOf is a number with its unit, or words.
func unitOf(x *lang.Lang, v float64, decimals int, unit string) string {
	if part.Num(v) == nil {
		return x.T("not_measured")
	}
	return strings.TrimSpace(fmt.Sprintf("%.*f %s", decimals, v, unit))
}

func cameraWarnings(x *lang.Lang, r cameraResult) []string {
	var w []string
	if r.flat != nil {
		w = append(w, x.SayAll(r.flat.WarningPhrases)...)
	}
	if r.transfer != nil {
		w = append(w, x.SayAll(r.transfer.Warnings)...)
		if r.lossy {
			w = append(w, x.T("camera.warn.lossy"))
		}
	}
	for _, e := range r.edges {
		if e.err == nil && len(e.found[0].Warnings) > 0 { // the best come first
			w = append(w, x.T("camera.warn.edges", "file", filepath.Base(e.file), x.T("camera.flat.what"),
				strings.Join(x.SayAll(e.found[0].Warnings), x.T("join.signals"))))
		}
		switch strings.ToLower(filepath.Ext(e.file)) {
		case ".jpg", ".jpeg":
			w = append(w, x.T("camera.warn.jpeg", "file", filepath.Base(e.file)))
		}
	}
	return w
}

func edgeSection(x *lang.Lang, o Options, r cameraResult) (report.SheetSection, bool, error) {
	all := r.allEdges()
	if len(all) == 0 {
		return report.SheetSection{}, false, nil
	}
	m, _ := optics.SharpnessOf(all)
	sec := report.SheetSection{Heading: x.T("camera.sharpness"), Text: []string{
		x.T("camera.mtf50.what", "blur", blurText(x, m))}}
	fig, err := mtfFigure(x, all[bestEdge(all)])
	if err != nil {
		return sec, false, err
	}
	sec.Figures = append(sec.Figures, fig)
	sec.Tables = []report.SheetTable{edgeTable(x, o, r)}
	return sec, true, nil
}

func blurText(x *lang.Lang, m float64) string {
	s := optics.SigmaOfMTF50(m)
	if part.Num(s) == nil {
		return x.T("camera.sharpened", "v", fmt.Sprintf("%.3f", m), "most", fmt.Sprintf("%.3f", optics.PixelMTF50))
	}
	return x.T("camera.blur", "sigma_px", fmt.Sprintf("%.2f", s), "rise_px", fmt.Sprintf("%.1f", optics.Rise1090OfSigma(s)))
}

// bestEdge is the edge nearest to the median, without warnings where there are
// such.
func bestEdge(all []optics.FoundEdge) int {
	m, _ := optics.SharpnessOf(all)
	best, off := 0, math.Inf(1)
	for i, e := range all {
		d := math.Abs(e.MTF50CyPX - m)
		if len(e.Warnings) > 0 {
			d += 10
		}
		if d < off {
			best, off = i, d
		}
	}
	return best
}

func mtfFigure(x *lang.Lang, e optics.FoundEdge) (report.SheetFigure, error) {
	var xs, ys, my []float64
	sigma := optics.SigmaOfMTF50(e.MTF50CyPX)
	for i, f := range e.Freq {
		if i%2 == 0 && f <= 0.8 {
			xs, ys, my = append(xs, f), append(ys, e.MTF[i]), append(my, optics.BlurMTF(f, sigma))
		}
	}
	series := []plots.Series{{Name: x.T("camera.plot.measured"), X: xs, Y: ys}}
	if part.Num(sigma) != nil {
		series = append(series, plots.Series{Name: x.T("camera.plot.blur", "sigma_px", fmt.Sprintf("%.2f", sigma)), X: xs, Y: my})
	}
	svg, err := plots.Lines(plots.Options{X: x.T("camera.cy_px"), Y: x.T("camera.plot.contrast")}, series,
		plots.HLine{Name: x.T("camera.plot.half"), Y: 0.5, Dash: true})
	return report.SheetFigure{SVG: svg, Alt: x.T("camera.plot.alt", "v", fmt.Sprintf("%.3f", e.MTF50CyPX)),
		Caption: x.T("camera.plot.caption", "x_px", fmt.Sprintf("%.0f", e.Box.Centre().X), "y_px",
			fmt.Sprintf("%.0f", e.Box.Centre().Y))}, err
}

// edgeRows is how many edges of a picture the page lists.
const edgeRows = 10

func edgeTable(x *lang.Lang, o Options, r cameraResult) report.SheetTable {
	t := report.SheetTable{Caption: x.T("camera.edges.caption"),
		Head: []string{x.T("camera.edges.picture"), "x / px", "y / px", x.T("camera.edges.runs"), x.T("camera.edges.angle"),
			x.T("camera.edges.mtf50"), x.T("camera.edges.u"), "10-90 % / px", x.T("camera.edges.contrast"), x.T("camera.edges.remarks")},
		Numeric: []bool{false, true, true, false, true, true, true, true, true, false}}
	if o.MmPerPX > 0 {
		t.Head = append(t.Head[:7:7], append([]string{x.T("camera.edges.lp_mm")}, t.Head[7:]...)...)
		t.Numeric = append(t.Numeric[:7:7], append([]bool{true}, t.Numeric[7:]...)...)
	}
	for _, p := range r.edges {
		for i, e := range p.found {
			if i == edgeRows {
				t.Caption += x.T("camera.some_of", "what", filepath.Base(p.file), "shown", strconv.Itoa(edgeRows), "of",
					strconv.Itoa(len(p.found)))
				break
			}
			runs := x.T("camera.edges.across")
			if e.Upright {
				runs = x.T("camera.edges.down")
			}
			c := e.Box.Centre()
			row := []string{filepath.Base(p.file), fmt.Sprintf("%.0f", c.X), fmt.Sprintf("%.0f", c.Y), runs,
				fmt.Sprintf("%.1f", e.AngleDeg), fmt.Sprintf("%.3f", e.MTF50CyPX), x.Shown(e.UMTF50CyPX, 3)}
			if o.MmPerPX > 0 {
				row = append(row, fmt.Sprintf("%.1f", optics.LinePairsPerMM(e.MTF50CyPX, o.MmPerPX)))
			}
			t.Rows = append(t.Rows, append(row, x.Shown(e.Rise1090PX, 2), fmt.Sprintf("%.2f", e.Contrast),
				strings.Join(x.SayAll(e.Warnings), x.T("join.signals"))))
			t.Marked = append(t.Marked, len(e.Warnings) > 0)
		}
	}
	return t
}

func flatSection(x *lang.Lang, o Options, r cameraResult) (report.SheetSection, bool, error) {
	f := r.flat
	if f == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: x.T("camera.flat.head")}
	sec.Text = append(sec.Text, x.T("camera.flat.from", "n", strconv.Itoa(len(f.Pictures)), "dark", darkText(x, f)))
	if o.Out != "" {
		sec.Text = append(sec.Text, x.T("camera.flat.file", "file", filepath.Join(o.Out, FlatFieldFile), "days",
			strconv.Itoa(f.MaxAgeDays)))
	} else {
		sec.Text = append(sec.Text, x.T("camera.flat.no_out"))
	}
	fig, err := lightFigure(x, f)
	if err != nil {
		return sec, false, err
	}
	sec.Figures = append(sec.Figures, fig)
	sec.Tables = []report.SheetTable{lightFigures(x, f), lightPlaces(x, f)}
	if len(f.Spots) > 0 {
		sec.Tables = append(sec.Tables, spotTable(x, f))
	}
	return sec, true, nil
}

func darkText(x *lang.Lang, f *optics.FlatField) string {
	if len(f.DarkPictures) == 0 {
		return ""
	}
	return x.T("camera.flat.dark", "n", strconv.Itoa(len(f.DarkPictures)))
}

// lightAt is the light, of colour pictures the green's, at a place, % of the picture's mean.
func lightAt(f *optics.FlatField, x, y int) float64 {
	_, g, _ := f.Gain(x, y)
	return 100 / g
}

func lightFigure(x *lang.Lang, f *optics.FlatField) (report.SheetFigure, error) {
	const n = 40
	var pos, row, col, diag []float64
	for i := range n + 1 {
		t := float64(i) / n
		x, y := int(t*float64(f.WidthPX-1)), int(t*float64(f.HeightPX-1))
		pos = append(pos, 100*t)
		row, col, diag = append(row, lightAt(f, x, f.HeightPX/2)), append(col, lightAt(f, f.WidthPX/2, y)), append(diag, lightAt(f, x, y))
	}
	svg, err := plots.Lines(plots.Options{X: x.T("camera.flat.axis.place"), Y: x.T("camera.flat.axis.light")},
		[]plots.Series{{Name: x.T("camera.flat.row"), X: pos, Y: row}, {Name: x.T("camera.flat.column"), X: pos, Y: col},
			{Name: x.T("camera.flat.diagonal"), X: pos, Y: diag}})
	return report.SheetFigure{SVG: svg, Alt: x.T("camera.flat.alt", "percent", fmt.Sprintf("%.1f", f.UnevenPct)),
		Caption: x.T("camera.flat.caption")}, err
}

func lightFigures(x *lang.Lang, f *optics.FlatField) report.SheetTable {
	t := report.SheetTable{Caption: x.T("camera.flat.figures"), Head: []string{x.T("camera.flat.what"), x.T("camera.value"),
		x.T("camera.flat.meaning")}, Numeric: []bool{false, true, false}}
	t.Rows = [][]string{
		{x.T("camera.flat.uneven"), fmt.Sprintf("%.1f %%", f.UnevenPct), x.T("camera.flat.uneven.what")},
		{x.T("camera.flat.vignetting"), unitOf(x, part.OrNaN(f.VignettePct), 1, "%"), x.T("camera.flat.vignetting.what")},
		{x.T("camera.flat.gradient"), unitOf(x, part.OrNaN(f.GradientPct), 1, "%"), x.T("camera.flat.gradient.what")},
		{x.T("camera.flat.grain"), fmt.Sprintf("%.2f %%", f.ResidualPct), x.T("camera.flat.grain.what")},
		{x.T("camera.flat.spots"), fmt.Sprint(len(f.Spots)), spotMeaning(x, f)},
		{x.T("camera.flat.moved"), movedText(x, f), x.T("camera.flat.moved.what")},
	}
	for c, l := range f.LevelPct {
		name := x.T("camera.flat.level")
		if f.Channels == 3 {
			name = x.T("camera.flat.level_of", "colour", x.T("camera.colour."+[3]string{"red", "green", "blue"}[c]))
		}
		t.Rows = append(t.Rows, []string{name, fmt.Sprintf("%.1f %%", l), x.T("camera.flat.level.what")})
	}
	if len(f.DarkPictures) > 0 {
		t.Rows = append(t.Rows, []string{x.T("camera.flat.hot"), fmt.Sprint(f.HotPixels), x.T("camera.flat.hot.what")})
	}
	return t
}

func spotMeaning(x *lang.Lang, f *optics.FlatField) string {
	if len(f.Pictures) == 1 {
		return x.T("camera.flat.spots.one")
	}
	return x.T("camera.flat.spots.what")
}

func movedText(x *lang.Lang, f *optics.FlatField) string {
	if len(f.Pictures) == 1 {
		return x.T("not_measured")
	}
	return fmt.Sprint(f.SpotsOnCard)
}

// lightPlaces is the light in a grid of five by five places.
func lightPlaces(x *lang.Lang, f *optics.FlatField) report.SheetTable {
	const n = 5
	t := report.SheetTable{Caption: x.T("camera.flat.places"), Head: []string{"", x.T("camera.flat.left"), "", x.T("camera.flat.middle"),
		"", x.T("camera.flat.right")}, Numeric: []bool{false, true, true, true, true, true}}
	names := [n]string{x.T("camera.flat.top"), "", x.T("camera.flat.middle"), "", x.T("camera.flat.bottom")}
	for r := range n {
		row := []string{names[r]}
		for c := range n {
			row = append(row, fmt.Sprintf("%.1f", lightAt(f, c*(f.WidthPX-1)/(n-1), r*(f.HeightPX-1)/(n-1))))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func spotTable(x *lang.Lang, f *optics.FlatField) report.SheetTable {
	t := report.SheetTable{Caption: x.T("camera.flat.spot_table"), Head: []string{"x, y / px", x.T("camera.flat.diameter"),
		x.T("camera.flat.depth")}, Numeric: []bool{false, true, true}}
	for i, s := range f.Spots {
		if i == 12 {
			t.Caption += x.T("camera.twelve_of", "of", strconv.Itoa(len(f.Spots)))
			break
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("%.0f, %.0f", s.XPX, s.YPX), fmt.Sprintf("%.0f", s.DiameterPX),
			fmt.Sprintf("%.1f", s.DepthPct)})
	}
	return t
}

func sensorSection(x *lang.Lang, _ Options, r cameraResult) (report.SheetSection, bool, error) {
	t := r.transfer
	if t == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: x.T("camera.sensor.head"), Tables: []report.SheetTable{sensorTable(x, r), exposureTable(x, t)}}
	if !r.physical {
		sec.Text = append(sec.Text, x.T("camera.sensor.srgb"))
	}
	var xs, ys, lx, ly []float64
	for _, p := range t.Points {
		if p.InFit {
			xs, ys = append(xs, p.SignalDN), append(ys, p.VarDN2)
		} else {
			lx, ly = append(lx, p.SignalDN), append(ly, p.VarDN2)
		}
	}
	series := []plots.Series{{Name: x.T("camera.sensor.counted"), X: xs, Y: ys}, {Name: x.T("camera.sensor.left_out"), X: lx, Y: ly}}
	if part.Num(t.KDNPerE) != nil && part.Num(t.DarkDN) != nil { // without dark the line does not pass through the origin
		top := 0.0
		for _, v := range xs {
			top = max(top, v)
		}
		series = append(series, plots.Series{Name: x.T("camera.sensor.gain_is", "gain", x.Shown4(t.KDNPerE)), X: []float64{0, top},
			Y: []float64{0, t.KDNPerE * top}})
	}
	svg, err := plots.Lines(plots.Options{X: x.T("camera.sensor.signal"), Y: x.T("camera.sensor.variance")}, series)
	if errors.Is(err, plots.ErrNothing) {
		return sec, true, nil
	}
	sec.Figures = []report.SheetFigure{{SVG: svg, Alt: x.T("camera.sensor.alt", "gain", x.Shown4(t.KDNPerE)),
		Caption: x.T("camera.sensor.caption")}}
	return sec, true, err
}

func sensorTable(x *lang.Lang, r cameraResult) report.SheetTable {
	t := r.transfer
	tab := report.SheetTable{Caption: x.T("camera.sensor.table"), Head: []string{x.T("camera.sensor.quantity"), x.T("camera.value"),
		x.T("camera.unit")}, Numeric: []bool{false, true, false}}
	row := func(name string, v float64, unit string) {
		tab.Rows = append(tab.Rows, []string{name, x.Shown4(v), unit})
	}
	row(x.T("camera.sensor.gain"), t.KDNPerE, "DN/e-")
	row(x.T("camera.sensor.u"), t.UKDNPerE, "DN/e-")
	row(x.T("camera.sensor.dark"), t.DarkDN, "DN")
	row(x.T("camera.sensor.dark_noise"), t.SigmaDarkDN, "DN")
	if part.Num(t.ReadNoiseBelowE) != nil {
		row(x.T("camera.sensor.read_below"), t.ReadNoiseBelowE, "e-")
	} else {
		row(x.T("camera.sensor.read"), t.ReadNoiseE, "e-")
	}
	row(x.T("camera.sensor.dark_current"), t.DarkEs, "e-/s")
	row(x.T("camera.sensor.saturation"), t.SaturationE, "e-")
	row(x.T("camera.fact.snr"), t.SNRMax, "")
	row(x.T("camera.fact.snr"), sensor.DB(t.SNRMax), "dB")
	row(x.T("camera.sensor.threshold"), t.LeastE, "e-")
	row(x.T("camera.sensor.range"), t.DynamicRange, "")
	row(x.T("camera.sensor.range"), sensor.DB(t.DynamicRange), "dB")
	row(x.T("camera.sensor.dsnu"), t.DSNUE, "e-")
	row(x.T("camera.sensor.prnu"), t.PRNUPct, "%")
	row(x.T("camera.sensor.response"), t.SlopeDNPerMS, "DN/ms")
	row(x.T("camera.sensor.responsivity"), t.DNPerPhoton, x.T("camera.sensor.dn_photon"))
	row(x.T("camera.sensor.efficiency"), 100*t.QuantumEfficiency, "%")
	return tab
}

func exposureTable(x *lang.Lang, t *sensor.Transfer) report.SheetTable {
	tab := report.SheetTable{Caption: x.T("camera.exposures"), Head: []string{x.T("camera.exposures.ms"), x.T("camera.sensor.signal"),
		x.T("camera.exposures.variance"), x.T("camera.exposures.snr"), x.T("camera.exposures.clipped"), x.T("camera.exposures.off"),
		x.T("camera.exposures.in")},
		Numeric: []bool{true, true, true, true, true, true, false}}
	for _, p := range t.Points {
		in := x.T("no")
		if p.InFit {
			in = x.T("yes")
		}
		off := x.T("camera.exposures.outside")
		if part.Num(p.DeviationPct) != nil {
			off = fmt.Sprintf("%+.2f", p.DeviationPct)
		}
		tab.Rows = append(tab.Rows, []string{x.Shown4(p.TimeMS), x.Shown4(p.SignalDN), x.Shown4(p.VarDN2), x.Shown(p.SNR, 1),
			fmt.Sprintf("%.2f", 100*p.ClippedShare), off, in})
	}
	return tab
}

func linearSection(x *lang.Lang, _ Options, r cameraResult) (report.SheetSection, bool, error) {
	t := r.transfer
	if t == nil || part.Num(t.LinearityPct) == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: x.T("camera.linear.head"), Text: []string{
		x.T("camera.linear.line", "from", fmt.Sprintf("%+.2f", t.LinearityMinPct), "to", fmt.Sprintf("%+.2f", t.LinearityMaxPct))}}
	if part.Num(t.SaturationDN) == nil {
		sec.Text = append(sec.Text, x.T("camera.linear.unsaturated"))
	}
	var xs, ys []float64
	for _, p := range t.Points {
		xs, ys = append(xs, p.TimeMS), append(ys, p.DeviationPct)
	}
	l := sensor.DefaultCameraLimits().LinearityPct.Good
	svg, err := plots.Lines(plots.Options{X: x.T("camera.exposures.ms"), Y: x.T("camera.exposures.off")},
		[]plots.Series{{Name: x.T("camera.linear.departure"), X: xs, Y: ys}},
		plots.HLine{Y: 0}, plots.HLine{Name: x.T("camera.linear.good"), Y: l, Dash: true}, plots.HLine{Name: x.T("camera.linear.good"),
			Y: -l, Dash: true})
	sec.Figures = []report.SheetFigure{{SVG: svg, Alt: x.T("camera.linear.alt", "from", fmt.Sprintf("%.2f", t.LinearityMinPct), "to",
		fmt.Sprintf("%.2f", t.LinearityMaxPct)), Caption: x.T("camera.linear.caption")}}
	return sec, true, err
}
