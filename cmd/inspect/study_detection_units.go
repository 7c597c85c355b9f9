package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/part"
	"finishbench/internal/study"
)

const truthFile = "truth.json"

// knownUnit is what truth.json says of a unit's faceplate, and of its shell in some turns.
type knownUnit struct {
	MMPerPX float64        `json:"mm_per_px"`
	Pattern string         `json:"pattern"`         // the faceplate's
	Shell   string         `json:"shell,omitempty"` // what its shell is: opaque, clear, tinted
	Face    *knownSurface  `json:"face"`
	Shells  []knownSurface `json:"shells,omitempty"`
}

// knownSurface is the faceplate, or the shell as one turn shows it.
type knownSurface struct {
	AngleDeg float64           `json:"angle_deg"` // a shell's turn
	Files    map[string]string `json:"files"`     // by light
	Defects  []knownDefect     `json:"defects"`

	pose  part.Pose
	looks string // its pattern, or what the shell is
}

// surfaces are all that something is known of; none: an error, which says what file must hold.
func (k knownUnit) surfaces(file string) ([]knownSurface, error) {
	var all []knownSurface
	if k.Face != nil {
		f := *k.Face
		f.pose, f.looks = part.PoseOf(part.Face, 0), k.Pattern
		all = append(all, f)
	}
	for _, s := range k.Shells {
		s.pose, s.looks = part.PoseOf(part.Shell, s.AngleDeg), shellLooks(k.Shell)
		all = append(all, s)
	}
	if len(all) == 0 {
		return nil, cli.Usagef("%s: it says nothing of the faceplate or the shell: \"face\", or each of \"shells\", must list files and defects", file)
	}
	for _, s := range all {
		if len(s.Files) == 0 {
			return nil, cli.Usagef("%s: the %s names no files: which pictures show its defects is not known", file, s.pose)
		}
		for i, d := range s.Defects {
			if _, _, err := d.size(); err != nil && !d.overAll() {
				return nil, cli.Usagef("%s: defect %d of the %s, %s, %w", file, i+1, s.pose, cli.Or(d.Kind, "of no kind"), err)
			}
		}
	}
	return all, nil
}

const (
	opaqueShell     = "opaque shell"
	seeThroughShell = "see-through shell"
)

func shellLooks(what string) string {
	switch what {
	case "":
		return "shell"
	case "clear", "tinted":
		return seeThroughShell
	}
	return what + " shell"
}

// shows says whether a finding shows in the surface's pictures, and its box there.
func (s knownSurface) shows(f part.Finding) (part.Box, bool) {
	for _, at := range append([]part.Sighting{{Image: f.Image, Box: f.Box}}, f.AlsoIn...) {
		if s.holds(at.Image) {
			return at.Box, true
		}
	}
	return part.Box{}, false
}

// holds says whether a picture's file is one of the surface's.
func (s knownSurface) holds(file string) bool {
	for _, f := range s.Files {
		if f == file {
			return true
		}
	}
	return false
}

// known are its defects that have a place, as study has them, and which of Defects they are.
func (s knownSurface) known() (known []study.Known, of []knownDefect) {
	for _, d := range s.Defects {
		if size, _, err := d.size(); err == nil && !d.overAll() {
			known, of = append(known, study.Known{Kind: d.Kind, Box: study.Box(d.Box), Size: size}), append(of, d)
		}
	}
	return known, of
}

type knownDefect struct {
	Kind     string             `json:"type"`
	Box      []float64          `json:"box_px"`
	Diameter *float64           `json:"diameter"` // mm
	Length   *float64           `json:"length"`   // mm
	Width    *float64           `json:"width"`    // mm, of what has a length
	CNR      map[string]float64 `json:"cnr"`

	SlopeMRad float64 `json:"slope_mrad,omitempty"` // root mean square slope of orange peel; 0: not told
}

// size is the size by which the defect's kind is told, in mm, and which it is.
func (d knownDefect) size() (mm float64, measure string, err error) {
	v := d.Diameter
	measure = "diameter"
	if v == nil {
		v, measure = d.Length, "length"
	}
	switch {
	case v == nil:
		return 0, "", errors.New("has neither diameter nor length")
	case !(*v > 0):
		return 0, "", fmt.Errorf("has the %s %g: it must be above 0", measure, *v)
	case len(d.Box) != 4 || !(d.Box[2] > 0 && d.Box[3] > 0):
		return 0, "", errors.New("has no box: box_px must be x, y, width and height, these above 0")
	case d.Kind == "":
		return 0, "", errors.New("has no type")
	}
	return *v, measure, nil
}

// overAll says whether it is all over the surface, and has no place there.
func (d knownDefect) overAll() bool { return d.Kind == string(part.OrangePeel) }

// cnr is the best contrast-to-noise ratio of all pictures; false where none is
// told.
func (d knownDefect) cnr() (float64, bool) {
	best, ok := 0.0, false
	for _, v := range d.CNR {
		best, ok = max(best, v), true
	}
	return best, ok
}

// knownTarget is a known defect and what became of it.
type knownTarget struct {
	unit, kind, looks, measure string
	target                     study.Target
	visible                    bool // its contrast is enough, or not told
	rightKind                  bool // found and called by its kind
	shared                     bool // missed, though a finding that tells of a neighbour touches it
}

func (t knownTarget) where() string { return whereOf(t.looks) }

func whereOf(looks string) string {
	switch looks {
	case plainFaces, opaqueShell, seeThroughShell:
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

// detectionSet is what was known and what became of it.
type detectionSet struct {
	from     string
	targets  []knownTarget
	false    []falseCall
	units    int            // looked at; 0: not known, a table
	patterns map[string]int // units by their faceplates' patterns, and by what their shells are
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

func (s detectionSet) falseCalls(kind, where string) (calls, units int) {
	for _, f := range s.false {
		if f.kind == kind && (where == "" || whereOf(f.looks) == where) {
			calls++
		}
	}
	for p, n := range s.patterns {
		if where == "" || whereOf(p) == where {
			units += n
		}
	}
	return calls, units
}

// readDetectionUnits reads and matches all units of two folders.
func readDetectionUnits(truthDir, resultDir string, rule study.MatchRule, minCNR float64) (detectionSet, error) {
	s := detectionSet{from: truthDir, patterns: map[string]int{}}
	names, err := foldersWith(truthDir, truthFile)
	if err != nil {
		return s, err
	}
	results, err := foldersWith(resultDir, cli.ResultFile)
	if err != nil {
		return s, err
	}
	for _, r := range results {
		if !slices.Contains(names, r) {
			s.noTruth = append(s.noTruth, r)
		}
	}
	for _, u := range names {
		var k knownUnit
		if err := readJSONFile(filepath.Join(truthDir, u, truthFile), &k); err != nil {
			return s, err
		}
		if !slices.Contains(results, u) {
			s.noResult = append(s.noResult, u)
			continue
		}
		var r part.Result
		if err := readJSONFile(filepath.Join(resultDir, u, cli.ResultFile), &r); err != nil {
			return s, err
		}
		if err := s.add(u, filepath.Join(truthDir, u, truthFile), k, r, rule, minCNR); err != nil {
			return s, err
		}
	}
	if s.units == 0 {
		return s, cli.Usagef("no unit of %s has a result in %s that can be used: inspect the units first (inspect unit %s --out %s)", truthDir, resultDir, filepath.Join(truthDir, "*"), resultDir)
	}
	if len(s.targets) == 0 {
		return s, cli.Usagef("no truth in %s names a defect: nothing can be found or missed", truthDir)
	}
	return s, nil
}

// foldersWith lists the folders in dir that hold a file of this name.
func foldersWith(dir, file string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, cli.Usagef("there is no folder %s", dir)
	} else if err != nil {
		return nil, cli.Usagef("%s cannot be read as a folder: %w", dir, cli.PlainPath(err))
	}
	var names []string
	for _, e := range entries {
		if _, err := os.Stat(filepath.Join(dir, e.Name(), file)); err == nil {
			names = append(names, e.Name())
		}
	}
	if len(names) == 0 {
		return nil, cli.Usagef("%s holds no folder with a %s: name the folder that holds the units' folders", dir, file)
	}
	return names, nil
}

func readJSONFile(path string, v any) error {
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return cli.Usagef("%s cannot be read: %w", path, cli.PlainPath(err))
	}
	if err := json.Unmarshal(data, v); err != nil {
		return cli.Usagef("%s is no JSON of the form wanted: %w", path, err)
	}
	return nil
}

// add matches one unit.
func (s *detectionSet) add(unit, file string, k knownUnit, r part.Result, rule study.MatchRule, minCNR float64) error {
	surfaces, err := k.surfaces(file)
	if err != nil {
		return err
	}
	var looks []string
	for _, of := range surfaces {
		name := unit
		if of.pose.View != part.Face {
			name += ", " + of.pose.String()
		}
		measured := 0
		for _, p := range r.Pictures {
			if of.holds(p.File) && p.State == part.PictureOK {
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
		if !slices.Contains(looks, of.looks) {
			looks = append(looks, of.looks)
		}
	}
	if len(looks) == 0 {
		return nil
	}
	s.units++
	for _, l := range looks {
		s.patterns[l]++
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
func (s *detectionSet) match(unit string, of knownSurface, findings []part.Finding, rule study.MatchRule, minCNR float64) {
	peel := slices.ContainsFunc(of.Defects, knownDefect.overAll)
	known, defects := of.known()
	var called []study.Called
	for _, f := range findings {
		box, ok := of.shows(f)
		switch {
		case !ok:
		case f.Kind == part.OrangePeel: // all over the surface: it tells of none that has a place
			if !peel {
				s.false = append(s.false, falseCall{unit, string(f.Kind), of.looks})
			}
		default:
			called = append(called, study.Called{Kind: string(f.Kind), Box: study.Box(box)})
		}
	}
	m := study.Match(known, called, rule)
	for i, d := range defects {
		_, measure, _ := d.size()
		cnr, told := d.cnr()
		if !told {
			s.noCNR++
		}
		t := knownTarget{unit: unit, kind: d.Kind, looks: of.looks, measure: measure, target: study.Target{Size: known[i].Size, Of: 1}, visible: !told || cnr >= minCNR,
			shared: slices.Contains(m.Shared, i)}
		if j := m.Call[i]; j >= 0 {
			t.target.Found, t.rightKind = 1, called[j].Kind == d.Kind
		}
		s.targets = append(s.targets, t)
	}
	for _, j := range m.False {
		s.false = append(s.false, falseCall{unit, called[j].Kind, of.looks})
	}
	s.repeats += len(m.Repeats)
}
