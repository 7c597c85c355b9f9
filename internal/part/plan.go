package part

import "slices"

// Plan is what to do about a unit: a few steps in the order of doing, made of all findings and
// the seam together. A unit that passes has no step.
type Plan struct {
	Steps []PlanStep `json:"steps"`
	// Numbers of findings that count a little, and with which the unit passes once the steps are done.
	MayStay []int    `json:"may_stay,omitempty"`
	Unseen  []string `json:"unseen,omitempty"` // what was not looked at or not measured, whatever the verdict

	UnseenPhrases []Phrase `json:"unseen_phrases,omitempty"` // Unseen, each in its place, to be told in any language
}

// PlanStep is one step: what is done, what it is for, and what it mends.
type PlanStep struct {
	Key      PlanKey  `json:"key"`                // what is done
	Do       string   `json:"do"`                 // the same in sentences, with its places
	Why      string   `json:"why"`                // the gravest of what it mends
	Findings []int    `json:"findings,omitempty"` // their numbers, the gravest first
	Stations []string `json:"stations,omitempty"` // of those at the seam: "120 deg, left"
	Care     []Care   `json:"care,omitempty"`     // what to take care of

	DoPhrase  Phrase `json:"do_phrase"` // Do and Why, to be told in any language
	WhyPhrase Phrase `json:"why_phrase"`
}

// PlanKey is what a step does.
type PlanKey string

// The steps.
const (
	PlanLook     PlanKey = "look"      // look by eye: probably nothing is there
	PlanWipeOff  PlanKey = "wipe_off"  // take the wet lacquer off, and with it all that lies in it
	PlanReglue   PlanKey = "reglue"    // take the faceplate off and glue it again
	PlanFill     PlanKey = "fill"      // fill, set, trim flush
	PlanFlush    PlanKey = "flush"     // trim flush, sand finer
	PlanClean    PlanKey = "clean"     // wipe clean before any lacquer
	PlanTakeOut  PlanKey = "take_out"  // take out of wet lacquer
	PlanFlow     PlanKey = "flow"      // make wet lacquer flow: into a groove, onto a bare place, level
	PlanCutBack  PlanKey = "cut_back"  // cut a cured coat back, and lacquer again
	PlanCoat     PlanKey = "coat"      // lacquer single places of a cured coat
	PlanPolish   PlanKey = "polish"    // flatten and polish a cured coat
	PlanReplace  PlanKey = "replace"   // replace the faceplate, or the part that is chipped
	PlanSetAside PlanKey = "set_aside" // for whoever decides
	PlanRetake   PlanKey = "retake"    // photograph again, or look by eye at what cannot be
	PlanGauge    PlanKey = "gauge"     // put the gauge right first
)

// PlanKeys are all of them.
var PlanKeys = []PlanKey{PlanLook, PlanWipeOff, PlanReglue, PlanFill, PlanFlush, PlanClean, PlanTakeOut, PlanFlow, PlanCutBack, PlanCoat,
	PlanPolish,
	PlanReplace, PlanSetAside, PlanRetake, PlanGauge}

// Care is what to take care of in a step.
type Care string

// The cautions of the work.
const (
	CareGloves Care = "gloves" // uncured resin, lacquer
	CareDust   Care = "dusty"  // sanding, cutting back
	CareLamp   Care = "lamp"   // ultraviolet light
)

// Cares are all of them, in the order in which they are told.
var Cares = []Care{CareGloves, CareDust, CareLamp}

// Under is the plan that holds beside a person's call, nil: there is none. The tool's holds no longer once
// somebody called otherwise: it has no steps then, and what was not looked at stays told.
func (p *Plan) Under(o *Overrule) *Plan {
	if p == nil || o == nil {
		return p
	}
	return &Plan{Steps: []PlanStep{}, Unseen: p.Unseen, UnseenPhrases: p.UnseenPhrases}
}

// StepOf is the step that mends a finding, from 1; 0: none does.
func (p *Plan) StepOf(number int) int {
	if p == nil {
		return 0
	}
	return 1 + slices.IndexFunc(p.Steps, func(s PlanStep) bool { return slices.Contains(s.Findings, number) })
}

// First is the first step; nil where nothing has to be done.
func (p *Plan) First() *PlanStep {
	if p == nil || len(p.Steps) == 0 {
		return nil
	}
	return &p.Steps[0]
}

// Care is what to take care of in any step.
func (p *Plan) Care() []Care {
	var out []Care
	for _, c := range Cares {
		if p != nil && slices.ContainsFunc(p.Steps, func(s PlanStep) bool { return slices.Contains(s.Care, c) }) {
			out = append(out, c)
		}
	}
	return out
}
