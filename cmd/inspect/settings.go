package main

import (
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/capture"
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

func (o *runOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the results; made where it is missing")
	f.Float64Var(&o.mmPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel")
	f.StringArrayVar(&o.scales, "scale", nil, "scale file of the pictures, made by 'inspect scale'; VIEW=FILE for the edge, face or shell pictures only")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured (default wet)")
	f.StringVar(&o.limits, "limits", "", "file with the limits (default: the built-in ones, see configs/limits.yaml)")
	f.StringVar(&o.station, "station", "", "file that describes the station: scale, thresholds (see configs/station.yaml)")
	f.StringVar(&o.kinds, "kind-model", "", "file of a learned model by which kinds are called, or none (default: the one in force of the records, if any; see 'inspect learn')")
	f.IntVar(&o.jobs, "jobs", 0, "pictures at a time (default: one for each processor)")
	f.BoolVar(&o.json, "json", false, "write the results to standard output, as one JSON array")
	f.BoolVar(&o.budget, "budget", false, "tell how the uncertainty of the worst step and of a typical size comes about; result.json then has all budgets")
	f.SortFlags = false
}

// settings turns the flags and the files they name into checked values. What is
// wrong with them is wrong usage: nothing has been inspected yet.
func (o runOptions) settings() (settings, error) {
	s := settings{stage: part.Wet, budget: o.budget, generated: time.Now().Format("2006-01-02 15:04")}
	if o.out == "" {
		return s, usagef("say where the results go: --out OUT")
	}
	st, err := config.LoadStation(o.station)
	if err != nil {
		return s, usageError{err}
	}
	if s.jobs = o.jobs; s.jobs == 0 {
		s.jobs = st.Jobs
	}
	if s.jobs == 0 {
		s.jobs = runtime.GOMAXPROCS(0)
	}
	if s.jobs < 1 || s.jobs > maxJobs {
		return s, usagef("--jobs %d: give 1 to %d", s.jobs, maxJobs)
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
			return s, usagef("--%w", err)
		}
	}
	if s.limits, err = config.LoadLimits(o.limits); err != nil {
		return s, usageError{err}
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
