package records

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"finishbench/internal/part"
)

// The same inspection under the same key is recorded once, whoever asks; another
// one under that key is not taken for it.
func TestKey(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		in := invented(0)
		in.Key = "a key of the bench"
		if id := add(t, s, in); id != 1 {
			t.Fatalf("number %d", id)
		}
		later := in
		later.Ended = in.Ended.Add(time.Minute) // judged again
		for _, again := range []part.Inspection{in, later} {
			if id := add(t, open(t, url), again); id != 1 {
				t.Errorf("asked again: number %d", id)
			}
		}
		for what, change := range map[string]func(*part.Inspection){
			"serial":  func(in *part.Inspection) { in.Serial = "other" },
			"verdict": func(in *part.Inspection) { in.Result.Verdict = "pass" },
			"picture": func(in *part.Inspection) { in.Pictures = in.Pictures[:1] },
			"limits":  func(in *part.Inspection) { in.Limits.Bytes = []byte("version: 1 # stricter\n") },
		} {
			other := in
			change(&other)
			var twice *KeyError
			if _, err := s.Add(ctx, other); !errors.As(err, &twice) || twice.Inspection != 1 {
				t.Errorf("another %s under the same key: %v", what, err)
			}
		}
		for range 2 { // without a key each is one of its own
			add(t, s, invented(1))
		}
		other := invented(2)
		other.Key = "another key"
		add(t, s, other)
		if got, err := s.Get(ctx, 1); err != nil || got.Key != in.Key {
			t.Errorf("key %q, %v", got.Key, err)
		}
		var out bytes.Buffer
		if err := s.Export(ctx, &out, FormatJSONLines); err != nil || !strings.Contains(out.String(), `"key":"another key"`) {
			t.Errorf("%v, %.200s", err, out.String())
		}
		r, err := s.Check(ctx)
		if err != nil || !r.OK() || r.Inspections != 4 || r.Events != 4 {
			t.Errorf("%+v, %v", r, err)
		}
		// A key that was put in later is seen.
		for _, q := range []string{"DROP TRIGGER inspections_keep ON inspections", "DROP TRIGGER inspections_update"} {
			_, _ = s.w.ExecContext(ctx, q) // one of the two is this database's
		}
		if _, err := s.w.ExecContext(ctx, "UPDATE inspections SET client_key = 'forged' WHERE id = 2"); err != nil {
			t.Fatal(err)
		}
		if r, err := s.Check(ctx); err != nil || r.OK() {
			t.Errorf("a forged key is not seen: %+v, %v", r, err)
		}
	})
}

// A database of before the keys is brought up to date with its chain whole, and a
// copy of it is checked as it is.
func TestBeforeKeys(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s, err := connect(ctx, url, testClock())
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		ms, err := migrations(s.kind)
		if err != nil {
			t.Fatal(err)
		}
		e, err := ready(invented(0))
		if err != nil {
			t.Fatal(err)
		}
		err = s.write(ctx, func(x *tx) error {
			if err := errors.Join(x.prepare(ctx), x.step(ctx, ms[0])); err != nil {
				return err
			}
			columns := strings.TrimSuffix(inspectionColumns, ", client_key, faceplate, resin")
			row := e.what.row(1, e.result)
			for _, p := range e.Pictures {
				if err := x.keepPicture(ctx, p); err != nil {
					return err
				}
			}
			for _, p := range e.texts {
				if err := x.keepText(ctx, p); err != nil {
					return err
				}
			}
			return errors.Join(x.insert(ctx, "inspections", columns, [][]any{row[:len(row)-3]}),
				x.insert(ctx, "inspection_pictures", "inspection, place, file, view, light, angle_deg, sha256", pictureRows(1, e.what.Pictures)),
				x.insert(ctx, "inspection_texts", "inspection, place, role, name, sha256", textRows(1, e.what.Texts)),
				x.insert(ctx, "findings", findingColumns, findingRows(1, e.Result.Findings)), x.insert(ctx, "stations", stepStationColumns, stepStationRows(1, e.Result.Seam.Stations)),
				x.append(ctx, &event{Kind: eventRecorded, Inspection: 1, Recorded: &e.what}))
		})
		if err != nil {
			t.Fatal(err)
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() || r.Inspections != 1 {
			t.Errorf("as it was: %+v, %v", r, err)
		}
		now := open(t, url)
		if got, err := now.Get(ctx, 1); err != nil || got.Key != "" || got.Serial != "U0000" {
			t.Errorf("%+v, %v", got, err)
		}
		in := invented(1)
		in.Key = "k"
		for range 2 {
			if add(t, now, in) != 2 {
				t.Error("a key is not heeded")
			}
		}
		if r, err := now.Check(ctx); err != nil || !r.OK() || r.Inspections != 2 {
			t.Errorf("brought up to date: %+v, %v", r, err)
		}
	})
}

// cutter stands between this program and PostgreSQL, and can lose the answer to
// a commit: the server has carried it out, nobody hears of it.
type cutter struct {
	net.Listener
	to   string // the server's socket
	lose atomic.Int32
	lost atomic.Int32
}

// cutterFor returns a cutter and the address of the database through it.
func cutterFor(t *testing.T, address string) (*cutter, string) {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "cut") // a socket's path is short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	const name = ".s.PGSQL.5432"
	q := u.Query()
	c := &cutter{to: filepath.Join(q.Get("host"), name)}
	if c.Listener, err = net.Listen("unix", filepath.Join(dir, name)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	q.Set("host", dir)
	u.RawQuery = q.Encode()
	go func() {
		for {
			client, err := c.Accept()
			if err != nil {
				return
			}
			go c.carry(client)
		}
	}()
	return c, u.String()
}

func (c *cutter) carry(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("unix", c.to)
	if err != nil {
		return
	}
	defer server.Close()
	var cut atomic.Bool
	go func() {
		defer server.Close()
		b := make([]byte, 64<<10)
		for {
			n, err := client.Read(b)
			// A simple query's message ends with its text and a zero byte
			// (PostgreSQL's documentation, "Message Formats").
			if bytes.HasSuffix(bytes.ToLower(b[:n]), []byte("commit\x00")) && c.lose.Add(-1) >= 0 {
				cut.Store(true)
			}
			if _, werr := server.Write(b[:n]); err != nil || werr != nil {
				return
			}
		}
	}()
	b := make([]byte, 64<<10)
	for {
		n, err := server.Read(b)
		if cut.Load() {
			if bytes.Contains(b[:n], []byte("COMMIT\x00")) { // carried out
				c.lost.Add(1)
				return
			}
			continue
		}
		if _, werr := client.Write(b[:n]); err != nil || werr != nil {
			return
		}
	}
}

// The answer to a commit is lost: it was carried out all the same. Asked again
// under its key, nothing doubles; without a key, it is told that it is not known.
func TestLostCommit(t *testing.T) {
	ctx := context.Background()
	c, address := cutterFor(t, cluster.url(t))
	s := open(t, address)
	c.lose.Store(1)
	in := invented(0)
	in.Key = "k0"
	if id := add(t, s, in); id != 1 {
		t.Errorf("number %d", id)
	}
	if c.lost.Load() != 1 {
		t.Fatalf("%d answers were lost: the test tells nothing", c.lost.Load())
	}
	// Lost each time that Add asks: the caller asks later.
	c.lose.Store(int32(len(againAfter)) + 1)
	in = invented(1)
	in.Key = "k1"
	_, err := s.Add(ctx, in)
	if err == nil && c.lost.Load() < 2 || err != nil && !strings.Contains(err.Error(), "does not answer") {
		t.Errorf("%v; %d answers were lost", err, c.lost.Load())
	}
	c.lose.Store(0)
	if id := add(t, s, in); id != 2 {
		t.Errorf("asked again by the caller: number %d", id)
	}
	c.lose.Store(1)
	if _, err := s.Add(ctx, invented(2)); err == nil || !strings.Contains(err.Error(), "does not answer") {
		t.Errorf("without a key: %v", err)
	}
	r, err := s.Check(ctx)
	if err != nil || !r.OK() || r.Inspections != 3 {
		t.Errorf("%+v, %v", r, err)
	}
}

// Time that ran out is told in words.
func TestOutOfTime(t *testing.T) {
	s := &Store{kind: postgresDB, where: "postgres://bench@there/x"}
	ctx, stop := context.WithTimeout(context.Background(), time.Nanosecond)
	defer stop()
	<-ctx.Done()
	if err := s.explain(ctx.Err()); !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "in time") {
		t.Error(err)
	}
}
