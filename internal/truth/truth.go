package truth

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// File is the name of the file that tells what is known of a unit.
const File = "truth.json"

// Unit is what truth.json says of a unit's faceplate, and of its shell in some turns.
type Unit struct {
	MMPerPX float64   `json:"mm_per_px"`
	Pattern string    `json:"pattern"`         // the faceplate's
	Shell   string    `json:"shell,omitempty"` // what its shell is: opaque, clear, tinted
	Face    *Surface  `json:"face"`
	Shells  []Surface `json:"shells,omitempty"`
}

// Surface is the faceplate, or the shell as one turn shows it.
type Surface struct {
	AngleDeg float64           `json:"angle_deg"` // a shell's turn
	Files    map[string]string `json:"files"`     // by light
	Defects  []Defect          `json:"defects"`

	Pose  part.Pose `json:"-"`
	Looks string    `json:"-"` // its pattern, or what the shell is
}

// Surfaces are all that something is known of; none: an error, which says what file must hold.
func (k Unit) Surfaces(file string) ([]Surface, error) {
	var all []Surface
	if k.Face != nil {
		f := *k.Face
		f.Pose, f.Looks = part.PoseOf(part.Face, 0), k.Pattern
		all = append(all, f)
	}
	for _, s := range k.Shells {
		s.Pose, s.Looks = part.PoseOf(part.Shell, s.AngleDeg), shellLooks(k.Shell)
		all = append(all, s)
	}
	if len(all) == 0 {
		return nil, cli.Usagef("%s: it says nothing of the faceplate or the shell: \"face\", or each of \"shells\", must list files and "+
			"defects", file)
	}
	for _, s := range all {
		if len(s.Files) == 0 {
			return nil, cli.Usagef("%s: the %s names no files: which pictures show its defects is not known", file, s.Pose)
		}
		for i, d := range s.Defects {
			if _, _, err := d.Size(); err != nil && !d.OverAll() {
				return nil, cli.Usagef("%s: defect %d of the %s, %s, %w", file, i+1, s.Pose, cli.Or(d.Kind, "of no kind"), err)
			}
		}
	}
	return all, nil
}

// What a shell is, beside "shell" where that is not known.
const (
	OpaqueShell     = "opaque shell"
	SeeThroughShell = "see-through shell"
)

func shellLooks(what string) string {
	switch what {
	case "":
		return "shell"
	case "clear", "tinted":
		return SeeThroughShell
	}
	return what + " shell"
}

// Shows says whether a finding shows in the surface's pictures, and its box there.
func (s Surface) Shows(f part.Finding) (part.Box, bool) {
	for _, at := range append([]part.Sighting{{Image: f.Image, Box: f.Box}}, f.AlsoIn...) {
		if s.Holds(at.Image) {
			return at.Box, true
		}
	}
	return part.Box{}, false
}

// Holds says whether a picture's file is one of the surface's.
func (s Surface) Holds(file string) bool {
	for _, f := range s.Files {
		if f == file {
			return true
		}
	}
	return false
}

// Known are its defects that have a place, as study has them, and which of Defects they are.
func (s Surface) Known() (known []study.Known, of []Defect) {
	for _, d := range s.Defects {
		if size, _, err := d.Size(); err == nil && !d.OverAll() {
			known, of = append(known, study.Known{Kind: d.Kind, Box: study.Box(d.Box), Size: size}), append(of, d)
		}
	}
	return known, of
}

// Defect is a defect of known kind, place and size.
type Defect struct {
	Kind     string             `json:"type"`
	Box      []float64          `json:"box_px"`
	Diameter *float64           `json:"diameter"` // mm
	Length   *float64           `json:"length"`   // mm
	Width    *float64           `json:"width"`    // mm, of what has a length
	CNR      map[string]float64 `json:"cnr"`

	SlopeMRad float64 `json:"slope_mrad,omitempty"` // root mean square slope of orange peel; 0: not told
}

// Size is the size by which the defect's kind is told, in mm, and which it is.
func (d Defect) Size() (mm float64, measure string, err error) {
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

// OverAll says whether it is all over the surface, and has no place there.
func (d Defect) OverAll() bool { return d.Kind == string(part.OrangePeel) }

// Cnr is the best contrast-to-noise ratio of all pictures; false where none is
// told.
func (d Defect) Cnr() (float64, bool) {
	best, ok := 0.0, false
	for _, v := range d.CNR {
		best, ok = max(best, v), true
	}
	return best, ok
}

// FoldersWith lists the folders in dir that hold a file of this name.
func FoldersWith(dir, file string) ([]string, error) {
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
