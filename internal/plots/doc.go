// Package plots draws the plots of the gauge's pages as SVG: [Lines], [Strips],
// [Bars], [Control], [Curve] and [Arrows]. It gets plain numbers and words, and
// knows nothing of what they mean. Each series has a point shape and a dash of
// its own; colour only helps. A number that is not finite is left out, never
// drawn as 0.
package plots
