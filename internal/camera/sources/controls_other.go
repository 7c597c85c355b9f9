//go:build !linux

package sources

import "errors"

// OpenControls works on Linux only.
func OpenControls(string) (Controls, error) {
	return nil, errors.New("cameras of this kind are for Linux only")
}
