package main

import (
	"bufio"
	"os"
	"os/exec"
	"regexp"
	"syscall"
	"testing"
	"time"
)

var urlOnStart = regexp.MustCompile(`http://[^\s]+`)

// benchProcess starts `inspect bench` as a process of its own and returns its
// page's address once it is open.
func benchProcess(t testing.TB, args ...string) (pid int, page string) {
	t.Helper()
	args = append([]string{"bench", "--listen", "127.0.0.1:0"}, args...)
	var cmd *exec.Cmd
	if p := os.Getenv("FINISHBENCH_PROGRAM"); p != "" {
		cmd = exec.Command(p, args...)
	} else {
		cmd = program(t, args...)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGINT)
		late := time.AfterFunc(20*time.Second, func() { _ = cmd.Process.Kill(); t.Error("bench did not end within 20 s of ctrl-C") })
		defer late.Stop()
		_ = cmd.Wait()
	})
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if u := urlOnStart.FindString(lines.Text()); u != "" {
			go func() { // so that it never waits for whoever reads
				for lines.Scan() {
				}
			}()
			return cmd.Process.Pid, u
		}
	}
	t.Fatal("bench ended before its page was open")
	return 0, ""
}
