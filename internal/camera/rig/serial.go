package rig

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"go.bug.st/serial"

	"finishbench/internal/camera/trouble"
)

// openSerial opens a serial line: 8 bits, no parity, one stop bit. The name is
// resolved each time: the number behind it changes with each plug.
func openSerial(name string, baud int) (io.ReadWriteCloser, error) {
	real, err := filepath.EvalSymlinks(name)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, trouble.New(trouble.NoDevice, name+" is not there: plug the controller in, or correct the name", "device", name)
		}
		return nil, trouble.Newf(trouble.Other, "%s: %v", name, err)
	}
	port, err := serial.Open(real, &serial.Mode{BaudRate: baud})
	if err == nil {
		return port, nil
	}
	var p *serial.PortError
	if errors.As(err, &p) {
		switch p.Code() {
		case serial.PortNotFound:
			return nil, trouble.New(trouble.NoDevice, name+" is not there: plug the controller in, or correct the name", "device", name)
		case serial.PortBusy:
			return nil, trouble.New(trouble.Busy, name+" is in use by another program", "device", name)
		case serial.PermissionDenied:
			return nil, trouble.New(trouble.NoRight, "this account may not use "+name+": add it to the group dialout", "device", name)
		}
	}
	if errors.Is(err, os.ErrPermission) {
		return nil, trouble.New(trouble.NoRight, "this account may not use "+name+": add it to the group dialout", "device", name)
	}
	return nil, trouble.Newf(trouble.Other, "%s: %v", name, err)
}
