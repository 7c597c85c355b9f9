package seam

import (
	"fmt"
	"math"

	"finishbench/internal/part"
)

// stepBudget is how the step's uncertainty comes about, by JCGM 100:2008 (GUM). The
// step is (shell's outline - faceplate's outline) at the seam's height, times
// the cosine of the outline's slope, times the scale. uY is the seam height's
// standard uncertainty in pixels, sigma the common blur, scale the limb's scale over
// that of the axis and uScale its relative standard uncertainty.
//
// What mirrors the lit panel at grazing angle eats into both outlines; it shows
// as a level that rises inside the outline, and its part is uModel's.
func stepBudget(stepUM float64, face, shell *side, f StepFit, cos, uY, sigma, scale, uScale float64, p Params) part.Budget {
	um := p.MMPerPX * 1000 * scale
	var cs []part.Contribution
	for _, s := range [2]*side{face, shell} {
		sens := s.sign * cos * um // the shell further in (larger u) means the faceplate stands out
		cs = append(cs, part.Contribution{
			Name: "outline of the " + s.name + ", carried to the seam", Unit: "px", Value: part.Num(s.fit.c[0]),
			U: s.fit.uScatter(), Distribution: part.Scatter, DOF: part.Num(s.fit.dof()), Sensitivity: sens,
		})
		if s.fit.uDeg > 0 {
			cs = append(cs, part.Contribution{
				Name: "curve of the " + s.name + ", how bent it is", Unit: "px", U: s.fit.uDeg, Distribution: part.TwoValues, Sensitivity: sens,
			})
		}
		cs = append(cs,
			part.Contribution{
				Name: "edge of the " + s.name + ", pixel columns that err alike", Unit: "px",
				U: s.shape.uShift, Distribution: part.Scatter, DOF: part.Num(s.shape.dof), Sensitivity: sens,
			},
			part.Contribution{
				Name: "light inside the " + s.name + "'s outline, mirrored panel", Unit: "px",
				U: s.shape.uModel(), Distribution: part.Rectangular, Sensitivity: sens,
			},
			part.Contribution{
				Name: "sharpness at the " + s.name + ": the blur's form, JPEG", Unit: "px",
				U: math.Hypot(uSharpness*sigma, uCodedPX), Distribution: part.Normal, Sensitivity: s.sign * um,
			})
	}
	cs = append(cs,
		part.Contribution{
			Name: "height of the seam", Unit: "px", Value: part.Num(shell.fit.x0),
			U: uY, Distribution: part.Normal, Sensitivity: (f.SlopeAfter - f.SlopeBefore) * um,
		},
		part.Contribution{
			Name: "scale: target, fit, squareness of the view", Unit: "mm/px", Value: part.Num(p.MMPerPX),
			U: p.URelScale * p.MMPerPX, Distribution: part.Normal, Sensitivity: stepUM / p.MMPerPX,
		},
		part.Contribution{
			Name: "scale at the limb: how near it lies to the lens", Unit: "1", Value: part.Num(scale),
			U: uScale, Distribution: part.Normal, Sensitivity: stepUM / scale,
		})
	return part.NewBudget("step", stepUM, cs)
}

// named is the budget with the station's place as its quantity.
func named(b part.Budget, s *part.StepStation) *part.Budget {
	b.Quantity = fmt.Sprintf("step at %g deg, %s", s.AngleDeg, s.Side)
	return &b
}

// uScatter is the standard uncertainty at x0 from the scatter, number and
// correlation of the points, and how far they must be carried.
func (f polyFit) uScatter() float64 { return f.sd * math.Sqrt(f.infl*f.q00) }

// dof is the degrees of freedom of the scatter, at least 1: points that err
// alike count as fewer, by the factor by which they raise a mean's variance
// (Bayley and Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184; from memory).
func (f polyFit) dof() float64 {
	return max(1, float64(f.n)/max(1, f.infl)-float64(len(f.c)))
}
