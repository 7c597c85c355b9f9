package lotreport

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// invented is a report of a lot that there never was: of size units, n of them
// drawn and inspected. The same numbers give the same report.
func invented(size, n int, state State) *Report {
	r := rand.New(rand.NewPCG(7, uint64(size*31+n)))
	at := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	rep := &Report{
		Schema: Schema, Generated: at.Add(9 * time.Hour), Program: "0.0 test",
		Lot: Lot{Name: "L-4711", Product: "invented shell, clear", Stage: "cured", Size: size, State: state, Opened: at,
			OpenedBy: "inspector 2"},
		Plans: []Plan{
			{Severity: part.Critical, Standard: "zero acceptance, hypergeometric", N: n, Ac: 0, Re: 1, Mode: "normal"},
			{Severity: part.Major, Standard: "MIL-STD-105E (1989), Tables I and II", Level: "II", Letter: "L", AQL: 1, Mode: "normal", N: n,
				Ac: 5, Re: 6},
			{Severity: part.Minor, Standard: "MIL-STD-105E (1989), Tables I and II", Level: "II", Letter: "L", AQL: 2.5, Mode: "normal",
				N: n, Ac: 10, Re: 11},
		},
		Draw: &Draw{Algorithm: "Fisher-Yates on PCG", Seed: 8612443018, At: at.Add(time.Hour), By: "inspector 2", From: size},
	}
	for i := range n {
		rep.Draw.Serials = append(rep.Draw.Serials, fmt.Sprintf("k%05d", i*size/n+1))
		rep.addUnit(r, i, at.Add(time.Duration(i)*50*time.Second))
	}
	rep.finish(r, at)
	return rep
}

func (rep *Report) addUnit(r *rand.Rand, i int, at time.Time) {
	serial := rep.Draw.Serials[i]
	u := Unit{Serial: serial, Place: i + 1, Taken: true, At: &at, By: "finisher 3", Inspection: int64(900 + i), Verdict: part.Pass}
	worst := 0.0
	for k := range 6 {
		for _, side := range []string{"left", "right"} {
			s := StepStation{Serial: serial, AngleDeg: float64(30 * k), Side: side}
			if r.IntN(90) == 0 {
				s.Reason = "the outline is hidden by the holder"
			} else {
				v := 4 + 11*r.NormFloat64()
				if math.Abs(v) > math.Abs(worst) {
					worst = v
				}
				s.StepUM, s.UUM = part.Num(v), part.Num(2.4+.6*r.Float64())
			}
			rep.Stations = append(rep.Stations, s)
		}
	}
	u.WorstStepUM, u.UUM = part.Num(worst), part.Num(2.7)
	u.Seam = &part.SeamShape{Stations: 12, MeanUM: part.Num(4.1), UMeanUM: part.Num(1), OffCentreUM: part.Num(84),
		UOffCentreUM: part.Num(1.4), TowardsDeg: part.Num(40), UTowardsDeg: part.Num(1)}
	score := 0.0
	kinds := []part.Kind{part.Dust, part.Dust, part.Dust, part.Bubble, part.Bubble, part.Fibre, part.Sanding, part.Crater}
	for k := range r.IntN(3) {
		f := Finding{Serial: serial, Number: k + 1, Kind: kinds[r.IntN(len(kinds))], Zone: part.ZoneFace, Severity: part.Minor,
			Confidence: .8 + .2*r.Float64()}
		f.DiameterMM, f.UDiamMM = part.Num(.08+.2*r.Float64()), part.Num(.012)
		switch r.IntN(60) {
		case 0:
			f.Severity, score = part.Major, score+50
			u.Major, u.Verdict, u.Counts = u.Major+1, part.Rework, true
		case 1, 2, 3:
			f.Severity, score = part.Moderate, score+10
			u.Moderate++
		default:
			u.Minor, score = u.Minor+1, score+1
		}
		rep.Findings = append(rep.Findings, f)
	}
	u.Score = part.Num(score)
	rep.Units = append(rep.Units, u)
}

// finish counts, decides and adds what goes over many lots.
func (rep *Report) finish(r *rand.Rand, at time.Time) {
	for i := range rep.Plans {
		p := &rep.Plans[i]
		p.Inspected, p.Stand = len(rep.Units), lots.StandMet
		for _, u := range rep.Units {
			if p.Severity == part.Major && u.Major > 0 || p.Severity == part.Minor && u.Minor > 1 {
				p.Count++
			}
		}
		if p.Count >= p.Re {
			p.Stand = lots.StandReached
		}
		p.Lets = &Lets{PAtAQL: part.Num(.983), P50: part.Num(.0284), P10: part.Num(.0464), AOQL: part.Num(.0156), Law: "binomial"}
		for k := range 60 {
			x := float64(k) * .002
			p.Curve = append(p.Curve, Point{x, math.Exp(-math.Pow(x/(.01+.012*float64(i)), 2))})
		}
	}
	if rep.Lot.State == Accepted || rep.Lot.State == Refused {
		rep.Decision = &Decision{Accept: rep.Lot.State == Accepted, By: "inspector 2, 王小明", At: at.Add(8 * time.Hour),
			Note: "sample kept until week 12", Hash: "4f1c09ab77"}
	}
	score := 18
	rep.Switching = []Switching{{Severity: part.Critical, Standard: "ISO 2859-1:1999", Before: "normal", After: "normal", Score: &score,
		Notes: []Said{{Key: "switch.stay"}}},
		{Severity: part.Major, Standard: "ISO 2859-1:1999", Before: "normal", After: "tightened",
			Notes: []Said{{Key: "switch.tighten", Args: []string{"refused", "2", "among", "5", "clause", "ISO 2859-1:1999, 9.3.1"}}}}}
	n := 6
	last := at.Add(-time.Hour)
	rep.Gauge = Gauge{Scales: []Scale{{File: "scale-2026-02.json", SHA256: "9c3c7ab4410caf11ff", Made: "2026-02-11", MMPerPX: .015012,
		URel: .0004, Units: len(rep.Units)}},
		Check: &Check{Log: "check.csv", Last: &last, OK: true}, Study: &Study{Name: "step, three appraisers", Date: "2026-01-20",
			Grade: "good", Gauge: part.Num(.08), OfTolerance: part.Num(.12), Categories: &n},
		Step: &StepU{Stations: len(rep.Stations), Unmeasured: 3, MedianUM: part.Num(2.7), LargestUM: part.Num(3)}}
	c := &Capability{N: len(rep.Stations), LowerUM: part.Num(-50), UpperUM: part.Num(50), MeanUM: part.Num(4.1), SDUM: part.Num(11.2),
		WithinUM: part.Num(10.8), Beyond: part.Num(0),
		Normal: &Normal{part.Num(.41), part.Num(.34)},
		Indices: []Index{{"Cp", part.Num(1.54), part.Num(1.5), part.Num(1.58), .95},
			{"Cpk", part.Num(1.42), part.Num(1.38), part.Num(1.46), .95}, {"Ppk", part.Num(1.37), nil, nil, .95}}}
	for k := -5; k < 6; k++ {
		c.Histogram = append(c.Histogram, Bin{float64(k)*10 - 5, float64(k)*10 + 5, int(400 * math.Exp(-float64(k*k)/3))})
	}
	for _, q := range []float64{.00135, .05, .5, .95, .99865} {
		c.Quantiles = append(c.Quantiles, Quantile{q, part.Num(4 + 20*(q-.5))})
	}
	rep.Steps = c
	p := Chart{Kind: "p", Title: Said{Key: "chart.kind.p"}, X: "lots", Y: "fraction"}
	m := Chart{Kind: "xbar", Title: Said{Key: "chart.kind.xbar"}, X: "lots", Y: "mean_step", Centre: []*float64{part.Num(4)},
		Lower: []*float64{part.Num(1)}, Upper: []*float64{part.Num(7)}}
	for k := range 24 {
		size := float64(80 + 40*(k%3))
		p.Names, m.Names = append(p.Names, fmt.Sprintf("L-%d", 4690+k)), append(m.Names, fmt.Sprintf("L-%d", 4690+k))
		p.Values, p.Sizes = append(p.Values, part.Num(.02+.01*r.NormFloat64())), append(p.Sizes, size)
		p.Centre, p.Lower, p.Upper = append(p.Centre, part.Num(.02)), append(p.Lower, part.Num(0)),
			append(p.Upper, part.Num(.02+3*math.Sqrt(.02*.98/size)))
		m.Values = append(m.Values, part.Num(4+r.NormFloat64()))
	}
	m.Values[17], m.Values[9] = part.Num(8.3), nil
	m.Signals = []Signal{{17, "beyond", "N1"}}
	rep.Charts = []Chart{m, p}
	rep.Paretos = []Pareto{{By: "kind", Rows: []ParetoRow{{"dust", 61, .55, .55, 0, 0}, {"bubble", 30, .27, .82, 0, 0},
		{"fibre", 12, .11, .93, 0, 0}, {"sanding", 8, .07, 1, 0, 0}}, Chi2: part.Num(38.2), DF: 3, P: part.Num(.0000002)},
		{By: "shift", Rows: []ParetoRow{{"early", 40, .4, .4, 80, 0}, {"late", 60, .6, 1, 80, 0}}, Chi2: part.Num(2.1), DF: 1,
			P: part.Num(.147)}}
	rep.Yields = []Yield{{"wet", 200, 180, part.Num(.9), part.Num(.85), part.Num(.94)},
		{"cured", 200, 190, part.Num(.95), part.Num(.91), part.Num(.97)}, {Stage: "", Share: part.Num(.855)}}
	mp := &Map{Left: 4, Units: 78, MMWide: part.Num(17.2), Frame: "unit", Circles: []MapCircle{{.3, .35, .12, 21, 6.2, part.Num(.001)}}}
	for k := range 60 {
		a := float64(k) * 2 * math.Pi / 60
		rad := .42 + .05*math.Cos(2*a) + .03*math.Sin(3*a)
		mp.Outline = append(mp.Outline, Point{.5 + rad*math.Cos(a), .5 + rad*math.Sin(a)})
	}
	kinds := []part.Kind{part.Dust, part.Dust, part.Bubble, part.Fibre, part.Sanding}
	for range 90 {
		mp.Findings = append(mp.Findings, MapPoint{.3 + .12*r.NormFloat64(), .35 + .1*r.NormFloat64(), kinds[r.IntN(5)],
			part.Severities[1+r.IntN(3)]})
	}
	rep.Map = mp
	sh := &ShellMap{GirthMM: 52.4, DepthMM: 13, LookedAt: .81, Units: 74, Circles: []ShellCircle{{358, 3.5, 2.1, 17, 3.4, part.Num(.002)}},
		Notes: []Said{{Key: "map.shell_of", Args: []string{"n", "74", "of", "80"}}}}
	for j := range 26 {
		row := make([]byte, 72)
		for i := range row {
			row[i] = '2'
			switch z := 10 + 1.5*math.Sin(float64(i)*math.Pi/18); {
			case float64(j)/2 > z:
				row[i] = '0'
			case float64(j)/2 > z-2.5, i%24 > 20:
				row[i] = '1'
			}
		}
		sh.Rows = append(sh.Rows, string(row))
	}
	for k := range 70 {
		f := ShellPoint{360 * r.Float64(), 10 * r.Float64(), kinds[r.IntN(5)], part.Severities[1+r.IntN(3)]}
		if k%4 == 0 {
			f.TurnDeg, f.BelowMM, f.Kind = math.Mod(718+6*r.NormFloat64(), 360), 3.5+.7*r.NormFloat64(), part.Run
		}
		sh.Findings = append(sh.Findings, f)
	}
	rep.Shell = sh
	if len(rep.Findings) > 1 {
		f := &rep.Findings[1]
		f.Zone, f.TurnDeg, f.BelowMM = part.ZoneShell, part.Num(119.6), part.Num(3.24)
	}
	rep.Hints = []Said{{Text: "Dust all over and rising: look at the filter and the airflow."}}
	rep.Notes = []Said{{Text: "Invented data."}}
}

// language is a shipped language.
func language(t testing.TB, tag string) *lang.Lang {
	t.Helper()
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	l := all.Choose(tag, "")
	if l.Tag != tag {
		t.Fatalf("there is no language %s", tag)
	}
	return l
}
