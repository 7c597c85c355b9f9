package sources

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// Format is how a camera's samples arrive.
type Format string

// The formats.
const (
	RGB    Format = "rgb"    // 3 x 8 bit
	Grey   Format = "grey"   // 8 bit
	Grey16 Format = "grey16" // 16 bit
)

// Formats lists them.
var Formats = []Format{RGB, Grey, Grey16}

// caps is GStreamer's name of the format, and how many bytes a pixel has.
func (f Format) caps() (name string, pixel int) {
	switch f {
	case Grey:
		return "GRAY8", 1
	case Grey16:
		return "GRAY16_LE", 2
	}
	return "RGB", 3
}

// PipelineOptions describe a camera behind a GStreamer pipeline.
type PipelineOptions struct {
	Name     string
	Pipeline string // as gst-launch-1.0 takes it; an appsink at its end is left off
	W, H     int    // px; another size is refused, never scaled
	Format   Format
	Bits     int // of a 16-bit sample that count, from the lowest: 9 to 16; 0: 16. A 12-bit camera's 4095 becomes 65535.
	// Delay is the longest time from the beginning of an exposure to the arrival of
	// the frame's first byte here: exposure, read-out, cable, decoding. A frame is
	// dated so much before its arrival.
	Delay  time.Duration
	Start  time.Duration // the first frame must come within so long of the start; 0: 15 s
	Silent time.Duration // without a frame for so long the camera counts as lost; 0: 3 s
	Frozen time.Duration // with the same frame for so long, too; 0: never
	Retry  retry.Waits

	// Program starts the child: its name and first arguments; the pipeline's words
	// follow. Empty: gst-launch-1.0 -q.
	Program []string
	// Buffer hands out the samples of frames; nil: make.
	Buffer func(n int) []uint8
	// Buffer16 is the same for 16 bit.
	Buffer16 func(n int) []uint16
}

// The waits that hold where none is set. Common practice, no source.
const (
	defaultStart  = 15 * time.Second // cameras with a network to look at take some seconds
	defaultSilent = 3 * time.Second
)

// Pipeline is a camera behind a GStreamer pipeline, which runs as a child
// process: a fault in a driver or decoder ends the child and nothing else.
type Pipeline struct {
	o      PipelineOptions
	before func() ([]string, error) // words of this start: what must be looked up and set each time
	after  func() error             // once the first frame has come
	stop   context.CancelFunc
	ended  chan struct{}

	mu     sync.Mutex
	state  State
	newest raw
	came   chan struct{} // closed, and made anew, when anything changed
	rate   rate
}

// raw is a frame as it came through the pipe.
type raw struct {
	data  []byte
	taken time.Time
	seq   int64
}

// NewPipeline starts a camera. The error is about the options; a camera that is
// not there shows in State.
func NewPipeline(o PipelineOptions) (*Pipeline, error) {
	words, err := splitPipeline(o.Pipeline)
	if err != nil {
		return nil, fmt.Errorf("sources: camera %s: pipeline: %w", o.Name, err)
	}
	return start(o, func() ([]string, error) { return words, nil }, nil)
}

// start checks the options and sets the reading going.
func start(o PipelineOptions, before func() ([]string, error), after func() error) (*Pipeline, error) {
	if o.W < 16 || o.H < 16 || o.W > 1<<15 || o.H > 1<<15 {
		return nil, fmt.Errorf("sources: camera %s: %d x %d pixels; give the size that it delivers, 16 to 32768 a side", o.Name, o.W, o.H)
	}
	if o.Bits == 0 {
		o.Bits = 16
	}
	if o.Bits < 9 || o.Bits > 16 {
		return nil, fmt.Errorf("sources: camera %s: %d bits; give 9 to 16", o.Name, o.Bits)
	}
	if o.Start <= 0 {
		o.Start = defaultStart
	}
	if o.Silent <= 0 {
		o.Silent = defaultSilent
	}
	if o.Retry.First <= 0 {
		o.Retry = retry.Default()
	}
	if len(o.Program) == 0 {
		o.Program = []string{"gst-launch-1.0", "-q"}
	}
	if o.Buffer == nil {
		o.Buffer = func(n int) []uint8 { return make([]uint8, n) }
	}
	if o.Buffer16 == nil {
		o.Buffer16 = func(n int) []uint16 { return make([]uint16, n) }
	}
	ctx, stop := context.WithCancel(context.Background())
	p := &Pipeline{o: o, before: before, after: after, stop: stop, ended: make(chan struct{}), came: make(chan struct{})}
	p.state = State{Why: trouble.New(trouble.Starting, "it is being started"), Since: time.Now()}
	go func() {
		defer close(p.ended)
		o.Retry.Keep(ctx, p.run, p.lost)
	}()
	return p, nil
}

// Name is the camera's name.
func (p *Pipeline) Name() string { return p.o.Name }

// Close ends the child and waits for it.
func (p *Pipeline) Close() error {
	p.stop()
	<-p.ended
	return nil
}

// State says how the camera does.
func (p *Pipeline) State() State {
	p.mu.Lock()
	defer p.mu.Unlock()
	s := p.state
	s.PerS = p.rate.perS(time.Now())
	return s
}

// Newest waits for a frame taken after the given moment; see [Camera].
func (p *Pipeline) Newest(ctx context.Context, after time.Time) (Frame, error) {
	for {
		f, came, err := p.take(after)
		if err != nil || f.Image != nil {
			return f, err
		}
		select {
		case <-ctx.Done():
			return Frame{}, ctx.Err()
		case <-p.ended:
			return Frame{}, p.closed()
		case <-came:
		}
	}
}

func (p *Pipeline) closed() error {
	return &LostError{Name: p.o.Name, Why: trouble.New(trouble.Other, "it has been closed")}
}

// take gives the newest frame where it is new enough; else what to wait for.
func (p *Pipeline) take(after time.Time) (Frame, <-chan struct{}, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.state.Why != nil && p.state.Why.Key != trouble.Starting:
		return Frame{}, nil, &LostError{Name: p.o.Name, Why: p.state.Why, NextTry: p.state.NextTry}
	case !p.state.Ready || p.newest.data == nil || p.newest.taken.Before(after):
		return Frame{}, p.came, nil
	}
	im := p.image(p.newest.data)
	return Frame{Image: im, Taken: p.newest.taken, Seq: p.newest.seq}, nil, nil
}

// image copies a frame's rows, without what fills them up, into an image.
func (p *Pipeline) image(data []byte) *part.Image {
	_, pixel := p.o.Format.caps()
	w, h, stride := p.o.W, p.o.H, p.stride()
	im := &part.Image{W: w, H: h, C: 1}
	if p.o.Format == Grey16 {
		im.Pix16 = p.o.Buffer16(w * h)
		up, down := 16-p.o.Bits, 2*p.o.Bits-16
		for y := range h {
			row, out := data[y*stride:], im.Pix16[y*w:(y+1)*w]
			for x := range out {
				v := uint16(row[2*x]) | uint16(row[2*x+1])<<8
				out[x] = v<<up | v>>down
			}
		}
		return im
	}
	im.C = pixel
	im.Pix8 = p.o.Buffer(w * h * pixel)
	for y := range h {
		copy(im.Pix8[y*w*pixel:(y+1)*w*pixel], data[y*stride:])
	}
	return im
}

// stride is the bytes of a row: GStreamer fills rows up to four bytes
// (documentation of its raw video formats).
func (p *Pipeline) stride() int {
	_, pixel := p.o.Format.caps()
	return (p.o.W*pixel + 3) &^ 3
}

// tail is what carries the frames here: a queue that lets old frames go where
// the next element is slow, the conversion, and the pipe. No frame is scaled.
//
// Grey is not converted, it must come as grey: made of colour video it would
// keep that video's short range, 16 to 235 (measured with GStreamer 1.22).
func (p *Pipeline) tail(fd int) []string {
	format, _ := p.o.Format.caps()
	words := []string{"!", "queue", "leaky=downstream", "max-size-buffers=1", "max-size-bytes=0", "max-size-time=0"}
	if p.o.Format == RGB {
		words = append(words, "!", "videoconvert")
	}
	return append(words,
		"!", fmt.Sprintf("video/x-raw,format=%s,width=%d,height=%d", format, p.o.W, p.o.H),
		"!", "fdsink", "fd="+strconv.Itoa(fd), "sync=false")
}

// run starts the child and reads it until it ends, falls silent or ctx ends.
func (p *Pipeline) run(ctx context.Context) error {
	p.starting()
	words, err := p.before()
	if err != nil {
		return err
	}
	size := p.stride() * p.o.H
	argv := append(append(append([]string{}, p.o.Program...), words...), p.tail(childFD)...)
	c, err := startChild(argv, size)
	if err != nil {
		return err
	}
	defer c.end()
	w := newWatchdog(p.o.Start, func() { c.kill() })
	defer w.stop()
	quit := context.AfterFunc(ctx, c.kill)
	defer quit()
	err = p.read(c, size, w)
	var own *part.Trouble
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(err, &own):
		return own
	case w.fired():
		s := w.patience().Seconds()
		return c.silent(s)
	}
	c.end()
	return c.why()
}

// read takes frame after frame.
func (p *Pipeline) read(c *child, size int, w *watchdog) error {
	spare := make([]byte, size)
	changed := time.Now()
	for n := 0; ; n++ {
		// Dated by its first byte: what follows is the time on the pipe.
		if _, err := io.ReadFull(c.out, spare[:1]); err != nil {
			return err
		}
		arrived := time.Now()
		if _, err := io.ReadFull(c.out, spare[1:]); err != nil {
			return err
		}
		w.feed(p.o.Silent)
		if n == 0 && p.after != nil {
			if err := p.after(); err != nil {
				return err
			}
		}
		old, same := p.put(raw{data: spare, taken: arrived.Add(-p.o.Delay)})
		if !same {
			changed = arrived
		} else if p.o.Frozen > 0 && arrived.Sub(changed) >= p.o.Frozen {
			s := strconv.FormatFloat(p.o.Frozen.Seconds(), 'g', 3, 64)
			return trouble.New(trouble.Frozen, "it has sent the same frame for "+s+" s; take it off the supply for a moment", "seconds", s)
		}
		if spare = old; spare == nil {
			spare = make([]byte, size)
		}
	}
}

// rawSame says that two frames are equal and show something: a sensor in the
// dark may send zeros for hours.
func rawSame(a, b []byte) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	if string(a) != string(b) { // compares without copying
		return false
	}
	for i := range a {
		if a[i] != a[0] {
			return true
		}
	}
	return false
}
