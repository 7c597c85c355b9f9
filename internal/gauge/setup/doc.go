// Package setup judges how a bench is set up and leads a person through putting
// it in order, one thing at a time.
//
//  1. A [Reading] is what one picture says: numbers measured elsewhere, NaN where
//     one could not be.
//  2. [Limits.Judge] turns it into a [Step]: each number beside the zone it should
//     lie in, with what to do outside of it.
//  3. [Worst] joins the same step of several stored pictures.
//  4. [Walk] follows pictures as they are taken: it says whether the last turn of
//     a screw made things better, and goes on when a step has stayed in its zone.
//
// What was not measured is never in its zone. Numbers without a source named are
// common practice, no source.
package setup
