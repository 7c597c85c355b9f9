package detection

import (
	"path/filepath"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
	"finishbench/internal/truth"
)

// Target is a known defect and what became of it.
type Target struct {
	unit, Kind, looks, measure string
	Target                     study.Target
	visible                    bool // its contrast is enough, or not told
	rightKind                  bool // found and called by its kind
	shared                     bool // missed, though a finding that tells of a neighbour touches it
}

// Where is on what the defect lies.
func (t Target) Where() string { return whereOf(t.looks) }

func whereOf(looks string) string {
	switch looks {
	case plainFaces, truth.OpaqueShell, truth.SeeThroughShell:
		return looks
	}
	return patternedFaces
}

const (
	plainFaces     = "plain"
	patternedFaces = "patterned"
)

// falseCall is a finding that tells of no known defect.
type falseCall struct{ unit, kind, looks string }

// Set is what was known and what became of it.
type Set struct {
	from     string
	Targets  []Target
	False    []falseCall
	Units    int            // looked at; 0: not known, a table
	Patterns map[string]int // units by their faceplates' patterns, and by what their shells are
	repeats  int            // further findings of a defect that is found
	noResult []string       // units without a result
	noTruth  []string       // results without a truth
	notSeen  []string       // units whose faceplate, or a turn of whose shell, could not be measured
	halfSeen []string       // the same where some picture could not be measured
	mmPerPX  []float64      // all scales, in order
	stages   []string
	noCNR    int          // defects whose contrast is not told
	drawn    *drawnFaults // nil: the faults were not drawn
}

func (s Set) falseCalls(kind, where string) (calls, units int) {
	for _, f := range s.False {
		if f.kind == kind && (where == "" || whereOf(f.looks) == where) {
			calls++
		}
	}
	for p, n := range s.Patterns {
		if where == "" || whereOf(p) == where {
			units += n
		}
	}
	return calls, units
}

// readDetectionUnits reads and matches all units of two folders.
func readDetectionUnits(truthDir, resultDir string, rule study.MatchRule, minCNR float64) (Set, error) {
	s := Set{from: truthDir, Patterns: map[string]int{}}
	names, err := truth.FoldersWith(truthDir, truth.File)
	if err != nil {
		return s, err
	}
	results, err := truth.FoldersWith(resultDir, cli.ResultFile)
	if err != nil {
		return s, err
	}
	for _, r := range results {
		if !slices.Contains(names, r) {
			s.noTruth = append(s.noTruth, r)
		}
	}
	for _, u := range names {
		var k truth.Unit
		if err := cli.ReadJSONFile(filepath.Join(truthDir, u, truth.File), &k); err != nil {
			return s, err
		}
		if !slices.Contains(results, u) {
			s.noResult = append(s.noResult, u)
			continue
		}
		var r part.Result
		if err := cli.ReadJSONFile(filepath.Join(resultDir, u, cli.ResultFile), &r); err != nil {
			return s, err
		}
		if err := s.Add(u, filepath.Join(truthDir, u, truth.File), k, r, rule, minCNR); err != nil {
			return s, err
		}
	}
	if s.Units == 0 {
		return s, cli.Usagef("no unit of %s has a result in %s that can be used: inspect the units first (inspect unit %s --out %s)", truthDir, resultDir, filepath.Join(truthDir, "*"), resultDir)
	}
	if len(s.Targets) == 0 {
		return s, cli.Usagef("no truth in %s names a defect: nothing can be found or missed", truthDir)
	}
	return s, nil
}

// Add matches one unit.
func (s *Set) Add(unit, file string, k truth.Unit, r part.Result, rule study.MatchRule, minCNR float64) error {
	surfaces, err := k.Surfaces(file)
	if err != nil {
		return err
	}
	var looks []string
	for _, of := range surfaces {
		name := unit
		if of.Pose.View != part.Face {
			name += ", " + of.Pose.String()
		}
		measured := 0
		for _, p := range r.Pictures {
			if of.Holds(p.File) && p.State == part.PictureOK {
				measured++
			}
		}
		if measured == 0 {
			s.notSeen = append(s.notSeen, name)
			continue
		}
		if measured < len(of.Files) {
			s.halfSeen = append(s.halfSeen, name)
		}
		s.match(unit, of, r.Findings, rule, minCNR)
		if !slices.Contains(looks, of.Looks) {
			looks = append(looks, of.Looks)
		}
	}
	if len(looks) == 0 {
		return nil
	}
	s.Units++
	for _, l := range looks {
		s.Patterns[l]++
	}
	if !slices.Contains(s.mmPerPX, r.MMPerPX) {
		s.mmPerPX = append(s.mmPerPX, r.MMPerPX)
		slices.Sort(s.mmPerPX)
	}
	if st := string(r.Stage); st != "" && !slices.Contains(s.stages, st) {
		s.stages = append(s.stages, st)
	}
	return nil
}

// match says what became of the defects of one surface.
func (s *Set) match(unit string, of truth.Surface, findings []part.Finding, rule study.MatchRule, minCNR float64) {
	peel := slices.ContainsFunc(of.Defects, truth.Defect.OverAll)
	known, defects := of.Known()
	var called []study.Called
	for _, f := range findings {
		box, ok := of.Shows(f)
		switch {
		case !ok:
		case f.Kind == part.OrangePeel: // all over the surface: it tells of none that has a place
			if !peel {
				s.False = append(s.False, falseCall{unit, string(f.Kind), of.Looks})
			}
		default:
			called = append(called, study.Called{Kind: string(f.Kind), Box: study.Box(box)})
		}
	}
	m := study.Match(known, called, rule)
	for i, d := range defects {
		_, measure, _ := d.Size()
		cnr, ok := d.Cnr()
		if !ok {
			s.noCNR++
		}
		t := Target{unit: unit, Kind: d.Kind, looks: of.Looks, measure: measure, Target: study.Target{Size: known[i].Size, Of: 1}, visible: !ok || cnr >= minCNR,
			shared: slices.Contains(m.Shared, i)}
		if j := m.Call[i]; j >= 0 {
			t.Target.Found, t.rightKind = 1, called[j].Kind == d.Kind
		}
		s.Targets = append(s.Targets, t)
	}
	for _, j := range m.False {
		s.False = append(s.False, falseCall{unit, called[j].Kind, of.Looks})
	}
	s.repeats += len(m.Repeats)
}
