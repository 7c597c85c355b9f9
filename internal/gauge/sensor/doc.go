// Package sensor tells what a camera's sensor does, from pictures of an even light: gain,
// dark noise, what it can tell apart (emvapair.go, emvatransfer.go, emva.go), and
// whether that, its evenness and its sharpness are enough for this work
// (camerarate.go).
package sensor
