// Package study says how far a gauge can be believed, from numbers alone: it
// knows nothing of pictures or files. Pure Go on gonum.
//
// In the order in which a gauge is looked at:
//
//  1. table.go, columns.go: numbers from a table with named columns; what is
//     wrong with one is told by its line and column;
//  2. anova.go, mls.go, gauge.go, ranges.go, verdict.go: the crossed study of
//     parts, appraisers and trials, by analysis of variance with its intervals
//     and by averages and ranges;
//  3. bias.go: bias and linearity against reference pieces;
//  4. checklog.go, stability.go: the check piece's log on a control chart
//     (package charts), which may bar the gauge from passing units;
//  5. agreement*.go: judges who say yes or no;
//  6. detection*.go: from which size on a defect is found.
//
// What cannot be computed is NaN. No number here is rounded; sheets do that.
package study
