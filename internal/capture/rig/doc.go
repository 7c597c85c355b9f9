// Package rig switches the lights and turns the unit: G-code (RS-274) over a
// serial line.
package rig
