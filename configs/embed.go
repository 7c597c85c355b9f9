// Package configs carries the shipped settings inside the program, so that it
// runs without any file beside it. Package config reads them.
package configs

import _ "embed"

// LimitsYAML is limits.yaml: what weighs how much, and what rework can mend.
//
//go:embed limits.yaml
var LimitsYAML []byte

// StationYAML is station.yaml: the camera's scale and when a picture is fit to
// measure.
//
//go:embed station.yaml
var StationYAML []byte
