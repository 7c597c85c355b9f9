package main

import (
	"fmt"
	"mime/multipart"
	"net"
	"net/http"
	"net/textproto"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/capture/pty"
	"finishbench/internal/part"
)

// standIn plays a bench's hardware from a stored unit: a G-code controller behind
// a pseudo-terminal, and a network camera that sends, as JPEG pictures, what is to
// be seen at the light and angle that the controller was told.
type standIn struct {
	*pty.Device
	t        testing.TB
	pictures map[string][]byte // "back 30", "diffuse", "raking"

	mu     sync.Mutex
	light  string
	deg    float64
	heard  []string
	answer func(line string) (text string, mine bool) // in place of the usual; "" and true: none at all
	server *http.Server
	addr   string
}

func newStandIn(t testing.TB, unit string) *standIn {
	t.Helper()
	s := &standIn{t: t, pictures: map[string][]byte{}, light: "off"}
	folder, err := capture.Scan(unit)
	if err != nil {
		t.Fatal(err)
	}
	for _, shot := range folder.Shots {
		data, err := os.ReadFile(shot.Path)
		if err != nil {
			t.Fatal(err)
		}
		s.pictures[sceneOf(shot)] = data
	}
	s.Device = pty.New(t, s.hear)
	s.startCamera("127.0.0.1:0")
	t.Cleanup(s.stopCamera)
	return s
}

func sceneOf(shot part.Shot) string {
	if shot.View == part.Edge {
		return fmt.Sprintf("back %g", shot.AngleDeg)
	}
	return string(shot.Light)
}

// hear answers a line that the controller is sent.
func (s *standIn) hear(line string) string {
	s.mu.Lock()
	s.heard = append(s.heard, line)
	answer := s.answer
	s.mu.Unlock()
	if answer != nil {
		if text, mine := answer(line); mine { // may unplug, or take its time
			return text
		}
	}
	return s.obey(line)
}

// obey does what a line says, and returns the usual answer.
func (s *standIn) obey(line string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var deg float64
	switch {
	case line == "M114":
		return fmt.Sprintf("X:0.00 A:%.2f\r\nok", s.deg)
	case line == "G28":
		s.deg = 0
	case strings.HasPrefix(line, "light "): // no G-code: this controller's own word
		s.light = strings.TrimPrefix(line, "light ")
	default:
		if n, _ := fmt.Sscanf(line, "G0 A%g", &deg); n == 1 {
			s.deg = deg
		}
	}
	return "ok"
}

func (s *standIn) set(answer func(string) (string, bool)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.answer = answer
}

// turned counts how often the unit was turned to an angle.
func (s *standIn) turned(deg float64) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := 0
	for _, l := range s.heard {
		if l == fmt.Sprintf("G0 A%g", deg) {
			n++
		}
	}
	return n
}

func (s *standIn) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.heard = nil
}

// scene is what is to be seen.
func (s *standIn) scene() []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.light == "back" {
		return s.pictures[fmt.Sprintf("back %g", s.deg)]
	}
	if p := s.pictures[s.light]; p != nil {
		return p
	}
	return s.pictures["back 0"] // lights out: the panel's afterglow, for a camera must send something
}

// startCamera serves the scene as a multipart stream at an address.
func (s *standIn) startCamera(addr string) {
	s.t.Helper()
	l, err := net.Listen("tcp", addr)
	for range 40 { // an address that was in use a moment ago
		if err == nil {
			break
		}
		time.Sleep(50 * time.Millisecond)
		l, err = net.Listen("tcp", addr)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	server := &http.Server{Handler: http.HandlerFunc(s.stream)}
	s.mu.Lock()
	s.server, s.addr = server, l.Addr().String()
	s.mu.Unlock()
	go func() { _ = server.Serve(l) }()
}

// stopCamera ends the camera as a pulled plug does: its connections too.
func (s *standIn) stopCamera() {
	s.mu.Lock()
	server := s.server
	s.server = nil
	s.mu.Unlock()
	if server != nil {
		_ = server.Close()
	}
}

func (s *standIn) stream(w http.ResponseWriter, r *http.Request) {
	m := multipart.NewWriter(w)
	w.Header().Set("Content-Type", "multipart/x-mixed-replace; boundary="+m.Boundary())
	for r.Context().Err() == nil {
		p := s.scene()
		out, err := m.CreatePart(textproto.MIMEHeader{"Content-Type": {"image/jpeg"}, "Content-Length": {fmt.Sprint(len(p))}})
		if err != nil {
			return
		}
		if _, err := out.Write(p); err != nil {
			return
		}
		w.(http.Flusher).Flush()
		time.Sleep(200 * time.Millisecond) // so slow that a busy machine decodes it all: what waits in the network is stale
	}
}

// station is the station file that drives this hardware.
func (s *standIn) station(t *testing.T) string {
	lines := `
bench: {name: bench 2}
cameras:
  - {name: overhead, source: gstreamer, pipeline: "souphttpsrc location=http://` + s.addr + `/ is-live=true ! multipartdemux ! jpegdec", width_px: 1600, height_px: 1200, format: rgb, delay_ms: 500, silent_s: 2}
rig:
  device: ` + s.Link + `
  start: [G90]
  home: [G28]
  ask: M114
  angle: "A:([-0-9.]+)"
  wake_s: 0.2
  answer_s: 0.5
  motion_s: 1
  lights:
    - {light: back, "on": [light back], "off": [light off]}
    - {light: diffuse, "on": [light diffuse], "off": [light off]}
    - {light: raking, "on": [light raking], "off": [light off]}
plan:
`
	for _, deg := range []int{0, 30, 60} {
		lines += fmt.Sprintf("  - {view: edge, light: back, angle_deg: %d, settle_ms: 50}\n", deg)
	}
	return stationFile(t, lines+"  - {view: face, light: diffuse, settle_ms: 50}\n  - {view: face, light: raking, settle_ms: 50}\n")
}
