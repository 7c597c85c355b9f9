// Package grade weighs what was measured and found on a unit against the
// limits, and says what to do. It is pure Go, and reads no file: package config
// reads the limits.
//
// The steps, in order ([Judge]):
//
//  1. seam.go turns each station over its limit into a finding, and seamcause.go says what makes
//     them one fault.
//  2. waves.go compares the slopes that a screen tells with their limits; surface.go gives
//     every other finding its severity by its size, and orange peel by these slopes.
//  3. cluster.go raises spots that lie close together.
//  4. verdict.go adds up the demerits and decides.
//  5. reasons.go says why: in phrases, whose English the result has too.
//  6. plan.go puts what is one thing to do together, plansteps.go in the order of doing by the
//     stage's ways, planwhy.go says what each step is for; lamps.go tells what is probably a reflection. remedy.go
//     is what each finding carries: never other than the plan.
//
// # Verdicts
//
// Demerits are added up: critical 100, major 50, moderate 10, minor 1. A unit
// is not a pass when it has a critical or a major finding, or when its score is
// over the limit. Then think all findings away that rework can mend at this
// stage ([Limits].Mend). If what is left would pass, the verdict is rework, else
// reject.
//
// A unit with a picture, a station or a required view that was not measured
// never passes. Where what was measured already wants rework or a reject, the
// verdict says so, since the rest can only make it worse; otherwise it is
// not_measured. In both cases the reasons name what was not measured. (A
// program that turns results into an exit code must look at the pictures and
// stations too, and not at the verdict alone.)
//
// # Limits and uncertainty
//
// A step, and the slope of orange peel, is compared with its limit by a rule of JCGM 106:2012, sections 8.2
// and 8.3 (section numbers from memory): simple acceptance, guarded acceptance
// or guarded rejection, see [Decision]. The shipped rule is simple acceptance: a step up to
// and including its limit is accepted, and a sentence says so when the limit
// lies within k times the standard uncertainty.
package grade
