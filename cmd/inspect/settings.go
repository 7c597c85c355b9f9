package main

import (
	"runtime"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// maxJobs is more than any machine for this has; it keeps a slip of the finger
// from asking for all memory.
const maxJobs = 256

// runOptions are the flags that unit and surface share.
type runOptions struct {
	out     string
	mmPerPX float64
	scales  []string
	stage   string
	limits  string
	station string
	jobs    int
	json    bool
	budget  bool
	kinds   string        // --kind-model
	record  recordOptions // unit only

	remeasures bool // 'screen shoot': the screen is being measured
}

// settings turns the flags and the files they name into checked values. What is
// wrong with them is wrong usage: nothing has been inspected yet.
func (o runOptions) settings() (settings, error) {
	s := settings{stage: part.Wet, budget: o.budget, generated: time.Now().Format("2006-01-02 15:04")}
	if o.out == "" {
		return s, cli.Usagef("say where the results go: --out OUT")
	}
	st, err := config.LoadStation(o.station)
	if err != nil {
		return s, cli.UsageError{Err: err}
	}
	if s.jobs = o.jobs; s.jobs == 0 {
		s.jobs = st.Jobs
	}
	if s.jobs == 0 {
		s.jobs = runtime.GOMAXPROCS(0)
	}
	if s.jobs < 1 || s.jobs > maxJobs {
		return s, cli.Usagef("--jobs %d: give 1 to %d", s.jobs, maxJobs)
	}
	s.fit = capture.FitLimits(st.Fit)
	if err := s.chooseScale(o, st, time.Now()); err != nil {
		return s, err
	}
	if err := s.loadFlats(st.Flats, time.Now()); err != nil {
		return s, err
	}
	if o.remeasures { // what an older file says must not stand in the way
		st.Screen.Mirror = ""
	}
	if s.screen, s.screenDoubts, err = screenOf(st.Screen, time.Now()); err != nil {
		return s, err
	}
	if _, s.barred = checkGate(st.CheckLog, time.Now()); s.barred == "" { // no reason: not barred
		s.barred, _ = s.poorScale()
	}
	if o.stage != "" {
		if s.stage, err = part.ParseStage(o.stage); err != nil {
			return s, cli.Usagef("--%w", err)
		}
	}
	if s.limits, err = config.LoadLimits(o.limits); err != nil {
		return s, cli.UsageError{Err: err}
	}
	edge, _ := s.lengthsOf(part.Edge)
	s.seam = seam.DefaultParams(edge.mmPerPX)
	s.seam.FaceplateThicknessMM = st.FaceplateThicknessMM
	s.seam.Undistort = edge.undistort()
	s.seam.Camera = edge.camera(st.LensMM())
	if edge.uRel > 0 {
		s.seam.URelScale = edge.uRel
	}
	return s, nil
}
