package grade

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// ringed is a unit at a stage with two stations a picture, turned by 0, 30, ... 150 deg, whose
// steps follow a curve, u = 1 um; the curve of steps is that of package seam.
func ringed(st part.Stage, turns int, step func(deg float64) float64) *part.Result {
	r := unit(st)
	r.Seam.Stations = nil
	for i := range turns {
		a := float64(30 * i)
		r.Seam.Stations = append(r.Seam.Stations, station(a, part.Left, step(a+180), 1), station(a, part.Right, step(a), 1))
	}
	r.Seam.Shape = seam.ShapeOf(r.Seam.Stations)
	Judge(r, DefaultLimits())
	return r
}

func cosDeg(d float64) float64 { return math.Cos(d * math.Pi / 180) }

// The limit for a step is 50 um as shipped; what is over it follows from each curve by hand.
func TestSeamHasOneCause(t *testing.T) {
	type want struct{ reason, advice string }
	for name, c := range map[string]struct {
		turns int
		step  func(deg float64) float64
		want  want
	}{
		// 84 cos(d - 40): 82.7 at 30 deg, the least opposite; over 30 um, where minor begins, at 0, 30, 60, 90 deg and opposite.
		"off-centre": {6, func(d float64) float64 { return 84 * cosDeg(d-40) }, want{
			"off-centre by 84 um towards 40 deg: proud by 83 um at 30 deg, right (limit 50 um) and recessed by 83 um at 30 deg, left " +
				"(limit 50 um) (8 stations over their limits); sanding the proud side flush leaves the other recessed",
			"glue it again, centred; or fill with adhesive on the side towards 220 deg"}},
		// 30 + 50 cos(d - 90): 80 at most, -20 at least.
		"off-centre, proud side alone": {6, func(d float64) float64 { return 30 + 50*cosDeg(d-90) }, want{
			"off-centre by 50 um towards 90 deg: proud by 80 um at 90 deg, right (limit 50 um)",
			"flush with the shell on the side towards 90 deg"}},
		// -30 + 50 cos(d - 90): the opposite.
		"off-centre, recessed side alone": {6, func(d float64) float64 { return -30 + 50*cosDeg(d-90) }, want{
			"off-centre by 50 um towards 90 deg: recessed by 80 um at 90 deg, left (limit 50 um)",
			"Do not sand: the faceplate lies lower on the side towards 270 deg"}},
		"proud": {6, func(d float64) float64 { return 70 + 10*cosDeg(d) }, want{
			"proud all round, by 70 um on average: proud by 80 um at 0 deg, right (limit 50 um)", "flush with the shell all round"}},
		"recessed": {6, func(d float64) float64 { return -70 + 10*cosDeg(d) }, want{
			"recessed all round, by 70 um on average: recessed by 80 um at 0 deg, left (limit 50 um)",
			"Do not sand: the faceplate lies lower all round"}},
		// 60 cos 2(d - 30): 60 at 30 and 210, -60 at 120 and 300.
		"oval": {6, func(d float64) float64 { return 60 * cosDeg(2*(d-30)) }, want{
			"oval by 60 um, proud towards 30 and 210 deg: proud by 60 um at 30 deg, left (limit 50 um) and recessed by 60 um at 120 deg, " +
				"left (limit 50 um)", "recessed on the sides towards 120 and 300 deg"}},
		"one place": {6, func(d float64) float64 {
			if d == 120 {
				return 75
			}
			return 3 * cosDeg(3*d) // within what is stated
		}, want{"at one place alone: proud by 75 um at 120 deg, right (limit 50 um)", "flush with the shell at that place alone"}},
		// One picture: what lies across its direction is not known.
		"one picture": {1, func(d float64) float64 { return 12.5 + 83.5*cosDeg(d) }, want{
			"off-centre by at least 83 um towards 0 deg: proud by 96 um at 0 deg, right (limit 50 um) and recessed by 71 um at 0 deg, " +
				"left (limit 50 um)", "Do not sand it flush"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := ringed(part.Trim, c.turns, c.step)
			if len(r.Reasons) == 0 || !strings.HasPrefix(r.Reasons[0], c.want.reason) {
				t.Errorf("reasons %q, want %q", r.Reasons, c.want.reason)
			}
			for _, s := range r.Reasons {
				if strings.Contains(s, "more stations") {
					t.Errorf("twelve lines again: %q", r.Reasons)
				}
			}
			for _, f := range r.Findings {
				if f.Kind != part.Step {
					continue
				}
				if !strings.Contains(f.Advice, c.want.advice) {
					t.Errorf("advice %q, want %q", f.Advice, c.want.advice)
				}
				if !strings.Contains(f.Advice, lang.English().T("care.dusty")) {
					t.Errorf("no caution of dust: %q", f.Advice)
				}
			}
			if r.Verdict != part.Rework {
				t.Errorf("verdict %s", r.Verdict)
			}
		})
	}
}

// Where a step is recessed over its limit and not left as it is, no advice says to sand the edge flush, whatever
// the cause, the stage and the limits of rework; and no step of a plan sands what is recessed before it was filled.
func TestRecessedIsNeverSandedFlush(t *testing.T) {
	for _, st := range part.Stages {
		for mean := -120.0; mean <= 120; mean += 60 {
			for _, off := range []float64{0, 110} {
				for _, oval := range []float64{0, 70} {
					for _, turns := range []int{1, 6} {
						r := ringed(st, turns, func(d float64) float64 { return mean + off*cosDeg(d-70) + oval*cosDeg(2*d) })
						recessed := false
						for _, f := range r.Findings {
							recessed = recessed || f.Kind == part.Step && *f.ValueUM < 0
						}
						stays := true
						for _, f := range r.Findings {
							stays = stays && (f.Kind != part.Step || *f.ValueUM > 0 || slices.Contains(r.Plan.MayStay, f.Number))
						}
						filled := map[int]bool{}
						for _, s := range r.Plan.Steps {
							for _, n := range s.Findings {
								f := r.Findings[n-1]
								if s.Key != part.PlanFlush && s.Key != part.PlanCutBack && strings.Contains(s.Do, "Do not sand") {
									filled[n] = true
								} else if f.Kind == part.Step && *f.ValueUM < 0 && !filled[n] {
									t.Errorf("%s, mean %g, offset %g, oval %g, %d pictures: %s of finding %d, recessed: %q", st, mean, off,
										oval, turns, s.Key, n, s.Do)
								}
							}
						}
						for _, f := range r.Findings {
							says := strings.Contains(f.Advice, "Do not sand")
							if f.Kind == part.Step && !slices.Contains(r.Plan.MayStay, f.Number) && (recessed && !stays) != says &&
								f.AdvicePhrase.Key != "beyond.step_proud" {
								t.Errorf("%s, mean %g, offset %g, oval %g, %d pictures: %q", st, mean, off, oval, turns, f.Advice)
							}
						}
					}
				}
			}
		}
	}
}

// A cause goes with each step's finding, and with no other's; judging again changes nothing.
func TestSeamCauseGoesWithSteps(t *testing.T) {
	r := ringed(part.Trim, 6, func(d float64) float64 { return 84 * cosDeg(d-40) })
	first := fmt.Sprint(r.Reasons)
	r.Findings = append(r.Findings, spot(part.Dust, 0.5, 300, 300))
	Judge(r, DefaultLimits())
	if got := fmt.Sprint(r.Reasons); got != first {
		t.Errorf("judged again: %s, first %s", got, first)
	}
	all, _, _, _ := weighAll(r, DefaultLimits())
	for i, w := range all {
		if (w.seam != nil) != (w.Kind == part.Step) {
			t.Errorf("finding %d, %s: cause %+v", i, w.Kind, w.seam)
		}
	}
}

// A bead at neighbouring stations is one, also across turn 0; at others they are counted. The limits for a
// bead are 20, 40 and 80 um as shipped.
func TestBeadIsOne(t *testing.T) {
	for want, beads := range map[string]map[float64]float64{
		"glue bead 97 um high at 0 deg, right (limit 80 um) (one, from 330 to 30 deg)":      {0: 97, 30: 81, 330: 85},
		"glue bead 97 um high at 0 deg, right (limit 80 um) (2 stations over their limits)": {0: 97, 90: 81},
		"glue bead 97 um high at 0 deg, right (limit 80 um)":                                {0: 97},
		"glue bead 99 um high at 60 deg, right (limit 80 um) (at all stations)": {0: 97, 30: 97, 60: 99, 90: 97, 120: 97, 150: 97,
			180: 97, 210: 97, 240: 97, 270: 97, 300: 97, 330: 97},
	} {
		r := ringed(part.Trim, 6, func(float64) float64 { return 0 })
		for i := range r.Seam.Stations {
			s := &r.Seam.Stations[i]
			s.BeadUM = part.Num(beads[s.AroundDeg()])
		}
		Judge(r, DefaultLimits())
		verdict(t, r, part.Rework, want)
	}
}
