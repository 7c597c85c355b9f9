// Package teach is what a trainer needs, from numbers alone: it knows nothing of
// pictures, pages or databases. Pure Go, on package study's statistics.
//
// Whom to coach in what:
//
//   - coach.go, coachrates.go: one operator's findings beside the others', with
//     intervals, so that chance is not taken for skill.
//
// What each defect looks like:
//
//   - atlas.go: which crops are shown, at which place a clean one is, and what the
//     trainer changed.
//
// Blind tests, in the order in which one is made and taken:
//
//  1. quizitem.go: a unit that can be shown, with its truth and where that comes
//     from; an answer; marks matched with what is there;
//  2. quizdraw.go: what a trainer asks for; a test drawn from a pool; which unit
//     comes next ([Test.Next] has the rule);
//  3. quizpeople.go: who takes it, where two have the same initials;
//  4. quizbook.go: an attempt read out of its events, so that it goes on after a cut;
//  5. quizscore.go: hits, misses, false marks, kinds, places, agreement with the
//     reference and with oneself, sizes seen;
//  6. quizcertificate.go: what is asked for a certificate, and until when it holds.
package teach
