// Package plots draws the plots of the gauge's pages as SVG: [Lines], [Strips],
// [Bars], [Intervals], [Control], [Curve] and [Arrows]; and those of a process:
// [Times], [CUSUM], [Histogram], [Pareto], [Map] and [OCCurve]. It gets plain numbers
// and words, and knows nothing of what they mean.
//
// Each series has a point shape, a dash and a hatch of its own; colour only
// helps, so that print in black and white can be read. A number that is not
// finite is left out and never drawn as 0: a line has a gap there, a bar or a
// point of a chart a question mark. Horizontal lines are named at their right
// end, vertical ones at their top, series under the plot.
//
// What comes back is one svg element, class "plot", for the inside of a page:
// it has a viewBox and no size, so that it is as wide as its place; it has no
// ids, no style sheet and nothing from outside. [Standalone] makes a file of it.
//
// # The unrolled map
//
// The unrolled map is one drawing, plots.Unroll: the plate's outline above the shell, x the turn
// at which a place faces the camera (mm of the mean girth), y mm below the seam.
// report/shellmap.go fills it from one Result, lotreport/figures.go from process.MapOf: frame unit
// or picture for the faceplate, shell for the shell.
//
// # Adding a plot
//
// A file: newFrame, what is drawn as drawings, f.see for each number, f.name for the legend,
// f.hlines, f.svg. What is not finite is left out or gets a question mark. Test positions, then
// look at it in a sheet:
//
//	FINISHBENCH_STORIES=dir go test -run Stories ./internal/report
package plots
