package rig

import (
	"bufio"
	"context"
	"io"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// conn is an open line to the controller.
type conn struct {
	port   io.ReadWriteCloser
	lines  chan string   // what the controller says
	gone   chan struct{} // closed when the line went away
	device string
	owed   int    // answers that are still to come to lines whose sender gave up
	banner string // what the controller says when it starts; "": nothing was heard
}

// maxLine bounds a line of the controller, in bytes.
const maxLine = 512

// newConn begins to listen.
func newConn(port io.ReadWriteCloser, device string) *conn {
	c := &conn{port: port, lines: make(chan string, 64), gone: make(chan struct{}), device: device}
	go c.listen()
	return c
}

// listen ends when the port is closed or unplugged.
func (c *conn) listen() {
	defer close(c.gone)
	in := bufio.NewReaderSize(c.port, maxLine)
	for {
		line, err := in.ReadSlice('\n')
		if text := trouble.Clean(string(line)); text != "" && (err == nil || err == bufio.ErrBufferFull) {
			select {
			case c.lines <- text:
			default: // nobody listens, and 64 lines wait: a flood of nonsense
			}
		}
		if err != nil && err != bufio.ErrBufferFull {
			return
		}
	}
}

// close ends the listening.
func (c *conn) close() {
	_ = c.port.Close()
	<-c.gone
}

// quiet swallows lines until none has come for the given time, for at most ten
// times as long, and returns the first.
func (c *conn) quiet(ctx context.Context, d time.Duration) (first string, err error) {
	end := time.After(10 * d)
	for {
		t := time.NewTimer(d)
		select {
		case <-ctx.Done():
			t.Stop()
			return first, ctx.Err()
		case <-c.gone:
			t.Stop()
			return first, c.unplugged()
		case line := <-c.lines:
			t.Stop()
			if first == "" {
				first = line
			}
		case <-t.C:
			return first, nil
		case <-end:
			t.Stop()
			return first, trouble.New(trouble.Garbage, "the controller does not stop talking: "+first+"; check the line's speed", "line",
				"", "detail", first)
		}
	}
}

func (c *conn) unplugged() *part.Trouble {
	return trouble.New(trouble.Unplugged, c.device+" went away: check the plug and the controller's supply", "device", c.device)
}

// answer is what a line of the controller means.
type answer int

const (
	says     answer = iota // information
	done                   // ok
	refuses                // error
	busy                   // it needs longer
	starts                 // it has started anew
	nonsense               // none of these
)

// read tells what a line means. No two makes of controller agree on more than ok;
// the rest is what several share, from memory.
func (c *conn) read(line string) answer {
	low := strings.ToLower(line)
	switch {
	case low == "ok" || strings.HasPrefix(low, "ok "):
		return done
	case c.banner != "" && line == c.banner || low == "start":
		return starts
	case strings.HasPrefix(low, "error") || strings.HasPrefix(low, "alarm") || strings.HasPrefix(low, "!!"):
		return refuses
	case strings.Contains(low, "busy"):
		return busy
	case strings.IndexAny(low[:1], "[<;/$") == 0 || strings.HasPrefix(low, "echo:"):
		return says
	}
	return nonsense
}

// send sends one line and waits for its ok. position: the answer may hold other
// lines, they are returned. A *part.Trouble of any kind but Refused leaves the
// line in a state in which an answer may still come: open it anew.
func (c *conn) send(ctx context.Context, line string, patience time.Duration, position bool) (said []string, err error) {
	for c.owed > 0 {
		if _, err := c.wait(ctx, line, patience, true); err != nil && !refused(err) {
			return nil, err
		}
		c.owed--
	}
	if err := c.unasked(); err != nil {
		return nil, err
	}
	if _, err := io.WriteString(c.port, line+"\n"); err != nil {
		return nil, c.unplugged()
	}
	said, err = c.wait(ctx, line, patience, position)
	if ctx.Err() != nil && err == ctx.Err() {
		c.owed++
	}
	return said, err
}

// unasked looks at what came while nothing was asked.
func (c *conn) unasked() error {
	for {
		select {
		case line := <-c.lines:
			if c.read(line) == starts {
				return restarted()
			}
		default:
			return nil
		}
	}
}

func restarted() *part.Trouble {
	return trouble.New(trouble.Restarted, "the controller has started anew; check its supply")
}

func refused(err error) bool {
	t, ok := err.(*part.Trouble)
	return ok && t.Key == trouble.Refused
}

// wait reads up to the ok.
func (c *conn) wait(ctx context.Context, line string, patience time.Duration, position bool) (said []string, err error) {
	t := time.NewTimer(patience)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return said, ctx.Err()
		case <-c.gone:
			return said, c.unplugged()
		case <-t.C:
			s := strconv.FormatFloat(patience.Seconds(), 'g', 3, 64)
			return said, trouble.New(trouble.NoAnswer, "the controller has not answered "+line+" for "+s+" s", "line", line, "seconds", s)
		case got := <-c.lines:
			switch c.read(got) {
			case done:
				return said, nil
			case refuses:
				return said, trouble.New(trouble.Refused, "the controller refused "+line+": "+got, "line", line, "detail", got)
			case starts:
				return said, restarted()
			case busy:
				t.Reset(patience)
			case says:
				said = append(said, got)
			default:
				if !position {
					return said, trouble.New(trouble.Garbage, "the controller's answer to "+line+" makes no sense: "+got, "line", line,
						"detail", got)
				}
				said = append(said, got)
			}
		}
	}
}
