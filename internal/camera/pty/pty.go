// Package pty plays a device on a serial line by a pseudo-terminal: for tests. The
// program itself does not use it.
package pty

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// Device is a device behind a link, as in /dev/serial/by-id, that leads elsewhere
// after each plug.
type Device struct {
	Link string

	t      testing.TB
	hear   func(line string) (answer string)
	mu     sync.Mutex
	master *os.File // nil: unplugged
}

// New plugs in a device until the test ends. hear gets each line that it is sent,
// without its end, one after the other; "" is no answer. The test is skipped where
// there are no pseudo-terminals.
func New(t testing.TB, hear func(line string) (answer string)) *Device {
	t.Helper()
	d := &Device{Link: filepath.Join(t.TempDir(), "usb-controller"), t: t, hear: hear}
	d.Plug()
	t.Cleanup(d.Unplug)
	return d
}

// Plug makes a new pseudo-terminal behind the link.
func (d *Device) Plug() {
	d.t.Helper()
	// Not blocking from the start, so that Go's poller has it and Close ends a Read.
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		d.t.Skipf("no pseudo-terminals here: %v", err)
	}
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		d.t.Skipf("no pseudo-terminals here: %v", err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		d.t.Fatal(err)
	}
	mode, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		d.t.Fatal(err)
	}
	mode.Lflag &^= unix.ECHO | unix.ICANON // no echo of what is said before it is opened
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, mode); err != nil {
		d.t.Fatal(err)
	}
	master := os.NewFile(uintptr(fd), "ptmx")
	_ = os.Remove(d.Link)
	if err := os.Symlink(fmt.Sprintf("/dev/pts/%d", n), d.Link); err != nil {
		d.t.Fatal(err)
	}
	d.mu.Lock()
	d.master = master
	d.mu.Unlock()
	go d.listen(master)
}

// Unplug takes the device and its link away.
func (d *Device) Unplug() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.master != nil {
		d.master.Close()
		d.master = nil
		_ = os.Remove(d.Link)
	}
}

// Say sends a line that nobody has asked for.
func (d *Device) Say(line string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.master != nil {
		fmt.Fprintf(d.master, "%s\r\n", line)
	}
}

func (d *Device) listen(f *os.File) {
	here := func() bool {
		d.mu.Lock()
		defer d.mu.Unlock()
		return d.master == f
	}
	in := bufio.NewReader(f)
	for {
		line, err := in.ReadString('\n')
		if err != nil && line == "" {
			if !here() {
				return
			}
			time.Sleep(time.Millisecond) // nobody has the other end open yet: a pseudo-terminal says that as an error
			continue
		}
		// The device may have been unplugged as it heard.
		if answer := d.hear(strings.TrimSpace(line)); answer != "" && here() {
			d.Say(answer)
		}
	}
}
