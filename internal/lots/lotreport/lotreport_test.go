package lotreport

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"finishbench/internal/lots/process"
	"finishbench/internal/part"
)

// formats writes a report in each format that is one file.
func formats(t testing.TB, r *Report, tag string) map[string][]byte {
	t.Helper()
	l := language(t, tag)
	out := map[string][]byte{}
	for name, write := range map[string]func(*bytes.Buffer) error{
		"lot.pdf":  func(b *bytes.Buffer) error { return r.WritePDF(b, l, tag, time.UTC) },
		"lot.xlsx": func(b *bytes.Buffer) error { return r.WriteXLSX(b, l, tag, time.UTC) },
		"lot.json": func(b *bytes.Buffer) error { return r.WriteJSON(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = b.Bytes()
	}
	for _, n := range CSVNames() {
		var b bytes.Buffer
		if err := r.WriteCSV(&b, n); err != nil {
			t.Fatalf("%s: %v", n, err)
		}
		out[n+".csv"] = b.Bytes()
	}
	return out
}

// With FINISHBENCH_STORIES each format is stored there, to be looked at.
func TestStories(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	for _, tag := range []string{"en", "zh-Hans"} {
		for name, data := range formats(t, invented(3200, 200, Accepted), tag) {
			if len(data) == 0 {
				t.Errorf("%s, %s: empty", tag, name)
			}
			if dir != "" {
				if err := os.WriteFile(filepath.Join(dir, tag+"-"+name), data, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// The same report gives the same bytes, whenever it is written; another time stamp
// gives others.
func TestSameBytes(t *testing.T) {
	first := formats(t, invented(500, 80, Refused), "zh-Hans")
	time.Sleep(1100 * time.Millisecond) // a clock that was looked at would show
	again := formats(t, invented(500, 80, Refused), "zh-Hans")
	later := invented(500, 80, Refused)
	later.Generated = later.Generated.Add(time.Hour)
	other := formats(t, later, "zh-Hans")
	for name, data := range first {
		if !bytes.Equal(data, again[name]) {
			t.Errorf("%s differs from one writing to the next", name)
		}
		if bytes.Equal(data, other[name]) && !strings.HasSuffix(name, ".csv") {
			t.Errorf("%s does not tell when it was made", name)
		}
	}
	pdf := string(first["lot.pdf"])
	for _, odd := range []string{"/ID", "xmp:"} {
		if strings.Contains(pdf, odd) {
			t.Errorf("the PDF has %s", odd)
		}
	}
	if !strings.Contains(pdf, "D:20260302163000") {
		t.Error("the PDF's date is not that of the report")
	}
	z, err := zip.NewReader(bytes.NewReader(first["lot.xlsx"]), int64(len(first["lot.xlsx"])))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		if !f.Modified.Equal(time.Date(2026, 3, 2, 16, 30, 0, 0, time.UTC)) {
			t.Errorf("%s is of %s", f.Name, f.Modified)
		}
	}
}

// A PDF's text can be taken out, numbers with units and uncertainty.
func TestPDFText(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no pdftotext here: the PDF's text was not looked at")
	}
	r := invented(500, 80, Accepted)
	r.Lot.Name = "批次 龘 7"
	r.Units[3].Serial, r.Draw.Serials[3] = "k\tx\u0001y", "k\tx\u0001y"
	for tag, words := range map[string][]string{
		"en": {"ACCEPTED", "批次", "[U+9F98]", "王小明", "page 1 of", "MIL-STD-105E (1989)", "ISO 2859-1:1999", "8612443018", "k = 2", "µm",
			"±", "inspector 2", "9c3c7ab4410caf11", "Anderson-Darling", "k x[U+0001]y", "Confidence", "on the shell, 120°",
			"mm below the seam", "on the shell at 358° and 3.5 mm", "The shells of 74 of the 80 units",
			"faceplate off-centre by 84 ± 3 µm towards 40°"},
		"zh-Hans": {"接收", "批次", "王小明", "第 1 页", "MIL-STD-105E (1989)", "种子", "8612443018", "扩展不确定度", "µm", "±", "灰尘", "抽检特性曲线", "转角 120°",
			"接缝以下，mm", "转角 358°", "面板偏心 84 ± 3 µm，朝向 40°"},
	} {
		if tag == "zh-Hans" {
			words[10] = language(t, tag).T("kind.dust")
		}
		file := filepath.Join(t.TempDir(), "lot.pdf")
		if err := os.WriteFile(file, formats(t, r, tag)["lot.pdf"], 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdftotext", "-layout", file, "-").CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		text := string(out)
		for _, w := range words {
			if !strings.Contains(text, w) {
				t.Errorf("%s: %q is not in the PDF's text", tag, w)
			}
		}
		if m := regexp.MustCompile(`lot\.[a-z_]+\.[a-z_]+|\{[a-z@]+`).FindString(text); m != "" {
			t.Errorf("%s: the key %s was not turned into words", tag, m)
		}
		// Every worst step of the sample is there, with twice its uncertainty.
		l := language(t, tag)
		for _, u := range r.Units {
			if want := l.Number(*u.WorstStepUM, 0) + " ± " + l.Number(2**u.UUM, 0); !strings.Contains(text, want) {
				t.Errorf("%s: %s of %s is missing", tag, want, u.Serial)
			}
		}
	}
}

// A workbook has real numbers, empty cells for what was not measured, times, and
// headings that stay in sight.
func TestXLSX(t *testing.T) {
	r := invented(500, 80, Accepted)
	r.Units[2].WorstStepUM, r.Units[2].Verdict = nil, part.NotMeasured
	r.Units[5] = Unit{Serial: "=1+1", Place: 6}
	f, err := excelize.OpenReader(bytes.NewReader(formats(t, r, "en")["lot.xlsx"]))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := strings.Join(f.GetSheetList(), " "); got != "Plan Units Findings Stations" {
		t.Errorf("sheets: %s", got)
	}
	for _, s := range f.GetSheetList() {
		p, err := f.GetPanes(s)
		if err != nil || !p.Freeze || p.YSplit != 1 {
			t.Errorf("%s: its headings do not stay: %+v, %v", s, p, err)
		}
	}
	cell := func(sheet, at string) (string, excelize.CellType) {
		v, err := f.GetCellValue(sheet, at, excelize.Options{RawCellValue: true})
		k, err2 := f.GetCellType(sheet, at)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		return v, k
	}
	for _, c := range []struct {
		sheet, at, want string
		number          bool
	}{
		{"Units", "H1", "Worst step, µm", false}, {"Units", "B2", "k00001", false}, {"Units", "A2", "1", true}, {"Units", "H4", "", true},
		{"Units", "B7", "=1+1", false}, {"Units", "G7", "", true}, {"Units", "G2", "pass", false},
		{"Plan", "F3", "1", true}, {"Plan", "G3", "80", true}, {"Stations", "B2", "0", true}, {"Findings", "F1", "Turn, degrees", false},
		{"Findings", "F3", "119.6", true}, {"Findings", "G3", "3.24", true}, {"Findings", "G2", "", true},
	} {
		v, k := cell(c.sheet, c.at)
		if v != c.want || (k != excelize.CellTypeInlineString && k != excelize.CellTypeSharedString) != c.number {
			t.Errorf("%s %s: %q (type %d), %q wanted", c.sheet, c.at, v, k, c.want)
		}
	}
	if v, _ := cell("Units", "H2"); v == "" || !strings.HasPrefix(v, strings.TrimRight(part.Decimal(*r.Units[0].WorstStepUM), "0")[:6]) {
		t.Errorf("the first step is %s, %g wanted", v, *r.Units[0].WorstStepUM)
	}
	if v, err := f.GetCellValue("Units", "D2"); err != nil || v != "2026-03-02 07:30" {
		t.Errorf("the time reads %q, %v", v, err)
	}
	if x, _ := f.GetCellFormula("Units", "B7"); x != "" {
		t.Errorf("a serial became the formula %s", x)
	}
}

func TestCSV(t *testing.T) {
	r := invented(500, 80, Accepted)
	r.Stations[1].StepUM = nil
	files := formats(t, r, "zh-Hans")
	rows := map[string]int{"units": len(r.Units), "findings": len(r.Findings), "stations": len(r.Stations), "plan": len(r.Plans)}
	for name, n := range rows {
		all, err := csv.NewReader(bytes.NewReader(files[name+".csv"])).ReadAll()
		if err != nil || len(all) != n+1 {
			t.Errorf("%s: %d rows, %v; %d wanted", name, len(all), err, n+1)
		}
		if name == "findings" && (strings.Join(all[0][5:7], " ") != "turn_deg below_mm" || strings.Join(all[2][5:7], " ") != "119.6 3.24" ||
			all[1][5]+all[1][6] != "") {
			t.Errorf("%v", all[:3])
		}
		if name == "stations" && (all[2][3] != "" || all[1][2] != "left" || all[0][3] != "step_um") {
			t.Errorf("%v", all[:3])
		}
	}
	if err := r.WriteCSV(&bytes.Buffer{}, "all"); err == nil {
		t.Error("a table that there is not was written")
	}
}

// What is written as JSON is read back the same.
func TestJSON(t *testing.T) {
	r := invented(500, 80, Accepted)
	var back Report
	if err := json.Unmarshal(formats(t, r, "en")["lot.json"], &back); err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(r)
	b, _ := json.Marshal(&back)
	if !bytes.Equal(a, b) {
		t.Error("the JSON is another report")
	}
	for _, odd := range []string{"NaN", ":null"} {
		if strings.Contains(string(a), odd) {
			i := strings.Index(string(a), odd)
			t.Errorf("%s in the JSON: %s", odd, a[max(0, i-40):i+10])
		}
	}
}

// TestMaps: a cluster on the shell comes into the report with its place, findings on either surface are drawn, what is on
// neither is counted, once. Units are invented.
func TestMaps(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	var plate []part.Point
	for i := range 60 {
		s, c := math.Sincos(float64(i) * math.Pi / 30)
		plate = append(plate, part.Point{X: 500 + 300*c, Y: 400 + 200*s*(1-.3*c)})
	}
	units := func(withPlate, withShell bool) []process.Unit {
		var out []process.Unit
		for i := range 30 {
			u := process.Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i), Side: "R", Stage: part.Wet}, Verdict: part.Rework}
			if withPlate {
				u.Plate = process.NewPlate(plate, .03)
			}
			if withShell {
				u.Shell = &part.ShellMap{StepDeg: 30, StepMM: 1, LookedAt: 1}
				for range 10 {
					u.Shell.Rows, u.Shell.RadiusMM = append(u.Shell.Rows, strings.Repeat("2", 12)), append(u.Shell.RadiusMM, 8)
				}
			}
			f := process.Finding{Kind: part.Dust, Zone: part.ZoneShell, Severity: part.Minor}
			if i%3 == 0 && withShell {
				f.OnShell = &process.ShellPlace{TurnDeg: math.Mod(720+3*r.NormFloat64(), 360), BelowMM: 4 + .2*r.NormFloat64()}
			}
			g := process.Finding{Kind: part.Bubble, Zone: part.ZoneFace, Severity: part.Minor}
			if withPlate {
				g.Place = &process.Place{ThetaDeg: 360 * r.Float64(), Out: math.Sqrt(r.Float64())}
			}
			u.Findings = append(u.Findings, f, g)
			out = append(out, u)
		}
		return out
	}
	rep := &Report{}
	if err := rep.AddMap(units(true, true), 40); err != nil {
		t.Fatal(err)
	}
	m, sh := rep.Map, rep.Shell
	if m == nil || sh == nil || len(m.Findings) != 30 || len(sh.Findings) != 10 || m.Left != 20 || sh.Left != 0 || sh.Units != 30 ||
		math.Abs(sh.GirthMM-16*math.Pi) > 1e-3 || sh.DepthMM != 10 || sh.LookedAt != 1 {
		t.Fatalf("%+v\n%+v", m, sh)
	}
	if len(sh.Circles) != 1 || len(m.Circles) != 0 || sh.Circles[0].Units < 9 || math.Abs(math.Remainder(sh.Circles[0].TurnDeg, 360)) > 8 ||
		math.Abs(sh.Circles[0].BelowMM-4) > 1 {
		t.Errorf("%+v", sh.Circles)
	}
	figures, err := rep.Figures(language(t, "en"), "en", time.UTC)
	if err != nil || len(figures) != 1 || figures[0].ID != "map" {
		t.Fatalf("%v %v", figures, err)
	}
	for _, want := range []string{"30 findings, laid over one outline.", "10 findings, laid over one unrolled shell",
		"20 without a place are left out.", "units at one place", "The shells of 30 of the 40 units are known."} {
		if !strings.Contains(figures[0].Caption, want) {
			t.Errorf("%q lacks %q", figures[0].Caption, want)
		}
	}
	for name, c := range map[string]struct {
		plate, shell bool
		left         int
	}{"plate alone": {true, false, 30}, "shell alone": {false, true, 50}, "none": {false, false, 0}} {
		rep := &Report{}
		if err := rep.AddMap(units(c.plate, c.shell), 30); err != nil || (rep.Map != nil) != c.plate || (rep.Shell != nil) != c.shell {
			t.Fatalf("%s: %+v, %v", name, rep, err)
		}
		left := 0
		if rep.Map != nil {
			left += rep.Map.Left
		}
		if rep.Shell != nil {
			left += rep.Shell.Left
		}
		if f, err := rep.Figures(language(t, "zh-Hans"), "zh-Hans", time.UTC); left != c.left || err != nil ||
			(len(f) == 1) != (c.plate || c.shell) {
			t.Errorf("%s: %d left out, not %d; %d figures, %v", name, left, c.left, len(f), err)
		}
	}
}

// TestPlacesUnread: findings on the shell of which only the brief was read are told.
func TestPlacesUnread(t *testing.T) {
	at := part.Num(3)
	brief := part.Result{Findings: []part.Finding{{Number: 1, Kind: part.Run, Zone: part.ZoneShell},
		{Number: 2, Kind: part.Dust, Zone: part.ZoneFace}}}
	whole := part.Result{Findings: []part.Finding{{Number: 1, Kind: part.Run, Zone: part.ZoneShell, TurnDeg: at, BelowMM: at}}}
	rep := &Report{Units: []Unit{{Serial: "a", Taken: true, Inspection: 7}, {Serial: "b", Taken: true, Inspection: 8}}}
	rep.AddInspections([]part.Inspection{{ID: 7, Brief: true, Result: brief}, {ID: 8, Result: whole}})
	said := rep.Say(language(t, "en"), "en", rep.Notes)
	if len(said) != 1 || !strings.HasPrefix(said[0], "Where 1 finding lies on the shell was not read") || rep.Findings[0].TurnDeg != nil ||
		rep.Findings[2].TurnDeg != at {
		t.Errorf("%q %+v", said, rep.Findings)
	}
}

// Reports of lots that stand anywhere are written: nothing drawn, half inspected,
// nothing found, nothing measured.
func TestEveryState(t *testing.T) {
	bare := &Report{Schema: Schema, Generated: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC),
		Lot: Lot{Name: strings.Repeat("a very long name of a lot ", 12), Size: 2, State: ToDraw}}
	half := invented(500, 80, Waiting)
	half.Decision = nil
	for i := 40; i < 80; i++ {
		half.Units[i] = Unit{Serial: half.Units[i].Serial, Place: i + 1}
	}
	blind := invented(100, 20, Waiting)
	for i := range blind.Units {
		blind.Units[i].WorstStepUM, blind.Units[i].UUM, blind.Units[i].Score, blind.Units[i].Verdict = nil, nil, nil, part.NotMeasured
	}
	blind.Stations, blind.Findings, blind.Steps, blind.Charts, blind.Paretos, blind.Map, blind.Shell, blind.Gauge = nil, nil, nil, nil, nil,
		nil, nil, Gauge{}
	for name, r := range map[string]*Report{"bare": bare, "half": half, "blind": blind, "screened": invented(50, 50, Screened),
		"returned": invented(50, 13, Returned), "to decide": invented(50, 13, ToDecide)} {
		for _, tag := range []string{"en", "zh-Hans"} {
			for f, data := range formats(t, r, tag) {
				if len(data) == 0 {
					t.Errorf("%s, %s, %s: empty", name, tag, f)
				}
			}
		}
	}
}

// A place at the seam is told in the reader's words.
func TestPlaceAtTheSeam(t *testing.T) {
	for tag, want := range map[string]string{"en": "120°, left", "zh-Hans": "120° 左侧"} {
		s := speech{language(t, tag), tag, time.UTC}
		if got := s.place("120 deg, left"); !strings.HasPrefix(got, want) {
			t.Errorf("%s: %q, want %q", tag, got, want)
		}
	}
}
