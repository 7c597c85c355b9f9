// Package station stands between the operator's page and the bench itself: run.go puts a
// station together from its file and has package bench serve it. shooter.go takes pictures
// by a plan (cameras.go opens what the plan needs, screen.go its light), replay.go plays
// stored units; judge.go carries pictures along package inspection; recorder.go keeps the
// answers, comparer.go holds them against earlier ones and the other side; model.go is the
// learned model in force, lots.go and atlas.go what the page shows of these.
// screenshoot.go takes the pictures by which the screen itself is measured.
package station
