package records

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

// withTriggersOff lets a test do what a person with the right to write the file could.
func withTriggersOff(t *testing.T, s *Store, queries ...string) {
	t.Helper()
	if s.kind == postgresDB {
		queries = append([]string{"SET session_replication_role = replica"}, append(queries, "SET session_replication_role = origin")...)
	} else {
		rows, err := s.w.Query("SELECT name FROM sqlite_master WHERE type = 'trigger'")
		if err != nil {
			t.Fatal(err)
		}
		var drop []string
		for rows.Next() {
			var name string
			rows.Scan(&name)
			drop = append(drop, "DROP TRIGGER "+name)
		}
		rows.Close()
		queries = append(append([]string{"PRAGMA foreign_keys = 0"}, drop...), queries...)
	}
	c, err := s.w.Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for _, q := range queries {
		if _, err := c.ExecContext(context.Background(), q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// Whatever is changed behind the program's back shows.
func TestCheckSeesChanges(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		for i, c := range []struct{ change, want string }{
			{"UPDATE inspections SET verdict = 'pass' WHERE id = 2", "inspection 2 was changed"},
			{"UPDATE inspections SET operator = 'B' WHERE id = 2", "inspection 2 was changed"},
			{"UPDATE inspections SET score = NULL WHERE id = 2", "inspection 2 was changed"},
			{"UPDATE inspections SET result = replace(result, 'rework', 'pass') WHERE id = 2", "the result of inspection 2 was changed"},
			{"UPDATE findings SET severity = 'none' WHERE inspection = 2", "the findings of inspection 2 were changed"},
			{"DELETE FROM findings WHERE inspection = 2 AND place = 2", "the findings of inspection 2 were changed"},
			{"UPDATE stations SET step_um = 0 WHERE inspection = 2 AND place = 2", "the stations of inspection 2 were changed"},
			{"UPDATE inspection_pictures SET file = 'x' WHERE inspection = 2", "the pictures of inspection 2 were changed"},
			{"DELETE FROM inspection_texts WHERE inspection = 2", "the settings files of inspection 2 were changed"},
			{"UPDATE events SET content = replace(content, 'rework', 'pass') WHERE seq = 2", "event 2 was changed"},
			{"UPDATE events SET at = '2031-01-01' WHERE seq = 2", "event 2: its columns were changed"},
			{"DELETE FROM events WHERE seq = 2", "event 3 follows event 1"},
			{"UPDATE events SET seq = 7 WHERE seq = 4", "event 7 follows event 3"},
			{"DELETE FROM inspections WHERE id = 2", "inspection 2 is gone"},
			{"DELETE FROM events WHERE seq >= 3", "inspection 3 was put in from outside"},
			{"UPDATE pictures SET bytes = NULL", "is gone, and no event tells why"},
			{"UPDATE pictures SET size = 3", "picture "},
			{"UPDATE texts SET bytes = (SELECT bytes FROM texts ORDER BY sha256 LIMIT 1)", "settings file "},
		} {
			if isPostgres(url) {
				if i%6 != 0 { // making a database takes a while
					continue
				}
				url = cluster.url(t)
			} else {
				url = t.TempDir() + "/bench.db"
			}
			s := open(t, url)
			for i := range 3 {
				add(t, s, invented(i))
			}
			if err := s.Withdraw(context.Background(), 3, part.Note{By: "A"}); err != nil {
				t.Fatal(err)
			}
			r, err := s.Check(context.Background())
			if err != nil || !r.OK() || r.Inspections != 3 || r.Events != 4 || r.Pictures != 6 || r.Texts != 4 {
				t.Fatalf("before: %+v, %v", r, err)
			}
			withTriggersOff(t, s, c.change)
			r, err = s.Check(context.Background())
			if err != nil || !strings.Contains(strings.Join(r.Problems, "\n"), c.want) {
				t.Errorf("%s: %q, %v; want %q", c.change, r.Problems, err, c.want)
			}
			s.Close()
		}
	})
}

func trailOf(t *testing.T, s *Store) string {
	t.Helper()
	var b strings.Builder
	if err := s.Export(context.Background(), &b, FormatTrail); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// An exported trail is checked without the database, and tells when the database
// is not the one that it was.
func TestTrail(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		if _, err := CheckTrail(strings.NewReader(trailOf(t, s))); err == nil {
			t.Error("an empty trail passes")
		}
		in := invented(0)
		in.Operator = `<"A" & 李>`
		add(t, s, in)
		for i := range 3 {
			add(t, s, invented(i))
		}
		s.Withdraw(ctx, 2, part.Note{By: "A", Why: "</script>\u2028"})
		text := trailOf(t, s)
		r, err := CheckTrail(strings.NewReader(text))
		if err != nil || r.Events != 5 || r.Inspections != 4 || r.Head.Seq != 5 {
			t.Fatalf("%+v, %v", r, err)
		}
		add(t, s, invented(5)) // the database goes on
		if _, err := s.Compare(ctx, strings.NewReader(text)); err != nil {
			t.Error(err)
		}
		lines := strings.SplitAfter(text, "\n")
		for what, bad := range map[string]string{
			"changed":   strings.Replace(text, "rework", "pass", 1),
			"spaced":    strings.Replace(text, `"event":{`, `"event":{ `, 1),
			"left out":  lines[0] + lines[2],
			"swapped":   lines[1] + lines[0],
			"cut short": text[:len(text)-9],
			"no JSON":   text + "end\n",
			"two":       strings.TrimSpace(lines[0]) + lines[1],
		} {
			if _, err := CheckTrail(strings.NewReader(bad)); err == nil {
				t.Errorf("a trail that is %s passes", what)
			}
		}
		// Another database with a chain that holds.
		other := open(t, t.TempDir()+"/other.db")
		for i := range 9 {
			add(t, other, invented(i))
		}
		if _, err := other.Compare(ctx, strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), "another than the trail's") {
			t.Error(err)
		}
		if _, err := s.Compare(ctx, strings.NewReader(trailOf(t, other))); err == nil || !strings.Contains(err.Error(), "cut off") {
			t.Error(err)
		}
	})
}

// A chain worked out by hand, with printf and sha256sum (GNU coreutils 9.1).
func TestLinkHash(t *testing.T) {
	if got := linkHash("", []byte(`{"seq":1}`)); got != "fcb913e02edf3c9bd0177b9e387d12f1187a86904f637d07f8fcc2c865fa943c" {
		t.Error(got)
	}
	if got := linkHash("fcb913e02edf3c9bd0177b9e387d12f1187a86904f637d07f8fcc2c865fa943c", []byte(`{"seq":2}`)); got != "04ba6c314c1684a1f82d0eb767d02de8e98b3e91c0f80a1fee35502057765b10" {
		t.Error(got)
	}
}

func TestForget(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		const n = picturesPerForget/2 + 5
		if err := s.write(ctx, func(t *tx) error { return addMany(ctx, t, n) }); err != nil {
			t.Fatal(err)
		}
		again := invented(n) // a later unit with an old picture: that one is kept
		again.Pictures[1].Bytes = invented(0).Pictures[1].Bytes
		add(t, s, again)
		only := invented(1) // a unit of which only numbers are kept
		only.Pictures[0].SHA256, only.Pictures[0].Bytes = hashOf([]byte("elsewhere")), nil
		only.Pictures[1].SHA256, only.Pictures[1].Bytes = hashOf([]byte("face picture 1")), nil
		add(t, s, only)
		got, err := s.Forget(ctx, invented(n).Ended)
		if err != nil || got != 2*n-1 {
			t.Fatalf("%d pictures forgotten, want %d; %v", got, 2*n-1, err)
		}
		in, err := s.Get(ctx, 1)
		if err != nil || len(in.Pictures) != 2 || in.Result.Findings[0].LengthMM == nil {
			t.Fatalf("%+v, %v", in, err)
		}
		if _, _, err := s.PictureBytes(ctx, in.Pictures[0].SHA256); !errors.Is(err, ErrForgotten) {
			t.Errorf("forgotten picture: %v", err)
		}
		if b, _, err := s.PictureBytes(ctx, in.Pictures[1].SHA256); err != nil || string(b) != "face picture 0" {
			t.Errorf("picture still in use: %q, %v", b, err)
		}
		if _, _, err := s.PictureBytes(ctx, "x"); !errors.Is(err, ErrNotFound) {
			t.Errorf("no picture: %v", err)
		}
		if n, err := s.Forget(ctx, invented(n).Ended); n != 0 || err != nil {
			t.Errorf("forgotten twice: %d, %v", n, err)
		}
		if _, err := s.Forget(ctx, time.Time{}); !errors.Is(err, ErrInvalid) {
			t.Error(err)
		}
		r, err := s.Check(ctx)
		if err != nil || !r.OK() || r.Forgotten != 2*n-1 || r.Numbers != 1 {
			t.Errorf("%+v, %v", r, err)
		}
		add(t, s, invented(0)) // the same pictures come again
		if b, _, err := s.PictureBytes(ctx, in.Pictures[0].SHA256); err != nil || string(b) != "edge picture 0" {
			t.Errorf("picture that came back: %q, %v", b, err)
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("%+v, %v", r, err)
		}
	})
}

func TestExport(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		in := invented(0)
		in.Serial, in.Result.Score, in.Result.Seam.WorstStepUM = "=1+1", nil, nil
		add(t, s, in)
		add(t, s, invented(1))
		s.Overrule(ctx, 2, part.Overrule{At: in.Started, By: "B", Verdict: part.Pass, Reason: "pattern", Note: "two\nlines"})
		table := func(format string) []map[string]string {
			var b bytes.Buffer
			if err := s.Export(ctx, &b, format); err != nil {
				t.Fatal(err)
			}
			rows, err := csv.NewReader(&b).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			var all []map[string]string
			for _, r := range rows[1:] {
				m := map[string]string{}
				for i, name := range rows[0] {
					m[name] = r[i]
				}
				all = append(all, m)
			}
			return all
		}
		for _, c := range []struct {
			format    string
			rows, row int
			want      map[string]string
		}{
			{FormatCSV, 2, 0, map[string]string{"id": "1", "serial": "'=1+1", "score": "", "worst_step_um": "", "verdict": "rework", "started": "2031-03-04T06:00:00.123456789Z", "overruled_by": ""}},
			{FormatCSV, 2, 1, map[string]string{"verdict": "pass", "tool_verdict": "rework", "score": "30", "worst_step_um": "-12.5", "overruled_reason": "pattern", "overruled_note": "two lines",
				"findings": "2", "worst_severity": "major", "stations_measured": "1", "stations": "2", "pictures": "2", "withdrawn_at": "", "corrects": "", "limits_sha256": hashOf(in.Limits.Bytes)}},
			{FormatFindingsCSV, 4, 1, map[string]string{"inspection": "1", "type": "dust", "length_mm": "", "confidence": "0.7", "holds": "true"}},
			{FormatStepStationsCSV, 4, 3, map[string]string{"inspection": "2", "state": "not_measured", "step_um": "", "reason": "no seam seen", "limb": "right"}},
		} {
			got := table(c.format)
			if len(got) != c.rows {
				t.Errorf("%s has %d rows, want %d", c.format, len(got), c.rows)
				continue
			}
			for k, v := range c.want {
				if have, ok := got[c.row][k]; !ok || have != v {
					t.Errorf("%s row %d: %s is %q, want %q", c.format, c.row, k, have, v)
				}
			}
		}
		var b bytes.Buffer
		if err := s.Export(ctx, &b, FormatJSONLines); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(b.String()), "\n")
		var second map[string]any
		if err := json.Unmarshal([]byte(lines[1]), &second); err != nil || len(lines) != 2 || second["verdict"] != "pass" || second["started"] != "2031-03-04T06:00:01.123456789Z" {
			t.Errorf("JSON lines: %s, %v", b.String(), err)
		}
		if strings.Contains(lines[0], "score") {
			t.Error("what was not measured is in the JSON")
		}
		if err := s.Export(ctx, io.Discard, "xls"); !errors.Is(err, ErrInvalid) {
			t.Error(err)
		}
		full := errors.New("no room")
		if err := s.Export(ctx, failing{full}, FormatCSV); !errors.Is(err, full) {
			t.Error(err)
		}
	})
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// heap watches the memory in use while something is written.
type heap struct{ most uint64 }

func (h *heap) Write(b []byte) (int, error) {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	h.most = max(h.most, m.HeapAlloc)
	return len(b), nil
}

// Exporting ten times as much takes no more memory. The least that would show is 450 bytes an inspection.
func TestExportMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 4,000 inspections")
	}
	ctx := context.Background()
	s := open(t, t.TempDir()+"/bench.db")
	most := map[string][]uint64{}
	for _, n := range []int{400, 3600} {
		if err := s.write(ctx, func(t *tx) error { return addMany(ctx, t, n) }); err != nil {
			t.Fatal(err)
		}
		had, err := s.Journal(ctx, "lot", "A")
		if err != nil {
			t.Fatal(err)
		}
		var es []part.Entry
		for i := range n {
			es = append(es, lotEntry("A", int64(len(had)+i+1), "taken", `{"serial":"U0001","counts":{"minor":1}}`))
		}
		note(t, s, es...)
		for _, f := range Formats() {
			var h heap
			if err := s.Export(ctx, &h, f); err != nil {
				t.Fatal(err)
			}
			most[f] = append(most[f], h.most)
		}
	}
	for f, m := range most {
		t.Logf("%s: %.1f MB at 400 inspections, %.1f MB at 4,000", f, float64(m[0])/1e6, float64(m[1])/1e6)
		if m[0] == 0 || m[1] > m[0]+450*3600 {
			t.Errorf("%s: %d bytes at 400 inspections, %d at 4,000", f, m[0], m[1])
		}
	}
}

// BenchmarkAdd is a unit with eight pictures of 500 KB, on SQLite.
func BenchmarkAdd(b *testing.B) {
	s, err := Open(context.Background(), b.TempDir()+"/bench.db", time.Now)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	in := invented(0)
	in.Pictures = nil
	for i := range 8 {
		in.Pictures = append(in.Pictures, part.StoredPicture{File: fmt.Sprint(i), Bytes: make([]byte, 500000)})
	}
	for n := 0; b.Loop(); n++ {
		for i := range in.Pictures {
			copy(in.Pictures[i].Bytes, fmt.Sprint(n, i))
		}
		if _, err := s.Add(context.Background(), in); err != nil {
			b.Fatal(err)
		}
	}
}

// Whatever a file holds, the check of a trail ends with an answer; and what it
// accepts is a chain that starts at 1.
func FuzzCheckTrail(f *testing.F) {
	content := `{"seq":1,"at":"2031-03-04T05:06:07.000000000Z","kind":"forgotten"}`
	good := fmt.Sprintf("{\"seq\":1,\"prev\":\"\",\"hash\":%q,\"event\":%s}\n", linkHash("", []byte(content)), content)
	f.Add(good)
	f.Add(good + good)
	f.Add("{}\n[]\n")
	f.Add(`{"seq":1,"prev":"","hash":"","event":null}`)
	f.Fuzz(func(t *testing.T, text string) {
		r, err := CheckTrail(strings.NewReader(text))
		if err == nil && (r.Head.Seq != int64(r.Events) || len(r.Head.Hash) != 64) {
			t.Errorf("%q: %+v", text, r)
		}
	})
}
