package study

import (
	"fmt"
	"math"
)

// GaugeOptions say how a crossed study is weighed.
type GaugeOptions struct {
	Level     float64   // confidence level of the intervals, 0.5..0.999
	PoolAbove float64   // the interaction is pooled where its p is above this; 1: never, below 0: always
	ErrorTerm ErrorTerm // what parts and appraisers are tested against
	SDs       float64   // the width that counts as all of a variation, in standard deviations
	Tolerance float64   // upper limit minus lower limit, in the readings' unit; NaN: not known
}

// DefaultGaugeOptions are 95 %, pooling above 0.25 and six standard deviations
// (AIAG MSA, 4th ed., III-B; 0.25 from memory), tested against the interaction.
func DefaultGaugeOptions() GaugeOptions {
	return GaugeOptions{Level: 0.95, PoolAbove: 0.25, ErrorTerm: AgainstInteraction, SDs: 6, Tolerance: math.NaN()}
}

// Check says what is wrong with the options.
func (o GaugeOptions) Check() error {
	switch {
	case !(o.Level >= 0.5 && o.Level <= 0.999):
		return fmt.Errorf("confidence level %g: give 0.5 to 0.999", o.Level)
	case math.IsNaN(o.PoolAbove):
		return fmt.Errorf("the limit for pooling is not a number")
	case o.ErrorTerm != AgainstInteraction && o.ErrorTerm != AgainstEquipment:
		return fmt.Errorf("error term %q: use %s or %s", o.ErrorTerm, AgainstInteraction, AgainstEquipment)
	case !(o.SDs > 0) || math.IsInf(o.SDs, 0):
		return fmt.Errorf("study variation of %g standard deviations: give a number above 0", o.SDs)
	case !math.IsNaN(o.Tolerance) && (!(o.Tolerance > 0) || math.IsInf(o.Tolerance, 0)):
		return fmt.Errorf("tolerance %g: give the distance of the two limits, above 0", o.Tolerance)
	}
	return nil
}

// ComponentName names a part of the variation.
type ComponentName string

// The components. Gauge is repeatability and reproducibility together;
// reproducibility is appraiser and interaction together.
const (
	Repeatability   ComponentName = "repeatability"
	Reproducibility ComponentName = "reproducibility"
	ByAppraiser     ComponentName = "appraiser"
	ByInteraction   ComponentName = "part x appraiser"
	GaugeRR         ComponentName = "gauge R&R"
	PartToPart      ComponentName = "part to part"
	Total           ComponentName = "total"
)

// Component is a part of the variation. NaN where it could not be told.
type Component struct {
	Name         ComponentName
	Variance     Interval
	Raw          float64 // the estimate before a negative one is taken as 0
	SD           float64
	Contribution float64  // share of the total variance, 0..1
	Study        Interval // share of the total standard deviation, 0..1; limits for the gauge only
	Tolerance    Interval // SDs standard deviations as a share of the tolerance
}

// Gauge is what a crossed study says of a gauge, by analysis of variance.
type Gauge struct {
	Options      GaugeOptions
	Full         Anova   // with interaction
	Pooled       Anova   // without; nil where the interaction was kept, or the study has none
	PInteraction float64 // NaN: not tested
	Components   []Component
	NDCRaw       Interval // 1.41 * part / gauge
	NDC          int      // the same, cut to a whole number; -1: not told
	Parts        int
	Appraisers   int
	Trials       int
	zeroRepeats  bool
}

// Component finds a component by name; one full of NaN where there is none.
func (g Gauge) Component(n ComponentName) Component {
	for _, c := range g.Components {
		if c.Name == n {
			return c
		}
	}
	nan := math.NaN()
	none := Interval{nan, nan, nan}
	return Component{Name: n, Variance: none, Raw: nan, SD: nan, Contribution: nan, Study: none, Tolerance: none}
}

// Table is the table that the components rest on.
func (g Gauge) Table() Anova {
	if g.Pooled != nil {
		return g.Pooled
	}
	return g.Full
}

// NewGauge weighs a crossed study by analysis of variance, all factors random.
// A study with one appraiser tells repeatability only; one with one part tells
// nothing of the parts' variation.
func NewGauge(c Crossed, o GaugeOptions) (Gauge, error) {
	if err := o.Check(); err != nil {
		return Gauge{}, err
	}
	if len(c.Values) == 0 || c.Trials < 2 {
		return Gauge{}, fmt.Errorf("a study needs at least one part and two trials")
	}
	return c.sumsOfSquares().gauge(o), nil
}

// gauge weighs sums of squares.
func (s squares) gauge(o GaugeOptions) Gauge {
	g := Gauge{Options: o, Full: s.full(o.ErrorTerm), Parts: int(s.p), Appraisers: int(s.o), Trials: int(s.r),
		zeroRepeats: s.equipment == 0}
	g.PInteraction = g.Full.row(InteractionSource).P
	if g.PInteraction > o.PoolAbove {
		g.Pooled = s.pooled()
	}
	m := newModel(g.Table(), s)
	gauge := []term(nil)
	for _, name := range m.names() {
		t := m.terms(name)
		if name == GaugeRR {
			gauge = t
		}
		g.Components = append(g.Components, m.component(name, t, o))
	}
	g.share(gauge, m)
	return g
}

// share fills in what is relative to the total, and the number of categories.
func (g *Gauge) share(gauge []term, m model) {
	total := g.Component(Total).Variance.Value
	nan := math.NaN()
	g.NDCRaw, g.NDC = Interval{nan, nan, nan}, -1
	for i := range g.Components {
		c := &g.Components[i]
		c.Contribution, c.Study = nan, Interval{nan, nan, nan}
		if m.s.p > 1 && total > 0 {
			c.Contribution = c.Variance.Value / total
			c.Study.Value = math.Sqrt(c.Contribution)
		}
	}
	if m.s.p < 2 || !(total > 0) {
		return
	}
	rr, part := g.Component(GaugeRR).Variance.Value, g.Component(PartToPart).Variance.Value
	if rr == 0 {
		return // readings that do not scatter at all: their number of categories has no end
	}
	r := ratio(m.terms(PartToPart), gauge, g.Options.Level)
	for i := range g.Components {
		c := &g.Components[i]
		if c.Name == GaugeRR {
			c.Study.Lower = math.Min(c.Study.Value, math.Sqrt(1/(1+r.Upper)))
			c.Study.Upper = math.Max(c.Study.Value, math.Sqrt(1/(1+r.Lower)))
		}
	}
	// 1.41, not the square root of 2: as published (AIAG MSA, 4th ed., III-B).
	g.NDCRaw.Value = 1.41 * math.Sqrt(part/rr)
	g.NDCRaw.Lower = math.Min(g.NDCRaw.Value, 1.41*math.Sqrt(r.Lower))
	g.NDCRaw.Upper = math.Max(g.NDCRaw.Value, 1.41*math.Sqrt(r.Upper))
	if g.NDCRaw.Value < 1e9 {
		g.NDC = int(g.NDCRaw.Value)
	}
}

// model is a table with the expected mean squares of random factors.
type model struct {
	s          squares
	p, o, x, e meanSquare // part, appraiser, interaction, equipment
}

func newModel(t Anova, s squares) model {
	return model{s, t.row(PartSource).square(), t.row(AppraiserSource).square(), t.row(InteractionSource).square(),
		t.row(EquipmentSource).square()}
}

// names are the components that the model can tell, in the order of a table.
func (m model) names() []ComponentName {
	n := []ComponentName{GaugeRR, Repeatability}
	if m.o.df > 0 {
		n = append(n, Reproducibility, ByAppraiser)
	}
	if m.x.df > 0 {
		n = append(n, ByInteraction)
	}
	if m.p.df > 0 {
		n = append(n, PartToPart, Total)
	}
	return n
}

// terms are the mean squares that add up to a component (random two-factor
// model: Montgomery, "Design and Analysis of Experiments"; Burdick, Borror and
// Montgomery 2005).
func (m model) terms(n ComponentName) []term {
	p, o, r := m.s.p, m.s.o, m.s.r
	rest := m.x // what parts and appraisers carry besides their own
	if m.x.df == 0 {
		rest = m.e
	}
	one := []term{{1, m.e}}
	appraiser := []term{{1 / (p * r), m.o}, {-1 / (p * r), rest}}
	interaction := []term{{1 / r, m.x}, {-1 / r, m.e}}
	part := []term{{1 / (o * r), m.p}, {-1 / (o * r), rest}}
	var reproducibility []term
	if m.o.df > 0 {
		reproducibility = append(reproducibility, appraiser...)
	}
	if m.x.df > 0 {
		reproducibility = append(reproducibility, interaction...)
	}
	switch n {
	case Repeatability:
		return one
	case ByAppraiser:
		return appraiser
	case ByInteraction:
		return interaction
	case Reproducibility:
		return merged(reproducibility)
	case PartToPart:
		return part
	case GaugeRR:
		return merged(append(one, reproducibility...))
	}
	return merged(append(append(one, reproducibility...), part...))
}

// component is a component by itself. Sums are those of their parts after
// negative estimates were taken as 0, as published tables have it.
func (m model) component(n ComponentName, t []term, o GaugeOptions) Component {
	v := interval(t, o.Level)
	c := Component{Name: n, Raw: v.Value}
	v.Value = m.value(n)
	v.Lower = math.Min(v.Value, math.Max(0, v.Lower))
	v.Upper = math.Max(v.Value, v.Upper)
	c.Variance, c.SD = v, math.Sqrt(v.Value)
	if n == Repeatability && m.e.ms == 0 {
		c.Variance.Lower, c.Variance.Upper = math.NaN(), math.NaN()
	}
	share := func(variance float64) float64 { return o.SDs * math.Sqrt(variance) / o.Tolerance }
	c.Tolerance = Interval{share(c.Variance.Value), share(c.Variance.Lower), share(c.Variance.Upper)}
	return c
}

func (m model) value(n ComponentName) float64 {
	own := func(n ComponentName) float64 { return math.Max(0, sum(m.terms(n))) }
	v := 0.0
	switch n {
	case GaugeRR, Total:
		v = own(Repeatability) + m.value(Reproducibility)
		if n == Total && m.p.df > 0 {
			v += own(PartToPart)
		}
	case Reproducibility:
		if m.o.df > 0 {
			v += own(ByAppraiser)
		}
		if m.x.df > 0 {
			v += own(ByInteraction)
		}
	default:
		v = own(n)
	}
	return v
}
