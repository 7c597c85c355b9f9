// Package charts has control charts of measured values: the constants, computed
// from their definitions (constants.go), the limits of a chart (limits.go), and
// the rules by which a point or a run of points stands out (rules.go). Pure Go.
//
// The check piece's chart (package study) and a process's chart are the same
// thing, hence a package of its own.
package charts
