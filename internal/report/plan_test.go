package report

import (
	"os"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// What the page says at its head never contradicts its verdict nor what is below. Package grade's test
// of the same name holds the plan itself. With FINISHBENCH_LONG 5000 results.
func TestPlansNeverContradict(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	limits := grade.DefaultLimits()
	n := 1000
	if os.Getenv("FINISHBENCH_LONG") != "" {
		n = 5000
	}
	for seed := range n {
		r := synth.Result(uint64(seed))
		grade.Judge(r, limits)
		for _, l := range append(all.All(), lang.English()) {
			v := newPageView(PageInput{Result: r, Lang: l, LimitsProudUM: 50, LimitsRecessedUM: 50})
			wrong := func(format string, a ...any) {
				t.Errorf("result %d, %s, %s: "+format, append([]any{seed, l.Tag, r.Verdict}, a...)...)
			}
			if (r.Verdict == part.Pass) != (len(v.Plan.Steps) == 0) || len(v.Plan.Steps) != len(r.Plan.Steps) || v.Passes != (r.Verdict == part.Pass) {
				wrong("%d steps of %d", len(v.Plan.Steps), len(r.Plan.Steps))
			}
			for i, s := range v.Plan.Steps {
				own := r.Plan.Steps[i]
				if s.Do != own.Do && s.Do != l.Say(&own.DoPhrase) || s.Why != own.Why && s.Why != l.Say(&own.WhyPhrase) || strings.ContainsAny(s.Do+s.Why, "{}@") {
					wrong("step %d is not the plan's: %+v", i+1, s)
				}
				for _, q := range s.Refs {
					if !slices.ContainsFunc(v.Findings, func(f findingView) bool { return f.Number == q.Number && f.ID == q.ID }) {
						wrong("step %d leads to finding %d, which is not on the page", i+1, q.Number)
					}
				}
			}
			if (v.Plan.Care == "") != (len(r.Plan.Care()) == 0) {
				wrong("care %q of %v", v.Plan.Care, r.Plan.Care())
			}
			for _, u := range wordsOf(l).sentences(r.Plan.Unseen, r.Plan.UnseenPhrases) { // told once
				if !slices.Contains(v.Plan.Unseen, u) && !slices.Contains(v.Reasons, u) && !slices.Contains(v.MoreReasons, u) {
					wrong("not told: %s", u)
				}
			}
			looked := slices.ContainsFunc(r.Surfaces, func(s part.Surface) bool { return !s.Unsearched() })
			if (v.NoFinding == l.T("page.findings_unseen")) == looked {
				wrong("a surface was looked at: %v, and of findings it says %q", looked, v.NoFinding)
			}
			measured := slices.ContainsFunc(r.Seam.Stations, func(s part.StepStation) bool { return s.State == part.Measured })
			if worst := v.Facts[1].Value; (worst == dash) == measured {
				wrong("a station was measured: %v, and the largest step is %q", measured, worst)
			}
			if v.Passes && v.NoReason == l.T("page.no_reason") && !(measured && looked) {
				wrong("what was not looked at is within its limits: %q", v.NoReason)
			}
		}
		if t.Failed() && seed > 200 {
			t.Fatal("and maybe more")
		}
	}
}
