package report

import (
	"encoding/xml"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// Each step that has places has its number in the sketch, and no other number of a step is there.
// FINISHBENCH_SKETCHES names a folder to look at some in.
func TestPlanSketch(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_SKETCHES")
	drawn := 0
	for seed := range 300 {
		r := synth.Result(uint64(seed))
		grade.Judge(r, grade.DefaultLimits())
		svg, err := PlanSketch(r, r.Plan, lang.English(), nil)
		if err != nil {
			t.Fatalf("result %d: %v", seed, err)
		}
		if (svg == nil) != (r.Verdict == part.Pass || r.Verdict == part.NotMeasured) {
			t.Errorf("result %d, %s: %d bytes", seed, r.Verdict, len(svg))
		}
		if svg == nil {
			continue
		}
		drawn++
		if err := xml.Unmarshal(svg, new(struct{ XMLName xml.Name })); err != nil {
			t.Fatalf("result %d: %v", seed, err)
		}
		for i, s := range r.Plan.Steps {
			label := func(n string) bool {
				return strings.Contains(string(svg), ">"+n+"<") || strings.Contains(string(svg), ">"+n+", ") ||
					strings.Contains(string(svg), ", "+n+"<")
			}
			if len(s.Stations) > 0 && !label(fmt.Sprint(i+1)) {
				t.Errorf("result %d: step %d is at %v, and not in the sketch", seed, i+1, s.Stations)
			}
		}
		if dir != "" && drawn <= 24 {
			page := fmt.Sprintf(`<body style="background:#fff"><style>%s</style>%s<pre style="white-space:pre-wrap">%s</pre>`,
				cssRoot()+styleCSS, svg, planText(r))
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("sketch-%03d.html", seed)), []byte(page), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func planText(r *part.Result) string {
	var b strings.Builder
	for i, s := range r.Plan.Steps {
		fmt.Fprintf(&b, "%d %s %v\n", i+1, s.Do, s.Findings)
	}
	return b.String()
}
