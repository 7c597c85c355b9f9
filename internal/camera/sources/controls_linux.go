package sources

import (
	"errors"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Requests of Linux, include/uapi/linux/videodev2.h, computed with its macros on
// amd64; the same on all common processors.
const (
	vidiocGCtrl     = 0xc008561b
	vidiocSCtrl     = 0xc008561c
	vidiocQueryCtrl = 0xc0445624
)

// v4l2Control is struct v4l2_control.
type v4l2Control struct {
	ID    uint32
	Value int32
}

// v4l2QueryCtrl is struct v4l2_queryctrl.
type v4l2QueryCtrl struct {
	ID, Type           uint32
	Name               [32]byte
	Minimum, Maximum   int32
	Step, DefaultValue int32
	Flags              uint32
	Reserved           [2]uint32
}

const (
	ctrlDisabled = 0x1
	ctrlReadOnly = 0x4
)

// device is an open camera.
type device struct{ fd int }

// OpenControls opens a camera's settings. The device may stream at the same
// time.
func OpenControls(path string) (Controls, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	return device{fd}, nil
}

func (d device) Close() error { return unix.Close(d.fd) }

func (d device) ask(request uintptr, arg unsafe.Pointer) error {
	for {
		_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(d.fd), request, uintptr(arg))
		switch e {
		case 0:
			return nil
		case unix.EINTR:
			continue
		}
		return e
	}
}

// Query tells a control's range.
func (d device) Query(id uint32) (ControlRange, error) {
	q := v4l2QueryCtrl{ID: id}
	err := d.ask(vidiocQueryCtrl, unsafe.Pointer(&q))
	if errors.Is(err, unix.EINVAL) || err == nil && q.Flags&ctrlDisabled != 0 {
		return ControlRange{}, ErrNoControl
	}
	return ControlRange{q.Minimum, q.Maximum, q.Step, q.Flags&ctrlReadOnly != 0}, err
}

// Get reads a control.
func (d device) Get(id uint32) (int32, error) {
	c := v4l2Control{ID: id}
	err := d.ask(vidiocGCtrl, unsafe.Pointer(&c))
	return c.Value, err
}

// Set writes a control.
func (d device) Set(id uint32, v int32) error {
	c := v4l2Control{id, v}
	return d.ask(vidiocSCtrl, unsafe.Pointer(&c))
}
