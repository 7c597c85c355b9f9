package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach/book"
	"finishbench/internal/teach/label"
)

// learnRecords fills a database with invented inspections, a unit each, whose
// findings are those of a table of internal/learn, and returns the table of their
// labels. keep chooses what is labelled; nil: all.
func learnRecords(t *testing.T, table string, keep func(learn.Example) bool) (db, labels string) {
	t.Helper()
	f, err := os.Open(filepath.Join("../../internal/learn/testdata", table))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := learn.ReadExamples(f)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	db, labels = filepath.Join(dir, "bench.db"), filepath.Join(dir, "labels.csv")
	store, err := records.Open(context.Background(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	csv := "serial,finding,type\n"
	var r *part.Result
	flush := func() {
		if r == nil {
			return
		}
		at := time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC)
		if _, err := store.Add(context.Background(), part.Inspection{UnitInfo: part.UnitInfo{Serial: r.Unit, Stage: part.Wet}, Started: at,
			Ended: at, Result: *r}); err != nil {
			t.Fatal(err)
		}
	}
	for _, e := range all {
		if r == nil || r.Unit != e.Unit {
			flush()
			r = &part.Result{Schema: 1, Unit: e.Unit, Stage: part.Wet, Verdict: part.Rework, MMPerPX: 0.015}
		}
		n := len(r.Findings) + 1
		r.Findings = append(r.Findings, part.Finding{Number: n, Image: "face_raking.jpg", Kind: e.Rule,
			Box: part.Box{float64(50 * n), 10, 20, 20}, Zone: part.ZoneFace,
			Severity: part.Minor, Confidence: e.RuleConfidence, Features: e.Features})
		if keep == nil || keep(e) {
			csv += fmt.Sprintf("%s,%d,%s\n", e.Unit, n, e.Kind)
		}
	}
	flush()
	if err := os.WriteFile(labels, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	return db, labels
}

// learnRun runs the program and holds its exit code and what it says, on both
// channels together.
func learnRun(t *testing.T, code int, says string, args ...string) string {
	t.Helper()
	got, stdout, stderr := runCode(t, args...)
	if got != code || !strings.Contains(stdout+stderr, says) {
		t.Errorf("inspect %s: exit code %d, want %d and %q\n%.1500s%.500s", strings.Join(args, " "), got, code, says, stdout, stderr)
	}
	return stdout
}

// Labelled, fitted, accepted, used, gone back from.
func TestLearn(t *testing.T) {
	t.Parallel()
	db, labels := learnRecords(t, "drawn-pale.csv", nil)
	out := filepath.Join(t.TempDir(), "out")
	learnRun(t, 3, "at least 40 are needed, 40 more", "learn", "fit", "--record", db, "--by", "AK")
	learnRun(t, 0, "533 labels", "learn", "label", "--csv", labels, "--by", "AK", "--record", db)
	learnRun(t, 0, "has no model", "learn", "list", "--record", db)
	learnRun(t, 2, "no model is in force", "learn", "show", "--record", db)
	learnRun(t, 1, "nothing to go back from", "learn", "back", "--by", "AK", "--record", db)

	var fit label.FitJSON
	if err := json.Unmarshal([]byte(learnRun(t, 0, "", "learn", "fit", "--record", db, "--by", "AK", "--out", out, "--json")),
		&fit); err != nil {
		t.Fatal(err)
	}
	// As internal/learn's tests have it: the rules call 340 of 533 right.
	if fit.Name == "" || fit.Labels != 533 || fit.Units != 60 || fit.Trial == nil || fit.Trial.OldRight != 340 || fit.Trial.NewRight < 480 {
		t.Fatalf("%+v", fit)
	}
	page, err := os.ReadFile(filepath.Join(out, "learn.html"))
	if err != nil || !strings.Contains(string(page), "After learning") ||
		!strings.Contains(string(page), "the picture is not kept any more") {
		t.Errorf("the page lacks what it should show (%v)", err)
	}

	// Kept, and nothing has changed.
	unit := func(more ...string) part.Result {
		t.Helper()
		dir := filepath.Join(t.TempDir(), "r")
		learnRun(t, cli.ExitFails, "u06-R: rework", append([]string{"unit", "../../testdata/images/u06-R", "--out", dir, "--mm-per-px",
			"0.015"}, more...)...)
		var r part.Result
		if err := cli.ReadJSONFile(filepath.Join(dir, "u06-R", cli.ResultFile), &r); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(dir, "u06-R", "report.html"))
		if err != nil {
			t.Fatal(err)
		}
		if named := strings.Contains(string(data), "Kinds by model "+fit.Name); named != (r.KindModel != nil) {
			t.Errorf("the page names the model: %v, the result: %v", named, r.KindModel)
		}
		return r
	}
	ruled := func(r part.Result) (n int) {
		for _, f := range r.Findings {
			if f.Rule != nil {
				n++
			}
		}
		return n
	}
	if r := unit("--record", db); r.KindModel != nil || ruled(r) > 0 {
		t.Errorf("a model that nobody accepted was used: %+v", r.KindModel)
	}

	learnRun(t, 2, "has no model", "learn", "accept", "1999", "--by", "BO", "--record", db)
	learnRun(t, 2, "say who", "learn", "accept", fit.Name, "--record", db)
	learnRun(t, 0, "in force from the next unit on", "learn", "accept", fit.Name, "--by", "BO", "--record", db)
	learnRun(t, 1, "in force already", "learn", "accept", fit.Name, "--by", "BO", "--record", db)
	r := unit("--record", db)
	if r.KindModel == nil || r.KindModel.Name != fit.Name || r.KindModel.SHA256 != fit.SHA256 || r.KindModel.Labels == 0 || ruled(r) == 0 {
		t.Errorf("the model in force was not used, or is not named: %+v, %d findings keep the rules' call", r.KindModel, ruled(r))
	}
	if r := unit("--record", db, "--kind-model", "none"); r.KindModel != nil || ruled(r) > 0 {
		t.Errorf("--kind-model none: %+v", r.KindModel)
	}
	file := filepath.Join(t.TempDir(), "model.json")
	if err := os.WriteFile(file, []byte(learnRun(t, 0, fit.Name[:4], "learn", "show", "--record", db)), 0o600); err != nil {
		t.Fatal(err)
	}
	if r := unit("--kind-model", file); r.KindModel == nil || r.KindModel.SHA256 != fit.SHA256 {
		t.Errorf("the model as a file: %+v", r.KindModel)
	}

	// What was learned is not learned again: the model in force is what to beat.
	learnRun(t, 3, "nothing", "learn", "fit", "--record", db, "--by", "AK")

	learnRun(t, 0, "the rules alone call kinds from the next unit on", "learn", "back", "--by", "AK", "--record", db)
	if r := unit("--record", db); r.KindModel != nil {
		t.Errorf("after going back %+v was used", r.KindModel)
	}
	learnRun(t, 0, "(BO) to ", "learn", "list", "--record", db)
	learnRun(t, 0, "nothing is wrong", "records", "check", "--record", db)
}

// Labels that tell against each other, of people and of no defects.
func TestLearnContradictions(t *testing.T) {
	db, labels := learnRecords(t, "drawn-pale.csv", nil)
	learnRun(t, 0, "533 labels", "learn", "label", "--csv", labels, "--by", "AK", "--record", db)
	learnRun(t, 0, "finding 1 of inspection 3 is run", "learn", "label", "pale-02", "1", "run", "--by", "BO", "--record", db)
	learnRun(t, 0, "is no defect", "learn", "label", "pale-03", "1", "none", "--by", "BO", "--record", db)
	text := learnRun(t, 0, "1 finding is labelled otherwise", "learn", "fit", "--record", db, "--by", "AK")
	if !strings.Contains(text, "run (BO)") || !strings.Contains(text, "1 label says that a finding is no defect") ||
		!strings.Contains(text, "532, of 60 units") {
		t.Error(text)
	}
	// BO looks again; the last word counts.
	learnRun(t, 0, "finding 1 of inspection 3 is", "learn", "label", "pale-02", "1", kindOfFirst(t, labels, "pale-02"), "--by", "bo",
		"--record", db)
	if text := learnRun(t, 0, "533, of 60 units", "learn", "fit", "--record", db, "--by", "AK"); strings.Contains(text,
		"labelled otherwise") {
		t.Error(text)
	}
}

func kindOfFirst(t *testing.T, labels, unit string) string {
	t.Helper()
	data, err := os.ReadFile(labels)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(data), "\n"+unit+",1,")
	kind, _, _ := strings.Cut(rest, "\n")
	return kind
}

// What a trainer confirmed of a unit is labels; a later word of the same person
// counts more, and who is erased is not named.
func TestLearnFromConfirmations(t *testing.T) {
	ctx := t.Context()
	db := filepath.Join(t.TempDir(), "bench.db")
	store, err := records.Open(ctx, db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	try := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	f := map[string]float64{"grain": 2, "opacity": 1}
	r := part.Result{Schema: 1, Unit: "u1", Stage: part.Wet, Verdict: part.Rework, Findings: []part.Finding{
		{Number: 1, Image: "face_raking.jpg", Kind: part.Bubble, Box: part.Box{10, 10, 9, 9}, Features: f},
		{Number: 2, Image: "face_raking.jpg", Kind: part.Dust, Box: part.Box{50, 10, 9, 9}, Features: f,
			Rule: &part.RuleCall{Kind: part.Crater, Confidence: 0.4}},
		{Number: 3, Image: "face_raking.jpg", Kind: part.Dust, Box: part.Box{90, 10, 9, 9}, Features: f},
		{Number: 4, Image: "edge_000.jpg", Kind: part.Step},
		{Number: 5, Image: "face_stripes_x0.jpg", Kind: part.Crater, Box: part.Box{90, 10, 9, 9},
			Features: map[string]float64{"phase_rad": 1}}, // not confirmed: it is not asked
		{Number: 6, Image: "face_white.jpg", Kind: part.Dust, Box: part.Box{130, 10, 9, 9}, Features: f},
	}}
	at := time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC)
	id, err := store.Add(ctx, part.Inspection{UnitInfo: part.UnitInfo{Serial: "u1", Side: "L", Stage: part.Wet}, Started: at, Ended: at,
		Result: r,
		Pictures: []part.StoredPicture{{File: "face_raking.jpg", View: part.Face, Light: part.Raking, MIME: "image/jpeg",
			Bytes: []byte("a picture")},
			{File: "face_stripes_x0.jpg", View: part.Face, Light: part.StripesX0, MIME: "image/jpeg", Bytes: []byte("another")},
			{File: "face_white.jpg", View: part.Face, Light: part.White, MIME: "image/jpeg", Bytes: []byte("a third")}}})
	try(err)
	try(store.AddPerson(ctx, records.Person{ID: "p1", Initials: "TR"}))
	try(store.Note(ctx, part.Entry{Topic: book.TopicTruth, Name: "1", Seq: 1, Kind: "confirmed", At: at, By: "TR",
		Body: json.RawMessage(fmt.Sprintf(`{"inspection":%d,"verdict":"rework","known":[{"kind":"dust","box_px":[10,10,9,9]},{"kind":"dust","box_px":[50,10,9,9]}]}`, id))}))
	set, err := label.RecordedExamples(ctx, store)
	try(err)
	if len(set.Examples) != 2 || set.None != 1 || set.Examples[0].Kind != part.Dust || set.Examples[0].Rule != part.Bubble ||
		set.Examples[0].By != "TR" || set.Examples[0].Unit != "u1-L" {
		t.Fatalf("%+v", set)
	}
	if e := set.Examples[1]; e.Rule != part.Crater || e.RuleConfidence != 0.4 {
		t.Errorf("what the rules called is %s (%.1f)", e.Rule, e.RuleConfidence)
	}
	// Of stripes: nothing to learn from.
	try(store.Label(ctx, records.Label{Inspection: id, Number: 5, Kind: part.Run, By: "p1", At: at.Add(time.Hour)}))
	if set, err = label.RecordedExamples(ctx, store); err != nil || len(set.Examples) != 2 || set.None != 1 || set.Blind != 1 {
		t.Errorf("with a label on a finding in stripes: %v, %+v", err, set)
	}
	try(store.Label(ctx, records.Label{Inspection: id, Number: 1, Kind: part.Run, By: "p1", At: at.Add(time.Hour)}))
	try(store.ErasePerson(ctx, "p1"))
	set, err = label.RecordedExamples(ctx, store)
	try(err)
	kinds := map[part.Kind]int{}
	for _, e := range set.Examples {
		kinds[e.Kind]++
		if e.Kind == part.Run && e.By != "erased" {
			t.Errorf("by %s", e.By)
		}
	}
	if kinds[part.Run] != 1 || kinds[part.Dust] < 1 {
		t.Errorf("%v", kinds)
	}
}

// Refused: one kind only, few of all; and a database without labels or without
// anything.
func TestLearnRefuses(t *testing.T) {
	db, labels := learnRecords(t, "drawn-usual.csv", func(e learn.Example) bool { return e.Kind == part.Dust })
	learnRun(t, 0, "labels", "learn", "label", "--csv", labels, "--badge", "17", "--record", db)
	learnRun(t, 3, "one kind only, dust", "learn", "fit", "--record", db, "--badge", "17")
	learnRun(t, 3, "nothing was kept", "learn", "fit", "--record", db, "--by", "ZZ")
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if people, err := store.People(t.Context()); err != nil || len(people) != 1 || people[0].Badge != "17" {
		t.Errorf("who had a fit refused is kept: %+v, %v", people, err)
	}
	learnRun(t, 0, "has no model", "learn", "list", "--record", db)
	learnRun(t, 3, "nothing to gain", "learn", "fit", "--labels", "../../internal/learn/testdata/known.csv", "--out",
		filepath.Join(t.TempDir(), "o"))
	learnRun(t, 1, "there are no records", "learn", "fit", "--record", filepath.Join(t.TempDir(), "none.db"), "--by", "AK")
}

func TestLearnWrongUsage(t *testing.T) {
	db, _ := learnRecords(t, "known.csv", nil)
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		says string
		args []string
	}{
		{"say what to do", []string{"learn"}},
		{"say which database", []string{"learn", "fit"}},
		{"say where the model goes", []string{"learn", "fit", "--labels", write("a.csv", "")}},
		{"the table is empty", []string{"learn", "fit", "--labels", write("b.csv", ""), "--out", dir}},
		{`column kind: "splash"`, []string{"learn", "fit", "--labels", write("c.csv", "unit,kind,rule_type,opacity\nu,splash,dust,1\n"),
			"--out", dir}},
		{"say who does this", []string{"learn", "fit", "--record", db}},
		{"give SERIAL FINDING KIND", []string{"learn", "label", "u00-L", "1", "--by", "AK", "--record", db}},
		{`finding "x"`, []string{"learn", "label", "u00-L", "x", "dust", "--by", "AK", "--record", db}},
		{`kind "splash"`, []string{"learn", "label", "u00-L", "1", "splash", "--by", "AK", "--record", db}},
		{"no inspection of", []string{"learn", "label", "u77", "1", "dust", "--by", "AK", "--record", db}},
		{"no finding of this number", []string{"learn", "label", "u00-L", "99", "dust", "--by", "AK", "--record", db}},
		{"has no inspection 900", []string{"learn", "label", "u00-L", "1", "dust", "--inspection", "900", "--by", "AK", "--record", db}},
		{"inspection 1 is of u00-L, not of u01-R", []string{"learn", "label", "u01-R", "1", "dust", "--inspection", "1", "--by", "AK",
			"--record", db}},
		{`line 1: the column "type" is missing`, []string{"learn", "label", "--csv", write("d.csv", "serial,finding\nu,1\n"), "--by", "AK",
			"--record", db}},
		{"the table is empty", []string{"learn", "label", "--csv", write("empty.csv", ""), "--by", "AK", "--record", db}},
		{`line 1: the column "type" is there twice`, []string{"learn", "label", "--csv",
			write("twice.csv", "serial,finding,type,type\nu00-L,1,dust,run\n"), "--by", "AK", "--record", db}},
		{"line 3: kind", []string{"learn", "label", "--csv", write("e.csv", "serial,finding,type\nu00-L,1,dust\nu00-L,2,splash\n"), "--by",
			"AK", "--record", db}},
		{"go together", []string{"learn", "table", "--truth", dir}},
		{"cannot be read", []string{"unit", "../../testdata/images/u06-R", "--out", dir, "--mm-per-px", "0.015", "--kind-model",
			filepath.Join(dir, "no.json")}},
		{"is a folder: name a model's file", []string{"surface", "a.jpg", "--out", dir, "--mm-per-px", "0.015", "--kind-model", dir}},
		{"this is no model", []string{"unit", "../../testdata/images/u06-R", "--out", dir, "--mm-per-px", "0.015", "--kind-model",
			write("m.json", "{")}},
		{"its form is 0", []string{"surface", "a.jpg", "--out", dir, "--mm-per-px", "0.015", "--kind-model", write("n.json", "{}")}},
	} {
		learnRun(t, cli.ExitUsage, c.says, c.args...)
	}
	learnRun(t, 0, "has no model", "learn", "list", "--record", db)
	if labels, err := tellLabels(db); err != nil || labels != 0 {
		t.Errorf("%d labels were given by wrong usage (%v)", labels, err)
	}
}

func tellLabels(db string) (int, error) {
	s, err := records.OpenExisting(context.Background(), db, time.Now)
	if err != nil {
		return 0, err
	}
	defer s.Close()
	labels, err := s.Labels(context.Background())
	return len(labels), err
}

// The bench uses what is accepted from the next unit on, and keeps its last model
// while the records do not answer.
func TestBenchModel(t *testing.T) {
	db, labels := learnRecords(t, "drawn-pale.csv", nil)
	learnRun(t, 0, "533 labels", "learn", "label", "--csv", labels, "--by", "AK", "--record", db)
	store, err := records.Open(context.Background(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	m, err := station.NewModel(t.Context(), "", station.NewRecords(&inspection.Recorder{Store: store}))
	if err != nil || m.InForce(t.Context()) != nil {
		t.Fatalf("%v", err)
	}
	var fit label.FitJSON
	if err := json.Unmarshal([]byte(learnRun(t, 0, "", "learn", "fit", "--record", db, "--by", "AK", "--json")), &fit); err != nil {
		t.Fatal(err)
	}
	if m.InForce(t.Context()) != nil {
		t.Error("used before it was accepted")
	}
	learnRun(t, 0, "in force", "learn", "accept", fit.Name, "--by", "AK", "--record", db)
	if k := m.InForce(t.Context()); k == nil || k.Name != fit.Name {
		t.Errorf("%+v", k)
	}
	learnRun(t, 0, "rules alone", "learn", "back", "--by", "AK", "--record", db)
	if k := m.InForce(t.Context()); k != nil {
		t.Errorf("%+v", k)
	}
	learnRun(t, 0, "in force", "learn", "accept", fit.Name, "--by", "AK", "--record", db)
	m.InForce(t.Context())
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if k := m.InForce(t.Context()); k == nil || k.Name != fit.Name {
		t.Errorf("without records: %+v", k)
	}
}
