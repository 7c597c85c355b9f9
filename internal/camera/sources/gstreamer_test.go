package sources

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/httptest"
	"net/textproto"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// needs skips the test where a program or GStreamer element is missing.
func needs(t *testing.T, program string, elements ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("starts programs; not with -short")
	}
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("%s is not installed (make setup-test)", program)
	}
	if _, err := exec.LookPath("gst-launch-1.0"); err != nil {
		t.Skip("gst-launch-1.0 is not installed (make setup-test)")
	}
	for _, e := range elements {
		if exec.Command("gst-inspect-1.0", e).Run() != nil {
			t.Skipf("GStreamer has no %s here (make setup-test)", e)
		}
	}
}

func opened(t *testing.T, o PipelineOptions) *Pipeline {
	t.Helper()
	o.Name = "edge"
	o.Retry = retry.Waits{First: 100 * time.Millisecond, Most: time.Second, Steady: time.Minute}
	p, err := NewPipeline(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// Rows that GStreamer fills up to four bytes, in each format: 33 white pixels.
func TestGStreamerRows(t *testing.T) {
	needs(t, "gst-launch-1.0", "videotestsrc")
	for _, f := range Formats {
		t.Run(string(f), func(t *testing.T) {
			// RGB: all of 0 to 255.
			src := "videotestsrc is-live=true pattern=white ! video/x-raw,format=RGB,width=33,height=17 ! videoconvert"
			p := opened(t, PipelineOptions{Pipeline: src, W: 33, H: 17, Format: f})
			im := newest(t, p, time.Time{}).Image
			if err := im.Validate(); err != nil {
				t.Fatal(err)
			}
			for i, v := range im.Pix8 {
				if v < 250 {
					t.Fatalf("sample %d of a white picture is %d", i, v)
				}
			}
			for i, v := range im.Pix16 {
				if v < 250<<8 {
					t.Fatalf("sample %d of a white picture is %d", i, v)
				}
			}
		})
	}
}

// What GStreamer says is told in its own words, without its machinery.
func TestGStreamerFaults(t *testing.T) {
	needs(t, "gst-launch-1.0", "videotestsrc", "v4l2src", "souphttpsrc")
	for _, c := range []struct{ pipeline, want string }{
		{"no-such-source", `no element "no-such-source"`},
		{"v4l2src device=/dev/video77", "Cannot identify device '/dev/video77': system error: No such file or directory"},
		{"souphttpsrc location=http://127.0.0.1:1/", "Could not establish connection to server: Could not connect: Connection refused"},
		{"videotestsrc ! video/x-raw,width=64,height=48", "could not link"}, // another size than was set up
	} {
		p := opened(t, PipelineOptions{Pipeline: c.pipeline, W: 32, H: 32, Format: RGB})
		if why := lostFor(t, p); why.Key != trouble.Ended || !strings.Contains(why.Error(), c.want) {
			t.Errorf("%s: %q, want %q", c.pipeline, why.Error(), c.want)
		}
		p.Close()
	}
}

// softwareCamera starts the GigE Vision camera of aravis-tools on this machine.
type softwareCamera struct {
	t   *testing.T
	cmd *exec.Cmd
}

func startCamera(t *testing.T, lossPerMille int) *softwareCamera {
	t.Helper()
	if c, err := net.ListenPacket("udp", "127.0.0.1:3956"); err != nil {
		t.Skip("the GigE Vision port 3956 is taken on this machine")
	} else {
		c.Close()
	}
	c := &softwareCamera{t: t}
	c.start(lossPerMille)
	t.Cleanup(c.kill)
	return c
}

func (c *softwareCamera) start(lossPerMille int) {
	c.t.Helper()
	c.cmd = exec.Command("arv-fake-gv-camera-0.8", "-i", "127.0.0.1", "-s", "FB1", "-r", fmt.Sprint(lossPerMille))
	if err := c.cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
}

func (c *softwareCamera) kill() {
	if c.cmd != nil {
		_ = c.cmd.Process.Kill()
		_ = c.cmd.Wait()
		c.cmd = nil
	}
}

// aravisProgram is gst-launch-1.0 without the right to raw sockets: with it,
// aravis listens where packets from this machine to itself do not pass.
func aravisProgram() []string {
	launch := []string{"gst-launch-1.0", "-q"}
	if os.Getuid() != 0 {
		return launch
	}
	return append([]string{"setpriv", "--bounding-set", "-net_raw", "--inh-caps", "-net_raw", "--", "setpriv", "--reuid=65534",
		"--regid=65534", "--clear-groups", "env", "HOME=/tmp"}, launch...)
}

func aravis(t *testing.T) *Pipeline {
	return opened(t, PipelineOptions{Pipeline: `aravissrc camera-name="Aravis-Fake-FB1" ! appsink`, W: 512, H: 512, Format: Grey,
		Program: aravisProgram(),
		Delay:   100 * time.Millisecond, Silent: 4 * time.Second})
}

// A GigE Vision camera: frames come, and newer ones than the trigger.
func TestAravisCamera(t *testing.T) {
	needs(t, "arv-fake-gv-camera-0.8", "aravissrc")
	startCamera(t, 0)
	p := aravis(t)
	newest(t, p, time.Time{})
	for range 5 {
		trigger := time.Now()
		f := newest(t, p, trigger)
		if f.Taken.Before(trigger) || f.Image.W != 512 || f.Image.C != 1 {
			t.Fatalf("frame of %d px, %v before the trigger", f.Image.W, trigger.Sub(f.Taken))
		}
	}
	t.Logf("%.1f frames a second", p.State().PerS)
}

// Three packets in a thousand lost, about every second frame: frames go on to
// come. Most incomplete ones are held back, but not all: about one in ten that
// came, in the runs this was written after, had a gap where a packet was lost, which
// nothing in the stream tells. So a network that loses packets is to be mended.
func TestAravisPacketLoss(t *testing.T) {
	needs(t, "arv-fake-gv-camera-0.8", "aravissrc")
	startCamera(t, 3)
	p := aravis(t)
	gaps := 0
	for range 3 {
		im := newest(t, p, time.Now()).Image
		if im.W != 512 || im.H != 512 || len(im.Pix8) != 512*512 {
			t.Fatalf("a frame of %d x %d with %d samples", im.W, im.H, len(im.Pix8))
		}
		if hasGap(im) {
			gaps++
		}
	}
	t.Logf("%d of 3 frames with a gap", gaps)
}

// hasGap reports whether part of a frame is missing: the camera's picture is a
// ramp along each row, in which a gap shows as a step.
func hasGap(im *part.Image) bool {
	for y := range im.H {
		for x := 1; x < im.W; x++ {
			if d := im.Pix8[y*im.W+x] - im.Pix8[y*im.W+x-1]; d > 2 && d < 254 {
				return true
			}
		}
	}
	return false
}

// Half of all packets lost: no whole frame comes, and that is told.
func TestAravisTooMuchLost(t *testing.T) {
	needs(t, "arv-fake-gv-camera-0.8", "aravissrc")
	startCamera(t, 500)
	p := aravis(t)
	_, err := p.Newest(soon(t), time.Time{})
	var lost *LostError
	if !errors.As(err, &lost) {
		t.Fatalf("%v, want a LostError", err)
	}
	t.Log(err)
}

// Killed in the middle: told within its silence, and back by itself.
func TestAravisCameraKilled(t *testing.T) {
	needs(t, "arv-fake-gv-camera-0.8", "aravissrc")
	c := startCamera(t, 0)
	p := aravis(t)
	newest(t, p, time.Time{})
	c.kill()
	killed := time.Now()
	why := lostFor(t, p)
	if d := time.Since(killed); d > 8*time.Second {
		t.Errorf("told after %v", d)
	}
	t.Logf("after %v: %s", time.Since(killed).Round(10*time.Millisecond), why.Error())
	c.start(0)
	if f := newest(t, p, time.Now()); f.Image.W != 512 {
		t.Errorf("frame of %d px", f.Image.W)
	}
}

// mjpegServer delivers JPEG pictures in turn as a multipart stream.
func mjpegServer(t *testing.T, every time.Duration, pictures [][]byte) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		m := multipart.NewWriter(w)
		w.Header().Set("Content-Type", "multipart/x-mixed-replace; boundary="+m.Boundary())
		for i := 0; r.Context().Err() == nil; i++ {
			p := pictures[i%len(pictures)]
			part, err := m.CreatePart(textproto.MIMEHeader{"Content-Type": {"image/jpeg"}, "Content-Length": {fmt.Sprint(len(p))}})
			if err != nil {
				return
			}
			if _, err := part.Write(p); err != nil {
				return
			}
			w.(http.Flusher).Flush()
			time.Sleep(every)
		}
	}))
	t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
	return s
}

// A network camera that sends JPEG pictures: units of testdata/images arrive as
// they are, up to what two JPEG decoders differ in.
func TestMJPEGCamera(t *testing.T) {
	needs(t, "gst-launch-1.0", "souphttpsrc", "multipartdemux", "jpegdec")
	files, err := filepath.Glob("../../../testdata/images/u01-L/edge_*.jpg")
	if err != nil || len(files) == 0 {
		t.Fatalf("no pictures: %v", err)
	}
	var pictures [][]byte
	var size image.Config
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if size, err = jpeg.DecodeConfig(bytes.NewReader(b)); err != nil {
			t.Fatal(err)
		}
		pictures = append(pictures, b)
	}
	s := mjpegServer(t, 100*time.Millisecond, pictures)
	p := opened(t, PipelineOptions{Pipeline: "souphttpsrc location=" + s.URL + " is-live=true ! multipartdemux ! jpegdec", W: size.Width,
		H: size.Height, Format: RGB})
	im := newest(t, p, time.Now()).Image
	best := 1e9
	for _, b := range pictures {
		want, err := jpeg.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		best = min(best, meanDifference(im, want))
	}
	if best > 1.5 { // grey levels, mean of all samples: rounding and chroma, common practice, no source
		t.Errorf("the frame is none of those sent: %.2f grey levels off", best)
	}
	// The server goes away, and comes back at the same address.
	addr := s.Listener.Addr().String()
	s.CloseClientConnections()
	s.Close()
	t.Logf("%s", lostFor(t, p).Error())
	l, err := net.Listen("tcp", addr)
	if err != nil {
		t.Skipf("the port was taken meanwhile: %v", err)
	}
	again := &http.Server{Handler: s.Config.Handler}
	go func() { _ = again.Serve(l) }()
	defer again.Close()
	newest(t, p, time.Now())
}

// meanDifference is in grey levels, over all samples.
func meanDifference(im *part.Image, want image.Image) float64 {
	rgb := image.NewRGBA(want.Bounds())
	draw.Draw(rgb, rgb.Bounds(), want, image.Point{}, draw.Src)
	sum := 0
	for i := range im.W * im.H {
		for c := range 3 {
			d := int(im.Pix8[3*i+c]) - int(rgb.Pix[4*i+c])
			sum += max(d, -d)
		}
	}
	return float64(sum) / float64(3*im.W*im.H)
}
