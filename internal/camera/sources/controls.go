package sources

import (
	"fmt"
	"strconv"

	"finishbench/internal/camera/trouble"
)

// Controls are the settings of a V4L2 camera, by their numbers.
type Controls interface {
	Query(id uint32) (ControlRange, error) // [ErrNoControl]: the camera has none
	Get(id uint32) (int32, error)
	Set(id uint32, v int32) error
	Close() error
}

// ControlRange is what a control takes.
type ControlRange struct {
	Min, Max, Step int32
	ReadOnly       bool
}

// ErrNoControl says that a camera lacks a control.
var ErrNoControl = fmt.Errorf("the camera has no such control")

// The controls' numbers: Linux, include/uapi/linux/v4l2-controls.h.
const (
	cidAutoWhite    = 0x0098090c
	cidAutoGain     = 0x00980912
	cidGain         = 0x00980913
	cidWhiteK       = 0x0098091a
	cidAutoExposure = 0x009a0901
	cidExposure     = 0x009a0902
	cidAutoPriority = 0x009a0903
	cidFocus        = 0x009a090a
	cidAutoFocus    = 0x009a090c
)

// exposureManual is V4L2_EXPOSURE_MANUAL. While exposure is automatic, drivers
// take a value for it and do nothing.
const exposureManual = 1

// CameraSettings are set at each start. nil: left as the camera has it.
type CameraSettings struct {
	ExposureUS *float64 // exposure time in microseconds, in steps of 100; automatic exposure is switched off
	Gain       *int     // in the camera's own numbers; automatic gain is switched off where there is one
	WhiteK     *int     // colour temperature of the light in kelvin; automatic white balance is switched off
	Focus      *int     // in the camera's own numbers; automatic focus is switched off
}

// setting is one control to be set.
type setting struct {
	name     string
	id       uint32
	value    int32
	optional bool // a camera without it has nothing to switch off
}

// list is the order in which they are set: an automatic is switched off before
// its value is set.
func (c CameraSettings) list() []setting {
	var out []setting
	if c.ExposureUS != nil {
		units := int32(*c.ExposureUS/100 + 0.5) // EXPOSURE_ABSOLUTE counts 100 us
		out = append(out,
			setting{"automatic exposure", cidAutoExposure, exposureManual, false},
			setting{"frame rate by exposure", cidAutoPriority, 0, true},
			setting{"exposure, 100 us", cidExposure, units, false})
	}
	if c.Gain != nil {
		out = append(out, setting{"automatic gain", cidAutoGain, 0, true}, setting{"gain", cidGain, int32(*c.Gain), false})
	}
	if c.WhiteK != nil {
		out = append(out, setting{"automatic white balance", cidAutoWhite, 0, true},
			setting{"white balance, K", cidWhiteK, int32(*c.WhiteK), false})
	}
	if c.Focus != nil {
		out = append(out, setting{"automatic focus", cidAutoFocus, 0, true}, setting{"focus", cidFocus, int32(*c.Focus), false})
	}
	return out
}

// apply sets all and reads each back. The error says which control did not take,
// what was wanted and what the camera has.
func (c CameraSettings) apply(dev Controls) error {
	for _, s := range c.list() {
		r, err := dev.Query(s.id)
		if err == ErrNoControl && s.optional {
			continue
		}
		if err == ErrNoControl {
			return trouble.New(trouble.NoControl,
				fmt.Sprintf("it has no control for %s: leave that out of the station file, or use another camera", s.name), "control",
				s.name)
		}
		if err != nil {
			return trouble.Newf(trouble.Other, "%s cannot be asked for: %v", s.name, err)
		}
		if s.value < r.Min || s.value > r.Max {
			return trouble.New(trouble.OutOfRange, fmt.Sprintf("%s: %d is set up, but it takes %d to %d", s.name, s.value, r.Min, r.Max),
				"control", s.name, "wanted", itoa(s.value), "least", itoa(r.Min), "most", itoa(r.Max))
		}
		if err := dev.Set(s.id, s.value); err != nil {
			return trouble.Newf(trouble.Other, "%s cannot be set to %d: %v", s.name, s.value, err)
		}
	}
	return c.verify(dev)
}

// verify reads all back, after the last was set: a camera may change one with
// another.
func (c CameraSettings) verify(dev Controls) error {
	for _, s := range c.list() {
		if _, err := dev.Query(s.id); err == ErrNoControl && s.optional {
			continue
		}
		got, err := dev.Get(s.id)
		if err != nil {
			return trouble.Newf(trouble.Other, "%s cannot be read back: %v", s.name, err)
		}
		if got != s.value {
			return trouble.New(trouble.Control, fmt.Sprintf("%s: %d was set, but it has %d", s.name, s.value, got),
				"control", s.name, "wanted", itoa(s.value), "got", itoa(got))
		}
	}
	return nil
}

func itoa(v int32) string { return strconv.Itoa(int(v)) }
