package grade

import (
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

func TestEveryKindHasARemedyAtEveryStage(t *testing.T) {
	for _, st := range part.Stages {
		seen := map[string]part.Kind{}
		for _, k := range part.Kinds {
			for _, v := range []float64{80, -80} {
				if k != part.Step && v < 0 {
					continue
				}
				p := Remedy(k, st, part.Finding{Kind: k, ValueUM: part.Num(v)})
				s := lang.English().Say(&p)
				if p.Key == "remedy.other" || s == p.Key || strings.Contains(s, "\n") || len(s) > 200 || !strings.HasSuffix(s, ".") {
					t.Errorf("%s, %s: %d characters: %q; want a line of its own", k, st, len(s), s)
				}
				if other, ok := seen[s]; ok {
					t.Errorf("%s: %s and %s share a remedy", st, k, other)
				}
				seen[s] = k
				cautions(t, k, st, s)
			}
		}
	}
}

// Where the work can hurt, the line says so.
func cautions(t *testing.T, k part.Kind, st part.Stage, s string) {
	t.Helper()
	low := strings.ToLower(s)
	work := strings.NewReplacer("do not sand", "", "coarse abrasive", "").Replace(low) // no sanding there
	for _, w := range []string{"abrasive", "cut back", "sand ", "trim the", "trim flush", "cut flush", "roughen"} {
		if strings.Contains(work, w) && !strings.Contains(low, "mask") {
			t.Errorf("%s, %s: %q, but nothing about dust: %q", k, st, w, s)
		}
	}
	for _, w := range []string{" set it", " cure", "lacquer again and cure", "fill with adhesive"} {
		if strings.Contains(low, w) && !strings.Contains(low, "lamp") {
			t.Errorf("%s, %s: %q, but nothing about the lamp: %q", k, st, w, s)
		}
	}
	if st == part.Wet && !strings.Contains(s, "gloves") {
		if k != part.OrangePeel || strings.Contains(low, "wipe") {
			t.Errorf("%s, wet: nothing about gloves: %q", k, s)
		}
	}
}

func TestRemedyFitsTheStage(t *testing.T) {
	proud, recessed := part.Finding{ValueUM: part.Num(80)}, part.Finding{ValueUM: part.Num(-80)}
	for _, c := range []struct {
		kind part.Kind
		st   part.Stage
		f    part.Finding
		want string
	}{
		{part.Bubble, part.Wet, part.Finding{}, "Prick"},
		{part.Bubble, part.Cured, part.Finding{}, "Cut back"},
		{part.Step, part.Trim, proud, "Sand"},
		{part.Step, part.Trim, recessed, "Do not sand"},
		{part.Step, part.Cured, recessed, "Replace"},
		{part.Step, part.Wet, part.Finding{}, "direction is not known"},
		{"dent", part.Wet, part.Finding{}, "no remedy on file"},
	} {
		p := Remedy(c.kind, c.st, c.f)
		if s := lang.English().Say(&p); !strings.Contains(s, c.want) {
			t.Errorf("%s, %s: %q, want %q in it", c.kind, c.st, s, c.want)
		}
	}
}

func TestAdviceBeyondRework(t *testing.T) {
	for _, c := range []struct {
		step float64
		want string
	}{{92, "Cut the faceplate's edge back"}, {-92, "Replace the faceplate"}, {600, "Replace the faceplate"}} {
		r := unit(part.Cured)
		r.Seam.Stations[0] = station(120, part.Left, c.step, 1)
		Judge(r, DefaultLimits())
		if s := r.Findings[0].Advice; !strings.Contains(s, c.want) {
			t.Errorf("step of %v um: %q, want %q in it", c.step, s, c.want)
		}
	}
}

func TestAdviceForWhatDoesNotMatter(t *testing.T) {
	r := unit(part.Wet)
	r.Findings = []part.Finding{spot(part.Dust, 0.05, 300, 300)}
	Judge(r, DefaultLimits())
	if s := r.Findings[0].Advice; !strings.Contains(s, "leave it") {
		t.Errorf("dust of 0.05 mm: %q, want it left alone", s)
	}
}
