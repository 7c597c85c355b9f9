package study

import "math"

// Source is a row's name in a table of the analysis of variance.
type Source string

// The sources of variation.
const (
	PartSource        Source = "part"
	AppraiserSource   Source = "appraiser"
	InteractionSource Source = "part x appraiser"
	EquipmentSource   Source = "repeats" // the trials of one cell; with the interaction where that is pooled
	TotalSource       Source = "total"
)

// AnovaRow is a row of the analysis of variance. NaN where a row has no such
// number.
type AnovaRow struct {
	Source  Source
	DF      float64
	SS, MS  float64
	F, P    float64
	Against Source // the mean square that F is made with
}

func (r AnovaRow) square() meanSquare { return meanSquare{r.Source, r.MS, r.DF} }

// Anova is a table of the analysis of variance. Rows that a study does not have
// (one appraiser, one part) are absent.
type Anova []AnovaRow

// row is the row of a source; one without degrees of freedom where absent.
func (a Anova) row(s Source) AnovaRow {
	for _, r := range a {
		if r.Source == s {
			return r
		}
	}
	return AnovaRow{Source: s, SS: math.NaN(), MS: math.NaN(), F: math.NaN(), P: math.NaN()}
}

// squares are the sums of squares of a crossed study and its size.
type squares struct {
	part, appraiser, interaction, equipment float64
	p, o, r                                 float64
}

// sumsOfSquares of a study, about the grand mean so that digits common to all
// values do no harm.
func (c Crossed) sumsOfSquares() squares {
	p, o, r := len(c.Parts), len(c.Appraisers), c.Trials
	s := squares{p: float64(p), o: float64(o), r: float64(r)}
	grand := c.mean(func(int, int) bool { return true })
	for i := range p {
		s.part += s.o * s.r * sq(c.mean(func(a, _ int) bool { return a == i })-grand)
	}
	for j := range o {
		s.appraiser += s.p * s.r * sq(c.mean(func(_, b int) bool { return b == j })-grand)
	}
	cells := 0.0
	for _, row := range c.Values {
		for _, cell := range row {
			m := mean(cell)
			cells += s.r * sq(m-grand)
			for _, v := range cell {
				s.equipment += sq(v - m)
			}
		}
	}
	s.interaction = math.Max(0, cells-s.part-s.appraiser)
	return s
}

// mean of the cells that are wanted.
func (c Crossed) mean(want func(part, appraiser int) bool) float64 {
	// Shifted by the first value, so that a large common part costs no digits.
	first, sum, n := c.Values[0][0][0], 0.0, 0
	for i, row := range c.Values {
		for j, cell := range row {
			if !want(i, j) {
				continue
			}
			for _, v := range cell {
				sum += v - first
				n++
			}
		}
	}
	return first + sum/float64(n)
}

// ErrorTerm is the mean square that parts and appraisers are tested against
// while the interaction is in the model.
type ErrorTerm string

// The error terms. Published pages differ: where parts and appraisers are drawn
// at random the interaction is right (Montgomery, "Design and Analysis of
// Experiments", random two-factor model; AIAG MSA, appendix A); one worked page
// of AIAG MSA divides by the equipment's mean square.
const (
	AgainstInteraction ErrorTerm = "interaction"
	AgainstEquipment   ErrorTerm = "equipment"
)

// full is the table with the interaction in it, as far as the study has one.
func (s squares) full(e ErrorTerm) Anova {
	t := s.table(s.equipment, (s.r-1)*s.p*s.o)
	if s.p > 1 && s.o > 1 {
		t = append(t[:len(t)-1], newRow(InteractionSource, s.interaction, (s.p-1)*(s.o-1)), t[len(t)-1])
	}
	return t.tested(e).total()
}

// pooled is the table without interaction: its squares count as the equipment's.
func (s squares) pooled() Anova {
	df := (s.r - 1) * s.p * s.o
	if s.p > 1 && s.o > 1 {
		df += (s.p - 1) * (s.o - 1)
	}
	return s.table(s.equipment+s.interaction, df).tested(AgainstEquipment).total()
}

// table has the rows of appraisers, parts and equipment.
func (s squares) table(equipment, df float64) Anova {
	var t Anova
	if s.o > 1 {
		t = append(t, newRow(AppraiserSource, s.appraiser, s.o-1))
	}
	if s.p > 1 {
		t = append(t, newRow(PartSource, s.part, s.p-1))
	}
	return append(t, newRow(EquipmentSource, equipment, df))
}

func newRow(s Source, ss, df float64) AnovaRow {
	return AnovaRow{Source: s, DF: df, SS: ss, MS: ss / df, F: math.NaN(), P: math.NaN()}
}

// tested fills in F and p.
func (a Anova) tested(e ErrorTerm) Anova {
	for i, r := range a {
		against := EquipmentSource
		if e == AgainstInteraction && r.Source != InteractionSource && a.row(InteractionSource).DF > 0 {
			against = InteractionSource
		}
		if r.Source == EquipmentSource {
			continue
		}
		// Without any scatter in the repeats there is nothing to test against.
		if by := a.row(against); by.MS > 0 {
			a[i].Against, a[i].F = against, r.MS/by.MS
			a[i].P = fTail(a[i].F, r.DF, by.DF)
		}
	}
	return a
}

func (a Anova) total() Anova {
	t := AnovaRow{Source: TotalSource, MS: math.NaN(), F: math.NaN(), P: math.NaN()}
	for _, r := range a {
		t.SS += r.SS
		t.DF += r.DF
	}
	return append(a, t)
}

func mean(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, x := range v {
		s += x - v[0]
	}
	return v[0] + s/float64(len(v))
}
