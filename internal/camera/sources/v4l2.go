package sources

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"syscall"

	"finishbench/internal/camera/trouble"
)

// V4L2Options describe a camera of the machine's own.
type V4L2Options struct {
	PipelineOptions        // Pipeline is not used
	Device          string // stable name: /dev/v4l/by-id/...
	Compressed      bool   // the camera sends JPEG frames; good enough to look at, not to measure by
	PerS            int    // frames per second; 0: the camera's choice
	Settings        CameraSettings
	Open            func(path string) (Controls, error) // nil: [OpenControls]
}

// NewV4L2 starts a camera of the machine's own: a [Pipeline] on GStreamer's
// v4l2src, with the camera's settings set before each start and read back, and
// read back once more when the first frame has come: some cameras change them as
// they start. A camera that does not take a setting counts as lost, with the value
// wanted and the value that it has.
func NewV4L2(o V4L2Options) (*Pipeline, error) {
	if !filepath.IsAbs(o.Device) || strings.ContainsAny(o.Device, "\n\x00") {
		return nil, fmt.Errorf("sources: camera %s: device %q; name it in full, as listed in /dev/v4l/by-id", o.Name, o.Device)
	}
	if o.Open == nil {
		o.Open = OpenControls
	}
	return start(o.PipelineOptions, o.prepare, o.confirm)
}

// prepare resolves the name (the number behind it changes with each plug) and
// sets the camera.
func (o V4L2Options) prepare() ([]string, error) {
	real, err := filepath.EvalSymlinks(o.Device)
	if err != nil {
		return nil, o.deviceTrouble(err)
	}
	dev, err := o.Open(real)
	if err != nil {
		return nil, o.deviceTrouble(err)
	}
	defer dev.Close()
	if err := o.Settings.apply(dev); err != nil {
		return nil, err
	}
	return o.words(real), nil
}

// words is the pipeline's beginning.
func (o V4L2Options) words(real string) []string {
	kind := "video/x-raw"
	switch {
	case o.Compressed:
		kind = "image/jpeg"
	case o.Format == Grey:
		kind += ",format=GRAY8"
	case o.Format == Grey16:
		kind += ",format=GRAY16_LE"
	}
	kind += fmt.Sprintf(",width=%d,height=%d", o.W, o.H)
	if o.PerS > 0 {
		kind += fmt.Sprintf(",framerate=%d/1", o.PerS)
	}
	words := []string{"v4l2src", "device=" + real, "!", kind}
	if o.Compressed {
		words = append(words, "!", "jpegdec")
	}
	return words
}

// confirm reads the settings back while the camera runs.
func (o V4L2Options) confirm() error {
	real, err := filepath.EvalSymlinks(o.Device)
	if err != nil {
		return o.deviceTrouble(err)
	}
	dev, err := o.Open(real)
	if err != nil {
		return o.deviceTrouble(err)
	}
	defer dev.Close()
	return o.Settings.verify(dev)
}

func (o V4L2Options) deviceTrouble(err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO):
		return trouble.New(trouble.NoDevice, o.Device+" is not there: plug the camera in, or correct the name", "device", o.Device)
	case errors.Is(err, fs.ErrPermission):
		return trouble.New(trouble.NoRight, "this account may not use "+o.Device+": add it to the group video", "device", o.Device)
	case errors.Is(err, syscall.EBUSY):
		return trouble.New(trouble.Busy, o.Device+" is in use by another program", "device", o.Device)
	}
	return trouble.Newf(trouble.Other, "%s: %v", o.Device, err)
}
