package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/configs"
	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// All lots and inspections here are invented.

// lotInspection is a cured unit with twelve steps and two findings of no weight, judged by the
// shipped limits.
func lotInspection(t testing.TB, name, lot string) part.Inspection {
	t.Helper()
	serial, side := part.SerialAndSide(name, "")
	at := time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC)
	limits := part.SettingsFile{Name: "limits.yaml (shipped)", Bytes: configs.LimitsYAML}
	size, score := 0.15, 11.0
	r := part.Result{Schema: 1, Unit: name, Stage: part.Cured, Verdict: part.Pass, Score: &score, Reasons: []string{}, MMPerPX: 0.015, Pictures: []part.PictureReport{}, Warnings: []string{},
		Findings: []part.Finding{
			{Number: 1, Image: "face_raking.jpg", Kind: part.Dust, Zone: part.ZoneFace, Severity: part.None, Confidence: 0.9, DiameterMM: &size},
			{Number: 2, Image: "face_raking.jpg", Kind: part.Fibre, Zone: part.ZoneRim, Severity: part.None, Confidence: 0.7, LengthMM: &size},
		}}
	for i := range 12 {
		step, u := 3.5*float64(i-6), 1.5
		r.Seam.Stations = append(r.Seam.Stations, part.StepStation{Image: fmt.Sprintf("edge_%03d.jpg", 30*(i/2)), AngleDeg: float64(30 * (i / 2)), Side: part.Left, State: part.Measured, StepUM: &step, UUM: &u})
	}
	r.Seam.WorstStepUM = r.Seam.Stations[0].StepUM
	return part.Inspection{UnitInfo: part.UnitInfo{Serial: serial, Side: side, Lot: lot, Operator: "A", Stage: part.Cured}, Started: at, Ended: at.Add(time.Second), Result: r, Limits: limits, Program: "0.1.0"}
}

func lotStore(t testing.TB) (*records.Store, string) {
	t.Helper()
	url := filepath.Join(t.TempDir(), "bench.db")
	s, err := records.Open(context.Background(), url, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, url
}

func addInspection(t testing.TB, s *records.Store, in part.Inspection) int64 {
	t.Helper()
	id, err := s.Add(context.Background(), in)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// serialsFile writes the serials of a lot.
func serialsFile(t testing.TB, names ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "serials.txt")
	if err := os.WriteFile(path, []byte(strings.Join(names, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// ok runs a command that must succeed.
func ok(t testing.TB, args ...string) string {
	t.Helper()
	code, out, errs := runCode(t, args...)
	if code != cli.ExitPass {
		t.Fatalf("%v: exit code %d: %s%s", args, code, out, errs)
	}
	return out
}

// not runs a command that must be refused in one line with these words.
func not(t testing.TB, want int, words string, args ...string) {
	t.Helper()
	code, _, errs := runCode(t, args...)
	if code != want || !strings.Contains(errs, words) || strings.Count(errs, "\n") != 1 {
		t.Errorf("%v: exit code %d, want %d with %q: %s", args, code, want, words, errs)
	}
}

func shownLot(t testing.TB, url, name string) book.ViewJSON {
	t.Helper()
	var v book.ViewJSON
	if err := json.Unmarshal([]byte(ok(t, "lot", "show", name, "--json", "--record", url)), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// numberedUnits are u001-L, u002-L ...
func numberedUnits(n int) []string {
	out := book.Numbered(n)
	for i := range out {
		out[i] = "u" + out[i] + "-L"
	}
	return out
}

// A lot of 60 units, level II, letter E, 13 units by Table I; the AQLs 1.0 and 2.5
// point on to other letters (MIL-STD-105E, Table II-A). Units from the records: what
// is overruled, withdrawn, of another lot, of another stage, judged by other limits.
func TestLotFromRecords(t *testing.T) {
	s, url := lotStore(t)
	units := numberedUnits(60)
	ok(t, "lot", "plan", "A", "--size", "60", "--record", url, "--by", "inspector 2")
	not(t, cli.ExitOther, "is there already", "lot", "plan", "A", "--size", "60", "--record", url)
	not(t, cli.ExitOther, "not drawn yet", "lot", "take", "A", "--record", url)
	ok(t, "lot", "draw", "A", "--serials", serialsFile(t, units...), "--seed", "7", "--record", url)
	not(t, cli.ExitOther, "would be a choice", "lot", "draw", "A", "--serials", serialsFile(t, units...), "--record", url)
	sample := sampleOf(t, url, "A")
	if len(sample) < 10 {
		t.Fatal(sample)
	}
	var ids []int64
	for i, n := range sample[:len(sample)-4] {
		ids = append(ids, addInspection(t, s, lotInspection(t, n, []string{"A", ""}[i%2])))
	}
	last := sample[len(sample)-4:]
	other := lotInspection(t, last[0], "B")
	addInspection(t, s, other)
	wet := lotInspection(t, last[1], "A")
	wet.Stage, wet.Result.Stage = part.Wet, part.Wet
	addInspection(t, s, wet)
	strict := lotInspection(t, last[2], "A")
	strict.Limits.Bytes = append(slices.Clone(strict.Limits.Bytes), "# stricter\n"...)
	addInspection(t, s, strict)
	addInspection(t, s, lotInspection(t, units[59], "A")) // maybe of the lot, maybe drawn: whatever it is, it disturbs nothing

	code, out, errs := runCode(t, "lot", "take", "A", "--json", "--record", url)
	var took book.TakeJSON
	if err := json.Unmarshal([]byte(out), &took); err != nil || code != cli.ExitOther || errs != "" {
		t.Fatalf("%d %v %s%s", code, err, out, errs)
	}
	if took.Taken < len(ids) || len(took.Not) != 2 || !strings.Contains(took.Not[0]+took.Not[1], "of lot B, not of lot A") || !strings.Contains(took.Not[0]+took.Not[1], "by other limits") {
		t.Errorf("%+v", took)
	}
	not(t, cli.ExitOther, "is unfinished", "lot", "decide", "A", "--by", "B", "--record", url)

	// Overruled and withdrawn after it was taken.
	ctx := context.Background()
	if err := s.Overrule(ctx, ids[0], part.Overrule{By: "C", Verdict: part.Reject, Reason: "overlooked"}); err != nil {
		t.Fatal(err)
	}
	if err := s.Withdraw(ctx, ids[1], part.Note{By: "C", Why: "wrong unit"}); err != nil {
		t.Fatal(err)
	}
	not(t, cli.ExitOther, "was overruled, by C: take it again", "lot", "decide", "A", "--by", "B", "--record", url)
	code, out, _ = runCode(t, "lot", "take", "A", "--record", url)
	if code != cli.ExitOther || !strings.Contains(out, fmt.Sprintf("%s: inspection %d was overruled, by C", sample[0], ids[0])) || !strings.Contains(out, fmt.Sprintf("%s: inspection %d was withdrawn, by C", sample[1], ids[1])) {
		t.Errorf("%d %s", code, out)
	}
	v := shownLot(t, url, "A")
	if u := v.Sample[0].Seen; u.Verdict != part.Reject || u.Person == "" || v.Sample[0].Was != 1 {
		t.Errorf("%+v", v.Sample[0])
	}
	if u := v.Sample[1].Seen; u.Measured() || v.Sample[1].Was != 1 {
		t.Errorf("%+v", v.Sample[1])
	}
	// The second one is looked at anew; the last ones too.
	addInspection(t, s, lotInspection(t, sample[1], "A"))
	for _, n := range last {
		addInspection(t, s, lotInspection(t, n, "A"))
	}
	ok(t, "lot", "take", "A", "--record", url)
	if v := shownLot(t, url, "A"); v.State != lots.StateToDecide || !v.Verified {
		t.Errorf("%s", v.State)
	}
	l, ins, err := book.Load(ctx, s, "A")
	if err != nil || len(ins) != len(sample) || l.State() != lots.StateToDecide || len(ins[3].Result.Seam.Stations) != 12 || len(ins[3].Result.Findings) != 2 {
		t.Errorf("%d %v", len(ins), err)
	}
	for i := range ins {
		if part.UnitName(ins[i].Serial, ins[i].Side) != sample[i] {
			t.Errorf("%d: %s, want %s", i, ins[i].Serial, sample[i])
		}
	}
	ok(t, "records", "check", "--record", url)
}

// A lot whose whole sample is rejected for its score is refused; one bad unit of an
// accepted lot is disposed of by its serial first, and a reworked one only with the
// inspection that it passed.
func TestLotDispositions(t *testing.T) {
	s, url := lotStore(t)
	at := func() []string { return []string{"--by", "B", "--record", url} }
	lot := func(name string, rejects int) []string {
		t.Helper()
		ok(t, "lot", "plan", name, "--size", "60", "--aql", "major=10", "--record", url, "--by", "A")
		ok(t, "lot", "draw", name, "--serials", serialsFile(t, numberedUnits(60)...), "--record", url)
		sample := sampleOf(t, url, name)
		for i, n := range sample {
			in := lotInspection(t, n, name)
			in.Result.Verdict, in.Result.Findings = part.Pass, []part.Finding{{Number: 1, Kind: part.Dust, Zone: part.ZoneFace, Severity: part.None}}
			if i < rejects {
				in.Result.Verdict = part.Reject
			}
			addInspection(t, s, in)
		}
		ok(t, "lot", "take", name, "--record", url)
		return sample
	}
	lot("A", 60)
	not(t, cli.ExitOther, "the counts refuse lot A", append([]string{"lot", "decide", "A", "--accept"}, at()...)...)
	if code, _, _ := runCode(t, append([]string{"lot", "decide", "A"}, at()...)...); code != cli.ExitFails || shownLot(t, url, "A").State != lots.StateRefused {
		t.Errorf("a lot of rejects: exit code %d", code)
	}

	bad := lot("B", 1)[0]
	dispose := func(more ...string) []string {
		return append(append([]string{"lot", "dispose", "B", "--unit", bad}, more...), at()...)
	}
	not(t, cli.ExitOther, "nobody has said what becomes of "+bad+" (reject)", append([]string{"lot", "decide", "B"}, at()...)...)
	not(t, cli.ExitUsage, "say what becomes of "+bad, dispose()...)
	not(t, cli.ExitOther, bad+" has not passed since", dispose("--reworked")...)
	not(t, cli.ExitOther, "needs the reason", dispose("--concession", "--why", "spare")...)
	not(t, cli.ExitUsage, "say which unit", append([]string{"lot", "dispose", "B", "--scrapped"}, at()...)...)
	mended := lotInspection(t, bad, "B")
	mended.Result.Verdict, mended.Result.Findings = part.Pass, nil
	mended.Started, mended.Ended = mended.Started.Add(time.Hour), mended.Ended.Add(time.Hour)
	id := addInspection(t, s, mended)
	if out := ok(t, dispose("--reworked")...); !strings.Contains(out, fmt.Sprintf("%s reworked, passed in inspection %d", bad, id)) {
		t.Error(out)
	}
	ok(t, append([]string{"lot", "decide", "B"}, at()...)...)
	v := shownLot(t, url, "B")
	if v.State != lots.StateAccepted || len(v.Dispositions) != 1 || len(v.Undisposed) != 0 || v.Classes[1].Count != 1 {
		t.Errorf("%+v", v)
	}
	report := t.TempDir()
	ok(t, "lot", "report", "B", "--out", report, "--record", url)
	ok(t, "records", "check", "--record", url)
}

func sampleOf(t testing.TB, url, name string) []string {
	t.Helper()
	var out []string
	for _, p := range shownLot(t, url, name).Sample {
		out = append(out, p.Unit)
	}
	return out
}

// Two of five lots refused: the third is inspected on tightened inspection, from the
// stored events alone; a screened lot is presented again and does not count.
func TestLotSwitching(t *testing.T) {
	s, url := lotStore(t)
	units := numberedUnits(60)
	run := func(name string, major int, args ...string) int {
		t.Helper()
		ok(t, append([]string{"lot", "plan", name, "--record", url, "--by", "A"}, args...)...)
		ok(t, "lot", "draw", name, "--serials", serialsFile(t, units...), "--record", url)
		for i, n := range sampleOf(t, url, name) {
			in := lotInspection(t, n, name)
			in.Result.Findings = nil
			in.Started, in.Ended = time.Now(), time.Now()
			if i < major {
				in.Result.Verdict, in.Result.Findings = part.Rework, []part.Finding{{Number: 1, Kind: part.Chip, Zone: part.ZoneRim, Severity: part.Major}}
			}
			addInspection(t, s, in)
		}
		ok(t, "lot", "take", name, "--record", url)
		code, _, _ := runCode(t, "lot", "decide", name, "--by", "B", "--record", url)
		return code
	}
	for _, name := range []string{"A", "B"} {
		if code := run(name, 2, "--size", "60"); code != cli.ExitFails {
			t.Errorf("%s: exit code %d", name, code)
		}
	}
	bad := shownLot(t, url, "B").Undisposed
	if len(bad) != 2 {
		t.Fatalf("%q do not pass", bad)
	}
	not(t, cli.ExitOther, bad[1]+" of the sample does not pass (rework), and is not among the units taken out", "lot", "decide", "B", "--screened", "--taken-out", bad[0], "--by", "B", "--record", url)
	ok(t, "lot", "decide", "B", "--screened", "--taken-out", strings.Join(bad, ","), "--by", "B", "--record", url)
	not(t, cli.ExitOther, "a decision is made once", "lot", "decide", "B", "--by", "B", "--record", url)
	units = slices.DeleteFunc(units, func(u string) bool { return slices.Contains(bad, u) })
	if code := run("B", 0, "--again"); code != cli.ExitPass {
		t.Errorf("presented again: exit code %d", code)
	}
	// The refusal stays in sight, with its counts.
	v := shownLot(t, url, "B")
	if v.State != lots.StateAccepted || v.Plan.Size != 58 || len(v.Earlier) != 1 || v.Earlier[0].Decision.Accepted || v.Earlier[0].Classes[1].Count != 2 || !slices.Equal(v.Earlier[0].Out, bad) {
		t.Errorf("%+v", v)
	}
	text := ok(t, "lot", "show", "B", "--record", url)
	for _, want := range []string{"opened", "refused", "screened", "left the lot: " + strings.Join(bad, ", "), "presented again", "accepted"} {
		i := strings.Index(text, want)
		if i < 0 {
			t.Fatalf("%q is missing, or not in its place:\n%s", want, text)
		}
		text = text[i:]
	}
	var list book.ListJSON
	if err := json.Unmarshal([]byte(ok(t, "lot", "list", "--json", "--record", url)), &list); err != nil {
		t.Fatal(err)
	}
	if len(list.Lots) != 2 || list.Lots[0].Lot != "B" || list.Lots[0].State != lots.StateAccepted || list.Lots[1].State != lots.StateRefused {
		t.Errorf("%+v", list.Lots)
	}
	for _, d := range list.Due {
		if want := map[part.Severity]lots.Mode{part.Major: lots.Tightened, part.Minor: lots.Normal}[d.Severity]; d.State.Mode != want {
			t.Errorf("%s: %s, want %s", d.Severity, d.State.Mode, want)
		}
	}
	ok(t, "lot", "plan", "C", "--size", "60", "--record", url)
	if v := shownLot(t, url, "C"); v.Plan.Classes[1].Plan.Mode != lots.Tightened || v.Plan.Classes[2].Plan.Mode != lots.Normal {
		t.Errorf("%+v", v.Plan.Classes)
	}
	not(t, cli.ExitUsage, "set by a person, with a reason", "lot", "plan", "D", "--size", "60", "--mode", "major=normal", "--record", url)
	ok(t, "lot", "plan", "D", "--size", "60", "--mode", "major=normal", "--by", "A", "--why", "agreed with the customer", "--record", url)
	if c := shownLot(t, url, "D").Plan.Classes[1]; c.ChosenBy != "A" || c.Plan.Mode != lots.Normal || c.Switching.Mode != lots.Tightened {
		t.Errorf("%+v", c)
	}
	// Another product starts at normal.
	ok(t, "lot", "plan", "E", "--size", "60", "--product", "other", "--record", url)
	if c := shownLot(t, url, "E").Plan.Classes[1]; c.Plan.Mode != lots.Normal {
		t.Errorf("%+v", c)
	}
}

// TestLotResume kills a run over pictures, and starts it again: no unit is looked
// at twice, none is left out.
func TestLotResume(t *testing.T) {
	if testing.Short() {
		t.Skip("looks at pictures")
	}
	dir := t.TempDir()
	url, pics, out := filepath.Join(dir, "bench.db"), filepath.Join(dir, "pictures"), filepath.Join(dir, "out")
	names := numberedUnits(8)
	for _, n := range append(names, "stray-L") {
		if err := os.MkdirAll(filepath.Join(pics, n), 0o777); err != nil {
			t.Fatal(err)
		}
		for _, p := range []string{"edge_000.jpg", "face_raking.jpg"} {
			if err := os.Symlink(absolute(t, "../../testdata/images/u06-R/"+p), filepath.Join(pics, n, p)); err != nil {
				t.Fatal(err)
			}
		}
	}
	ok(t, "lot", "plan", "A", "--size", "8", "--stage", "wet", "--level", "III", "--record", url)
	ok(t, "lot", "draw", "A", "--serials", serialsFile(t, names...), "--record", url)
	take := []string{"lot", "take", "A", pics, "--out", out, "--mm-per-px", "0.015", "--record", url, "--jobs", "1"}
	first := killAfter(t, 2, take...)
	s, err := records.OpenExisting(context.Background(), url, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	there, err := s.Briefs(context.Background(), records.Filter{Lot: "A"})
	if err != nil || len(there) < first || len(there) >= len(names) {
		t.Fatalf("%d units were told, %d are on record: %v", first, len(there), err)
	}
	code, _, errs := runCode(t, take...)
	all, err := s.Briefs(context.Background(), records.Filter{Lot: "A"})
	if err != nil || code != cli.ExitPass || len(all) != len(names) {
		t.Fatalf("exit code %d, %d inspections of %d units: %v %s", code, len(all), len(names), err, errs)
	}
	for i := range there {
		if all[i].ID != there[i].ID {
			t.Errorf("inspection %d is gone", there[i].ID)
		}
	}
	if v := shownLot(t, url, "A"); v.State != lots.StateToDecide {
		t.Errorf("%+v", v)
	}
	if again := ok(t, take...); !strings.HasPrefix(again, "taken: 0 units, 8 before\n") {
		t.Error(again)
	}
	not(t, cli.ExitOther, "stray-L is not of lot A", "lot", "take", "A", filepath.Join(pics, "stray-L"), "--out", out, "--mm-per-px", "0.015", "--record", url)
}

// TestLotAdopts: what was recorded for the lot, but not taken before the run was
// killed, is taken without looking at it again; other pictures are looked at.
func TestLotAdopts(t *testing.T) {
	if testing.Short() {
		t.Skip("looks at pictures")
	}
	dir := t.TempDir()
	url, out := filepath.Join(dir, "bench.db"), filepath.Join(dir, "out")
	ok(t, "lot", "plan", "A", "--size", "2", "--stage", "wet", "--level", "III", "--record", url)
	ok(t, "lot", "draw", "A", "--serials", serialsFile(t, "u01-L", "u06-R"), "--record", url)
	images := absolute(t, "../../testdata/images")
	if code, _, errs := runCode(t, "unit", filepath.Join(images, "u06-R"), "--out", out, "--mm-per-px", "0.015", "--record", url, "--lot", "A"); code != cli.ExitFails {
		t.Fatal(errs)
	}
	told := ok(t, "lot", "take", "A", images, "--out", out, "--mm-per-px", "0.015", "--record", url)
	if !strings.Contains(told, "u01-L: rework") || strings.Contains(told, "u06-R: rework") || !strings.Contains(told, "taken: 2 units, 0 before") {
		t.Error(told)
	}
	v := shownLot(t, url, "A")
	for _, p := range v.Sample {
		if want := map[string]int64{"u06-R": 1, "u01-L": 2}[p.Unit]; p.Seen.Inspection != want {
			t.Errorf("%s: inspection %d, want %d", p.Unit, p.Seen.Inspection, want)
		}
	}
}

// Two benches take units of one lot at the same time: each unit counts once.
func TestLotMeanwhile(t *testing.T) {
	s, url := lotStore(t)
	ctx := context.Background()
	ok(t, "lot", "plan", "A", "--size", "500", "--record", url)
	ok(t, "lot", "draw", "A", "--count", "--record", url)
	sample := sampleOf(t, url, "A")
	limits := shownLot(t, url, "A").Plan.Limits
	var units []lots.Unit
	for _, n := range sample {
		in := lotInspection(t, n, "A")
		in.ID = 1
		u := lots.UnitOf(n, &in)
		u.Limits = limits
		units = append(units, u)
	}
	var all sync.WaitGroup
	both := make([]book.Taken, 2)
	for i := range both {
		all.Go(func() {
			b, err := book.Open(ctx, s, "A")
			if err != nil {
				t.Error(err)
				return
			}
			for j := range units {
				if err := b.TakeSome(ctx, units[j:j+1], "A", &both[i]); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	if n := both[0].Taken + both[1].Taken; n != len(sample) || len(both[0].Not)+len(both[1].Not) != len(sample) {
		t.Errorf("%d taken and %d refused of %d, twice", n, len(both[0].Not)+len(both[1].Not), len(sample))
	}
	if v := shownLot(t, url, "A"); v.State != lots.StateToDecide {
		t.Error(v.State)
	}
}

func absolute(t testing.TB, path string) string {
	t.Helper()
	abs, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	return abs
}

// killAfter runs the program and kills it, without a warning, once it told of so many
// units; it returns how many it told of.
func killAfter(t testing.TB, units int, args ...string) int {
	t.Helper()
	cmd := exec.Command("inspect", args...)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	n := 0
	for lines := bufio.NewScanner(stdout); n < units && lines.Scan(); {
		if strings.Contains(lines.Text(), ": rework") || strings.Contains(lines.Text(), ": pass") || strings.Contains(lines.Text(), ": not measured") {
			n++
		}
	}
	cmd.Process.Kill()
	cmd.Wait()
	if n < units {
		t.Fatalf("it told of %d units only", n)
	}
	return n
}

// BenchmarkLoadLot reads a lot of 10,000 units of which every one was looked at.
func BenchmarkLoadLot(b *testing.B) {
	s, url := lotStore(b)
	units := numberedUnits(10000)
	ctx := context.Background()
	for _, n := range units {
		in := lotInspection(b, n, "A")
		in.Result.Findings[1].Severity = part.Minor
		addInspection(b, s, in)
	}
	o := book.PlanOptions{Database: &cli.Database{URL: url}, Size: 10000, Level: "III", Product: "p"}
	if err := book.RunPlan(ctx, o, []string{"A"}, discard{}); err != nil {
		b.Fatal(err)
	}
	// The sample of the tables is smaller: here every unit is drawn.
	of, err := book.Open(ctx, s, "A")
	if err != nil {
		b.Fatal(err)
	}
	opening := of.Lot.Current().Opening
	for i := range opening.Classes {
		opening.Classes[i].Plan.N = 10000
	}
	opening.Why = "every unit"
	if err := of.Step(ctx, func(l *lots.Lot, now time.Time) (part.Entry, error) { return l.Replan(opening, now, "A") }); err != nil {
		b.Fatal(err)
	}
	ok(b, "lot", "draw", "A", "--serials", serialsFile(b, units...), "--record", url)
	start := time.Now()
	ok(b, "lot", "take", "A", "--record", url)
	b.Logf("10,000 units taken from the records in %.1f s", time.Since(start).Seconds())
	for b.Loop() {
		l, ins, err := book.Load(ctx, s, "A")
		if err != nil || len(ins) != 10000 || l.Current().Standings()[2].Count != 10000 {
			b.Fatalf("%d %v", len(ins), err)
		}
	}
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }
