package sources

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// playedControls play a camera's settings: while an automatic is on, values are
// taken and not heeded, as drivers do.
type playedControls struct {
	values map[uint32]int32
	ranges map[uint32]ControlRange
	order  []uint32
	clamp  map[uint32]int32 // what a value becomes
}

func newPlayedControls() *playedControls {
	yes := ControlRange{Max: 1, Step: 1}
	return &playedControls{
		values: map[uint32]int32{cidAutoExposure: 3, cidExposure: 250, cidAutoPriority: 1, cidGain: 10, cidAutoWhite: 1, cidWhiteK: 4000,
			cidAutoFocus: 1, cidFocus: 0},
		ranges: map[uint32]ControlRange{cidAutoExposure: {Max: 3, Step: 1}, cidExposure: {Min: 3, Max: 2047, Step: 1}, cidAutoPriority: yes,
			cidGain: {Max: 255, Step: 1}, cidAutoWhite: yes, cidWhiteK: {Min: 2800, Max: 6500, Step: 10}, cidAutoFocus: yes,
			cidFocus: {Max: 250, Step: 5}},
		clamp: map[uint32]int32{},
	}
}

func (c *playedControls) Query(id uint32) (ControlRange, error) {
	r, ok := c.ranges[id]
	if !ok {
		return r, ErrNoControl
	}
	return r, nil
}

func (c *playedControls) Get(id uint32) (int32, error) { return c.values[id], nil }

func (c *playedControls) Set(id uint32, v int32) error {
	c.order = append(c.order, id)
	switch {
	case id == cidExposure && c.values[cidAutoExposure] != exposureManual,
		id == cidWhiteK && c.values[cidAutoWhite] != 0,
		id == cidFocus && c.values[cidAutoFocus] != 0:
		return nil
	}
	if to, ok := c.clamp[id]; ok {
		v = to
	}
	c.values[id] = v
	return nil
}

func (c *playedControls) Close() error { return nil }

func settings() CameraSettings {
	us, gain, k, focus := 8000.0, 0, 5000, 30
	return CameraSettings{&us, &gain, &k, &focus}
}

// Automatics off before values; 8 ms are 80 units of 100 us; the camera without
// automatic gain has nothing to switch off.
func TestSettingsInOrder(t *testing.T) {
	c := newPlayedControls()
	if err := settings().apply(c); err != nil {
		t.Fatal(err)
	}
	want := []uint32{cidAutoExposure, cidAutoPriority, cidExposure, cidGain, cidAutoWhite, cidWhiteK, cidAutoFocus, cidFocus}
	if !slices.Equal(c.order, want) || c.values[cidExposure] != 80 || c.values[cidWhiteK] != 5000 || c.values[cidFocus] != 30 {
		t.Errorf("order %x, values %v", c.order, c.values)
	}
}

func TestSettingsRefused(t *testing.T) {
	for _, c := range []struct {
		change    func(*playedControls)
		key, text string
	}{
		{func(c *playedControls) { c.clamp[cidExposure] = 79 }, trouble.Control, "exposure, 100 us: 80 was set, but it has 79"},
		{func(c *playedControls) { c.clamp[cidAutoExposure] = 3 }, trouble.Control, "automatic exposure: 1 was set, but it has 3"},
		{func(c *playedControls) { delete(c.ranges, cidFocus) }, trouble.NoControl, "it has no control for focus"},
		{func(c *playedControls) { c.ranges[cidWhiteK] = ControlRange{Min: 5100, Max: 6500} }, trouble.OutOfRange,
			"white balance, K: 5000 is set up, but it takes 5100 to 6500"},
	} {
		dev := newPlayedControls()
		c.change(dev)
		var told *part.Trouble
		if err := settings().apply(dev); !errors.As(err, &told) || told.Key != c.key || !strings.HasPrefix(told.Error(), c.text) {
			t.Errorf("%v, want %s: %s", err, c.key, c.text)
		}
	}
}

// The stable name is resolved at each start; settings that change as the camera
// starts are refused.
func TestV4L2(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "usb-Camera-0")
	dev := newPlayedControls()
	var opened []string
	o := V4L2Options{Device: name, Settings: settings(), Open: func(path string) (Controls,
		error) {
		opened = append(opened, path)
		return dev, nil
	}}
	o.PipelineOptions = PipelineOptions{Name: "edge", W: 32, H: 16, Format: RGB, Program: played("crash"),
		Retry: retry.Waits{First: 50 * time.Millisecond, Most: 50 * time.Millisecond, Steady: time.Minute}}
	p, err := NewV4L2(o)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if why := lostFor(t, p); why.Key != trouble.NoDevice || why.Args["device"] != name {
		t.Errorf("without the camera: %+v", why)
	}
	real := filepath.Join(dir, "video4")
	if err := os.WriteFile(real, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("video4", name); err != nil {
		t.Fatal(err)
	}
	newest(t, p, time.Time{})
	p.Close()
	if !strings.HasSuffix(opened[0], "video4") {
		t.Errorf("opened %v", opened)
	}
	if got, want := strings.Join(o.words("/dev/video4"), " "), "v4l2src device=/dev/video4 ! video/x-raw,width=32,height=16"; got != want {
		t.Errorf("%s, want %s", got, want)
	}

	// Takes all, then goes back to automatic when it starts.
	dev = newPlayedControls()
	n := 0
	o.Open = func(string) (Controls, error) {
		if n++; n == 2 {
			dev.values[cidAutoExposure] = 3
		}
		return dev, nil
	}
	if p, err = NewV4L2(o); err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if why := lostFor(t, p); why.Key != trouble.Control || why.Args["wanted"] != "1" || why.Args["got"] != "3" {
		t.Errorf("changed at the start: %+v", why)
	}
}

func TestV4L2WantsAFullName(t *testing.T) {
	if _, err := NewV4L2(V4L2Options{Device: "video0"}); err == nil || !strings.Contains(err.Error(), "/dev/v4l/by-id") {
		t.Errorf("%v", err)
	}
}
