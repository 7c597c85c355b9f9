// Package shift tells what came over a bench in a shift: shift.go counts, sheet.go builds the
// page.
package shift
