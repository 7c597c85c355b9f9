// Package inspection carries a unit along capture, seam, defects, grade and report:
// from its folder of photographs to its results under OUT.
//
// [Options] are what a person asks for; [Options.Settings] reads the files that they
// name and checks all of it (settings.go, scaleuse.go, flats.go, screenuse.go,
// kindmodel.go, gate.go). [Run] inspects the units of some folders, several at a time
// (run.go, slots.go), tells of them as they are done (tell.go, progress.go), writes
// what lies above them (index.go) and records them (record.go). One unit's way is
// pipeline.go, up to the verdict, with the steps that concern several pictures at once
// beside it: proof.go, shell.go, screen.go, faceplate.go. render.go draws and writes
// what was found. The bench carries its pictures along the same way by
// [Inspector.InspectPictures], and shows what shown.go chooses.
package inspection
