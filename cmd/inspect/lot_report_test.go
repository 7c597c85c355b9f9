package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/configs"
	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/config"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
	"finishbench/internal/lots/lotreport"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// inventedLots records invented lots of so many units, all of them drawn and
// inspected where whole is set, else a sample by the shipped plans. The last lot is
// left undecided. It returns the database's file and the lots' names.
func inventedLots(t testing.TB, n, size int, whole bool) (string, []string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "lots.db")
	if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
		file = filepath.Join(keep, fmt.Sprintf("lots-%d-%d.db", n, size))
	}
	ctx := context.Background()
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	store, err := records.Open(ctx, file, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	limits := part.SettingsFile{Name: "limits.yaml (shipped)", Bytes: configs.LimitsYAML}
	rng := rand.New(rand.NewPCG(5, uint64(size)))
	var names []string
	for k := range n {
		name := fmt.Sprintf("L-%d", 4700+k)
		names = append(names, name)
		in := &inventedLot{t: t, store: store, rng: rng, now: &now, limits: limits, name: name, dust: .25 + .02*float64(k)}
		in.run(ctx, size, whole, k < n-1)
		now = now.Add(20 * time.Hour)
	}
	return file, names
}

// inventedLot is one lot on its way.
type inventedLot struct {
	t      testing.TB
	store  *records.Store
	rng    *rand.Rand
	now    *time.Time
	limits part.SettingsFile
	name   string
	dust   float64
	shells bool // each unit's shell was looked at, and has a finding; on each third the spindle's mark
}

func (x *inventedLot) run(ctx context.Context, size int, whole, decide bool) {
	x.t.Helper()
	var l lots.Lot
	l.Name = x.name
	do := func(e part.Entry, err error) {
		x.t.Helper()
		if err != nil {
			x.t.Fatal(err)
		}
		if err := x.store.Note(ctx, e); err != nil {
			x.t.Fatal(err)
		}
		if err := l.Apply(e); err != nil {
			x.t.Fatal(err)
		}
	}
	shipped, err := config.LoadStation("")
	if err != nil {
		x.t.Fatal(err)
	}
	classes := book.Classes(shipped.Lots)
	plans, err := lots.PlanLot(size, "II", classes, nil)
	if err != nil {
		x.t.Fatal(err)
	}
	digest := sha256.Sum256(x.limits.Bytes)
	sum := hex.EncodeToString(digest[:])
	o := lots.Opening{Size: size, Product: "shell", Stage: part.Cured, Standard: lots.ISO2859, Rules: lots.Rules{Standard: lots.ISO2859},
		Edition: lots.Edition, Level: "II", Limits: sum, LimitsName: x.limits.Name,
		NotPassing: part.Major}
	for _, p := range plans {
		if whole {
			p.Plan.N, p.Plan.All = size, true
			p.Plan.Ac, p.Plan.Re = p.Plan.Ac*size, p.Plan.Ac*size+1
		}
		o.Classes = append(o.Classes, lots.Planned{ClassPlan: p, Switching: lots.Switching{Mode: lots.Normal}})
	}
	do(l.Open(o, *x.now, "inspector 2"))
	var serials []string
	for i := range size {
		serials = append(serials, fmt.Sprintf("%s%05d-%s", strings.ToLower(x.name[:1]), i/2+1, []string{"L", "R"}[i%2]))
	}
	do(l.Draw(serials, 77, true, x.now.Add(time.Minute), "inspector 2"))
	var entries []part.Entry
	for i, u := range l.Current().Drawing.Units {
		*x.now = x.now.Add(40 * time.Second)
		in := x.inspection(u, i)
		id, err := x.store.Add(ctx, in)
		if err != nil {
			x.t.Fatal(err)
		}
		in.ID, in.Limits.SHA256 = id, sum
		e, err := l.Take(lots.UnitOf(u, &in), *x.now, "inspector 2")
		if err != nil {
			x.t.Fatal(err)
		}
		if err := l.Apply(e); err != nil {
			x.t.Fatal(err)
		}
		entries = append(entries, e)
	}
	if err := x.store.Note(ctx, entries...); err != nil {
		x.t.Fatal(err)
	}
	if decide {
		for _, u := range l.Current().Undisposed() {
			do(l.DisposeUnit(lots.Disposition{Unit: u.Name, Route: lots.Scrapped}, x.now.Add(time.Hour), "inspector 2"))
		}
		do(l.Decide(nil, "", x.now.Add(time.Hour), "inspector 2"))
	}
}

// inspection is an invented cured unit: dust at one place, steps about 4 um.
func (x *inventedLot) inspection(name string, i int) part.Inspection {
	serial, side := part.SerialAndSide(name, "")
	r := part.Result{Schema: 1, Unit: name, Stage: part.Cured, Verdict: part.Pass, Reasons: []string{}, Warnings: []string{}, MMPerPX: .015,
		Findings: []part.Finding{},
		Pictures: []part.PictureReport{{File: "face.jpg", View: part.Face, Light: part.Diffuse, State: part.PictureOK,
			Problems: []part.Problem{}, WidthPX: 1600, HeightPX: 1200}},
		Scales: []part.ScaleUse{{File: "scale-2026-02.json", SHA256: strings.Repeat("9c3c", 16), Made: "2026-02-11", MMPerPX: .015,
			URel: .0004}},
		Faceplate: &part.Faceplate{Image: "face.jpg"}}
	turn := x.rng.Float64() * .2
	for k := range 72 {
		a := float64(k) * math.Pi / 36
		rad := 400 + 90*math.Cos(2*a) + 40*math.Cos(3*a)
		r.Faceplate.OutlinePX = append(r.Faceplate.OutlinePX, [2]float64{800 + rad*math.Cos(a+turn), 600 + rad*math.Sin(a+turn)})
	}
	worst := 0.0
	for k := range 12 {
		step, u := 4+9*x.rng.NormFloat64(), 1.4+.3*x.rng.Float64()
		s := part.StepStation{Image: fmt.Sprintf("edge_%03d.jpg", 30*(k/2)), AngleDeg: float64(30 * (k / 2)),
			Side: []part.Side{part.Left, part.Right}[k%2], State: part.Measured, StepUM: &step, UUM: &u}
		if x.rng.IntN(300) == 0 {
			s.State, s.StepUM, s.UUM, s.Reason = part.Unmeasured, nil, nil, "the outline is hidden by the holder"
		} else if math.Abs(step) > math.Abs(worst) {
			worst = step
		}
		r.Seam.Stations = append(r.Seam.Stations, s)
	}
	r.Seam.WorstStepUM = &worst
	score := 0.0
	for k := range 2 {
		if x.rng.Float64() > x.dust {
			continue
		}
		d := .08 + .2*x.rng.Float64()
		f := part.Finding{Number: k + 1, Image: "face.jpg", Kind: []part.Kind{part.Dust, part.Dust, part.Bubble, part.Fibre}[x.rng.IntN(4)],
			Zone: part.ZoneFace, Severity: part.Minor, DiameterMM: &d, Confidence: .9,
			Box: part.Box{850 + 180*x.rng.NormFloat64(), 520 + 120*x.rng.NormFloat64(), 12, 12}}
		if x.rng.IntN(3) == 0 { // a dirty nozzle
			f.Box[0], f.Box[1] = 1000+15*x.rng.NormFloat64(), 560+15*x.rng.NormFloat64()
		}
		if x.rng.IntN(60) == 0 {
			f.Severity, r.Verdict = part.Major, part.Rework
			score += 49
		}
		score++
		r.Findings = append(r.Findings, f)
	}
	if x.shells {
		r.Shell = &part.ShellMap{LookedAt: 1, StepDeg: 10, StepMM: 1}
		for range 12 {
			r.Shell.RadiusMM, r.Shell.Rows = append(r.Shell.RadiusMM, 8), append(r.Shell.Rows, strings.Repeat("2", 36))
		}
		turn, below := 360*x.rng.Float64(), 12*x.rng.Float64()
		if i%3 == 0 {
			turn, below = math.Mod(720+3*x.rng.NormFloat64(), 360), 4+.2*x.rng.NormFloat64()
		}
		r.Findings = append(r.Findings, part.Finding{Number: len(r.Findings) + 1, Image: "shell.jpg", Kind: part.Missed,
			Zone: part.ZoneShell, Severity: part.Minor, Confidence: .9, TurnDeg: &turn, BelowMM: &below})
	}
	r.Score = &score
	return part.Inspection{UnitInfo: part.UnitInfo{Serial: serial, Side: side, Lot: x.name,
		Operator:  []string{"finisher 3", "finisher 5"}[i%2],
		Faceplate: []string{"oak 2", "plain black"}[i/2%2], Resin: []string{"B-77", "B-78"}[i/3%2], Stage: part.Cured},
		Bench: "bench 1", Started: x.now.Add(-20 * time.Second), Ended: *x.now, Result: r, Limits: x.limits, Program: "0.1.0"}
}

// lotRun runs a command that must succeed.
func lotRun(t testing.TB, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if err := run(t.Context(), args, strings.NewReader(""), &out, &errs); err != nil {
		t.Fatalf("%v: %v\n%s", args, err, errs.String())
	}
	return out.String()
}

// The report of a lot has all that was asked for; the same time gives the same
// bytes; both languages.
func TestLotReport(t *testing.T) {
	file, names := inventedLots(t, 6, 400, false)
	at := "2026-03-20 16:30"
	for lang, words := range map[string][]string{"en": {"accepted", "refused"}, "zh-Hans": {"接收", "拒收"}} {
		dir := t.TempDir()
		if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
			dir = filepath.Join(keep, lang)
		}
		said := lotRun(t, "lot", "report", names[4], "--record", file, "--out", dir, "--at", at, "--language", lang)
		if !strings.Contains(strings.ToLower(said), words[0]) && !strings.Contains(strings.ToLower(said), words[1]) {
			t.Errorf("%s: it says %s", lang, said)
		}
		again := t.TempDir()
		lotRun(t, "lot", "report", names[4], "--record", file, "--out", again, "--at", at, "--language", lang)
		for _, f := range []string{"lot-L-4704.pdf", "lot-L-4704.xlsx", "lot-L-4704.json", "lot-L-4704-units.csv",
			"lot-L-4704-findings.csv", "lot-L-4704-stations.csv", "lot-L-4704-plan.csv"} {
			a, err := os.ReadFile(filepath.Join(dir, f))
			if err != nil {
				t.Fatal(err)
			}
			b, err := os.ReadFile(filepath.Join(again, f))
			if err != nil || !bytes.Equal(a, b) {
				t.Errorf("%s, %s: other bytes the second time (%v)", lang, f, err)
			}
		}
	}
	var r lotreport.Report
	if err := json.Unmarshal([]byte(lotRun(t, "lot", "report", names[4], "--record", file, "--json", "--at", at)), &r); err != nil {
		t.Fatal(err)
	}
	switch {
	case r.Lot.Name != names[4] || r.Lot.Size != 400 || r.Decision == nil || r.Decision.By != "inspector 2" || len(r.Decision.Hash) != 64:
		t.Errorf("the lot: %+v, %+v", r.Lot, r.Decision)
	case len(r.Plans) != 3 || r.Plans[1].Standard != lots.Edition || r.Plans[1].Letter == "" || r.Plans[1].Lets == nil ||
		len(r.Plans[1].Curve) == 0:
		t.Errorf("the plans: %+v", r.Plans)
	case len(r.Switching) != 2 || r.Switching[0].Standard != string(lots.ISO2859) || r.Switching[0].After == "":
		t.Errorf("switching: %+v", r.Switching)
	case r.Draw == nil || r.Draw.Seed != 77 || len(r.Draw.Serials) != len(r.Units):
		t.Errorf("the draw: %+v", r.Draw)
	case len(r.Stations) != 12*len(r.Units) || len(r.Findings) == 0 || r.Gauge.Step == nil || len(r.Gauge.Scales) != 1 ||
		r.Units[0].UUM == nil:
		t.Errorf("%d stations, %d findings of %d units, gauge %+v", len(r.Stations), len(r.Findings), len(r.Units), r.Gauge)
	case r.Steps == nil || len(r.Steps.Indices) == 0 || *r.Steps.UpperUM != 50 || *r.Steps.LowerUM != -50:
		t.Errorf("capability: %+v", r.Steps)
	case len(r.Charts) < 4 || len(r.Charts[1].Values) != 5 || len(r.Paretos) == 0 || r.Map == nil || len(r.Map.Findings) == 0 ||
		len(r.Yields) == 0:
		t.Errorf("%d charts, %d paretos, map %v, %d yields", len(r.Charts), len(r.Paretos), r.Map != nil, len(r.Yields))
	}
	var by []string
	for _, p := range r.Paretos {
		by = append(by, p.By)
	}
	for _, want := range []string{"kind", "operator", "faceplate", "resin"} {
		if !slices.Contains(by, want) {
			t.Errorf("Paretos by %q lack %s", by, want)
		}
	}
	// Of an undecided lot nothing is said to be decided.
	if out := lotRun(t, "lot", "report", names[5], "--record", file, "--json"); strings.Contains(out, `"decision"`) {
		t.Error("an undecided lot has a decision")
	}
	for args, want := range map[string]string{
		"lot report " + names[0]:                                   "--out",
		"lot report none --out " + t.TempDir():                     "no lot none",
		"lot report " + names[0] + " --json --format doc":          "--format doc",
		"lot report " + names[0] + " --json --language xx":         "--language xx",
		"lot report " + names[0] + " --json --at soon":             "soon",
		"lot report " + names[0] + " --json --gauge-study " + file: "is no gauge study",
	} {
		var out, errs bytes.Buffer
		err := run(t.Context(), append(strings.Fields(args), "--record", file), strings.NewReader(""), &out, &errs)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", args, err)
		}
	}
}

// A spindle's mark that comes again on the shell is one place on the lot's map and one hint, with its turn and height; findings of which
// only the brief was read have neither, and the report says so.
func TestLotReportShell(t *testing.T) {
	file, ctx, now := filepath.Join(t.TempDir(), "lots.db"), context.Background(), time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	store, err := records.Open(ctx, file, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	limits := part.SettingsFile{Name: "limits.yaml (shipped)", Bytes: configs.LimitsYAML}
	lot := &inventedLot{t: t, store: store, rng: rand.New(rand.NewPCG(5, 5)), now: &now, limits: limits, name: "L-1", shells: true}
	lot.run(ctx, 100, true, false)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	var r lotreport.Report
	if err := json.Unmarshal([]byte(lotRun(t, "lot", "report", "L-1", "--record", file, "--json")), &r); err != nil {
		t.Fatal(err)
	}
	if sh := r.Shell; sh == nil || sh.Units != book.ReadInFull || len(sh.Findings) != book.ReadInFull || len(sh.Circles) != 1 ||
		sh.Circles[0].Units < 20 || math.Abs(math.Remainder(sh.Circles[0].TurnDeg, 360)) > 8 || math.Abs(sh.Circles[0].BelowMM-4) > 1 {
		t.Errorf("%+v", sh)
	}
	placed := 0
	for _, f := range r.Findings {
		if f.TurnDeg != nil && f.BelowMM != nil {
			placed++
		}
	}
	said := func(all []lotreport.Said, key string) bool {
		return slices.ContainsFunc(all, func(s lotreport.Said) bool { return s.Key == key })
	}
	if placed != book.ReadInFull || !said(r.Notes, "note.places_unread") || !said(r.Hints, "hint.cluster_shell") {
		t.Errorf("%d findings with a place; notes %+v, hints %+v", placed, r.Notes, r.Hints)
	}
}

// Every kind of chart is drawn, as text, JSON and page; bad input has its sentence.
func TestLotChart(t *testing.T) {
	file, _ := inventedLots(t, 6, 300, false)
	for _, kind := range append(book.Kinds(), book.UnitKinds()...) {
		dir := t.TempDir()
		text := lotRun(t, "lot", "chart", "--kind", kind, "--record", file, "--out", dir, "--language", "en")
		if !strings.Contains(text, "Control chart") {
			t.Errorf("%s: %s", kind, text)
		}
		page, err := os.ReadFile(filepath.Join(dir, "chart.html"))
		if err != nil || !bytes.Contains(page, []byte("<svg")) || bytes.Contains(page, []byte("lot.chart")) {
			t.Errorf("%s: the page, %v", kind, err)
		}
		var j book.ChartJSON
		if err := json.Unmarshal([]byte(lotRun(t, "lot", "chart", "--kind", kind, "--record", file, "--json")), &j); err != nil ||
			len(j.Charts) == 0 || len(j.Charts[0].Values) < 6 || len(j.Charts[0].Values) != len(j.Charts[0].Names) {
			t.Errorf("%s: %+v, %v", kind, j, err)
		}
	}
	for args, want := range map[string]string{
		"--kind z": "there are p", "--kind p --lot x": "goes over lots", "--kind i --product x": "--product",
		"--kind i --target 3": "--target", "--kind ewma --target x": "no number", "--kind xbar --subgroup 1": "--subgroup",
		"--kind p --from 2027-01-01": "two at least", "--kind i --from 2026-03-02 --to 2026-03-01": "not before",
		"--kind i --lot none": "needs 2", "--kind p --rules odd": "no rule", "--kind i --baseline -1": "--baseline",
		"--kind i --stage dry": "stage", "": "--kind",
		"--kind i --of gloss": "--of", "--kind p --of waviness": "counts over lots", "--kind p --resin B-77": "--resin",
		"--kind i --of waviness --lot L-4700": "without a measured waviness are left out", "--kind i --resin none": "of 0 units",
	} {
		var out, errs bytes.Buffer
		err := run(t.Context(), append(append([]string{"lot", "chart"}, strings.Fields(args)...), "--record", file), strings.NewReader(""),
			&out, &errs)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", args, err)
		}
	}
}

// drift are invented records of two batches: of B-77 ten units of 1.0 and 1.2 mrad in
// turn, then five of B-78 that rise from 1.3 by 0.2; between them one without a screen
// and one of which only the phase is known (B-77), and two lower bounds (B-78).
func drift(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "drift.db")
	if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
		file = filepath.Join(keep, "drift.db")
	}
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	store, err := records.Open(t.Context(), file, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	limits := part.SettingsFile{Name: "limits.yaml (shipped)", Bytes: configs.LimitsYAML}
	x := &inventedLot{t: t, store: store, rng: rand.New(rand.NewPCG(5, 6)), now: &now, limits: limits, name: "L-1"}
	phase := .3
	of := func(mrad float64) *part.Mirror { return &part.Mirror{PhaseRad: &phase, SlopeMRad: &mrad} }
	bound := of(5)
	bound.AtLeast = true
	old, young := []*part.Mirror{of(1), of(1.2), nil, of(1), of(1.2), of(1), of(1.2), {PhaseRad: &phase}, of(1), of(1.2), of(1),
		of(1.2)}, []*part.Mirror{of(1.3), bound, of(1.5), of(1.7), bound, of(1.9), of(2.1)}
	for i, screen := range append(old, young...) {
		now = now.Add(time.Minute)
		in := x.inspection(fmt.Sprintf("d%02d-L", i+1), i)
		in.Result.Screen, in.Resin = screen, "B-77"
		if i >= len(old) {
			in.Resin = "B-78"
		}
		if _, err := store.Add(t.Context(), in); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

// A batch that drifts is signalled against the one before it. Limits by hand: the
// baseline's mean is 1.1 and its mean range 0.2 mrad; factors 2.660 for single values,
// A2 = 1.880 and d2 = 1.128 for two (Shewhart's, ISO 7870-2; from memory), EWMA's first
// limit 3 x 0.2 x sigma (Roberts 1959). What was not measured moves none of them.
func TestChartWaviness(t *testing.T) {
	file := drift(t)
	for _, c := range []struct {
		args                 string
		points               int
		centre, lower, upper float64
		signals              []int
		name                 string // of the first signal's point
	}{
		{"--kind i --baseline 10", 15, 1.1, 1.1 - 2.660*.2, 1.1 + 2.660*.2, []int{12, 13, 14}, "d16-L (B-78)"},
		{"--kind xbar --subgroup 2 --baseline 5", 7, 1.1, 1.1 - 1.880*.2, 1.1 + 1.880*.2, []int{6}, "d16-L (B-78)"},
		{"--kind ewma --baseline 10", 15, 1.1, 1.1 - .6*.2/1.128, 1.1 + .6*.2/1.128, []int{12, 13, 14}, "d16-L (B-78)"},
		// Page's sums, in sigma, by hand, 0.5 off each: 0.06, 0.69, 2.45, 5.33, above 5 (as charts.CUSUM sources them).
		{"--kind cusum --baseline 10", 15, math.NaN(), math.NaN(), 5 * .2 / 1.128, []int{12, 13, 14}, "d16-L (B-78)"},
	} {
		var j book.ChartJSON
		if err := json.Unmarshal([]byte(lotRun(t, append(strings.Fields("lot chart --of waviness --json "+c.args), "--record", file)...)),
			&j); err != nil {
			t.Fatal(err)
		}
		chart := j.Charts[0]
		var at []int
		for _, g := range chart.Signals {
			at = append(at, g.Point)
		}
		if len(chart.Values) != c.points || !slices.Equal(at, c.signals) || chart.Names[c.signals[0]] != c.name {
			t.Errorf("%s: %d points %q, signals at %d", c.args, len(chart.Values), chart.Names, at)
		}
		for what, v := range map[string]struct {
			got  []*float64
			want float64
		}{"centre": {chart.Centre, c.centre}, "lower limit": {chart.Lower, c.lower}, "upper limit": {chart.Upper, c.upper}} {
			if math.IsNaN(v.want) {
				continue
			}
			switch {
			case len(v.got) == 0 || v.got[0] == nil:
				t.Errorf("%s: no %s", c.args, what)
			case math.Abs(*v.got[0]-v.want) > 4e-4: // the factors' rounding
				t.Errorf("%s: %s %g is not %g", c.args, what, *v.got[0], v.want)
			}
		}
		var told []string
		for _, s := range append(chart.Notes, j.Left...) {
			told = append(told, s.Key+" "+strings.Join(s.Args, " "))
		}
		for _, want := range []string{"chart.left.waviness n 1", "chart.left.phase n 1", "chart.left.bound n 2"} {
			if !slices.Contains(told, want) {
				t.Errorf("%s: %q lacks %s", c.args, told, want)
			}
		}
		if strings.Contains(c.args, "cusum") && !strings.Contains(strings.Join(told, " "), "unit mrad") {
			t.Errorf("%q lacks the unit", told)
		}
	}
	// One batch: its points only, and only what it lacks is counted.
	for of, points := range map[string]int{"waviness": 5, "step": 7} {
		var j book.ChartJSON
		if err := json.Unmarshal([]byte(lotRun(t, "lot", "chart", "--kind", "i", "--of", of, "--resin", "B-78", "--json", "--record",
			file)), &j); err != nil {
			t.Fatal(err)
		}
		c := j.Charts[0]
		if len(c.Values) != points || slices.ContainsFunc(c.Names, func(n string) bool { return !strings.HasSuffix(n, " (B-78)") }) {
			t.Errorf("%s: %q", of, c.Names)
		}
		if of == "step" && len(j.Left) != 0 || of == "waviness" && (len(j.Left) != 1 || j.Left[0].Key != "chart.left.bound") {
			t.Errorf("%s: %+v", of, j.Left)
		}
	}
	// The page says it in words, in both languages.
	for lang, words := range map[string][]string{
		"en": {"Waviness, unit by unit", "Moving range of the waviness", "waviness of a unit / mrad", "moving range / mrad",
			"2 units are left out of which only a lower bound", "1 unit without a measured waviness", "where the screen stands",
			"resin batch B-78"},
		"zh-Hans": {"逐件波纹度", "波纹度的移动极差", "每件波纹度 / mrad", "移动极差 / mrad", "2 件波纹度只知下界", "1 件未测得波纹度", "屏幕位置", "树脂批号 B-78"},
	} {
		page := ""
		for _, more := range [][]string{nil, {"--resin", "B-78"}} {
			dir := t.TempDir()
			lotRun(t, append([]string{"lot", "chart", "--kind", "i", "--of", "waviness", "--record", file, "--out", dir, "--language",
				lang}, more...)...)
			data, err := os.ReadFile(filepath.Join(dir, "chart.html"))
			if err != nil {
				t.Fatal(err)
			}
			page += string(data)
		}
		for _, w := range words {
			if !strings.Contains(page, w) {
				t.Errorf("%s: the page lacks %q", lang, w)
			}
		}
		if strings.Contains(page, "lot.chart") || strings.Contains(page, "lot.axis") || strings.Contains(page, "µm") {
			t.Errorf("%s: the page has a key without a text, or the step's unit", lang)
		}
	}
}

// The page's lots are those of the records: counts, steps that may be signed, a
// decision that another took meanwhile.
func TestBenchLots(t *testing.T) {
	file, names := inventedLots(t, 2, 300, false)
	store, err := records.OpenExisting(t.Context(), file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	b := station.NewLots(store, "", nil)
	all, err := b.List(t.Context())
	if err != nil || len(all) != 2 || all[0].Name != names[1] || all[0].Taken == 0 || all[0].Taken != all[0].N {
		t.Fatalf("%+v, %v", all, err)
	}
	if _, err := b.Lot(t.Context(), "none"); err != bench.ErrNoLot {
		t.Errorf("no lot: %v", err)
	}
	s, err := b.Lot(t.Context(), names[1])
	if err != nil || s.State != lots.StateToDecide || len(s.Plans) != 3 || len(s.Steps) == 0 {
		t.Fatalf("%+v, %v", s, err)
	}
	languages, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	l := languages.Choose("zh-Hans", "")
	m, err := b.More(t.Context(), l, names[1])
	if err != nil || len(m.Figures) < 5 || len(m.Lets) != 3 {
		t.Errorf("%d figures, %q, %v", len(m.Figures), m.Lets, err)
	}
	for _, f := range []string{"pdf", "xlsx", "json"} {
		data, mime, err := b.Report(t.Context(), l, names[1], f)
		if err != nil || len(data) < 1000 || mime == "" {
			t.Errorf("%s: %d bytes, %q, %v", f, len(data), mime, err)
		}
	}
	step := bench.LotStep{What: s.Steps[len(s.Steps)-1], By: "inspector 2", Note: "seen", Seq: s.Seq - 1}
	if err := b.Decide(t.Context(), names[1], step); err != bench.ErrLotMoved {
		t.Errorf("on an older state: %v", err)
	}
	step.Seq = s.Seq
	if err := b.Decide(t.Context(), names[1], step); err != nil {
		t.Fatal(err)
	}
	if s, err = b.Lot(t.Context(), names[1]); err != nil || s.State != lots.StateRefused || s.Decided == nil ||
		s.Decided.By != "inspector 2" || strings.Join(s.Steps, " ") != "screen return" {
		t.Errorf("%+v, %v", s, err)
	}
	var no *part.Trouble
	if err := b.Decide(t.Context(), names[1], bench.LotStep{What: "accept", By: "x", Seq: s.Seq}); !errors.As(err, &no) {
		t.Errorf("a second decision: %v", err)
	}
	if err := b.Decide(t.Context(), names[1], bench.LotStep{What: "return", By: "inspector 2", Seq: s.Seq}); err != nil {
		t.Error(err)
	}
	if s, _ = b.Lot(t.Context(), names[1]); s.State != lots.StateReturned || len(s.Steps) != 0 {
		t.Errorf("%+v", s)
	}
}

// lotReportBar is the issue's: a lot of ten thousand units is reported in so long.
const lotReportBar = 2 * time.Second

// TestFiguresLotReport tells how long the report of a lot of ten thousand inspected
// units takes, in all formats, from the command to its end; `make bench` runs it.
func TestFiguresLotReport(t *testing.T) {
	if os.Getenv("FINISHBENCH_FIGURES") == "" {
		t.Skip("takes minutes and wants a quiet machine: `make bench` runs it")
	}
	file, names := inventedLots(t, 1, 10000, true)
	best := time.Hour
	for range 3 {
		args := []string{"lot", "report", names[0], "--record", file, "--out", t.TempDir(), "--at", "2026-03-20 16:30"}
		cmd := program(t, args...)
		if p := os.Getenv("FINISHBENCH_PROGRAM"); p != "" {
			cmd = exec.Command(p, args...)
		}
		start := time.Now()
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		best = min(best, time.Since(start))
	}
	fmt.Printf("report of a lot of 10,000 inspected units, PDF, XLSX, CSV, JSON: %.2f s (bar %.0f s)\n", best.Seconds(),
		lotReportBar.Seconds())
	if best > lotReportBar {
		t.Errorf("the report took %s, the bar is %s", best, lotReportBar)
	}
}
