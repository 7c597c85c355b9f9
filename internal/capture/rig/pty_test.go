package rig

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

// controller plays a G-code controller behind a pseudo-terminal. Its name is a
// link, as in /dev/serial/by-id, that leads elsewhere after each plug.
type controller struct {
	t    *testing.T
	name string // the link

	mu     sync.Mutex
	master *os.File
	got    []string                                   // lines received
	at     float64                                    // where the table stands, degrees
	banner string                                     // said at each plug
	reply  func(line string) (answer string, ok bool) // ok false: the usual answer
	moving time.Duration                              // a turn takes so long, and the answer comes after it
}

func newController(t *testing.T) *controller {
	t.Helper()
	c := &controller{t: t, name: filepath.Join(t.TempDir(), "usb-controller")}
	c.plug()
	t.Cleanup(c.unplug)
	return c
}

// plug makes a new pseudo-terminal.
func (c *controller) plug() {
	c.t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		c.t.Skipf("no pseudo-terminals here: %v", err)
	}
	fd := int(master.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		c.t.Skipf("no pseudo-terminals here: %v", err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		c.t.Fatal(err)
	}
	raw, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		c.t.Fatal(err)
	}
	raw.Lflag &^= unix.ECHO | unix.ICANON // no echo of what is said before it is opened
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, raw); err != nil {
		c.t.Fatal(err)
	}
	_ = unix.SetNonblock(fd, true)
	master = os.NewFile(uintptr(fdCopy(c.t, master)), "ptmx") // with Go's poller, so that Close ends a Read
	_ = os.Remove(c.name)
	if err := os.Symlink(fmt.Sprintf("/dev/pts/%d", n), c.name); err != nil {
		c.t.Fatal(err)
	}
	c.mu.Lock()
	c.master = master
	c.mu.Unlock()
	if c.banner != "" {
		c.say(c.banner)
	}
	go c.serve(master)
}

func fdCopy(t *testing.T, f *os.File) int {
	fd, err := unix.Dup(int(f.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	_ = unix.SetNonblock(fd, true)
	f.Close()
	return fd
}

func (c *controller) unplug() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.master != nil {
		c.master.Close()
		c.master = nil
		_ = os.Remove(c.name)
	}
}

func (c *controller) say(line string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.master != nil {
		fmt.Fprintf(c.master, "%s\r\n", line)
	}
}

func (c *controller) serve(f *os.File) {
	in := bufio.NewReader(f)
	for {
		line, err := in.ReadString('\n')
		if err != nil && line == "" {
			// Nobody has the other end open yet: a pseudo-terminal says that as an error.
			c.mu.Lock()
			gone := c.master != f
			c.mu.Unlock()
			if gone {
				return
			}
			time.Sleep(time.Millisecond)
			continue
		}
		c.hear(strings.TrimSpace(line))
	}
}

func (c *controller) hear(line string) {
	c.mu.Lock()
	c.got = append(c.got, line)
	reply, moving := c.reply, c.moving
	c.mu.Unlock()
	if reply != nil {
		if answer, ok := reply(line); ok {
			if answer != "" {
				c.say(answer)
			}
			return
		}
	}
	var deg float64
	switch {
	case line == "M114":
		c.mu.Lock()
		at := c.at
		c.mu.Unlock()
		c.say(fmt.Sprintf("X:0.00 Y:0.00 Z:0.00 A:%.2f", at))
	case strings.HasPrefix(line, "G28"):
		c.move(0)
	default:
		if n, _ := fmt.Sscanf(line, "G0 A%g", &deg); n == 1 {
			time.Sleep(moving)
			c.move(deg)
		}
	}
	c.say("ok")
}

func (c *controller) move(deg float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = deg
}

func (c *controller) set(change func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change()
}

// lines received since the last call.
func (c *controller) lines() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	got := c.got
	c.got = nil
	return got
}
