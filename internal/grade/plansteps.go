package grade

import (
	"slices"
	"strings"

	"finishbench/internal/part"
)

// Each stage has its own order of work, and its own larger remedy that takes smaller ones with it.
// All of it is common practice of the trade, no source.

// sorter hands jobs out by their words.
type sorter []*job

// take takes those of some words out; the rest stays.
func (s *sorter) take(words ...string) []*job {
	var out []*job
	*s = slices.DeleteFunc(*s, func(j *job) bool {
		mine := slices.Contains(words, j.word)
		if mine {
			out = append(out, j)
		}
		return mine
	})
	return out
}

// has says whether any job has one of some words.
func (s sorter) has(words ...string) bool {
	return slices.ContainsFunc(s, func(j *job) bool { return slices.Contains(words, j.word) })
}

// add adds a sentence where there are jobs for it.
func (d *stepDraft) add(key string, jobs []*job) {
	if len(jobs) > 0 {
		d.do = append(d.do, sentence{key, jobs})
	}
}

// look says to look first, where there are jobs for it; more: and then to do more in the same step.
func (d *stepDraft) look(jobs []*job, more bool) {
	if d.add("look", jobs); len(jobs) > 0 && !more {
		d.key = part.PlanLook
	}
}

// plain adds a sentence that is said without its jobs, where there is another one.
func (d *stepDraft) plain(key string) { d.do = append(d.do, sentence{key: key}) }

// reworkSteps are the steps of a unit that rework can mend.
func reworkSteps(st part.Stage, jobs []*job) []stepDraft {
	s := sorter(slices.Clone(jobs))
	var out []stepDraft
	switch st {
	case part.Wet:
		out = wetSteps(&s)
	case part.Cured:
		out = curedSteps(&s)
	default:
		out = bareSteps(&s)
		last := stepDraft{key: part.PlanClean}
		pores := s.has(string(part.Bubble), string(part.Crater))
		mirrored, clean := s.take(wordReflection), s.take(string(part.Dust), string(part.Fibre), string(part.Haze), string(part.Missed),
			string(part.Bubble), string(part.Crater))
		last.look(mirrored, len(clean) > 0)
		last.add("clean", clean)
		if pores {
			last.plain("pores")
		}
		out = append(out, last)
	}
	if len(s) > 0 { // a kind that this program does not know
		d := stepDraft{key: part.PlanSetAside}
		d.add("ask", s)
		out = append(out, d)
	}
	return slices.DeleteFunc(out, func(d stepDraft) bool { return len(d.do) == 0 })
}

// bareSteps mend what wants bare surfaces: the seam first, which is filled and then trimmed flush, and
// then the rest. A faceplate that is glued again takes what is wrong at its seam with it, and trimming
// flush all round the bead.
func bareSteps(s *sorter) []stepDraft {
	seam, rest := stepDraft{}, stepDraft{}
	gap, bead := string(part.Gap), string(part.Bead)
	var low []*job
	if s.has("seam_off_centre") {
		seam.add("reglue", s.take("seam_off_centre"))
		seam.with = s.take(gap, bead)
	}
	if low = s.take("seam_both"); len(low) > 0 {
		seam.with = s.take(bead)
	}
	seam.add("fill_recessed", append(slices.Clone(low), s.take("seam_recessed", "step_recessed")...))
	seam.add("fill", s.take(gap))
	seam.add("flush", append(low, s.take("seam_proud", "step_proud", bead)...))
	rest.add("fill", s.take(string(part.Chip)))
	rest.add("flush", s.take(string(part.Run)))
	rest.add("finer", s.take(string(part.Sanding), string(part.OrangePeel)))
	out := []stepDraft{seam, rest}
	for i := range out {
		if len(out[i].do) > 0 {
			out[i].key = map[string]part.PlanKey{"reglue": part.PlanReglue, "fill": part.PlanFill,
				"fill_recessed": part.PlanFill}[out[i].do[0].key]
			if out[i].key == "" {
				out[i].key = part.PlanFlush
			}
		}
	}
	return out
}

// wetSteps: what wants bare surfaces wants the lacquer off, which takes with it all that lies in
// it. A faceplate that lies low in more than one place is filled, not built up with lacquer.
func wetSteps(s *sorter) []stepDraft {
	in := []string{string(part.Bubble), string(part.Dust), string(part.Fibre), string(part.Run), string(part.OrangePeel),
		string(part.Missed), wordReflection}
	low := slices.ContainsFunc(*s, func(j *job) bool { return strings.HasSuffix(j.word, "_recessed") && len(j.members) > 1 })
	if low || s.has("seam_off_centre", "seam_both", "seam_proud", "step_proud", string(part.Bead), string(part.Chip), string(part.Sanding),
		string(part.Crater), string(part.Haze)) {
		cause, with := s.take(string(part.Crater), string(part.Haze)), s.take(in...)
		var steps []stepDraft
		for _, d := range bareSteps(s) {
			if len(d.do) > 0 {
				steps = append(steps, d)
			}
		}
		if len(steps) == 0 {
			d := stepDraft{key: part.PlanWipeOff, with: with}
			d.add("wipe_off", cause)
			d.plain("lacquer")
			return []stepDraft{d}
		}
		steps[0].key, steps[0].do, steps[0].with = part.PlanWipeOff, append([]sentence{{"wipe_off", cause}}, steps[0].do...),
			append(steps[0].with, with...)
		steps[len(steps)-1].plain("lacquer")
		return steps
	}
	seam, out, flow := stepDraft{key: part.PlanFlow}, stepDraft{key: part.PlanTakeOut}, stepDraft{key: part.PlanFlow}
	seam.add("build_up", s.take("seam_recessed", "step_recessed"))
	seam.add("run_in", s.take(string(part.Gap)))
	out.look(s.take(wordReflection), s.has(string(part.Bubble), string(part.Dust), string(part.Fibre)))
	out.add("pull", s.take(string(part.Fibre)))
	out.add("lift", s.take(string(part.Dust)))
	out.add("prick", s.take(string(part.Bubble)))
	flow.add("draw", s.take(string(part.Run)))
	flow.add("brush_on", s.take(string(part.Missed)))
	flow.add("level", s.take(string(part.OrangePeel)))
	return []stepDraft{seam, out, flow}
}

// onTop are what polishing takes off a cured coat.
var onTop = []string{string(part.Dust), string(part.Run), string(part.OrangePeel), string(part.Haze)}

// curedSteps: where the coat is cut back it is lacquered again, and nothing else needs polishing.
func curedSteps(s *sorter) []stepDraft {
	if s.has("seam_recessed", "step_recessed") { // limits that call it mendable: a set coat is not built up
		d := stepDraft{key: part.PlanReplace}
		d.add(beyondRework+"step_recessed", s.take("seam_recessed", "step_recessed"))
		d.with = *s
		*s = nil
		return []stepDraft{d}
	}
	look := s.take(wordReflection)
	coat := stepDraft{key: part.PlanCoat}
	if s.has("seam_proud", "step_proud", string(part.Bead), string(part.Bubble), string(part.Fibre), string(part.Sanding),
		string(part.Crater), string(part.Missed)) {
		cut := stepDraft{key: part.PlanCutBack}
		cut.add("look", look)
		cut.add("cut_back", s.take(append(slices.Clone(onTop), "seam_proud", "step_proud", string(part.Bead), string(part.Bubble),
			string(part.Fibre), string(part.Sanding), string(part.Crater))...))
		coat.add("fill_thin", s.take(string(part.Gap), string(part.Chip)))
		coat.add("roughen", s.take(string(part.Missed)))
		if len(coat.do) > 0 {
			coat.plain("recoat")
			return []stepDraft{cut, coat}
		}
		cut.plain("recoat")
		return []stepDraft{cut}
	}
	polish := stepDraft{key: part.PlanPolish}
	coat.add("fill_thin", s.take(string(part.Gap), string(part.Chip)))
	polish.look(look, s.has(onTop...))
	polish.add("polish", s.take(onTop...))
	return []stepDraft{coat, polish}
}

// rejectSteps are the steps of a unit that rework cannot mend: what it is to be given up for, the
// gravest first. All else goes with it.
func rejectSteps(jobs []*job) []stepDraft {
	var plate, chip, other, rest []*job
	for _, j := range jobs {
		switch seam := j.members[0].Kind.AtSeam(); {
		case j.mends || seam && len(plate) > 0: // the gravest takes the others at the seam with it
			rest = append(rest, j)
		case seam:
			plate = append(plate, j)
		case j.word == string(part.Chip):
			chip = append(chip, j)
		default:
			other = append(other, j)
		}
	}
	onPlate := func(j *job) bool {
		return !slices.ContainsFunc(j.members, func(w weighed) bool { return w.Zone != part.ZoneFace && w.Zone != part.ZoneRim })
	}
	if len(plate) > 0 && len(chip) > 0 && onPlate(chip[0]) {
		chip, rest = nil, append(rest, chip...)
	}
	var out []stepDraft
	for _, x := range []struct {
		jobs []*job
		key  part.PlanKey
	}{{plate, part.PlanReplace}, {chip, part.PlanReplace}, {other, part.PlanSetAside}} {
		if len(x.jobs) > 0 {
			d := stepDraft{key: x.key}
			d.add(beyondKey(x.jobs[0]), x.jobs)
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(a, b stepDraft) int { return graver(a.do[0].jobs[0], b.do[0].jobs[0]) })
	if len(out) > 0 {
		out[0].with = rest
	}
	return out
}

// beyondKey is the sentence for what rework cannot mend.
func beyondKey(j *job) string {
	word := j.word
	if j.seam != nil && j.seam.Beyond {
		word, _ = j.seam.Remedy()
	}
	switch word {
	case "step_recessed", "step_proud", "seam_both", string(part.Gap), string(part.Chip):
		return beyondRework + word
	case "seam_recessed":
		return beyondRework + "step_recessed"
	case "seam_proud":
		return beyondRework + "step_proud"
	case "seam_off_centre":
		return beyondRework + "seam_both"
	}
	return beyondRework + "other"
}
