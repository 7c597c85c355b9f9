package sources

import (
	"os"
	"os/exec"
	"syscall"

	"golang.org/x/sys/unix"
)

// bindChild puts the child into a group of its own, so that a key pressed in the
// terminal ends this program in order, and lets it die with this program.
func bindChild(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}

// killChild ends the child and what it started.
func killChild(cmd *exec.Cmd) { _ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }

// sizePipe lets the pipe hold up to 1 MiB, but no whole frame: what lies in it
// gets old.
func sizePipe(f *os.File, frame int) {
	n := 1 << 20
	for n > frame/2 && n > 1<<12 {
		n >>= 1
	}
	_, _ = unix.FcntlInt(f.Fd(), unix.F_SETPIPE_SZ, n) // else 64 KiB, which works too
}
