package records

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// A backup made while a bench writes is whole, and its chain is the beginning of
// the bench's; restored, it goes on.
func TestBackupRestore(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		if isPostgres(url) {
			if _, err := findTool("pg_dump"); err != nil {
				t.Skip(err)
			}
		}
		ctx := context.Background()
		s := open(t, url)
		add(t, s, invented(0))
		stop := make(chan struct{})
		var writing sync.WaitGroup
		writing.Go(func() {
			for i := 1; ; i++ {
				select {
				case <-stop:
					return
				default:
					if _, err := s.Add(ctx, invented(i)); err != nil {
						t.Error(err)
						return
					}
				}
			}
		})
		time.Sleep(100 * time.Millisecond)
		file := filepath.Join(t.TempDir(), "copy of it.db")
		err := s.Backup(ctx, file)
		close(stop)
		writing.Wait()
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Backup(ctx, file); err == nil || !strings.Contains(err.Error(), "there already") {
			t.Errorf("a backup over another: %v", err)
		}
		other := filepath.Join(t.TempDir(), "other.db")
		if isPostgres(url) {
			other = cluster.url(t)
		}
		if kept, err := Restore(ctx, file, other, false, testClock()); err != nil || kept != "" {
			t.Fatalf("%q, %v", kept, err)
		}
		r := open(t, other)
		c, err := r.Check(ctx)
		if err != nil || !c.OK() || c.Inspections < 1 {
			t.Fatalf("%+v, %v", c, err)
		}
		if _, err := s.Compare(ctx, strings.NewReader(trailOf(t, r))); err != nil {
			t.Error(err)
		}
		if b, _, err := r.PictureBytes(ctx, hashOf(invented(0).Pictures[0].Bytes)); err != nil || string(b) != "edge picture 0" {
			t.Errorf("%q, %v", b, err)
		}
		// The restored one takes new rows, and still refuses to change old ones.
		add(t, r, invented(77))
		if _, err := r.w.Exec("DELETE FROM events"); err == nil {
			t.Error("a restored database lets events be deleted")
		}

		// Over a database that is there: only when told so.
		if _, err := Restore(ctx, file, other, false, testClock()); err == nil || !strings.Contains(err.Error(), "already") {
			t.Errorf("restored over a database: %v", err)
		}
		if !isPostgres(url) {
			if _, err := Restore(ctx, file, other, true, testClock()); err == nil || !strings.Contains(err.Error(), "in use") {
				t.Errorf("restored over a database in use: %v", err)
			}
		}
		r.Close()
		kept, err := Restore(ctx, file, other, true, testClock())
		if err != nil || kept == "" {
			t.Fatalf("%q, %v", kept, err)
		}
		if !isPostgres(url) {
			old, err := CheckFile(ctx, kept, testClock())
			if err != nil || !old.OK() || old.Inspections != c.Inspections+1 {
				t.Errorf("kept: %+v, %v", old, err)
			}
		} else if _, err := os.Stat(kept); err != nil {
			t.Error(err)
		}
		again := open(t, other)
		if n, err := again.Check(ctx); err != nil || !n.OK() || n.Inspections != c.Inspections {
			t.Errorf("restored again: %+v, %v", n, err)
		}
	})
}

// What is no whole backup is not restored, and leaves nothing behind.
func TestRestoreRefuses(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, filepath.Join(dir, "bench.db"))
	for i := range 20 {
		add(t, s, invented(i))
	}
	good := filepath.Join(dir, "good.db")
	if err := s.Backup(ctx, good); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	changed := append([]byte{}, raw...)
	copy(changed[strings.Index(string(raw), "face picture 7"):], "face picture 8")
	for name, b := range map[string][]byte{"short": raw[:len(raw)/2], "changed": changed, "empty": {},
		"text": []byte(strings.Repeat("text ", 999))} {
		file, target := filepath.Join(dir, name), filepath.Join(dir, name+"-target.db")
		if err := os.WriteFile(file, b, 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := Restore(ctx, file, target, true, testClock()); err == nil {
			t.Errorf("a backup that is %s was restored", name)
		}
		if left, _ := filepath.Glob(target + "*"); len(left) > 0 {
			t.Errorf("%s: left behind: %v", name, left)
		}
	}
	if _, err := Restore(ctx, filepath.Join(dir, "none"), filepath.Join(dir, "x.db"), false, testClock()); err == nil {
		t.Error("a backup that is not there was restored")
	}
	if _, err := Restore(ctx, good, "postgres://u@127.0.0.1:1/x?connect_timeout=1", false, testClock()); err == nil {
		t.Error("a SQLite backup was restored to PostgreSQL")
	}
}

// The password is nowhere that other users of the machine see it.
func TestWithoutPassword(t *testing.T) {
	for in, want := range map[string]string{
		"postgres://u:secret@h/d":                        "postgres://u@h/d",
		"postgres://h/d?password=secret&sslmode=require": "postgres://h/d?sslmode=require",
		"postgres:///d?host=%2Ftmp%2Fa&user=u":           "postgres:///d?host=%2Ftmp%2Fa&user=u",
	} {
		if got, err := withoutPassword(in); err != nil || got != want {
			t.Errorf("%s: %s, %v", in, got, err)
		}
	}
}
