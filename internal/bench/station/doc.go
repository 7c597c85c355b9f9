// Package station stands between the operator's page and the bench itself: run.go puts a
// station together from its file and has package bench serve it. shooter.go takes pictures
// by a plan (cameras.go opens what the plan needs, screen.go its light), replay.go plays
// stored units; inspector.go carries pictures along package inspection; recorder.go keeps the
// answers, comparer.go holds them against earlier ones and the other side; model.go is the
// learned model in force, lots.go and atlas.go what the page shows of these.
// screenshoot.go takes the pictures by which the screen itself is measured.
//
// # Before a screen
//
// A plan's line "light: screen" becomes ten steps, screen6 six (shoot.BeforeScreen of
// part.ScreenLights, part.ShortLights); shoot.Plan.Screen shows each one's light before its
// picture, and screen.go turns lights into patterns for [bench.Screens]. The screen's two files
// (stripes.Curve, stripes.Mirror) are made by internal/gauge/screen and read by
// internal/inspection/screenuse.go; their pictures are taken by screenshoot.go, which serves the
// bench's page while a shoot.Plan of its own runs. Screen.RadPerRad goes before period, distance
// and tilt. The mirror's drawn truth is a ray tracer in stripes/mirror_test.go.
// TestBenchBeforeScreen (cmd/inspect) plays camera and tablet, from the press to the depth of a
// drawn dent.
//
// How long a unit stands still is estimated by shoot.Plan.Stopped from what StoppedFor knows of
// the devices, and measured from the press to the last picture (part.Result.StoppedS). A set with
// a browser as the screen, held against 5 s:
//
//	FINISHBENCH_FIGURES=1 go test -run TestBenchStopped -v ./cmd/inspect
//
// # Plans by stage
//
// The key plan_wet is a second shoot.Plan over the same devices (wetPlan, cameras.go);
// planShooter takes it for units at stage wet. shoot.Plan.Turns counts how often a plan turns the
// unit, beside how often it had to.
package station
