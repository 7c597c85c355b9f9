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
// [Inspector.InspectPhotos], and shows what shown.go chooses.
//
// What the pipeline rests on is made by other commands and read at the start of a run:
//
//	inspect scale    target.Find, optics.Calibrate or FitFlat: the scale file. scaleuse.go has
//	                 mm, u and lens of it, and refuses it when too old or of another camera
//	inspect camera   optics.NewFlatField: the flat-field file. flats.go evens by it what
//	                 defects.Find looks at
//	inspect screen   stripes.Curve and stripes.Mirror: the screen's files, for screenuse.go
//	inspect check    study.NewStability: the check piece's log. gate.go bars every pass while
//	                 that is out of limits
//	inspect learn    a learned model: kindmodel.go
//
// # The order of work
//
// Pictures of a scene go first, and the last of them to arrive carries on with defects.Find in
// the slot that it has: the longest work starts as early as it can. A unit keeps about two
// slots busy, so that two jobs have one unit under way at a time. More at once would need
// memory, not save time. A picture that is not part.Shot.Searched is read and listed, and
// changes nothing.
//
// # Several pictures together
//
// One light under two names, exchanged lights and two units' faces are told while a scene is
// looked at (proof.Lights); turns that are the same, another unit's colour, and turns against
// the faceplate's outline once all pictures are there (proof.Turns, Colours, Plate.Course): what
// is doubted is not measured. A shell's turns give one shape (body.Fit), and one finding a
// defect (defects.JoinTurns). A face before a screen (part.MarkSets tells which pictures make a
// set) is searched in the paint, the mean of all, and in what is mirrored; Result.Join makes of
// one place one finding.
//
// # Pictures that are only read
//
// To look into them (shells before a screen): part.Shot.Searched, then group them into scenes in
// pipeline.go. What a picture shows is its part.Pose: ask that, not view or angle, whether two
// pictures show the same places; Pose.String is its words. What is wrong with the turns by their
// names is told by capture.TurnDoubts; what pictures show against their names, by package proof
// (proof.go; at the bench [SeenShots] tells each shot against those before it).
package inspection
