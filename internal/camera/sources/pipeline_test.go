package sources

import (
	"context"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

func playing(t *testing.T, how string, change func(*PipelineOptions)) *Pipeline {
	t.Helper()
	o := PipelineOptions{Name: "edge", Pipeline: "src", W: 32, H: 16, Format: RGB, Program: played(how),
		Retry: retry.Waits{First: 20 * time.Millisecond, Most: 50 * time.Millisecond, Steady: time.Minute}}
	if change != nil {
		change(&o)
	}
	p, err := NewPipeline(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

func soon(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second) // a busy machine loses packets and time
	t.Cleanup(cancel)
	return ctx
}

// newest asks until a frame comes, over losses.
func newest(t *testing.T, s Camera, after time.Time) Frame {
	t.Helper()
	ctx := soon(t)
	for {
		f, err := s.Newest(ctx, after)
		var lost *LostError
		switch {
		case err == nil:
			return f
		case errors.As(err, &lost):
			time.Sleep(5 * time.Millisecond)
		default:
			t.Fatal(err)
		}
	}
}

// lostFor waits until the source is lost and says why.
func lostFor(t *testing.T, s Camera) *part.Trouble {
	t.Helper()
	ctx := soon(t)
	for ctx.Err() == nil {
		if st := s.State(); !st.Ready && st.Why.Key != trouble.Starting {
			return st.Why
		}
		time.Sleep(2 * time.Millisecond)
	}
	t.Fatal("the source was not lost")
	return nil
}

func TestPipelineGivesFrames(t *testing.T) {
	p := playing(t, "steady", nil)
	f := newest(t, p, time.Time{})
	if err := f.Image.Validate(); err != nil || f.Image.W != 32 || f.Image.H != 16 || f.Image.C != 3 {
		t.Fatalf("image %v", err)
	}
	first, last := f.Image.Pix8[0], f.Image.Pix8[len(f.Image.Pix8)-1]
	if first == 0 || last != 255 {
		t.Errorf("samples begin with %d and end with %d; want the frame's number and 255", first, last)
	}
	if s := p.State(); !s.Ready || s.Frames < 1 || s.Why != nil {
		t.Errorf("state %+v", s)
	}
}

// A frame stamped before the trigger is never given, whatever lies ready.
func TestPipelineNeverStale(t *testing.T) {
	const delay = 50 * time.Millisecond
	p := playing(t, "steady", func(o *PipelineOptions) { o.Delay = delay })
	newest(t, p, time.Time{})
	for range 20 {
		trigger := time.Now()
		f := newest(t, p, trigger)
		if f.Taken.Before(trigger) {
			t.Fatalf("a frame from %v before the trigger", trigger.Sub(f.Taken))
		}
		if waited := time.Since(trigger); waited < delay {
			t.Fatalf("given after %v: with a delay of %v no frame can be that new", waited, delay)
		}
	}
}

func TestPipelineGreyRows(t *testing.T) {
	p := &Pipeline{o: PipelineOptions{W: 5, H: 2, Format: Grey, Buffer: func(n int) []uint8 { return make([]uint8, n) }}}
	im := p.image([]byte{1, 2, 3, 4, 5, 0, 0, 0, 6, 7, 8, 9, 10, 0, 0, 0}) // rows of 5 bytes, filled up to 8
	if !slices.Equal(im.Pix8, []uint8{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}) || im.C != 1 {
		t.Errorf("got %v", im.Pix8)
	}
	p = &Pipeline{o: PipelineOptions{W: 3, H: 1, Format: Grey16, Bits: 16, Buffer16: func(n int) []uint16 { return make([]uint16, n) }}}
	im = p.image([]byte{0x34, 0x12, 0, 1, 0xff, 0xff, 9, 9})
	if !slices.Equal(im.Pix16, []uint16{0x1234, 0x100, 0xffff}) || im.Validate() != nil {
		t.Errorf("got %x", im.Pix16)
	}
	p.o.Bits = 12
	im = p.image([]byte{0, 0, 0xff, 0x0f, 0, 0x08, 9, 9})
	if !slices.Equal(im.Pix16, []uint16{0, 0xffff, 0x8008}) { // 4095 is full scale; 2048 by hand
		t.Errorf("12 bits: got %x", im.Pix16)
	}
}

func TestPipelineTellsWhyAndComesBack(t *testing.T) {
	for _, c := range []struct{ how, key, text string }{
		{"crash", trouble.Ended, "Camera fell off: the plug is loose"},
		{"torn", trouble.Ended, "its program ended: exit status 7"},
		{"silent", trouble.Silent, "no frame has come for 0.3 s"},
		{"frozen", trouble.Frozen, "it has sent the same frame for 0.2 s; take it off the supply for a moment"},
	} {
		t.Run(c.how, func(t *testing.T) {
			p := playing(t, c.how, func(o *PipelineOptions) { o.Silent, o.Frozen = 300*time.Millisecond, 200*time.Millisecond })
			newest(t, p, time.Time{})
			why := lostFor(t, p)
			if why.Key != c.key || why.Error() != c.text {
				t.Errorf("lost with %s: %q, want %s: %q", why.Key, why.Error(), c.key, c.text)
			}
			// Frames from before the loss are gone; new ones come by themselves.
			lost := time.Now()
			if f := newest(t, p, time.Time{}); f.Taken.Before(lost.Add(-100 * time.Millisecond)) {
				t.Error("an old frame was given after the loss")
			}
		})
	}
}

func TestPipelineDarkIsNotFrozen(t *testing.T) {
	p := playing(t, "dark", func(o *PipelineOptions) { o.Frozen = 50 * time.Millisecond })
	newest(t, p, time.Now().Add(200*time.Millisecond))
	if s := p.State(); !s.Ready {
		t.Errorf("a dark camera counts as lost: %v", s.Why)
	}
}

func TestPipelineNeverStarts(t *testing.T) {
	p := playing(t, "never", func(o *PipelineOptions) { o.Start = 100 * time.Millisecond })
	if why := lostFor(t, p); why.Key != trouble.Silent || why.Args["seconds"] != "0.1" {
		t.Errorf("%+v", why)
	}
	_, err := p.Newest(soon(t), time.Time{})
	var lost *LostError
	if !errors.As(err, &lost) || lost.Name != "edge" || !strings.HasPrefix(err.Error(), "camera edge: no frame") {
		t.Errorf("error %v, want a LostError at once", err)
	}
}

func TestPipelineProgramMissing(t *testing.T) {
	p := playing(t, "", func(o *PipelineOptions) { o.Program = []string{"no-such-program-here"} })
	if why := lostFor(t, p); why.Key != trouble.NoProgram || why.Args["program"] != "no-such-program-here" {
		t.Errorf("%+v", why)
	}
}

// Close ends the child and the goroutines, whatever the child does.
func TestPipelineClose(t *testing.T) {
	for _, how := range []string{"steady", "never", "silent"} {
		p := playing(t, how, nil)
		time.Sleep(100 * time.Millisecond)
		began := time.Now()
		if err := p.Close(); err != nil || time.Since(began) > 2*time.Second {
			t.Errorf("%s: closed after %v, %v", how, time.Since(began), err)
		}
		if _, err := p.Newest(soon(t), time.Now().Add(time.Hour)); err == nil {
			t.Errorf("%s: a frame after Close", how)
		}
	}
}

// No file handles are left behind by restarts.
func TestPipelineLeaksNoHandles(t *testing.T) {
	if _, err := os.ReadDir("/proc/self/fd"); err != nil {
		t.Skip("no /proc/self/fd here")
	}
	p := playing(t, "crash", nil)
	count := func() int {
		e, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Fatal(err)
		}
		return len(e)
	}
	newest(t, p, time.Time{})
	before := count()
	for range 8 {
		lostFor(t, p)
		newest(t, p, time.Time{})
	}
	if now := count(); now > before+4 { // a child that starts just now has four
		t.Errorf("%d file handles before, %d after eight restarts", before, now)
	}
}

func TestSplitPipeline(t *testing.T) {
	for _, c := range []struct {
		in   string
		want []string
		bad  string
	}{
		{in: "v4l2src ! videoconvert", want: []string{"v4l2src", "!", "videoconvert"}},
		{in: ` aravissrc  camera-name="A B-1"  ! appsink max-buffers=1 drop=true`, want: []string{"aravissrc", "camera-name=A B-1"}},
		{in: `a x='b c' ! d y=e\ f !`, want: []string{"a", "x=b c", "!", "d", "y=e f"}},
		{in: "a ! appsink ! b", bad: "appsink may stand at the end only"},
		{in: "appsink", bad: "appsink may stand at the end only"},
		{in: "a ! fakesink", bad: "fakesink: leave the end off"},
		{in: `a x="b`, bad: "a quote is not closed"},
		{in: "  ", bad: "it is empty"},
		{in: "a\x00b", bad: "not text"},
	} {
		got, err := splitPipeline(c.in)
		if c.bad == "" && (err != nil || !slices.Equal(got, c.want)) {
			t.Errorf("%q: %q, %v; want %q", c.in, got, err, c.want)
		}
		if c.bad != "" && (err == nil || !strings.Contains(err.Error(), c.bad)) {
			t.Errorf("%q: %v; want %s", c.in, err, c.bad)
		}
	}
}
