package rig

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/camera/pty"
)

// controller plays a G-code controller behind a pseudo-terminal.
type controller struct {
	*pty.Device

	mu     sync.Mutex
	got    []string                                   // lines received
	at     float64                                    // where the table stands, degrees
	banner string                                     // said at each plug
	reply  func(line string) (answer string, ok bool) // ok false: the usual answer
	moving time.Duration                              // a turn takes so long, and the answer comes after it
}

func newController(t *testing.T) *controller {
	t.Helper()
	c := &controller{}
	c.Device = pty.New(t, c.hear)
	return c
}

// plug makes a new pseudo-terminal.
func (c *controller) plug() {
	c.Plug()
	if c.banner != "" {
		c.Say(c.banner)
	}
}

func (c *controller) hear(line string) string {
	c.mu.Lock()
	c.got = append(c.got, line)
	reply, moving := c.reply, c.moving
	c.mu.Unlock()
	if reply != nil {
		if answer, ok := reply(line); ok {
			return answer
		}
	}
	var deg float64
	switch {
	case line == "M114":
		c.mu.Lock()
		at := c.at
		c.mu.Unlock()
		return fmt.Sprintf("X:0.00 Y:0.00 Z:0.00 A:%.2f\r\nok", at)
	case strings.HasPrefix(line, "G28"):
		c.move(0)
	default:
		if n, _ := fmt.Sscanf(line, "G0 A%g", &deg); n == 1 {
			time.Sleep(moving)
			c.move(deg)
		}
	}
	return "ok"
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
