package records

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"finishbench/internal/part"
)

func TestMain(m *testing.M) {
	if os.Getenv("RECORDS_TEST_WRITER") != "" {
		os.Exit(writer())
	}
	code := m.Run()
	cluster.stop()
	os.Exit(code)
}

// cluster is the PostgreSQL of this run of tests: started for the first test that
// needs it, in a temporary folder, on a socket in it, without a network port.
var cluster postgresCluster

type postgresCluster struct {
	once sync.Once
	dir  string
	skip string // why there is none
	cmd  *exec.Cmd
	n    int
}

// url makes an empty database and returns its address; or skips the test.
func (c *postgresCluster) url(t *testing.T) string {
	t.Helper()
	c.once.Do(func() {
		if err := c.start(); err != nil {
			c.skip = err.Error()
		}
	})
	if c.skip != "" {
		t.Skipf("no PostgreSQL here: %s", c.skip)
	}
	c.n++
	name := fmt.Sprintf("records%d", c.n)
	db, err := openPostgresRaw(c.address("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE DATABASE " + name); err != nil {
		t.Fatal(err)
	}
	return c.address(name)
}

func (c *postgresCluster) address(name string) string {
	return "postgres:///" + name + "?" + url.Values{"host": {c.dir}, "user": {"bench"}, "sslmode": {"disable"}}.Encode()
}

// postgresProgram finds a server's program, where Debian has it or in the path.
func postgresProgram(name string) (string, error) {
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if len(found) > 0 {
		return found[len(found)-1], nil
	}
	path, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("%s is not installed (Debian's package postgresql)", name)
	}
	return path, nil
}

func (c *postgresCluster) start() error {
	initdb, err := postgresProgram("initdb")
	if err != nil {
		return err
	}
	server, err := postgresProgram("postgres")
	if err != nil {
		return err
	}
	if c.dir, err = os.MkdirTemp("", "records-postgres-"); err != nil {
		return err
	}
	as, err := notRoot(c.dir)
	if err != nil {
		return err
	}
	data := filepath.Join(c.dir, "data")
	run := func(name string, args ...string) *exec.Cmd {
		cmd := exec.Command(name, args...)
		cmd.Dir, cmd.SysProcAttr = c.dir, as
		return cmd
	}
	if out, err := run(initdb, "-D", data, "-U", "bench", "-A", "trust", "-N", "-E", "UTF8", "--locale=C").CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %v: %s", err, bytes.TrimSpace(out))
	}
	// No port at all: a socket in the folder. Nothing here outlives the test, so no fsync.
	c.cmd = run(server, "-D", data, "-k", c.dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "full_page_writes=off", "-c", "shared_buffers=16MB")
	var told bytes.Buffer
	c.cmd.Stderr = &told
	if err := c.cmd.Start(); err != nil {
		return err
	}
	for range 300 {
		db, err := openPostgresRaw(c.address("postgres"))
		if err == nil {
			return db.Close()
		}
		time.Sleep(50 * time.Millisecond)
	}
	c.cmd.Process.Kill()
	c.cmd.Wait()
	c.cmd = nil
	return fmt.Errorf("it did not start in 15 s: %s", told.Bytes())
}

// notRoot hands the folder to an account that PostgreSQL runs as: it refuses root.
func notRoot(dir string) (*syscall.SysProcAttr, error) {
	end := &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM}
	if os.Getuid() != 0 {
		return end, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return nil, err
		}
	}
	uid, err1 := strconv.Atoi(u.Uid)
	gid, err2 := strconv.Atoi(u.Gid)
	if err := errors.Join(err1, err2, os.Chown(dir, uid, gid)); err != nil {
		return nil, err
	}
	end.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	return end, nil
}

func (c *postgresCluster) stop() {
	if c.cmd != nil {
		c.cmd.Process.Signal(syscall.SIGINT) // PostgreSQL: end now, orderly
		c.cmd.Wait()
	}
	if c.dir != "" {
		os.RemoveAll(c.dir)
	}
}

// onBoth runs a test on an empty SQLite file and on an empty PostgreSQL database.
func onBoth(t *testing.T, f func(t *testing.T, url string)) {
	t.Run("sqlite", func(t *testing.T) { f(t, "sqlite:"+filepath.Join(t.TempDir(), "bench.db")) })
	t.Run("postgres", func(t *testing.T) { f(t, cluster.url(t)) })
}

// testClock goes on a second at each look, from a fixed moment.
func testClock() func() time.Time {
	var mu sync.Mutex
	at := time.Date(2031, 3, 4, 5, 6, 7, 0, time.FixedZone("", 3600))
	return func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		at = at.Add(time.Second)
		return at
	}
}

func open(t *testing.T, url string) *Store {
	t.Helper()
	s, err := Open(context.Background(), url, testClock())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// invented is an inspection with all that one can have. Its numbers are invented.
func invented(n int) part.Inspection {
	step, u, score, size := -12.5, 3.25, 30.0, 0.4
	at := time.Date(2031, 3, 4, 6, 0, n, 123456789, time.UTC)
	return part.Inspection{
		UnitInfo: part.UnitInfo{Serial: fmt.Sprintf("U%04d", n/2), Side: string("LR"[n%2]), Lot: "lot 7", Operator: "李 A", Stage: part.Wet},
		Bench:    "bench 1", Started: at, Ended: at.Add(4 * time.Second),
		Result: part.Result{
			Schema: 1, Unit: fmt.Sprintf("U%04d", n/2), Stage: part.Wet, Verdict: part.Rework, Score: &score, Reasons: []string{"a run, \"1.2 mm\""},
			MMPerPX: 0.015, Findings: []part.Finding{
				{Number: 1, Image: "face_raking.jpg", Kind: part.Run, Zone: part.ZoneRim, Severity: part.Major, Confidence: 0.9, LengthMM: &size},
				{Number: 2, Image: "face_raking.jpg", Kind: part.Dust, Zone: part.ZoneFace, Severity: part.Minor, Confidence: 0.7},
			},
			Seam: part.Seam{WorstStepUM: &step, Stations: []part.StepStation{
				{Image: "edge_000.jpg", Side: part.Left, State: part.Measured, StepUM: &step, UUM: &u},
				{Image: "edge_000.jpg", Side: part.Right, State: part.Unmeasured, Reason: "no seam seen"},
			}},
			Pictures: []part.PictureReport{}, Warnings: []string{},
		},
		Pictures: []part.StoredPicture{
			{File: "edge_000.jpg", View: part.Edge, MIME: "image/jpeg", Bytes: fmt.Appendf(nil, "edge picture %d", n)},
			{File: "face_raking.jpg", View: part.Face, Light: part.Raking, MIME: "image/jpeg", Bytes: fmt.Appendf(nil, "face picture %d", n)},
		},
		Limits: part.SettingsFile{Name: "limits.yaml", Bytes: []byte("version: 1\n")}, Station: part.SettingsFile{Name: "station.yaml", Bytes: []byte("version: 1\njobs: 2\n")},
		Scales: []part.SettingsFile{{Name: "edge.json", Bytes: []byte("{}")}, {Name: "face.json", Bytes: []byte("{ }")}}, Program: "0.1.0", Libraries: "opencv 4.6.0",
	}
}

func add(t *testing.T, s *Store, in part.Inspection) int64 {
	t.Helper()
	id, err := s.Add(context.Background(), in)
	if err != nil {
		t.Fatal(err)
	}
	return id
}
