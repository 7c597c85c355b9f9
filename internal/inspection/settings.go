package inspection

import (
	"runtime"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// maxJobs is more than any machine for this has; it keeps a slip of the finger
// from asking for all memory.
const maxJobs = 256

// Options are the flags that unit and surface share.
type Options struct {
	Out       string
	MMPerPX   float64
	Scales    []string
	Stage     string
	Limits    string
	Station   string
	Jobs      int
	JSON      bool
	Budget    bool
	KindModel string        // --kind-model
	Record    RecordOptions // unit only
	Language  string        // --language, of the pages

	Remeasures bool // 'screen shoot': the screen is being measured
}

// Settings turns the flags and the files they name into checked values. What is
// wrong with them is wrong usage: nothing has been inspected yet.
func (o Options) Settings() (Settings, error) {
	s := Settings{Stage: part.Wet, budget: o.Budget, generated: time.Now().Format("2006-01-02 15:04")}
	if o.Out == "" {
		return s, cli.Usagef("say where the results go: --out OUT")
	}
	st, text, err := config.ReadStation(o.Station)
	if err != nil {
		return s, cli.UsageError{Err: err}
	}
	s.Station, s.texts.station = st, text
	if s.Jobs = o.Jobs; s.Jobs == 0 {
		s.Jobs = st.Jobs
	}
	if s.Jobs == 0 {
		s.Jobs = runtime.GOMAXPROCS(0)
	}
	if s.Jobs < 1 || s.Jobs > maxJobs {
		return s, cli.Usagef("--jobs %d: give 1 to %d", s.Jobs, maxJobs)
	}
	s.Fit = st.Fit
	if err := s.chooseScale(o, st, time.Now()); err != nil {
		return s, err
	}
	if err := s.loadFlats(st.Flats, time.Now()); err != nil {
		return s, err
	}
	if o.Remeasures { // what an older file says must not stand in the way
		st.Screen.Mirror = ""
	}
	if s.Screen, s.screenDoubts, err = ScreenOf(st.Screen, time.Now()); err != nil {
		return s, err
	}
	why, barred := CheckGate(st.CheckLog, time.Now())
	if !barred {
		why, barred = s.PoorScale()
	}
	if barred {
		s.Barred = &why
	}
	if o.Stage != "" {
		if s.Stage, err = part.ParseStage(o.Stage); err != nil {
			return s, cli.Usagef("--%w", err)
		}
	}
	if s.language, err = cli.Language(o.Language); err != nil {
		return s, err
	}
	if s.Limits, s.texts.limits, err = config.ReadLimits(o.Limits); err != nil {
		return s, cli.UsageError{Err: err}
	}
	edge, _ := s.lengthsOf(part.Edge)
	s.seam = seam.DefaultParams(edge.MMPerPX)
	s.seam.FaceplateThicknessMM = st.FaceplateThicknessMM
	s.seam.Undistort = edge.Undistort()
	s.seam.Camera = edge.Camera(st.LensMM())
	if edge.URel > 0 {
		s.seam.URelScale = edge.URel
	}
	return s, nil
}
