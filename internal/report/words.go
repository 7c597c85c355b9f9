package report

import (
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// words are what a unit's page says, in one language. What is drawn into pictures is English.
type words struct{ *lang.Lang }

func english() words { return words{lang.English()} }

// wordsOf is a page's language; nil: English.
func wordsOf(l *lang.Lang) words {
	if l == nil {
		return english()
	}
	return words{l}
}

// sentences are what a result says, by its phrases; in English, and of a result without phrases,
// as it has them.
func (x words) sentences(said []string, phrases []part.Phrase) []string {
	if x.Lang == lang.English() || len(phrases) != len(said) {
		return said
	}
	return x.SayAll(phrases)
}

// sentence is one of them.
func (x words) sentence(said string, p *part.Phrase) string {
	if p == nil {
		return said
	}
	return x.sentences([]string{said}, []part.Phrase{*p})[0]
}

// word is a word of this program; what the languages do not have stays as it is.
func (x words) word(prefix, word string) string {
	if x.Has(prefix + word) {
		return x.T(prefix + word)
	}
	return strings.ReplaceAll(word, "_", " ")
}

func (x words) kind(k part.Kind) string         { return x.word("page.kind.", string(k)) }
func (x words) severity(s part.Severity) string { return x.word("severity.", string(s)) }
func (x words) side(s part.Side) string         { return x.word("limb.", string(s)) }
func (x words) stage(s part.Stage) string       { return x.word("page.stage.", string(s)) }
func (x words) zone(z part.Zone) string         { return x.word("page.zone.", string(z)) }
func (x words) problem(name string) string      { return x.word("problem_word.", name) }

func (x words) verdict(v part.Verdict) string { return x.T("page.verdict." + verdictKey(v)) }

// verdictLine says in a line what a verdict asks for.
func (x words) verdictLine(v part.Verdict) string { return x.T("page.call." + verdictKey(v)) }

// verdictKey is a verdict; a word that is none counts as not measured.
func verdictKey(v part.Verdict) string {
	if !slices.Contains([]part.Verdict{part.Pass, part.Rework, part.Reject}, v) {
		v = part.NotMeasured
	}
	return string(v)
}

func (x words) light(l part.Light) string {
	if l == part.Back {
		return x.T("page.light_back")
	}
	return x.word("light.", string(l))
}

// inLight is a pose with the light that it is seen in.
func (x words) inLight(pose string, l part.Light) string {
	if l == part.NoLight {
		return pose
	}
	return x.T("page.in_light", "pose", pose, "light", x.light(l))
}

// stepStation is where a finding at the seam lies; English has it as the result does.
func (x words) stepStation(s string) string {
	angle, side, ok := strings.Cut(s, " deg, ")
	if !ok {
		return s
	}
	return x.T("seam.at", "angle_deg", angle, "side", x.side(part.Side(side)))
}

// picture says which picture this is, in words: "edge 120°", "face, raking
// light", "shell, turned by 90°, diffuse light", or the file's name.
func (x words) picture(r *part.Result, file string) string {
	for i := range r.Seam.Stations {
		if s := &r.Seam.Stations[i]; s.Image == file {
			return x.pose(part.Edge, s.AngleDeg)
		}
	}
	for i := range r.Pictures {
		p := &r.Pictures[i]
		if p.File != file || p.View == "" || p.View == part.Edge {
			continue
		}
		return x.inLight(x.pose(p.View, p.AngleDeg), p.Light)
	}
	switch file {
	case part.GlossMap:
		return x.T("page.gloss_map")
	case part.SlopeMap:
		return x.T("page.slope_map")
	}
	return file
}

// pose is how the unit stands in a picture: "edge 120°", "face", "shell, turned by
// 90°".
func (x words) pose(v part.View, angleDeg float64) string {
	if v == part.Edge || v == part.Shell {
		return x.T("page.pose."+string(v), "turn_deg", trimNumber(angleDeg, 1))
	}
	return x.word("view.", string(v))
}

// pictureAlt describes an annotated picture for those who do not see it.
func (x words) pictureAlt(r *part.Result, a PagePicture) string {
	var marked []string
	for i := range r.Findings {
		f := &r.Findings[i]
		if _, ok := boxIn(f, a.File); !ok {
			continue
		}
		if len(marked) == 12 {
			marked = append(marked, x.T("page.alt.more"))
			break
		}
		marked = append(marked, strconv.Itoa(f.Number)+" "+x.kind(f.Kind))
	}
	s := x.T("page.alt.picture", "file", a.File, "name", x.picture(r, a.File))
	if len(marked) > 0 {
		s += x.T("page.alt.marked", "marked", strings.Join(marked, x.T("looked.comma")))
	}
	for i := range r.Seam.Stations {
		if t := &r.Seam.Stations[i]; t.Image == a.File {
			s += x.T("page.alt.step", "side", x.side(t.Side), "step", x.stepStationLabel(t))
		}
	}
	if len(marked) == 0 {
		s += x.T("page.alt.none")
	}
	if a.Hatched {
		s += x.T("page.alt.hatched")
	}
	return s + x.T("page.alt.end")
}

// cropAlt describes a finding's detail.
func (x words) cropAlt(f *part.Finding, r *part.Result, c Crop) string {
	bar := ""
	if c.BarMM > 0 {
		bar = x.T("page.alt.bar", "bar_mm", mmText(c.BarMM))
	}
	return x.T("page.alt.crop", "n", strconv.Itoa(f.Number), "kind", x.kind(f.Kind), "file", c.File, "name", x.picture(r, c.File), "bar", bar)
}

// cautions are those of a unit's page: what a pass does not say first.
func (x words) cautions() []string {
	var out []string
	for _, n := range []string{"5", "1", "2", "3", "6"} {
		out = append(out, x.T("cautions."+n))
	}
	return out
}
