package sources

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"finishbench/internal/camera/trouble"
)

// childFD is the child's end of the pipe of frames. Not its standard output: a
// word printed there would shift every pixel.
const childFD = 3

// child is a running program that writes frames.
type child struct {
	cmd    *exec.Cmd
	out    *os.File
	said   said
	waited chan struct{} // closed when it has ended
	err    error         // how it ended; after waited
	killed atomic.Bool
}

// startChild starts argv. frame is the size of a frame in bytes.
func startChild(argv []string, frame int) (*child, error) {
	path, err := exec.LookPath(argv[0])
	if err != nil {
		return nil, trouble.New(trouble.NoProgram, argv[0]+" is not installed; Debian has it in gstreamer1.0-tools", "program", argv[0])
	}
	out, in, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("make a pipe: %w", err)
	}
	sizePipe(in, frame)
	c := &child{out: out, waited: make(chan struct{})}
	c.cmd = exec.Command(path, argv[1:]...)
	c.cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "GST_DEBUG_NO_COLOR=1") // what it says is read here
	c.cmd.ExtraFiles = []*os.File{in}
	c.cmd.WaitDelay = time.Second
	bindChild(c.cmd)
	errs, err := c.cmd.StderrPipe()
	if err != nil {
		out.Close()
		in.Close()
		return nil, fmt.Errorf("make a pipe: %w", err)
	}
	began := make(chan error)
	go c.live(errs, began)
	err = <-began
	in.Close()
	if err != nil {
		out.Close()
		return nil, trouble.Newf(trouble.Other, "%s could not be started: %v", argv[0], err)
	}
	return c, nil
}

// live is the child's life, on a thread of its own: the system ends a child with
// the thread that began it, so that none outlives this program, however it ends.
func (c *child) live(errs io.Reader, began chan<- error) {
	runtime.LockOSThread() // and never unlocked: the thread ends with this function
	if err := c.cmd.Start(); err != nil {
		began <- err
		return
	}
	began <- nil
	c.said.listen(errs)
	c.err = c.cmd.Wait()
	close(c.waited)
}

// kill ends the child at once.
func (c *child) kill() {
	if c.killed.CompareAndSwap(false, true) {
		killChild(c.cmd)
	}
}

// end ends the child where it still runs, and waits until it is gone.
func (c *child) end() {
	if c.killed.Load() {
		<-c.waited
	} else {
		select {
		case <-c.waited:
		case <-time.After(300 * time.Millisecond): // to say its last words
			c.kill()
			<-c.waited
		}
	}
	c.out.Close()
}

// why says why the child ended by itself; after end.
func (c *child) why() error {
	var exit *exec.ExitError
	switch detail := c.said.reason(); {
	case detail != "":
		return trouble.Newf(trouble.Ended, "%s", detail)
	case errors.As(c.err, &exit):
		return trouble.New(trouble.Ended, "its program ended: "+exit.String(), "detail", exit.String())
	}
	return trouble.New(trouble.Over, "its stream came to an end")
}

// silent says that no frame came, with what the child said about it.
func (c *child) silent(seconds float64) error {
	s := strconv.FormatFloat(seconds, 'g', 3, 64)
	text := "no frame has come for " + s + " s"
	c.end()
	if detail := c.said.reason(); detail != "" {
		text += " (" + detail + ")"
	}
	return trouble.New(trouble.Silent, text, "seconds", s)
}

// said keeps what matters of a child's messages.
type said struct {
	mu     sync.Mutex
	first  string // the first fault: those after it are mostly its consequence
	detail string // the device's own words to it
	last   string // the last line of any kind
	debug  int    // lines since the first fault's "Additional debug info:"; -1: it was not there yet
}

// listen reads until the child closes its end.
func (s *said) listen(r io.Reader) {
	s.debug = -1
	in := bufio.NewReaderSize(r, 4096)
	for {
		line, err := in.ReadString('\n')
		if len(line) > 4096 {
			line = line[:4096]
		}
		s.hear(line)
		if err != nil {
			return
		}
	}
}

func (s *said) hear(line string) {
	line = trouble.Clean(line)
	if line == "" {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = line
	fault, isFault := strings.CutPrefix(line, "ERROR: ")
	if w, ok := strings.CutPrefix(line, "WARNING: erroneous pipeline: "); ok {
		fault, isFault = w, true
	}
	switch {
	case isFault && s.first == "":
		s.first = afterElement(fault)
	case isFault:
		s.debug = 3 // the details of another fault
	case s.first != "" && strings.HasPrefix(line, "Additional debug info"):
		if s.debug < 0 {
			s.debug = 0
		}
	case s.debug >= 0 && s.debug < 2:
		// First a place in a source file, then the device's words.
		if s.debug++; s.debug == 2 {
			s.detail = line
		}
	}
}

// afterElement takes "from element /GstPipeline:pipeline0/...: " off.
func afterElement(s string) string {
	if rest, ok := strings.CutPrefix(s, "from element "); ok {
		if _, text, ok := strings.Cut(rest, ": "); ok {
			return text
		}
	}
	return s
}

// reason is the fault, or the last line where none was marked as one.
func (s *said) reason() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.first == "":
		return s.last
	case s.detail == "":
		return s.first
	}
	return strings.TrimSuffix(s.first, ".") + ": " + s.detail
}
