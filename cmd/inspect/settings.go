package main

import (
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/capture"
	"finishbench/internal/config"
	"finishbench/internal/defects"
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
	stage   string
	limits  string
	station string
	jobs    int
	json    bool
}

func (o *runOptions) flags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the results; made where it is missing")
	f.Float64Var(&o.mmPerPX, "mm-per-px", 0, "scale of the pictures, millimetres per pixel")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured (default wet)")
	f.StringVar(&o.limits, "limits", "", "file with the limits (default: the built-in ones, see configs/limits.yaml)")
	f.StringVar(&o.station, "station", "", "file that describes the station: scale, thresholds (see configs/station.yaml)")
	f.IntVar(&o.jobs, "jobs", 0, "pictures at a time (default: one for each processor)")
	f.BoolVar(&o.json, "json", false, "write the results to standard output, as one JSON array")
	f.SortFlags = false
}

// settings turns the flags and the files they name into checked values. What is
// wrong with them is wrong usage: nothing has been inspected yet.
func (o runOptions) settings() (settings, error) {
	s := settings{stage: part.Wet, generated: time.Now().Format("2006-01-02 15:04")}
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
	s.mmPerPX = st.MMPerPX
	if o.mmPerPX != 0 {
		s.mmPerPX = o.mmPerPX
	}
	switch {
	case s.mmPerPX == 0:
		return s, usagef("the scale is not known: give --mm-per-px (millimetres per pixel, such as 0.015) or a --station file that has it")
	case !(s.mmPerPX >= 0.001 && s.mmPerPX <= 0.1):
		return s, usagef("--mm-per-px %g: give millimetres per pixel, 0.001 to 0.1 (0.015 is 15 micrometres)", s.mmPerPX)
	}
	if o.stage != "" {
		if s.stage, err = part.ParseStage(o.stage); err != nil {
			return s, usagef("--%w", err)
		}
	}
	if s.limits, err = config.LoadLimits(o.limits); err != nil {
		return s, usageError{err}
	}
	s.seam = seam.DefaultParams(s.mmPerPX)
	s.seam.FaceplateThicknessMM = st.FaceplateThicknessMM
	if st.URelScale > 0 {
		s.seam.URelScale = st.URelScale
	}
	s.defects = defects.DefaultParams(s.mmPerPX)
	return s, nil
}
