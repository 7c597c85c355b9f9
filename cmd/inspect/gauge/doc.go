// Package gauge holds the commands that put the bench in order and say whether it can be
// believed: scale, camera, setup, screen, study and check, their flags and their help.
package gauge
