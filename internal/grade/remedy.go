package grade

import (
	"slices"
	"strconv"

	"finishbench/internal/part"
)

// Remedy says in a line what to do about a finding of this kind at this stage,
// with the usual caution where the work can hurt. A step goes by the sign of the
// finding's ValueUM. It does not ask whether rework can mend the finding: the
// Advice that [Judge] sets does.
func Remedy(k part.Kind, st part.Stage, f part.Finding) part.Phrase {
	switch {
	case k == part.Step && f.ValueUM == nil:
		return part.Say("remedy.step_unknown")
	case !slices.Contains(part.Kinds, k) || !slices.Contains(part.Stages, st):
		return part.Say("remedy.other")
	}
	return part.Say("remedy." + remedyWord(k, f) + "." + string(st))
}

// remedyWord is a kind as remedies are filed: a step by its direction.
func remedyWord(k part.Kind, f part.Finding) string {
	switch {
	case k != part.Step:
		return string(k)
	case f.ValueUM != nil && *f.ValueUM < 0:
		return "step_recessed"
	}
	return "step_proud"
}

// advice is the line that a finding of a judged result with a plan carries. It never says other
// than the plan; byItself says whether its step does to it what one does to such a finding alone.
func advice(r *part.Result, w weighed, byItself bool) part.Phrase {
	st, step := r.Stage, r.Plan.StepOf(w.Number)
	switch {
	case w.doubted:
		return part.Say("remedy.doubted", "confidence", fixed(w.Confidence, 2))
	case w.Severity == part.None && w.atLeast:
		return part.Say("remedy.too_steep")
	case w.Severity == part.None && w.measure != "":
		return part.Say("remedy.leave")
	case step == 0 && w.Severity != part.None:
		return part.Say("remedy.may_stay")
	case step > 0 && !byItself:
		return part.Say("remedy.with_step", "step", strconv.Itoa(step)).With("do", r.Plan.Steps[step-1].DoPhrase)
	case w.seam != nil && !apartAt(r, w.seam):
		return causeAdvice(st, w.seam)
	case !w.mends && w.Severity.Rank() >= part.Moderate.Rank():
		return beyond(w.Finding)
	}
	return Remedy(w.Kind, st, w.Finding)
}

// beyond is the advice for what rework cannot mend.
func beyond(f part.Finding) part.Phrase {
	switch f.Kind {
	case part.Step, part.Gap, part.Chip:
		return part.Say(beyondRework + remedyWord(f.Kind, f))
	}
	return part.Say(beyondRework + "other")
}
