package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
	"finishbench/internal/truth"
)

// paintedUnits are twelve drawn units, drawn once for all tests.
var paintedUnits = sync.OnceValues(func() ([]string, error) {
	dir, err := os.MkdirTemp("", "finishbench-quiz-")
	if err != nil {
		return nil, err
	}
	return book.PaintUnits(dir, book.PaintOptions{Number: 12, Clean: 0.4, Seed: 3})
})

// painted copies the drawn units, so that a test may take pictures away.
func painted(t testing.TB) []string {
	t.Helper()
	all, err := paintedUnits()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, unit := range all {
		dir := filepath.Join(t.TempDir(), filepath.Base(unit))
		if err := os.CopyFS(dir, os.DirFS(unit)); err != nil {
			t.Fatal(err)
		}
		out = append(out, dir)
	}
	return out
}

// quizClock goes on by seconds as it is told.
type quizClock struct{ at time.Time }

func (c *quizClock) now() time.Time { return c.at }

// openBook opens a book of tests on a database.
func openBook(t testing.TB, file string, now func() time.Time) *book.Book {
	t.Helper()
	s, err := records.Open(context.Background(), file, now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return book.Open(s, now)
}

func asked(number int, clean float64) book.DrawOptions {
	return book.DrawOptions{Spec: teach.Spec{Name: "Test", Number: number, CleanShare: clean, Seed: 5, ToleranceMM: 0.5}, Difficulty: "mixed", Stage: "cured", Recorded: true, Criteria: teach.DefaultCriteria()}
}

// take answers a whole attempt; say gives the answer of a unit, and before is
// called before each.
func take(t testing.TB, b *book.Book, attempt string, say func(int, teach.Item) teach.Answer) {
	t.Helper()
	ctx := context.Background()
	for {
		n, err := b.Now(ctx, attempt)
		if err != nil {
			t.Fatal(err)
		}
		if n.Done {
			return
		}
		q, tk, err := b.Attempt(ctx, attempt)
		if err != nil {
			t.Fatal(err)
		}
		for i := range n.Lights {
			if _, mime, err := b.Picture(ctx, attempt, n.Trial, i); err != nil || mime != "image/jpeg" {
				t.Fatal(mime, err)
			}
		}
		if err := b.Answer(ctx, attempt, n.Trial, say(n.Trial, q.Test.Pool[tk.Open.Item])); err != nil {
			t.Fatal(err)
		}
	}
}

// trueAnswer is what a trainee says who sees all.
func trueAnswer(it teach.Item) teach.Answer {
	a := teach.Answer{Verdict: it.Verdict}
	for _, k := range it.Known {
		if k.Visible() {
			c := k.Box.Centre()
			a.Marks = append(a.Marks, teach.QuizMark{XPX: c.X, YPX: c.Y, Kind: k.Kind})
		}
	}
	return a
}

// keyLeft finds a key of the language files that no text took the place of.
var keyLeft = regexp.MustCompile(`\bquiz\.[a-z_.]+[a-z0-9]|\{[a-z_]+\}|NaN|%!`)

func quizPages(t *testing.T, b *book.Book, name string, page func(l *lang.Lang) ([]byte, error), want string) {
	t.Helper()
	for _, lang := range []string{"en", "zh-Hans"} {
		l, err := cli.Language(lang)
		if err != nil {
			t.Fatal(err)
		}
		data, err := page(l)
		if err != nil {
			t.Fatalf("%s, %s: %v", name, lang, err)
		}
		text := regexp.MustCompile(`(?s)<style>.*?</style>|data:image/[^"]*|inspect quiz [a-z]+`).ReplaceAllString(string(data), "")
		if left := keyLeft.FindString(text); left != "" {
			t.Errorf("%s, %s: %q in the page", name, lang, left)
		}
		if lang == "en" && !strings.Contains(text, want) {
			t.Errorf("%s: %q is not in the page", name, want)
		}
		if dir := os.Getenv("FINISHBENCH_STORIES"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, name+"."+lang+".html"), data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// Two tests of one person: the first with mistakes, half of it before the program
// was ended and started again; the second without, which earns a certificate. A
// picture that goes away half-way is left out and told.
func TestQuizFromDrawToCertificate(t *testing.T) {
	ctx := context.Background()
	file := filepath.Join(t.TempDir(), "bench.db")
	clock := &quizClock{time.Date(2031, 5, 6, 7, 0, 0, 0, time.UTC)}
	b := openBook(t, file, clock.now)
	units := append(painted(t), "../../testdata/images/u01-L", "../../testdata/images/u06-R")
	d := asked(10, 0.4)
	d.Spec.Repeats = 2
	d.Criteria.MinClean, d.Criteria.MinDefective = 4, 5
	var told bytes.Buffer
	if err := b.Drawn(ctx, d, units, &told); err != nil || !strings.Contains(told.String(), "test Q1 is drawn: 12 units shown") {
		t.Fatal(told.String(), err)
	}
	first, err := b.Begin(ctx, "Q1", "ab", "17")
	if err != nil {
		t.Fatal(err)
	}
	wrong := 0
	say := func(n int, it teach.Item) teach.Answer {
		clock.at = clock.at.Add(8 * time.Second)
		a := trueAnswer(it)
		if n%3 == 1 { // misses all, or sees what is not there
			wrong++
			a = teach.Answer{Verdict: part.Pass}
			if it.Clean() {
				a = teach.Answer{Verdict: part.Rework, Marks: []teach.QuizMark{{XPX: 600, YPX: 450, Kind: part.Dust}}}
			}
		}
		return a
	}
	for n := range 5 {
		now, err := b.Now(ctx, first)
		if err != nil || now.Trial != n || now.Of != 12 {
			t.Fatalf("%+v %v", now, err)
		}
		q, tk, _ := b.Attempt(ctx, first)
		if err := b.Answer(ctx, first, n, say(n, q.Test.Pool[tk.Open.Item])); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := b.Now(ctx, first); err != nil {
		t.Fatal(err)
	}
	q, open, _ := b.Attempt(ctx, first)
	b.Store.Close()

	// Started again: the same person goes on with the unit that was open.
	b = openBook(t, file, clock.now)
	again, err := b.Begin(ctx, "Q1", "AB", "17")
	if err != nil || again != first {
		t.Fatalf("%s was begun, %s was under way: %v", again, first, err)
	}
	if _, now, err := b.Attempt(ctx, first); err != nil || now.Open == nil || now.Open.Item != open.Open.Item || len(now.Shown) != 5 {
		t.Fatalf("%+v %v", now, err)
	}
	// The picture of a unit that is still to come goes away.
	gone := ""
	for i, it := range q.Test.Pool {
		path := strings.TrimPrefix(it.Pictures[0].Ref, book.RefFile)
		shown := slices.ContainsFunc(open.Shown, func(s teach.Shown) bool { return s.Item == i }) || open.Open.Item == i
		if next, _ := q.Test.Next(append(slices.Clone(open.Shown), teach.Shown{Item: open.Open.Item, Answer: trueAnswer(q.Test.Pool[open.Open.Item])})); !shown && next == i && !strings.Contains(path, "testdata") {
			gone = path
		}
	}
	if gone == "" {
		t.Skip("the unit that comes next is of testdata: another seed is needed for this test")
	}
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Result(ctx, english(t), first); err == nil {
		t.Error("the result was told before the end")
	}
	take(t, b, first, say)
	s, err := b.ResultSheet(ctx, english(t), q, mustTake(t, b, first))
	if err != nil {
		t.Fatal(err)
	}
	if s.Score.Gone < 1 || len(s.Score.Mistakes) == 0 || s.Attempt.Certificate != nil {
		t.Errorf("gone %d, %d mistakes of %d wrong answers, certificate %v", s.Score.Gone, len(s.Score.Mistakes), wrong, s.Attempt.Certificate)
	}
	quizPages(t, b, "quiz-result", func(l *lang.Lang) ([]byte, error) { return b.Result(ctx, l, first) }, "left out because")
	if _, err := b.Certificate(ctx, english(t), first); !problemIs(err, "quiz.no_certificate") {
		t.Errorf("%v", err)
	}

	// A second test, of what was missed more, without a mistake.
	clock.at = clock.at.AddDate(0, 0, 7)
	d.Spec.Adapt, d.Initials, d.Badge = true, "AB", "17"
	units = append(painted(t), "../../testdata/images/u03-R")
	if err := b.Drawn(ctx, d, units, &told); err != nil {
		t.Fatal(err)
	}
	if q2, err := b.Quiz(ctx, "Q2"); err != nil || len(q2.Test.Spec.Prior) == 0 {
		t.Errorf("%+v %v", q2.Test.Spec, err)
	}
	second, err := b.Begin(ctx, "Q2", "AB", "17")
	if err != nil {
		t.Fatal(err)
	}
	take(t, b, second, func(_ int, it teach.Item) teach.Answer {
		clock.at = clock.at.Add(6 * time.Second)
		return trueAnswer(it)
	})
	cert := mustTake(t, b, second).Certificate
	if cert == nil || !cert.Expires.Equal(cert.At.AddDate(0, 12, 0)) {
		t.Fatalf("%+v", cert)
	}
	quizPages(t, b, "quiz-certificate", func(l *lang.Lang) ([]byte, error) { return b.Certificate(ctx, l, second) }, "AB 17 met the criteria below")
	quizPages(t, b, "quiz-progress", func(l *lang.Lang) ([]byte, error) { return b.Progress(ctx, l, "", "17") }, "2 tests taken.")
	clock.at = clock.at.AddDate(1, 1, 0)
	quizPages(t, b, "quiz-certificate-expired", func(l *lang.Lang) ([]byte, error) { return b.Certificate(ctx, l, second) }, "A new test renews it.")

	// Export and erase.
	var out bytes.Buffer
	if err := b.Export(ctx, english(t), "AB", "", &out); err != nil {
		t.Fatal(err)
	}
	var e book.Exported
	if err := json.Unmarshal(out.Bytes(), &e); err != nil || len(e.Attempts) != 2 || len(e.Attempts[1].Answers) != 12 || e.Badge != "17" {
		t.Errorf("%v %.200s", err, out.String())
	}
	code, stdout, stderr := runCode(t, "quiz", "erase", "--record", file, "--badge", "17")
	if code != cli.ExitPass || !strings.Contains(stdout, "AB 17 is erased") {
		t.Errorf("%d %s%s", code, stdout, stderr)
	}
	if _, err := b.Progress(ctx, english(t), "AB", ""); !problemIs(err, "quiz.nobody") {
		t.Errorf("%v", err)
	}
	quizPages(t, b, "quiz-erased", func(l *lang.Lang) ([]byte, error) { return b.Result(ctx, l, second) }, "person erased")
	if code, stdout, _ := runCode(t, "quiz", "list", "--record", file); code != cli.ExitPass || strings.Count(stdout, "(erased)") != 2 || strings.Contains(stdout, "AB") {
		t.Errorf("%d %s", code, stdout)
	}
	if r, err := b.Store.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%+v %v", r, err)
	}
}

func english(t testing.TB) *lang.Lang {
	t.Helper()
	l, err := cli.Language("en")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func mustTake(t testing.TB, b *book.Book, name string) teach.Attempt {
	t.Helper()
	_, tk, err := b.Attempt(context.Background(), name)
	if err != nil {
		t.Fatal(err)
	}
	return tk
}

func problemIs(err error, key string) bool {
	var p *part.Trouble
	return errors.As(err, &p) && p.Key == key
}

// Two trainees with the same initials: the badge tells which; each has progress of
// their own.
func TestQuizTwoOfOneName(t *testing.T) {
	ctx := context.Background()
	b := openBook(t, filepath.Join(t.TempDir(), "bench.db"), time.Now)
	var told bytes.Buffer
	if err := b.Drawn(ctx, asked(2, 0.5), painted(t), &told); err != nil {
		t.Fatal(err)
	}
	names := map[string]string{}
	for _, badge := range []string{"", "17", "23"} {
		name, err := b.Begin(ctx, "Q1", "AB", badge)
		if err != nil {
			t.Fatal(err)
		}
		names[name] = badge
	}
	if len(names) != 3 {
		t.Errorf("%v", names)
	}
	if _, err := b.Begin(ctx, "Q1", "AB", ""); !problemIs(err, "quiz.which") {
		t.Errorf("%v", err)
	}
	if name, err := b.Begin(ctx, "Q1", "AB", "-"); err != nil || names[name] != "" {
		t.Errorf("%q %v", names[name], err)
	}
	if name, err := b.Begin(ctx, "Q1", "", "23"); err != nil || names[name] != "23" {
		t.Errorf("%q %v", names[name], err)
	}
	for _, c := range [][3]string{{"CD", "23", "quiz.badge_wrong"}, {"", "", "quiz.who_missing"}, {strings.Repeat("A", 30), "", "quiz.who_bad"}} {
		if _, err := b.Begin(ctx, "Q1", c[0], c[1]); !problemIs(err, c[2]) {
			t.Errorf("%v: %v", c, err)
		}
	}
	if _, err := b.Begin(ctx, "Q9", "AB", "17"); !problemIs(err, "quiz.no_test") {
		t.Errorf("%v", err)
	}
}

// The time limit goes on over a break: an answer that comes after it counts as none
// was given. Two windows answer a unit once.
func TestQuizTimeLimit(t *testing.T) {
	ctx := context.Background()
	clock := &quizClock{time.Date(2031, 5, 6, 7, 0, 0, 0, time.UTC)}
	b := openBook(t, filepath.Join(t.TempDir(), "bench.db"), clock.now)
	var told bytes.Buffer
	d := asked(3, 0)
	d.Spec.LimitS = 60
	if err := b.Drawn(ctx, d, painted(t), &told); err != nil {
		t.Fatal(err)
	}
	name, err := b.Begin(ctx, "Q1", "AB", "")
	if err != nil {
		t.Fatal(err)
	}
	answer := func(after time.Duration) teach.Answer {
		if _, err := b.Now(ctx, name); err != nil {
			t.Fatal(err)
		}
		q, tk, _ := b.Attempt(ctx, name)
		clock.at = clock.at.Add(after)
		a := trueAnswer(q.Test.Pool[tk.Open.Item])
		a.TookS = 12.3456
		if err := b.Answer(ctx, name, len(tk.Shown), a); err != nil {
			t.Fatal(err)
		}
		if err := b.Answer(ctx, name, len(tk.Shown), a); !problemIs(err, "quiz.answered_already") {
			t.Errorf("answered twice: %v", err)
		}
		_, tk, _ = b.Attempt(ctx, name)
		return tk.Shown[len(tk.Shown)-1].Answer
	}
	if a := answer(30 * time.Second); a.TimeOver || len(a.Marks) == 0 || a.TookS != 12.346 {
		t.Errorf("within the limit: %+v", a)
	}
	if a := answer(62 * time.Second); !a.TimeOver || len(a.Marks) == 0 {
		t.Errorf("on its way when time ended: %+v", a)
	}
	if n, err := b.Now(ctx, name); err != nil || n.LeftS != 60 {
		t.Fatalf("%+v %v", n, err)
	}
	clock.at = clock.at.Add(24 * time.Hour)
	if n, err := b.Now(ctx, name); err != nil || n.LeftS != 0 || n.Done {
		t.Errorf("after a day: %+v %v", n, err)
	}
	if a := answer(0); !a.TimeOver || len(a.Marks) != 0 || a.Verdict != "" || a.TookS > 60 {
		t.Errorf("after a day: %+v", a)
	}
}

// What a person confirmed of recorded units can be asked; the tool's findings alone
// cannot; and a picture that was taken off the records leaves its unit out.
func TestQuizOfRecords(t *testing.T) {
	ctx := context.Background()
	file := filepath.Join(t.TempDir(), "bench.db")
	b := openBook(t, file, time.Now)
	now := time.Now()
	for i, unit := range []string{"u01-L", "u06-R"} {
		in := part.Inspection{UnitInfo: part.UnitInfo{Serial: unit[:3], Side: unit[4:], Stage: part.Cured, Operator: "B1"}, Started: now, Ended: now.Add(time.Second)}
		in.Result = part.Result{Schema: 1, Unit: unit, Stage: part.Cured, Verdict: part.Rework, MMPerPX: 0.015, Findings: []part.Finding{
			{Number: 1, Image: "face_diffuse.jpg", Kind: part.Bubble, Box: part.Box{400, 620, 20, 20}, DiameterMM: part.Num(0.3), Zone: part.ZoneFace},
			{Number: 2, Image: "face_diffuse.jpg", Kind: part.Dust, Box: part.Box{900, 700, 10, 10}, DiameterMM: part.Num(0.1), Zone: part.ZoneFace},
			{Number: 3, Image: "edge_000.jpg", Kind: part.Step, Box: part.Box{900, 700, 10, 10}, Zone: part.ZoneSeam},
		}}
		for _, name := range []string{"edge_000.jpg", "face_diffuse.jpg", "face_raking.jpg"} {
			raw, err := os.ReadFile(filepath.Join("../../testdata/images", unit, name))
			if err != nil {
				t.Fatal(err)
			}
			p := part.StoredPicture{File: name, View: part.Edge, MIME: "image/jpeg", Bytes: raw}
			if name != "edge_000.jpg" {
				p.View, p.Light = part.Face, part.Light(name[5:len(name)-4])
			}
			in.Pictures = append(in.Pictures, p)
			in.Result.Pictures = append(in.Result.Pictures, part.PictureReport{File: name, View: p.View, State: part.PictureOK})
		}
		if id, err := b.Store.Add(ctx, in); err != nil || id != int64(i+1) {
			t.Fatal(id, err)
		}
	}
	if code, _, stderr := runCode(t, "quiz", "draw", "--record", file); code != cli.ExitUsage || !strings.Contains(stderr, "there are no units to ask") {
		t.Errorf("not confirmed: %d %s", code, stderr)
	}
	for _, bad := range [][]string{
		{"7", "--by", "T1", "--verdict", "rework"}, {"1", "--verdict", "rework"}, {"1", "--by", "T1"}, {"1", "--by", "T1", "--verdict", "good"}, {"x", "--by", "T1"},
		{"1", "--by", "T1", "--verdict", "rework", "--not", "3"}, {"1", "--by", "T1", "--verdict", "rework", "--kind", "9=dust"}, {"1", "--by", "T1", "--verdict", "rework", "--kind", "1=smudge"},
		{"1", "--by", "T1", "--verdict", "rework", "--also", "dust,1,2,3"}, {"1", "--by", "T1", "--verdict", "rework", "--also", "dust,1,2,3,0"},
	} {
		if code, _, stderr := runCode(t, append([]string{"quiz", "confirm", "--record", file}, bad...)...); code != cli.ExitUsage || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%v: %d %s", bad, code, stderr)
		}
	}
	code, stdout, stderr := runCode(t, "quiz", "confirm", "1", "--record", file, "--by", "T1", "--verdict", "rework", "--not", "2", "--kind", "1=crater", "--also", "fibre,812,440,60,9")
	if code != cli.ExitPass || !strings.Contains(stdout, "2 defects on the faceplate and the verdict rework are confirmed by T1") {
		t.Fatalf("%d %s%s", code, stdout, stderr)
	}
	if code, stdout, stderr := runCode(t, "quiz", "confirm", "2", "--record", file, "--by", "T1", "--verdict", "pass", "--not", "1,2"); code != cli.ExitPass {
		t.Fatalf("%d %s%s", code, stdout, stderr)
	}
	if code, stdout, stderr := runCode(t, "quiz", "draw", "--record", file, "--number", "2", "--clean", "0.5"); code != cli.ExitPass || !strings.Contains(stdout, "2 units shown, of 2") {
		t.Fatalf("%d %s%s", code, stdout, stderr)
	}
	q, err := b.Quiz(ctx, "Q1")
	if err != nil {
		t.Fatal(err)
	}
	it := q.Test.Pool[0]
	if it.Provenance != teach.Confirmed || it.By != "T1" || it.Verdict != part.Rework || len(it.Known) != 2 || it.Known[0].Kind != part.Crater || it.Known[1].Kind != part.Fibre || len(it.Pictures) != 2 || it.WidthPX != 1600 {
		t.Errorf("%+v", it)
	}
	if it := q.Test.Pool[1]; !it.Clean() || it.Verdict != part.Pass {
		t.Errorf("%+v", it)
	}
	name, err := b.Begin(ctx, "Q1", "AB", "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Now(ctx, name); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Store.Forget(ctx, now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	// The unit that is open is gone: its picture is not to be had, and it can still be answered.
	if _, _, err := b.Picture(ctx, name, 0, 0); !problemIs(err, "wrong.not_found") {
		t.Errorf("%v", err)
	}
	if err := b.Answer(ctx, name, 0, teach.Answer{Verdict: part.Pass}); err != nil {
		t.Error(err)
	}
	if n, err := b.Now(ctx, name); err != nil || !n.Done || mustTake(t, b, name).Shown[1].Gone != true {
		t.Errorf("%+v %v", n, err)
	}
	if code, _, stderr := runCode(t, "quiz", "draw", "--record", file); code != cli.ExitUsage || !strings.Contains(stderr, "the pictures of all 2 confirmed units were taken off the records") {
		t.Errorf("%d %s", code, stderr)
	}
	if code, stdout, stderr := runCode(t, append([]string{"quiz", "draw", "--record", file, "--number", "2"}, painted(t)...)...); code != cli.ExitPass || !strings.Contains(stdout, "2 confirmed units are left out") {
		t.Errorf("%d %s%s", code, stdout, stderr)
	}
}

// What is drawn is what its truth says: the same as testdata's form, clean as often
// as asked, of the kinds asked, and the same again with the same seed.
func TestPaintedUnits(t *testing.T) {
	all, err := book.PaintUnits(t.TempDir(), book.PaintOptions{Number: 4, Clean: 0.5, Kinds: []part.Kind{part.Dust}, Difficulty: teach.Middling, Seed: 9})
	if err != nil {
		t.Fatal(err)
	}
	same, err := book.PaintUnits(t.TempDir(), book.PaintOptions{Number: 4, Clean: 0.5, Kinds: []part.Kind{part.Dust}, Difficulty: teach.Middling, Seed: 9})
	if err != nil {
		t.Fatal(err)
	}
	pool, err := book.PoolUnits(all, part.Cured, grade.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	clean := 0
	for i, it := range pool {
		if it.Clean() {
			clean++
		}
		for _, k := range it.Known {
			if k.Kind != part.Dust || !(k.SizeMM > 0.2 && k.SizeMM <= 0.5) {
				t.Errorf("%+v", k)
			}
		}
		for _, name := range []string{"face_diffuse.jpg", truth.File} {
			a, err1 := os.ReadFile(filepath.Join(all[i], name))
			b, err2 := os.ReadFile(filepath.Join(same[i], name))
			if err1 != nil || err2 != nil || !bytes.Equal(a, b) {
				t.Errorf("%s of unit %d differs: %v %v", name, i+1, err1, err2)
			}
		}
	}
	if clean != 2 {
		t.Errorf("%d clean ones of 4, want 2", clean)
	}
	var wrong cli.UsageError
	cut := filepath.Join(same[0], "face_raking.jpg")
	whole, err := os.ReadFile(cut)
	if err == nil {
		err = os.WriteFile(cut, whole[:len(whole)/2], 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, err := book.PoolUnits(same[:1], part.Cured, grade.DefaultLimits()); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "is cut off") {
		t.Errorf("a picture that is cut off can be asked: %v", err)
	}
	if _, err := book.PaintUnits(filepath.Join(all[0], "truth.json"), book.PaintOptions{Number: 1, Seed: 9}); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "name a folder to draw into") {
		t.Errorf("drawn into a file: %v", err)
	}
	if _, err := book.PaintUnits(filepath.Dir(all[0]), book.PaintOptions{Number: 1, Seed: 9}); err == nil {
		t.Error("drawn over what was there")
	}
	for _, o := range []book.PaintOptions{{Number: 0}, {Number: 1, Clean: 2}, {Number: 1, Kinds: []part.Kind{part.Chip}}} {
		if _, err := book.PaintUnits(t.TempDir(), o); err == nil {
			t.Errorf("%+v was drawn", o)
		}
	}
}
