package study

import (
	"math"

	"finishbench/internal/stats/charts"
)

// RangeStudy is what a crossed study says by averages and ranges (AIAG MSA, 4th
// ed., III-B). Variations are standard deviations; NaN where the study has one
// appraiser or one part only.
type RangeStudy struct {
	Ranges       [][]float64 // by part and appraiser
	Averages     [][]float64
	MeanRange    []float64 // by appraiser
	MeanAverage  []float64
	RBar         float64 // mean of the mean ranges
	XDiff        float64 // largest difference of the appraisers' averages
	RPart        float64 // range of the parts' averages
	UpperRange   float64 // D4 RBar: a range above it stands out
	Chart        charts.Limits
	K1, K2, K3   float64
	EV, AV, RR   float64 // equipment, appraiser, both
	PV, TV       float64 // parts, total
	NDCRaw       float64
	NDC          int     // -1: not told
	AVRaw        float64 // the appraisers' variance before a negative one is taken as 0
	High         []Cell  // ranges above UpperRange; Have is the number of readings
	ShareOutside float64 // of the averages outside the chart's limits: parts that the gauge tells apart
	ZeroRanges   float64 // share of the ranges that are 0
}

// NewRangeStudy weighs a crossed study by averages and ranges. K1, K2 and K3 are
// 1/d2*, from the definition; K1 is 1/d2 where more than 15 ranges are averaged,
// as AIAG's table has it.
func NewRangeStudy(c Crossed) RangeStudy {
	p, o, r := len(c.Parts), len(c.Appraisers), c.Trials
	s := RangeStudy{MeanRange: make([]float64, o), MeanAverage: make([]float64, o)}
	partAverage := make([]float64, p)
	for i, row := range c.Values {
		var ranges, averages []float64
		for j, cell := range row {
			lo, hi := extremes(cell)
			m := mean(cell)
			ranges, averages = append(ranges, hi-lo), append(averages, m)
			s.MeanRange[j] += (hi - lo) / float64(p)
			s.MeanAverage[j] += m / float64(p)
			partAverage[i] += m / float64(o)
		}
		s.Ranges, s.Averages = append(s.Ranges, ranges), append(s.Averages, averages)
	}
	s.RBar = mean(s.MeanRange)
	s.XDiff, s.RPart = spread(s.MeanAverage), spread(partAverage)
	d2 := charts.D2(r)
	if p*o <= 15 {
		d2 = charts.D2Star(r, p*o)
	}
	s.K1, s.K2, s.K3 = 1/d2, 1/charts.D2Star(o, 1), 1/charts.D2Star(p, 1)
	s.limits(c, mean(s.MeanAverage))
	s.variations(p, r)
	return s
}

// variations are the standard deviations. K2 and K3 are NaN for one appraiser
// and one part, and carry that on.
func (s *RangeStudy) variations(p, r int) {
	s.EV = s.RBar * s.K1
	s.AVRaw = sq(s.XDiff*s.K2) - sq(s.EV)/float64(p*r)
	s.AV = math.Sqrt(math.Max(0, s.AVRaw)) // NaN stays NaN
	s.RR = s.EV
	if !math.IsNaN(s.AV) {
		s.RR = math.Hypot(s.EV, s.AV)
	}
	s.PV = s.RPart * s.K3
	s.TV = math.Hypot(s.RR, s.PV)
	s.NDCRaw, s.NDC = 1.41*s.PV/s.RR, -1
	if s.NDCRaw < 1e9 {
		s.NDC = int(s.NDCRaw)
	}
}

func (s *RangeStudy) limits(c Crossed, grand float64) {
	k := charts.FactorsFor(c.Trials)
	s.UpperRange = k.D4 * s.RBar
	s.Chart = charts.Limits{Centre: grand, Lower: grand - k.A2*s.RBar, Upper: grand + k.A2*s.RBar, Sigma: k.A2 * s.RBar / 3}
	cells := float64(len(c.Parts) * len(c.Appraisers))
	for i, row := range s.Ranges {
		for j, v := range row {
			if v > s.UpperRange {
				s.High = append(s.High, Cell{c.Parts[i], c.Appraisers[j], c.Trials})
			}
			if v == 0 {
				s.ZeroRanges += 1 / cells
			}
			if a := s.Averages[i][j]; a > s.Chart.Upper || a < s.Chart.Lower {
				s.ShareOutside += 1 / cells
			}
		}
	}
}

// Share is a variation's share of the total, 0..1.
func (s RangeStudy) Share(v float64) float64 { return v / s.TV }

func extremes(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = math.Min(lo, x), math.Max(hi, x)
	}
	return lo, hi
}

func spread(v []float64) float64 {
	lo, hi := extremes(v)
	return hi - lo
}
