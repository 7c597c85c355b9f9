package held

import (
	"os"
	"os/exec"
	"testing"
)

func now(t *testing.T) Held {
	t.Helper()
	h, err := Now()
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// What is taken is counted, and what is given back is not.
func TestNow(t *testing.T) {
	before := now(t)
	if before.Goroutines < 1 || before.Files < 3 || before.Resident < 1<<20 || before.GoHeap == 0 {
		t.Errorf("%+v", before)
	}
	f, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	go func() { <-stop }()
	b := make([]byte, 8<<20)
	child := exec.Command("sleep", "60")
	if err := child.Start(); err != nil {
		t.Skipf("no sleep here: %v", err)
	}
	with := now(t)
	if with.Files < before.Files+1 || with.Goroutines != before.Goroutines+1 || with.GoHeap < before.GoHeap+7<<20 ||
		with.Children != before.Children+1 {
		t.Errorf("before %v\nwith %v", before, with)
	}
	b[0], b = 1, nil
	f.Close()
	close(stop)
	child.Process.Kill()
	child.Wait()
	after := now(t)
	if after.Files != before.Files || after.Goroutines != before.Goroutines || after.GoHeap > before.GoHeap+1<<20 ||
		after.Children != before.Children {
		t.Errorf("before %v\nafter %v", before, after)
	}
}
