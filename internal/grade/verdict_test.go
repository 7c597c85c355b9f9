package grade

import (
	"encoding/json"
	"math"
	"testing"

	"finishbench/internal/part"
)

func TestReworkOrReject(t *testing.T) {
	for _, c := range []struct {
		name  string
		stage part.Stage
		step  float64
		want  part.Verdict
	}{
		// Proud is sanded off up to 500 um before lacquer, 200 um after.
		{"proud, trim", part.Trim, 92, part.Rework}, {"proud at the reserve", part.Trim, 500, part.Rework}, {"proud beyond the reserve", part.Trim, 501, part.Reject},
		{"proud, cured", part.Cured, 92, part.Rework}, {"far proud, cured", part.Cured, 201, part.Reject},
		// Recessed is filled up to 150 um after trimming, 80 um when wet, not
		// once cured; it is never sanded.
		{"recessed, trim", part.Trim, -92, part.Rework}, {"deep, trim", part.Trim, -151, part.Reject},
		{"recessed, wet", part.Wet, -60, part.Rework}, {"deep, wet", part.Wet, -81, part.Reject},
		{"recessed, cured", part.Cured, -60, part.Reject},
		// 45 um is moderate: 10 demerits, under the score's limit.
		{"a little recessed, cured", part.Cured, -45, part.Pass},
	} {
		r := unit(c.stage)
		r.Seam.Stations[0] = station(120, part.Left, c.step, 0.1)
		Judge(r, DefaultLimits())
		if r.Verdict != c.want {
			t.Errorf("%s: %s, want %s (%q)", c.name, r.Verdict, c.want, r.Reasons)
		}
	}
}

func TestRejectSaysWhy(t *testing.T) {
	r := unit(part.Cured)
	r.Seam.Stations[0] = station(120, part.Left, -92, 1.8)
	r.Seam.Stations[1] = station(120, part.Right, 95, 1.8)
	Judge(r, DefaultLimits())
	verdict(t, r, part.Reject,
		"off-centre by at least 94 um towards 120 deg: proud by 95 um at 120 deg, right (limit 50 um) and recessed by 92 um at 120 deg, left (limit 50 um);"+
			" rework cannot mend it once cured; sanding the proud side flush leaves the other recessed")
}

// What cannot be mended may add up: three steps of 45 um, recessed and cured,
// have 30 demerits that no rework takes away.
func TestManySmallThatCannotBeMended(t *testing.T) {
	r := unit(part.Cured)
	r.Seam.Stations = []part.StepStation{station(0, part.Left, -45, 0.1), station(0, part.Right, -45, 0.1), station(90, part.Left, -45, 0.1)}
	Judge(r, DefaultLimits())
	if r.Verdict != part.Reject {
		t.Errorf("verdict %s, want reject (%q)", r.Verdict, r.Reasons)
	}
	r = unit(part.Trim)
	r.Seam.Stations = []part.StepStation{station(0, part.Left, -45, 0.1), station(0, part.Right, -45, 0.1), station(90, part.Left, -45, 0.1)}
	Judge(r, DefaultLimits())
	if r.Verdict != part.Rework {
		t.Errorf("trim: verdict %s, want rework (%q)", r.Verdict, r.Reasons)
	}
}

// A chip is filled up to 0.5 mm once lacquered.
func TestChip(t *testing.T) {
	for size, want := range map[float64]part.Verdict{0.15: part.Pass, 0.5: part.Rework, 0.6: part.Reject} {
		r := unit(part.Cured)
		r.Findings = []part.Finding{spot(part.Chip, size, 300, 300)}
		Judge(r, DefaultLimits())
		if r.Verdict != want {
			t.Errorf("chip of %v mm: %s, want %s (%q)", size, r.Verdict, want, r.Reasons)
		}
	}
}

// The limit of the score is 20: twenty minor findings pass, twenty-one do not.
// They lie 3 mm apart, so that they are no cluster.
func TestScoreAtItsLimit(t *testing.T) {
	for n, want := range map[int]part.Verdict{20: part.Pass, 21: part.Rework} {
		r := unit(part.Wet)
		for i := range n {
			r.Findings = append(r.Findings, spot(part.Dust, 0.12, 100+200*float64(i%6), 100+200*float64(i/6)))
		}
		Judge(r, DefaultLimits())
		num(t, "score", r.Score, float64(n))
		if r.Verdict != want {
			t.Errorf("%d minor findings: %s, want %s", n, r.Verdict, want)
		}
		if want == part.Rework {
			verdict(t, r, want, "score 21 is over its limit of 20 (21 minor)")
		}
	}
}

func TestNothingMeasured(t *testing.T) {
	r := &part.Result{Stage: part.Wet, MMPerPX: 0.015}
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, "no picture: nothing was measured")
	if r.Score != nil || r.Seam.WorstStepUM != nil {
		t.Errorf("score %v, worst step %v, want neither", show(r.Score), show(r.Seam.WorstStepUM))
	}

	r = unit(part.Wet)
	for i := range r.Pictures {
		r.Pictures[i].State = part.PictureNoOK
		r.Pictures[i].Problems = []part.Problem{{Name: "even_light", Warn: true, Remedy: "only told"}, {Name: "too_dark", Remedy: "more light: the unit is at 2 %, limit 5 %"}}
	}
	for i := range r.Seam.Stations {
		r.Seam.Stations[i] = part.StepStation{Image: "edge_120.jpg", AngleDeg: 120, Side: part.Left, State: part.Unmeasured, Reason: "picture"}
	}
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured,
		"edge_120.jpg, face_diffuse.jpg, face_raking.jpg are not fit to measure: too dark (more light: the unit is at 2 %, limit 5 %)")
	if r.Score != nil || r.Seam.WorstStepUM != nil {
		t.Errorf("score %v, worst step %v, want neither", show(r.Score), show(r.Seam.WorstStepUM))
	}
}

// A view of which there are only pictures that are read and not looked into is
// missing; beside others they change nothing. Alone they are no measurement.
func TestOnlyRead(t *testing.T) {
	only := part.Problem{Name: part.NotLookedAt, Warn: true, Remedy: "look by eye"}
	white := part.PictureReport{File: "face_white.jpg", View: part.Face, Light: part.White, State: part.PictureOK, Problems: []part.Problem{only}}
	turn := part.PictureReport{File: "shell_045_raking.jpg", View: part.Shell, Light: part.Raking, State: part.PictureOK, Problems: []part.Problem{only}}

	r := unit(part.Wet)
	Judge(r, DefaultLimits())
	beside := unit(part.Wet)
	beside.Pictures = append(beside.Pictures, white, turn)
	Judge(beside, DefaultLimits())
	if beside.Verdict != r.Verdict || *beside.Score != *r.Score || len(beside.Findings) != 0 {
		t.Errorf("with pictures that are only read: %s, %q", beside.Verdict, beside.Reasons)
	}

	r = unit(part.Wet)
	r.Pictures = append(r.Pictures[:1], white)
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, "no face picture that is looked into (face_diffuse or face_raking): the faceplate was not looked at")

	r = &part.Result{Stage: part.Wet, MMPerPX: 0.015, Pictures: []part.PictureReport{white, turn}}
	Judge(r, DefaultLimits())
	if r.Verdict != part.NotMeasured || r.Score != nil {
		t.Errorf("only read: %s, score %v", r.Verdict, show(r.Score))
	}
}

// With less of the face looked at than the limit asks for (0.75, shipped), in one
// light or both, a unit is not measured; what was found stands, and at its limit
// it passes.
func TestTooLittleLookedAt(t *testing.T) {
	seen := func(st part.Stage, both, one float64) *part.Result {
		r := unit(st)
		r.Surfaces = []part.Surface{{View: part.Face, LookedAt: both, OneLight: one, NotLookedAt: 1 - both - one}}
		return r
	}
	remedy := "move the lamp, turn the unit, or use a softer light, then photograph it again"
	for _, c := range []struct {
		st        part.Stage
		both, one float64
		want      part.Verdict
		told      string
	}{
		{part.Wet, 0.5, 0.25, part.Pass, "Looked at 50 % of the face in both lights, 25 % in one, 25 % not at all"},
		{part.Wet, 0.5, 0.249, part.NotMeasured, "only 74.9 % of the face could be looked at, at least 75 % is asked for: " + remedy},
		{part.Cured, 0.1, 0, part.NotMeasured, "only 10 % of the face could be looked at, at least 75 % is asked for: " + remedy},
		{part.Trim, 0.1, 0, part.Pass, "Looked at 10 % of the face in both lights, 90 % not at all"},
	} {
		r := seen(c.st, c.both, c.one)
		Judge(r, DefaultLimits())
		if r.Verdict != c.want || len(r.Reasons) != 1 || r.Reasons[0] != c.told {
			t.Errorf("%s, %g and %g: %s, %q; want %s, %q", c.st, c.both, c.one, r.Verdict, r.Reasons, c.want, c.told)
		}
	}

	r := seen(part.Wet, 0.5, 0)
	r.Seam.Stations[0] = station(120, part.Left, 92, 1.8)
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "proud by 92 um at 120 deg, left (limit 50 um)", "only 50 % of the face could be looked at, at least 75 % is asked for: "+remedy)
}

// A surface at which nothing looked is told once: by its picture that was not fit,
// by its view that is missing, else by itself.
func TestSurfaceNotSearched(t *testing.T) {
	l := DefaultLimits()
	l.LookedAt = append(l.LookedAt, LookedAt{Stages: part.Stages, Views: []part.View{part.Shell}, Least: 0.5})

	r := unit(part.Wet)
	r.Surfaces = append(r.Surfaces, part.UnsearchedSurface(part.Shell, 0), part.UnsearchedSurface(part.Shell, 45))
	Judge(r, l)
	verdict(t, r, part.NotMeasured, "the shell at 0 deg was not looked at (at least 50 % is asked for): look at it by eye",
		"the shell at 45 deg was not looked at (at least 50 % is asked for): look at it by eye")

	// Over all turns, where that is known: each shows but a part of it.
	r = unit(part.Wet)
	turn := part.Surface{View: part.Shell, LookedAt: 0.3, NotLookedAt: 0.7}
	r.Surfaces, r.Shell = append(r.Surfaces, turn, part.UnsearchedSurface(part.Shell, 45)), &part.ShellMap{LookedAt: 0.6}
	Judge(r, l)
	if r.Verdict != part.Pass {
		t.Errorf("looked at 60 %% of the shell: %s, %q", r.Verdict, r.Reasons)
	}
	r.Shell.LookedAt = 0.4
	Judge(r, l)
	verdict(t, r, part.NotMeasured, "only 40 % of the shell could be looked at, at least 50 % is asked for: move the lamp, turn the unit, or use a softer light, then photograph it again")

	// And where the shell is asked for, a unit without its pictures is not measured.
	need := DefaultLimits()
	need.Required = append(need.Required, Required{Stages: []part.Stage{part.Wet, part.Cured}, Views: []part.View{part.Shell}})
	for _, stage := range part.Stages {
		r = unit(stage)
		Judge(r, need)
		if stage == part.Trim {
			verdict(t, r, part.Pass)
		} else {
			verdict(t, r, part.NotMeasured, "no shell picture: the shell was not looked at")
		}
		r = unit(stage)
		r.Pictures = append(r.Pictures, part.PictureReport{File: "shell_090_raking.jpg", View: part.Shell, Light: part.Raking, AngleDeg: 90, State: part.PictureOK})
		Judge(r, need)
		verdict(t, r, part.Pass)
	}

	r = unit(part.Wet)
	r.Surfaces = []part.Surface{part.UnsearchedSurface(part.Face, 0)}
	for i := range r.Pictures[1:] {
		r.Pictures[1+i].State = part.PictureNoOK
	}
	Judge(r, l)
	verdict(t, r, part.NotMeasured, "face_diffuse.jpg, face_raking.jpg are not fit to measure: no reason given")

	r = unit(part.Wet)
	r.Pictures, r.Surfaces = r.Pictures[:1], []part.Surface{part.UnsearchedSurface(part.Face, 0)}
	Judge(r, l)
	verdict(t, r, part.NotMeasured, "no face picture: the faceplate was not looked at")
}

func TestPartlyMeasured(t *testing.T) {
	unfit := func(st part.Stage) *part.Result {
		r := unit(st)
		r.Pictures[2].State = part.PictureNoOK
		r.Pictures[2].Problems = []part.Problem{{Name: "out_of_focus", Remedy: "focus again: edges are 12 px wide, limit 6 px"}}
		return r
	}
	told := "face_raking.jpg is not fit to measure: out of focus (focus again: edges are 12 px wide, limit 6 px)"

	r := unfit(part.Wet)
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, told)
	num(t, "score of what was measured", r.Score, 0)

	// What was measured already decides: the verdict says so, and names the
	// picture all the same.
	r = unfit(part.Trim)
	r.Seam.Stations[0] = station(120, part.Left, 92, 1.8)
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "proud by 92 um at 120 deg, left (limit 50 um)", told)

	r = unfit(part.Cured)
	r.Seam.Stations[0] = station(120, part.Left, -92, 1.8)
	Judge(r, DefaultLimits())
	verdict(t, r, part.Reject, "recessed by 92 um at 120 deg, left (limit 50 um); rework cannot mend it once cured", told)
}

func TestStationNotMeasured(t *testing.T) {
	r := unit(part.Wet)
	r.Seam.Stations[0] = part.StepStation{Image: "edge_120.jpg", AngleDeg: 120, Side: part.Left, State: part.Unmeasured, Reason: "the limb is cut off by the frame"}
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, "step not measured at 120 deg, left: the limb is cut off by the frame")

	// A station that claims to be measured, but has no number.
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		r = unit(part.Wet)
		r.Seam.Stations[0].StepUM = &v
		Judge(r, DefaultLimits())
		verdict(t, r, part.NotMeasured, "step not measured at 120 deg, left: the step has no value")
		if s := r.Seam.Stations[0]; s.State != part.Unmeasured || s.StepUM != nil {
			t.Errorf("step of %v: station %+v, want it not measured", v, s)
		}
		num(t, "worst step", r.Seam.WorstStepUM, -3)
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("step of %v: %v", v, err)
		}
	}

	// An edge picture that was fit, but of which no station is told.
	r = unit(part.Wet)
	r.Seam.Stations = nil
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, "step not measured in edge_120.jpg: it has no station")
}

func TestRequiredViews(t *testing.T) {
	edgeOnly := func(st part.Stage) *part.Result {
		r := unit(st)
		r.Pictures, r.Surfaces = r.Pictures[:1], nil
		return r
	}
	r := edgeOnly(part.Trim)
	Judge(r, DefaultLimits())
	verdict(t, r, part.Pass, "No surface was looked at: this rests on the seam alone")
	r = edgeOnly(part.Wet)
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, "no face picture: the faceplate was not looked at")

	faceOnly := unit(part.Cured)
	faceOnly.Pictures, faceOnly.Seam.Stations = faceOnly.Pictures[1:], nil
	Judge(faceOnly, DefaultLimits())
	verdict(t, faceOnly, part.NotMeasured, "no edge picture: the seam was not measured")
	num(t, "score", faceOnly.Score, 0)
	Judge(faceOnly, DefaultLimits().ForPanel())
	verdict(t, faceOnly, part.Pass)
}
