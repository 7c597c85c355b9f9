// Package process tells from many inspections how finishing as a whole is doing.
// Pure Go: no file, clock or database; what is drawn by chance has a seed that is
// given, so that the same data make the same figures.
//
//	unit.go         one inspection, as far as these figures need it
//	plate.go        a faceplate's outline, and places on it that can be laid over others'
//	capability.go   is the step's spread small beside its limits?
//	normality.go    are values normal? (Anderson-Darling)
//	skewed.go       indices by percentiles, for values that are not
//	histogram.go    bars of a histogram with round edges
//	contingency.go  is a difference between groups more than chance?
//	pareto.go       which kind, zone, operator, resin ... most
//	map.go          all findings over one outline, and whether they crowd anywhere
//	shell.go        all findings over one unrolled shell, and whether they crowd there
//	yields.go       first-pass and rolled yield over the stages
//	escapes.go      passed at one stage, found at a later one
//	trend.go        does something rise or fall over time?
//	hints.go        what the cause may be, with the numbers that led there
//
// The charts themselves are in package charts.
//
// # Where findings crowd
//
// Both maps scan for clusters alike (map.go); by lot, a finding falls on what its own unit's
// part.ShellMap says was looked at, by area. MapOptions.Mirror turns left units over (turn t
// becomes -t); the lot's report does not: what a spindle or a holder does is where it is, whatever
// the side.
//
// # Adding a hint at a cause
//
// A function in hints.go and a line in [Hints]; a drawn lot that shows it, and the quiet lot that
// must not.
package process
