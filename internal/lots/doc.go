// Package lots decides on lots by sampling: which plan, which units, how many
// findings accept it, what such a plan lets through. Pure Go.
//
// In order:
//
//	tables.go      the tables of MIL-STD-105E and MIL-STD-414, embedded
//	lookup.go      lot size, level, AQL and mode to a plan
//	classes.go     a plan for each severity, and how many units that makes
//	accept.go      how likely a plan accepts: binomial, Poisson, hypergeometric
//	oc.go          operating characteristic, outgoing quality, inspection, in numbers and a sentence
//	design.go      a plan made from two points, or with nothing accepted
//	variables.go   the s-method for a measured value
//	scheme.go      normal and tightened inspection as a scheme
//	switching.go   when inspection is tightened, reduced, stopped
//	draw.go        which units to look at
//	events.go      what happens to a lot; fold.go: a lot out of its events
//	lot.go         where a lot stands; steps.go: the next event, or why not
//	seen.go        what counts of a unit; history.go: switching over the lots
//
// Shares of nonconforming units and counts per unit are fractions here (0.01);
// AQLs are percent, as the tables print them. What cannot be computed is NaN.
//
// # Adding a table of plans
//
// A CSV in tables, a test by a rule that it was not made from, and one against the reference.
package lots
