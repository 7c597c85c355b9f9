package report

import "math"

// StripWindowMM is the side of the windows, mm, that show a defect of this size with
// what is around it.
func StripWindowMM(mm float64) float64 { return math.Max(2, math.Ceil(1.6*mm)) }
