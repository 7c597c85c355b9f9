package report

import (
	"fmt"
	"html/template"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/plots"
)

// mirrorView is the page's part on what the faceplate mirrors of a screen: the paint, the
// gloss and the slopes in one place, to change between them, and the waviness.
type mirrorView struct {
	Figures   []figure
	Sentences []string
	Plot      template.HTML // the waves' spectrum
	Octaves   []octaveRow
	Unit      string // of the variance
}

type octaveRow struct{ From, To, Variance string }

// newMirror takes its figures out of the others. It is nil where there is no screen.
func newMirror(r *part.Result, lists ...*[]figure) (*mirrorView, error) {
	m := r.Screen
	if m == nil {
		return nil, nil
	}
	v := &mirrorView{Unit: "rad²"}
	for _, file := range []string{whitePicture(r), part.GlossMap, part.SlopeMap} {
		for _, list := range lists {
			if i := slices.IndexFunc(*list, func(f figure) bool { return f.File == file }); i >= 0 {
				v.Figures = append(v.Figures, (*list)[i])
				*list = slices.Delete(*list, i, i+1)
			}
		}
	}
	relief := fmt.Sprintf("%.2f rad of the stripes' phase", m.RangeRad)
	if m.RangeMRad != nil {
		relief = fmt.Sprintf("%.2f mrad", *m.RangeMRad)
		v.Unit = "mrad²"
	}
	v.Sentences = append(v.Sentences, fmt.Sprintf("Gloss: white mirrors the stripes undisturbed, black not at all; %s of the face has lost half of it or more. Slopes: grey is the faceplate's own, lit from the upper left; white and black are %s off it.", part.Percent(m.LostGloss), relief))
	if m.PhaseRad == nil {
		v.Sentences = append(v.Sentences, "Waviness: not measured; too little of the face mirrors the screen.")
		return v, nil
	}
	least := ""
	if m.AtLeast {
		least = "at least "
	}
	waves := fmt.Sprintf("Waviness, 0.125 to 4 mm: %s%.2f ± %.2f rad of phase (root mean square)", least, *m.PhaseRad, 2**m.UPhaseRad)
	if m.SlopeMRad != nil {
		waves = fmt.Sprintf("Waviness, 0.125 to 4 mm: slope %s%.2f ± %.2f mrad (root mean square, Sdq)", least, *m.SlopeMRad, 2**m.USlopeMRad)
	} else {
		waves += "; for slopes the station file has to tell where the screen stands"
	}
	if m.MainMM != nil {
		waves += fmt.Sprintf(", most of it around %.2f mm", *m.MainMM)
	}
	v.Sentences = append(v.Sentences, waves+".")
	for _, o := range m.Octaves {
		v.Octaves = append(v.Octaves, octaveRow{fmt.Sprintf("%.3g", o.FromMM), fmt.Sprintf("%.3g", o.ToMM), fmt.Sprintf("%.3g", o.Variance)})
	}
	svg, err := plots.Lines(plots.Options{X: "wavelength / mm", Y: "slope variance per octave / " + v.Unit, LogX: true, HeightMM: 60}, []plots.Series{{X: m.WaveMM, Y: m.PerOctave}})
	if err != nil {
		return nil, fmt.Errorf("report: the waves' spectrum: %w", err)
	}
	v.Plot = template.HTML(svg)
	return v, nil
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
