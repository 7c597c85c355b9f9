package records

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	mrand "math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"

	"golang.org/x/sys/unix"
)

// writer is the child of the crash tests: it adds inspections as fast as it can
// and prints each one's number and serial once it is answered.
func writer() int {
	ctx := context.Background()
	s, err := Open(ctx, os.Getenv("RECORDS_TEST_WRITER"), time.Now)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	fmt.Println("open")
	for i := 0; ; i++ {
		in := invented(i)
		in.Serial = fmt.Sprintf("P%d-%d", os.Getpid(), i)
		for p := range in.Pictures {
			in.Pictures[p].Bytes = make([]byte, 2000+mrand.IntN(30000))
			rand.Read(in.Pictures[p].Bytes)
		}
		id, err := s.Add(ctx, in)
		if err == nil {
			fmt.Printf("added %d %s\n", id, in.Serial)
			if i%3 == 0 {
				if err = s.Withdraw(ctx, id, part.Note{By: "A"}); err == nil {
					fmt.Printf("withdrawn %d %s\n", id, in.Serial)
				}
			}
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
}

// answers is what writers were answered before they were killed.
type answers struct {
	serial    map[int64]string
	withdrawn map[int64]bool
}

// killedWriter runs a writer, kills it so long after its start, or after it has
// opened the database, and adds what it was answered.
func (a *answers) killedWriter(t *testing.T, url string, after time.Duration, opened bool) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "RECORDS_TEST_WRITER="+url)
	var told strings.Builder
	cmd.Stderr = &told
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func() { time.AfterFunc(after, func() { cmd.Process.Kill() }) }
	if !opened {
		kill()
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		var what, serial string
		var id int64
		if opened && lines.Text() == "open" {
			kill()
		}
		if n, _ := fmt.Sscan(lines.Text(), &what, &id, &serial); n != 3 {
			continue // "open", or cut off by the kill: not answered
		}
		if what == "added" {
			a.serial[id] = serial
		} else {
			a.withdrawn[id] = true
		}
	}
	io.Copy(io.Discard, out)
	cmd.Wait()
	if told.Len() > 0 {
		t.Fatalf("the writer says: %s", told.String())
	}
}

// kill -9 at random moments: whatever was answered is there, whole, and the
// database and its chain hold.
func TestKilled(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		kills, most := 200, 90
		if isPostgres(url) { // connecting takes longer, and its server is not what is killed
			kills, most = 20, 300
			open(t, url)
		}
		if testing.Short() {
			kills = 10
		}
		a := answers{map[int64]string{}, map[int64]bool{}}
		for i := range kills { // every third while it opens the database, on a machine of common speed
			a.killedWriter(t, url, time.Duration(1+mrand.IntN(most))*time.Millisecond, i%3 > 0)
		}
		s := open(t, url)
		var there int64
		err := s.Each(context.Background(), Filter{}, func(in part.Inspection) error {
			there++
			if want, ok := a.serial[in.ID]; ok && want != in.Serial {
				t.Errorf("inspection %d is of %s, answered was %s", in.ID, in.Serial, want)
			}
			if a.withdrawn[in.ID] && in.Withdrawn == nil {
				t.Errorf("inspection %d: its withdrawal is lost", in.ID)
			}
			delete(a.serial, in.ID)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(a.serial) > 0 {
			t.Errorf("%d answered inspections are lost", len(a.serial))
		}
		r, err := s.Check(context.Background())
		if err != nil || !r.OK() {
			t.Errorf("check: %q, %v", r.Problems, err)
		}
		if there < int64(kills)/4 {
			t.Errorf("only %d inspections in %d runs: the test tells nothing", there, kills)
		}
		t.Logf("%d kills, %d inspections, %d events", kills, there, r.Events)
	})
}

// A pulled plug can cut the write-ahead log anywhere: what lies before the cut is
// whole, in order.
func TestTornLog(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "bench.db")
	s := open(t, name)
	for i := range 12 {
		add(t, s, invented(i))
	}
	db, err1 := os.ReadFile(name)
	log, err2 := os.ReadFile(name + "-wal")
	if err := errors.Join(err1, err2); err != nil || len(log) < 100000 {
		t.Fatalf("a log of %d bytes, %v", len(log), err)
	}
	before := 0
	for cut := 0; cut <= len(log); cut += 1 + len(log)/40 {
		torn := filepath.Join(dir, fmt.Sprintf("torn%d.db", cut))
		if err := errors.Join(os.WriteFile(torn, db, 0o666), os.WriteFile(torn+"-wal", log[:cut], 0o666)); err != nil {
			t.Fatal(err)
		}
		s := open(t, torn)
		r, err := s.Check(context.Background())
		if err != nil || !r.OK() {
			t.Errorf("cut at %d: %q, %v", cut, r.Problems, err)
		}
		if r.Inspections < before {
			t.Errorf("cut at %d: %d inspections, %d with less of the log", cut, r.Inspections, before)
		}
		before = r.Inspections
	}
	if before < 11 {
		t.Errorf("%d inspections with nearly all of the log", before)
	}
}

// fill adds inspections until it fails, and returns how many were answered.
func fill(t *testing.T, s *Store) (int, error) {
	t.Helper()
	for n := range 1000 {
		in := invented(n)
		in.Pictures[0].Bytes = make([]byte, 50000)
		rand.Read(in.Pictures[0].Bytes)
		if _, err := s.Add(context.Background(), in); err != nil {
			return n, err
		}
	}
	t.Fatal("the disk did not fill up")
	return 0, nil
}

// isWholeAfter checks that exactly the answered inspections are there.
func isWholeAfter(t *testing.T, s *Store, answered int, err error) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), "disk is full") {
		t.Errorf("full disk: %v", err)
	}
	r, err := s.Check(context.Background())
	if err != nil || !r.OK() || r.Inspections != answered || answered == 0 {
		t.Errorf("%d answered, %d there; %q, %v", answered, r.Inspections, r.Problems, err)
	}
}

// SQLite says the same of a file that may not grow as of a full disk.
func TestFileFull(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "bench.db"))
	if _, err := s.w.Exec("PRAGMA max_page_count = 200"); err != nil {
		t.Fatal(err)
	}
	n, err := fill(t, s)
	isWholeAfter(t, s, n, err)
}

// A disk of 2 MB that fills up; with room again, it goes on.
func TestDiskFull(t *testing.T) {
	disk := t.TempDir()
	if err := unix.Mount("none", disk, "tmpfs", 0, "size=2m"); err != nil {
		t.Skipf("needs the right to mount: %v", err)
	}
	t.Cleanup(func() { unix.Unmount(disk, unix.MNT_DETACH) })
	hog := filepath.Join(disk, "hog")
	if err := os.WriteFile(hog, make([]byte, 300000), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), filepath.Join(disk, "bench.db"), testClock())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	n, err := fill(t, s)
	isWholeAfter(t, s, n, err)
	if err := os.Remove(hog); err != nil {
		t.Fatal(err)
	}
	add(t, s, invented(0))
	r, err := s.Check(context.Background())
	if err != nil || !r.OK() || r.Inspections != n+1 {
		t.Errorf("after room was made: %+v, %v", r, err)
	}
}
