package study

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/part"
)

// PieceReading is one measurement of a reference piece.
type PieceReading struct {
	Piece      string
	Reference  float64 // certified value
	UReference float64 // its standard uncertainty, k = 1; 0 where none was told
	Value      float64 // NaN: not measured
	Line       int
}

var pieceColumns = []column{
	{name: "reference", also: []string{"certified", "master"}},
	{name: "value", also: []string{"y", "measurement"}},
	{name: "u", also: []string{"u_reference", "uncertainty"}, optional: true},
	{name: "piece", also: []string{"part"}, optional: true},
}

// ReadPieces reads a table with the columns reference (certified value) and
// value, and may have u (standard uncertainty of the certified value, k = 1) and
// piece (its name), in any order. Errors name line and column.
func ReadPieces(r io.Reader) ([]PieceReading, error) {
	t, err := readTable(r, pieceColumns)
	if err != nil {
		return nil, err
	}
	var all []PieceReading
	for _, rw := range t.rows {
		d := PieceReading{Piece: rw.text["piece"], Line: rw.line}
		if d.Reference, err = rw.number("reference"); err != nil {
			return nil, err
		}
		if math.IsNaN(d.Reference) {
			return nil, fmt.Errorf("line %d, column reference: nothing there", rw.line)
		}
		if d.UReference, err = rw.number("u"); err != nil {
			return nil, err
		}
		switch {
		case math.IsNaN(d.UReference):
			d.UReference = 0
		case d.UReference < 0:
			return nil, rw.wrong("u", "is below 0: an uncertainty has no sign")
		}
		if d.Value, err = rw.number("value"); err != nil {
			return nil, err
		}
		if d.Piece == "" {
			d.Piece = rw.text["reference"]
		}
		all = append(all, d)
	}
	return all, nil
}

// PieceBias is the bias at one reference piece. NaN where it has one reading only
// and so no scatter.
type PieceBias struct {
	Piece                 string
	Reference, UReference float64
	Values                []float64
	Mean, SD              float64
	Bias                  Interval
	U                     float64 // standard uncertainty of the bias: scatter and the reference's own
	DF                    float64 // effective degrees of freedom
	T, P                  float64 // of the hypothesis that there is no bias
}

// Biased says whether the interval leaves out 0.
func (b PieceBias) Biased() bool { return b.Bias.Lower > 0 || b.Bias.Upper < 0 }

// Line is the straight line of the bias over the reference value.
type Line struct {
	Slope, Intercept   Interval
	PSlope, PIntercept float64
	S                  float64 // residual standard deviation
	R2                 float64
	DF                 float64
	FLack, PLack       float64 // lack of fit: of the pieces' means about the line, against the repeats
	Level              float64
	n, meanX, sxx      float64
	pieces             []PieceBias
}

// Bias is what reference pieces say of a gauge.
type Bias struct {
	Level     float64
	Pieces    []PieceBias // by reference value
	Line      *Line       // nil: fewer than two different reference values, or too few readings
	Variation float64     // the process's, six standard deviations, or the tolerance; NaN: not told
	Missing   int         // readings without a value
}

// NewBias weighs readings of reference pieces. level is that of the intervals;
// variation (NaN: not known) is what % linearity and % bias are told of.
func NewBias(readings []PieceReading, level, variation float64) (Bias, error) {
	b := Bias{Level: level, Variation: variation}
	if !(level >= 0.5 && level <= 0.999) {
		return b, fmt.Errorf("confidence level %g: give 0.5 to 0.999", level)
	}
	if !math.IsNaN(variation) && (!(variation > 0) || math.IsInf(variation, 0)) {
		return b, fmt.Errorf("process variation %g: give a number above 0", variation)
	}
	for _, d := range readings {
		if math.IsNaN(d.Value) {
			b.Missing++
			continue
		}
		i := slices.IndexFunc(b.Pieces, func(p PieceBias) bool { return p.Piece == d.Piece })
		if i < 0 {
			i = len(b.Pieces)
			b.Pieces = append(b.Pieces, PieceBias{Piece: d.Piece, Reference: d.Reference, UReference: d.UReference})
		}
		p := &b.Pieces[i]
		if p.Reference != d.Reference || p.UReference != d.UReference {
			return b, fmt.Errorf("line %d: piece %s has two certified values or uncertainties: give different pieces different names",
				d.Line, d.Piece)
		}
		p.Values = append(p.Values, d.Value)
	}
	if len(b.Pieces) == 0 {
		return b, fmt.Errorf("nothing was measured: no reading has a value")
	}
	slices.SortStableFunc(b.Pieces, func(x, y PieceBias) int { return cmp.Compare(x.Reference, y.Reference) })
	for i := range b.Pieces {
		b.Pieces[i].weigh(level)
	}
	b.Line = newLine(b.Pieces, level)
	return b, nil
}

// weigh is the one-sample t of the bias (AIAG MSA, 4th ed., III-B, independent
// sample method), with the reference's uncertainty added and effective degrees
// of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4.1).
func (p *PieceBias) weigh(level float64) {
	n := float64(len(p.Values))
	p.Mean, p.SD = mean(p.Values), sd(p.Values)
	bias := p.Mean - p.Reference
	p.Bias, p.U, p.DF, p.T, p.P = Interval{bias, math.NaN(), math.NaN()}, math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if n < 2 {
		return
	}
	v := sq(p.SD) / n
	p.U = math.Sqrt(v + sq(p.UReference))
	if p.U == 0 {
		p.Bias.Lower, p.Bias.Upper = bias, bias
		return
	}
	p.DF = effective([]float64{v, sq(p.UReference)}, []float64{n - 1, math.Inf(1)})
	half := tQuantile((1+level)/2, p.DF) * p.U
	p.Bias.Lower, p.Bias.Upper = bias-half, bias+half
	p.T = bias / p.U
	p.P = tTail(p.T, p.DF)
}

// effective are the degrees of freedom of a sum of variances.
func effective(v, df []float64) float64 {
	s, d := 0.0, 0.0
	for i := range v {
		s += v[i]
		d += sq(v[i]) / df[i]
	}
	if d == 0 {
		return math.Inf(1)
	}
	return sq(s) / d
}

// newLine fits the biases of all readings by least squares (AIAG MSA, 4th ed.,
// III-B, linearity). What the certified values' uncertainty does to slope and
// intercept is added, each piece's taken as independent of the others'.
func newLine(pieces []PieceBias, level float64) *Line {
	l := Line{Level: level, pieces: pieces}
	sumX, sumB := 0.0, 0.0
	for _, p := range pieces {
		k := float64(len(p.Values))
		l.n += k
		sumX += k * p.Reference
		sumB += k * p.Bias.Value
	}
	l.meanX = sumX / l.n
	meanB := sumB / l.n
	sxb, sbb, pure := 0.0, 0.0, 0.0
	for _, p := range pieces {
		k, x := float64(len(p.Values)), p.Reference-l.meanX
		l.sxx += k * sq(x)
		sxb += k * x * p.Bias.Value
		for _, v := range p.Values {
			sbb += sq(v - p.Reference - meanB)
			pure += sq(v - p.Mean)
		}
	}
	if l.DF = l.n - 2; l.DF < 1 || !(l.sxx > 0) {
		return nil
	}
	l.Slope.Value = sxb / l.sxx
	l.Intercept.Value = meanB - l.Slope.Value*l.meanX
	left := 0.0
	for _, p := range pieces {
		for _, v := range p.Values {
			left += sq(v - p.Reference - l.at(p.Reference))
		}
	}
	l.S = math.Sqrt(left / l.DF)
	l.R2 = math.NaN()
	if sbb > 0 {
		l.R2 = 1 - left/sbb
	}
	l.test()
	l.lack(left, pure)
	return &l
}

func (l *Line) at(x float64) float64 { return l.Intercept.Value + l.Slope.Value*x }

// test fills in the intervals and tests of slope and intercept.
func (l *Line) test() {
	half, u, df := l.spread(func(x float64) float64 { return x - l.meanX }, sq(l.S)/l.sxx, l.sxx)
	l.Slope.Lower, l.Slope.Upper = l.Slope.Value-half, l.Slope.Value+half
	l.PSlope = pOf(l.Slope.Value, u, df)
	band := l.Band(0)
	l.Intercept.Lower, l.Intercept.Upper = band.Lower, band.Upper
	u, df = l.uncertainty(0)
	l.PIntercept = pOf(l.Intercept.Value, u, df)
}

func pOf(v, u, df float64) float64 {
	if u == 0 {
		return math.NaN()
	}
	return tTail(v/u, df)
}

// spread is the interval's half width, standard uncertainty and degrees of
// freedom of a sum of the readings with weights w(x)/by, of which the scatter
// of repeats makes the variance repeats.
func (l *Line) spread(w func(x float64) float64, repeats, by float64) (half, u, df float64) {
	reference := 0.0
	for _, p := range l.pieces {
		reference += sq(float64(len(p.Values)) * w(p.Reference) / by * p.UReference)
	}
	u = math.Sqrt(repeats + reference)
	if u == 0 {
		return 0, 0, l.DF
	}
	df = effective([]float64{repeats, reference}, []float64{l.DF, math.Inf(1)})
	return tQuantile((1+l.Level)/2, df) * u, u, df
}

func (l *Line) uncertainty(x float64) (u, df float64) {
	_, u, df = l.bandSpread(x)
	return u, df
}

func (l *Line) bandSpread(x float64) (half, u, df float64) {
	weight := func(xi float64) float64 { return 1/l.n + (x-l.meanX)*(xi-l.meanX)/l.sxx }
	return l.spread(weight, sq(l.S)*weight(x), 1)
}

// Band is the line at a reference value with its confidence limits.
func (l *Line) Band(x float64) Interval {
	half, _, _ := l.bandSpread(x)
	v := l.at(x)
	return Interval{v, v - half, v + half}
}

// lack tests whether a straight line describes the pieces' biases, against the
// scatter of repeats (Draper and Smith, "Applied Regression Analysis", lack of
// fit). NaN without repeats or with two pieces.
func (l *Line) lack(left, pure float64) {
	k := 0.0
	last := math.NaN()
	for _, p := range l.pieces {
		if p.Reference != last {
			k++
		}
		last = p.Reference
	}
	dfLack, dfPure := k-2, l.n-k
	if k < float64(len(l.pieces)) {
		dfLack = math.NaN() // pieces of one value but different bias: pure counts each alone
	}
	l.FLack, l.PLack = math.NaN(), math.NaN()
	if dfLack > 0 && dfPure > 0 && pure > 0 {
		l.FLack = (left - pure) / dfLack / (pure / dfPure)
		l.PLack = fTail(math.Max(0, l.FLack), dfLack, dfPure)
	}
}

// ZeroInBand says whether no bias lies within the band all over the pieces'
// range.
func (b Bias) ZeroInBand() bool {
	lo, hi := b.Range()
	const steps = 200
	for i := range steps + 1 {
		at := b.Line.Band(lo + (hi-lo)*float64(i)/steps)
		if at.Lower > 0 || at.Upper < 0 {
			return false
		}
	}
	return true
}

// Range is from the smallest to the largest reference value.
func (b Bias) Range() (lo, hi float64) {
	return b.Pieces[0].Reference, b.Pieces[len(b.Pieces)-1].Reference
}

// PercentLinearity is 100 times the slope's size: linearity (slope times process
// variation) as a percentage of the process variation (AIAG MSA, 3rd ed.; from
// memory).
func (l *Line) PercentLinearity() float64 { return 100 * math.Abs(l.Slope.Value) }

// Verdict says whether a bias shows. A gauge without a bias that shows is good;
// with one it is conditional, since a known bias can be taken off, unless the
// line does not describe it.
func (b Bias) Verdict() Verdict {
	v := Verdict{Grade: GoodGauge}
	biased, decided := 0, 0
	for _, p := range b.Pieces {
		if math.IsNaN(p.Bias.Lower) {
			continue
		}
		decided++
		if p.Biased() {
			biased++
		}
	}
	switch {
	case decided == 0 && b.Line == nil:
		v.Grade = Undecided
	case b.Line != nil && !b.ZeroInBand():
		v.Grade = Conditional
		v.Reasons = append(v.Reasons, part.Say("study.bias.leaves"))
	case b.Line != nil:
		v.Reasons = append(v.Reasons, part.Say("study.bias.stays"))
	case biased > 0:
		v.Grade = Conditional
	}
	if decided > 0 {
		v.Reasons = append(v.Reasons, part.Say("study.bias.shown", "biased", strconv.Itoa(biased), "n", strconv.Itoa(decided), "level",
			percent(b.Level),
			"by_chance", fmt.Sprintf("%.0f", 1/(1-b.Level))))
	}
	if b.Line != nil && b.Line.PLack < 1-b.Level {
		v.Grade = NotGood
		v.Reasons = append(v.Reasons, part.Say("study.bias.no_line", "p", fmt.Sprintf("%.4f", b.Line.PLack)))
	}
	v.Line = map[Grade]part.Phrase{
		GoodGauge:   part.Say("study.bias.line.good"),
		Conditional: part.Say("study.bias.line.conditional"),
		NotGood:     part.Say("study.bias.line.not_good"),
		Undecided:   part.Say("study.bias.line.not_told"),
	}[v.Grade]
	v.Warnings = b.warnings()
	return v
}

func (b Bias) warnings() []part.Phrase {
	var w []part.Phrase
	if b.Missing > 0 {
		w = append(w, part.Say("study.bias.missing", "n", strconv.Itoa(b.Missing)))
	}
	for _, p := range b.Pieces {
		switch {
		case len(p.Values) < 2:
			w = append(w, part.Say("study.bias.once", "piece", p.Piece))
		case len(p.Values) < enoughRepeats:
			w = append(w, part.Say("study.bias.few", "piece", p.Piece, "times", strconv.Itoa(len(p.Values)),
				"want", strconv.Itoa(enoughRepeats)))
		}
	}
	if b.Line == nil {
		w = append(w, part.Say("study.bias.no_linearity"))
	} else if len(b.Pieces) < enoughPieces {
		w = append(w, part.Say("study.bias.few_pieces", "pieces", strconv.Itoa(len(b.Pieces)), "want", strconv.Itoa(enoughPieces)))
	}
	without := 0
	for _, p := range b.Pieces {
		if p.UReference == 0 {
			without++
		}
	}
	if without > 0 {
		w = append(w, part.Say("study.bias.no_u", "n", strconv.Itoa(without)))
	}
	return w
}

// AIAG MSA, 4th ed., III-B: ten readings a piece, five pieces.
const (
	enoughRepeats = 10
	enoughPieces  = 5
)

func sd(v []float64) float64 {
	if len(v) < 2 {
		return math.NaN()
	}
	m, s := mean(v), 0.0
	for _, x := range v {
		s += sq(x - m)
	}
	return math.Sqrt(s / float64(len(v)-1))
}
