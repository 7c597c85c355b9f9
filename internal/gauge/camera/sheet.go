package camera

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/plots"
	"finishbench/internal/report"
)

// cameraSheet is the page of a look at a camera.
func cameraSheet(o Options, r cameraResult, j cameraJudgement) (report.Sheet, error) {
	s := report.Sheet{Title: "Camera, lens and light", Subject: o.Name, Rating: cameraRating(j), Word: cameraWord(j), Line: cameraLine(j), Facts: cameraFacts(o, r)}
	for _, p := range j.parts {
		for _, i := range p.items {
			word := i.Word
			if word == "" {
				word = "not known"
			}
			s.Reasons = append(s.Reasons, fmt.Sprintf("%s, %s: %s", p.name, word, i.Reason))
		}
	}
	s.Warnings = cameraWarnings(r)
	for _, section := range []func(Options, cameraResult) (report.SheetSection, bool, error){edgeSection, flatSection, sensorSection, linearSection} {
		sec, ok, err := section(o, r)
		if err != nil {
			return s, err
		}
		if ok {
			s.Sections = append(s.Sections, sec)
		}
	}
	s.Sections = append(s.Sections, report.SheetSection{Heading: "When setting up the light", Text: []string{
		"Flashing light can trigger seizures: no strobe between 3 and 60 Hz in view. Keep ultraviolet lamps behind their shielded door while pictures are taken, and never look into one.",
		"The limits between good, fair and poor are common practice and have no published source.",
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

func cameraWord(j cameraJudgement) string {
	if w := cameraRating(j); w != report.Unrated {
		return string(w)
	}
	if j.word == "" {
		return "not measured"
	}
	return "not all measured"
}

// cameraLine names what decides.
func cameraLine(j cameraJudgement) string {
	var lacking []string
	for _, p := range j.parts {
		for _, i := range p.items {
			if i.Word == "" {
				lacking = append(lacking, p.name)
				break
			}
		}
	}
	if len(lacking) > 0 && j.word != optics.RatedPoor {
		return "Not all that was asked for could be measured: " + strings.Join(lacking, ", ") + "."
	}
	for _, p := range j.parts {
		for _, i := range p.items {
			if i.Word == j.word && j.word != optics.RatedGood {
				return fmt.Sprintf("The %s decides: %s.", p.name, i.Reason)
			}
		}
	}
	return "All that was looked at is good."
}

func cameraFacts(o Options, r cameraResult) []report.Fact {
	var f []report.Fact
	add := func(name, value string) { f = append(f, report.Fact{Name: name, Value: value}) }
	if len(r.edges) > 0 {
		m, u := optics.SharpnessOf(r.allEdges())
		add("Sharpness, MTF50", withU(m, u, 4, "cycles a pixel"))
		if o.MmPerPX > 0 {
			add("Sharpness on the part", withU(optics.LinePairsPerMM(m, o.MmPerPX), optics.LinePairsPerMM(u, o.MmPerPX), 2, "line pairs a millimetre"))
		}
	}
	if r.flat != nil {
		add("Light, brightest to darkest", fmt.Sprintf("-%.1f %%", r.flat.UnevenPct))
	}
	if t := r.transfer; t != nil {
		add("Linearity error", unitOf(t.LinearityPct, 2, "%"))
		add("SNR max", unitOf(t.SNRMax, 0, ""))
	}
	return f
}

// withU is a number with its standard uncertainty.
func withU(v, u float64, decimals int, unit string) string {
	switch {
	case cli.Finite(v) == nil:
		return "not measured"
	case cli.Finite(u) == nil:
		return fmt.Sprintf("%.*f %s (uncertainty not known)", decimals, v, unit)
	}
	return fmt.Sprintf("%.*f ± %.*f %s (k = 1)", decimals, v, decimals, u, unit)
}

// unitOf is a number with its unit, or words.
func unitOf(v float64, decimals int, unit string) string {
	if cli.Finite(v) == nil {
		return "not measured"
	}
	return strings.TrimSpace(fmt.Sprintf("%.*f %s", decimals, v, unit))
}

func cameraWarnings(r cameraResult) []string {
	var w []string
	if r.flat != nil {
		w = append(w, r.flat.Warnings...)
	}
	if r.transfer != nil {
		w = append(w, r.transfer.Warnings...)
		if r.lossy {
			w = append(w, "the exposure series holds JPEG pictures: compression changes the noise, and with it gain, SNR and scatter; take uncompressed ones")
		}
	}
	for _, e := range r.edges {
		if e.err == nil && len(e.found[0].Warnings) > 0 { // the best come first
			w = append(w, fmt.Sprintf("%s: every edge has something against it: %s", filepath.Base(e.file), strings.Join(e.found[0].Warnings, "; ")))
		}
		switch strings.ToLower(filepath.Ext(e.file)) {
		case ".jpg", ".jpeg":
			w = append(w, filepath.Base(e.file)+" is a JPEG: compression and sharpening inside the camera change MTF50")
		}
	}
	return w
}

func edgeSection(o Options, r cameraResult) (report.SheetSection, bool, error) {
	all := r.allEdges()
	if len(all) == 0 {
		return report.SheetSection{}, false, nil
	}
	m, _ := optics.SharpnessOf(all)
	sec := report.SheetSection{Heading: "Sharpness", Text: []string{
		"MTF50 is the fineness at which half the contrast is left, along the edge's normal. " + blurText(m)}}
	fig, err := mtfFigure(all[bestEdge(all)])
	if err != nil {
		return sec, false, err
	}
	sec.Figures = append(sec.Figures, fig)
	sec.Tables = []report.SheetTable{edgeTable(o, r)}
	return sec, true, nil
}

func blurText(m float64) string {
	s := optics.SigmaOfMTF50(m)
	if cli.Finite(s) == nil {
		return fmt.Sprintf("%.3f cycles a pixel is more than a pixel can show of a perfect lens (%.3f): the camera sharpens.", m, optics.PixelMTF50)
	}
	return fmt.Sprintf("A lens with a Gaussian blur of %.2f px in front of square pixels has the same; it makes an edge rise from 10 to 90 %% over %.1f px.", s, optics.Rise1090OfSigma(s))
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

func mtfFigure(e optics.FoundEdge) (report.SheetFigure, error) {
	var x, y, my []float64
	sigma := optics.SigmaOfMTF50(e.MTF50CyPX)
	for i, f := range e.Freq {
		if i%2 == 0 && f <= 0.8 {
			x, y, my = append(x, f), append(y, e.MTF[i]), append(my, optics.BlurMTF(f, sigma))
		}
	}
	series := []plots.Series{{Name: "measured", X: x, Y: y}}
	if cli.Finite(sigma) != nil {
		series = append(series, plots.Series{Name: fmt.Sprintf("Gaussian blur of %.2f px and a pixel's square", sigma), X: x, Y: my})
	}
	svg, err := plots.Lines(plots.Options{X: "cycles a pixel", Y: "contrast left"}, series, plots.HLine{Name: "one half", Y: 0.5, Dash: true})
	return report.SheetFigure{SVG: svg, Alt: fmt.Sprintf("Contrast over fineness; it falls to one half at %.3f cycles a pixel", e.MTF50CyPX),
		Caption: fmt.Sprintf("The edge at x %.0f, y %.0f, the nearest to the median of all.", e.Box.Centre().X, e.Box.Centre().Y)}, err
}

// edgeRows is how many edges of a picture the page lists.
const edgeRows = 10

func edgeTable(o Options, r cameraResult) report.SheetTable {
	t := report.SheetTable{Caption: "Edges, those without remarks first",
		Head:    []string{"picture", "x / px", "y / px", "runs", "angle / °", "MTF50 / cy/px", "u / cy/px", "10-90 % / px", "contrast", "remarks"},
		Numeric: []bool{false, true, true, false, true, true, true, true, true, false}}
	if o.MmPerPX > 0 {
		t.Head = append(t.Head[:7:7], append([]string{"MTF50 / lp/mm"}, t.Head[7:]...)...)
		t.Numeric = append(t.Numeric[:7:7], append([]bool{true}, t.Numeric[7:]...)...)
	}
	for _, p := range r.edges {
		for i, e := range p.found {
			if i == edgeRows {
				t.Caption += fmt.Sprintf(" (%s: %d of %d)", filepath.Base(p.file), edgeRows, len(p.found))
				break
			}
			runs := "across"
			if e.Upright {
				runs = "down"
			}
			c := e.Box.Centre()
			row := []string{filepath.Base(p.file), fmt.Sprintf("%.0f", c.X), fmt.Sprintf("%.0f", c.Y), runs, fmt.Sprintf("%.1f", e.AngleDeg), fmt.Sprintf("%.3f", e.MTF50CyPX), cli.Shown(e.UMTF50CyPX, 3)}
			if o.MmPerPX > 0 {
				row = append(row, fmt.Sprintf("%.1f", optics.LinePairsPerMM(e.MTF50CyPX, o.MmPerPX)))
			}
			t.Rows = append(t.Rows, append(row, cli.Shown(e.Rise1090PX, 2), fmt.Sprintf("%.2f", e.Contrast), strings.Join(e.Warnings, "; ")))
			t.Marked = append(t.Marked, len(e.Warnings) > 0)
		}
	}
	return t
}

func flatSection(o Options, r cameraResult) (report.SheetSection, bool, error) {
	f := r.flat
	if f == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: "Light over the picture"}
	sec.Text = append(sec.Text, fmt.Sprintf("From %s of a white card%s.", cli.Counted(len(f.Pictures), "picture", "pictures"), darkText(f)))
	if o.Out != "" {
		sec.Text = append(sec.Text, fmt.Sprintf("The flat field is in %s, good for %d days, or until camera, lens, stop, focus or lamp change.", filepath.Join(o.Out, FlatFieldFile), f.MaxAgeDays))
	} else {
		sec.Text = append(sec.Text, "Name a folder with --out to keep the flat field as a file.")
	}
	fig, err := lightFigure(f)
	if err != nil {
		return sec, false, err
	}
	sec.Figures = append(sec.Figures, fig)
	sec.Tables = []report.SheetTable{lightFigures(f), lightPlaces(f)}
	if len(f.Spots) > 0 {
		sec.Tables = append(sec.Tables, spotTable(f))
	}
	return sec, true, nil
}

func darkText(f *optics.FlatField) string {
	if len(f.DarkPictures) == 0 {
		return ""
	}
	return fmt.Sprintf(", less %s with the lens covered", cli.Counted(len(f.DarkPictures), "picture", "pictures"))
}

// lightAt is the light, of colour pictures the green's, at a place, % of the picture's mean.
func lightAt(f *optics.FlatField, x, y int) float64 {
	_, g, _ := f.Gain(x, y)
	return 100 / g
}

func lightFigure(f *optics.FlatField) (report.SheetFigure, error) {
	const n = 40
	var pos, row, col, diag []float64
	for i := range n + 1 {
		t := float64(i) / n
		x, y := int(t*float64(f.WidthPX-1)), int(t*float64(f.HeightPX-1))
		pos = append(pos, 100*t)
		row, col, diag = append(row, lightAt(f, x, f.HeightPX/2)), append(col, lightAt(f, f.WidthPX/2, y)), append(diag, lightAt(f, x, y))
	}
	svg, err := plots.Lines(plots.Options{X: "place from border to border / %", Y: "light / % of the mean"},
		[]plots.Series{{Name: "left to right through the middle", X: pos, Y: row}, {Name: "top to bottom through the middle", X: pos, Y: col}, {Name: "top left to bottom right", X: pos, Y: diag}})
	return report.SheetFigure{SVG: svg, Alt: fmt.Sprintf("Light along three lines through the picture; the darkest place has %.1f %% less than the brightest", f.UnevenPct), Caption: "How light falls off over the picture."}, err
}

func lightFigures(f *optics.FlatField) report.SheetTable {
	t := report.SheetTable{Caption: "What the white card shows", Head: []string{"what", "value", "meaning"}, Numeric: []bool{false, true, false}}
	t.Rows = [][]string{
		{"uneven", fmt.Sprintf("%.1f %%", f.UnevenPct), "brightest to darkest place"},
		{"vignetting", unitOf(cli.NumberOf(f.VignettePct), 1, "%"), "loss in the corners that is even about the middle: the lens's"},
		{"gradient", unitOf(cli.NumberOf(f.GradientPct), 1, "%"), "change from side to side: the lamp's or the card's"},
		{"grain", fmt.Sprintf("%.2f %%", f.ResidualPct), "rms of single pixels about the smooth light: noise, the card's texture, scatter between pixels"},
		{"spots in every picture", fmt.Sprint(len(f.Spots)), spotMeaning(f)},
		{"spots that moved", movedText(f), "dust on the card"},
	}
	for c, l := range f.LevelPct {
		name := "level"
		if f.Channels == 3 {
			name += ", " + [3]string{"red", "green", "blue"}[c]
		}
		t.Rows = append(t.Rows, []string{name, fmt.Sprintf("%.1f %%", l), "mean linear light of full"})
	}
	if len(f.DarkPictures) > 0 {
		t.Rows = append(t.Rows, []string{"hot pixels", fmt.Sprint(f.HotPixels), "bright with the lens covered"})
	}
	return t
}

func spotMeaning(f *optics.FlatField) string {
	if len(f.Pictures) == 1 {
		return "dust on the card, the lens or the sensor: one picture does not tell"
	}
	return "dust on the lens or the sensor"
}

func movedText(f *optics.FlatField) string {
	if len(f.Pictures) == 1 {
		return "not measured"
	}
	return fmt.Sprint(f.SpotsOnCard)
}

// lightPlaces is the light in a grid of five by five places.
func lightPlaces(f *optics.FlatField) report.SheetTable {
	const n = 5
	t := report.SheetTable{Caption: "Light by place, % of the mean (rows from top to bottom)", Head: []string{"", "left", "", "middle", "", "right"}, Numeric: []bool{false, true, true, true, true, true}}
	names := [n]string{"top", "", "middle", "", "bottom"}
	for r := range n {
		row := []string{names[r]}
		for c := range n {
			row = append(row, fmt.Sprintf("%.1f", lightAt(f, c*(f.WidthPX-1)/(n-1), r*(f.HeightPX-1)/(n-1))))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func spotTable(f *optics.FlatField) report.SheetTable {
	t := report.SheetTable{Caption: "Dark spots, the deepest first", Head: []string{"x, y / px", "diameter / px", "depth / %"}, Numeric: []bool{false, true, true}}
	for i, s := range f.Spots {
		if i == 12 {
			t.Caption += fmt.Sprintf(" (12 of %d)", len(f.Spots))
			break
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("%.0f, %.0f", s.XPX, s.YPX), fmt.Sprintf("%.0f", s.DiameterPX), fmt.Sprintf("%.1f", s.DepthPct)})
	}
	return t
}

func sensorSection(_ Options, r cameraResult) (report.SheetSection, bool, error) {
	t := r.transfer
	if t == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: "Sensor: noise and gain", Tables: []report.SheetTable{sensorTable(r), exposureTable(t)}}
	if !r.physical {
		sec.Text = append(sec.Text, "The pictures are sRGB-coded: figures in electrons are those of the picture as it was processed, not of the sensor.")
	}
	var x, y, lx, ly []float64
	for _, p := range t.Points {
		if p.InFit {
			x, y = append(x, p.SignalDN), append(y, p.VarDN2)
		} else {
			lx, ly = append(lx, p.SignalDN), append(ly, p.VarDN2)
		}
	}
	series := []plots.Series{{Name: "counted for the gain", X: x, Y: y}, {Name: "left out", X: lx, Y: ly}}
	if cli.Finite(t.KDNPerE) != nil && cli.Finite(t.DarkDN) != nil { // without dark the line does not pass through the origin
		top := 0.0
		for _, v := range x {
			top = max(top, v)
		}
		series = append(series, plots.Series{Name: "gain " + cli.Shown4(t.KDNPerE) + " DN/e-", X: []float64{0, top}, Y: []float64{0, t.KDNPerE * top}})
	}
	svg, err := plots.Lines(plots.Options{X: "signal / DN", Y: "temporal variance / DN²"}, series)
	if errors.Is(err, plots.ErrNothing) {
		return sec, true, nil
	}
	sec.Figures = []report.SheetFigure{{SVG: svg, Alt: "Temporal variance over signal; the slope is the gain, " + cli.Shown4(t.KDNPerE) + " DN an electron", Caption: "Photon transfer: the slope is the system gain."}}
	return sec, true, err
}

func sensorTable(r cameraResult) report.SheetTable {
	t := r.transfer
	tab := report.SheetTable{Caption: "EMVA 1288 quantities", Head: []string{"quantity", "value", "unit"}, Numeric: []bool{false, true, false}}
	row := func(name string, v float64, unit string) {
		tab.Rows = append(tab.Rows, []string{name, cli.Shown4(v), unit})
	}
	row("system gain K", t.KDNPerE, "DN/e-")
	row("its standard uncertainty", t.UKDNPerE, "DN/e-")
	row("dark level", t.DarkDN, "DN")
	row("temporal dark noise", t.SigmaDarkDN, "DN")
	if cli.Finite(t.ReadNoiseBelowE) != nil {
		row("read noise is below", t.ReadNoiseBelowE, "e-")
	} else {
		row("read noise", t.ReadNoiseE, "e-")
	}
	row("dark current", t.DarkEs, "e-/s")
	row("saturation", t.SaturationE, "e-")
	row("SNR max", t.SNRMax, "")
	row("SNR max", optics.DB(t.SNRMax), "dB")
	row("sensitivity threshold", t.LeastE, "e-")
	row("dynamic range", t.DynamicRange, "")
	row("dynamic range", optics.DB(t.DynamicRange), "dB")
	row("DSNU, scatter of the dark level", t.DSNUE, "e-")
	row("PRNU, scatter of the response", t.PRNUPct, "%")
	row("response", t.SlopeDNPerMS, "DN/ms")
	row("responsivity", t.DNPerPhoton, "DN/photon")
	row("quantum efficiency", 100*t.QuantumEfficiency, "%")
	return tab
}

func exposureTable(t *optics.Transfer) report.SheetTable {
	tab := report.SheetTable{Caption: "Exposures", Head: []string{"exposure / ms", "signal / DN", "variance / DN²", "SNR", "clipped / %", "off the line / %", "in the gain's fit"},
		Numeric: []bool{true, true, true, true, true, true, false}}
	for _, p := range t.Points {
		in := "no"
		if p.InFit {
			in = "yes"
		}
		off := "outside the range"
		if part.Num(p.DeviationPct) != nil {
			off = fmt.Sprintf("%+.2f", p.DeviationPct)
		}
		tab.Rows = append(tab.Rows, []string{cli.Shown4(p.TimeMS), cli.Shown4(p.SignalDN), cli.Shown4(p.VarDN2), cli.Shown(p.SNR, 1), fmt.Sprintf("%.2f", 100*p.ClippedShare), off, in})
	}
	return tab
}

func linearSection(_ Options, r cameraResult) (report.SheetSection, bool, error) {
	t := r.transfer
	if t == nil || cli.Finite(t.LinearityPct) == nil {
		return report.SheetSection{}, false, nil
	}
	sec := report.SheetSection{Heading: "Linearity", Text: []string{
		fmt.Sprintf("Departure from the line that makes the relative departures least, between 5 and 95 %% of saturation: %+.2f to %+.2f %%.", t.LinearityMinPct, t.LinearityMaxPct)}}
	if cli.Finite(t.SaturationDN) == nil {
		sec.Text = append(sec.Text, "The series does not reach saturation: the largest sample was taken in its place for the range.")
	}
	var x, y []float64
	for _, p := range t.Points {
		x, y = append(x, p.TimeMS), append(y, p.DeviationPct)
	}
	l := optics.DefaultCameraLimits().LinearityPct.Good
	svg, err := plots.Lines(plots.Options{X: "exposure / ms", Y: "off the line / %"}, []plots.Series{{Name: "departure", X: x, Y: y}},
		plots.HLine{Y: 0}, plots.HLine{Name: "good to", Y: l, Dash: true}, plots.HLine{Name: "good to", Y: -l, Dash: true})
	sec.Figures = []report.SheetFigure{{SVG: svg, Alt: fmt.Sprintf("Departure from a straight response by exposure, from %.2f to %.2f %%", t.LinearityMinPct, t.LinearityMaxPct), Caption: "How far each exposure is off a straight response."}}
	return sec, true, err
}
