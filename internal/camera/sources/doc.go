// Package sources is where the bench's pictures come from while it runs.
//
//  1. [Pipeline] runs a GStreamer pipeline as a child process and reads its
//     frames without pause; only the newest is kept. A crash of the child ends
//     nothing here: it is told in words and started again.
//  2. [V4L2] is a Pipeline for a camera of the machine's own, found by its stable
//     name each time, with its controls set and read back.
//  3. [Folder] takes the files that a tethered camera drops.
//  4. [Replay] plays the pictures of units from folders.
//
// All answer [Camera.Newest]: the newest frame, taken after the moment that the
// caller names, never one from before.
//
// The package has no pixel library of its own: who opens a Folder or a Replay
// hands in what decodes a file.
package sources
