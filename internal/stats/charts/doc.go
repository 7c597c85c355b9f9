// Package charts has control charts: the constants, computed from their
// definitions (constants.go), the limits of a chart (limits.go), and the rules by
// which a point or a run of points stands out (rules.go). Pure Go.
//
// What is charted: measured values (measured.go), counts and demerits
// (counted.go), averages over time (ewma.go), sums of deviations (cusum.go), each in
// phases with limits of their own (phases.go). How often a chart calls where
// nothing is wrong, and how soon where something is: falsesignals.go.
//
// The check piece's chart (package study) and a process's chart are the same
// thing, hence a package of its own.
//
// # Adding a rule
//
// A row in rules.go with its number, and its set in ruleSets.
package charts
