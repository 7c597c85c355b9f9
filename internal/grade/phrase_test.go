package grade

import (
	"maps"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Every language has each phrase of a judged result, with a place for all that goes into it.
func TestPhrasesHaveTheirPlaces(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	var look func(p part.Phrase)
	look = func(p part.Phrase) {
		seen[p.Key] = true
		for _, x := range all.All() {
			if !x.Has(p.Key) {
				t.Errorf("%s has no text %s", x.Tag, p.Key)
			}
			for name, v := range p.Args {
				q := part.Phrase{Key: p.Key, Args: maps.Clone(p.Args)}
				q.Args[name] = "<here>"
				if s := x.Say(&q); !strings.Contains(s, "<here>") && name != "n" { // a plural form may do without its number
					t.Errorf("%s: %s has no place {%s} for %q: %s", x.Tag, p.Key, name, v, s)
				}
				if key, ok := strings.CutPrefix(v, "@"); ok && !x.Has(key) {
					t.Errorf("%s has no word %s", x.Tag, key)
				}
			}
			for name := range p.Parts {
				if s := x.Say(&part.Phrase{Key: p.Key, Parts: map[string][]part.Phrase{name: {part.Text("<here>")}}}); !strings.Contains(s, "<here>") {
					t.Errorf("%s: %s has no place {%s}: %s", x.Tag, p.Key, name, s)
				}
			}
		}
		for _, parts := range p.Parts {
			for _, q := range parts {
				look(q)
			}
		}
	}
	for _, st := range append(part.Stages, "unknown") {
		for _, step := range []float64{0, 40, 48, 92, -92, 300, -300} {
			for _, shape := range []*part.SeamShape{nil, {MeanUM: part.Num(step), UMeanUM: part.Num(1)}, {OffCentreUM: part.Num(90), TowardsDeg: part.Num(40)}, {OvalUM: part.Num(90), OvalDeg: part.Num(10)},
				{AlongUM: part.Num(90), UAlongUM: part.Num(2), AlongDeg: part.Num(30)}} {
				r := unit(st)
				r.Seam.Shape = shape
				r.Seam.Stations = []part.StepStation{station(0, part.Left, step, 4), station(0, part.Right, -step, 4), station(90, part.Left, step, 4), station(90, part.Right, 0, 4)}
				r.Seam.Stations[0].GapUM, r.Seam.Stations[2].GapUM, r.Seam.Stations[3].BeadUM = part.Num(150), part.Num(150), nil
				for i, k := range part.Kinds[:10] {
					f := spot(k, 0.1*float64(i+1), 100*float64(i), 300)
					f.Zone, f.Lines = part.Zones[i%len(part.Zones)], 9*i
					r.Findings = append(r.Findings, f)
				}
				r.Pictures = append(r.Pictures, part.PictureReport{File: "edge_000.jpg", View: part.Edge, State: part.PictureNoOK, Problems: []part.Problem{{Name: "too_dark", Remedy: "light"}, {Name: "moved"}}})
				r.Surfaces = append(r.Surfaces, part.Surface{View: part.Shell, AngleDeg: 90, LookedAt: 0.1, OneLight: 0.2, NotLookedAt: 0.7, Why: map[part.Why]float64{part.Steep: 0.5}}, part.UnsearchedSurface(part.Shell, 0))
				l := DefaultLimits()
				l.LookedAt = append(l.LookedAt, LookedAt{Stages: part.Stages, Views: []part.View{part.Shell}, Least: 0.5})
				Judge(r, l)
				for _, p := range append(r.ReasonPhrases, r.WarningPhrases...) {
					look(p)
				}
				for _, f := range r.Findings {
					look(*f.AdvicePhrase)
				}
				for _, p := range r.LookedAtPhrases() {
					look(p)
				}
			}
		}
	}
	if len(seen) < 60 {
		t.Errorf("only %d texts were looked at", len(seen))
	}
}
