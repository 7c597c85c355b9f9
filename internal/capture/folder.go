package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"

	"finishbench/internal/files"
	"finishbench/internal/part"
)

// UnitFile is the file in a unit's folder that lists pictures whose names do
// not tell their view.
const UnitFile = "unit.yaml"

// maxUnitFile bounds unit.yaml, in bytes. Common practice, no source.
const maxUnitFile = 1 << 20

// ErrNoPictures says that a folder holds nothing to inspect.
var ErrNoPictures = errors.New("no pictures")

// extensions are the file name endings taken as pictures, lower case.
var extensions = []string{".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp"}

// unitYAML is unit.yaml as written. Unknown keys are refused.
type unitYAML struct {
	Serial   string        `yaml:"serial"` // the unit's name in the result; absent: the folder's name
	Pictures []pictureYAML `yaml:"pictures"`
}

type pictureYAML struct {
	File     string   `yaml:"file"`      // inside the folder
	View     string   `yaml:"view"`      // edge, face or shell
	Light    string   `yaml:"light"`     // one of part.Lights; may be absent
	AngleDeg *float64 `yaml:"angle_deg"` // edge and shell pictures: -360..360
}

// Scan lists the pictures of one unit. Pictures are named edge_<degrees>,
// face_<light>, shell_<light> or shell_<degrees>_<light>, with light one of
// [part.Lights], and end in .jpg, .jpeg, .png, .tif, .tiff or .bmp. A unit.yaml
// names the view of pictures with other names, and may give the unit's serial:
//
//	serial: "A-0123"
//	pictures:
//	  - {file: IMG_0001.png, view: edge, angle_deg: 30}
//	  - {file: top.tif, view: face, light: raking}
//	  - {file: side.tif, view: shell, angle_deg: -90, light: raking} # turn 270
//
// What unit.yaml says of a file wins over the file's name. Files that are
// neither named so nor listed are left alone. No picture is opened here.
//
// Errors: the folder is missing, not a folder or unreadable; it has no pictures
// ([ErrNoPictures]); a name that begins like a view but does not go on like one;
// two pictures of one turn of the shell, or of one view, under one light;
// unit.yaml has a fault, lists a file that is not there, or one outside.
func Scan(dir string) (part.Folder, error) {
	f, err := scan(dir)
	if err != nil {
		return part.Folder{}, fmt.Errorf("capture: unit folder %s: %w", dir, err)
	}
	shots := make([]*part.Shot, len(f.Shots))
	for i := range f.Shots {
		shots[i] = &f.Shots[i]
	}
	part.MarkSets(shots)
	return f, nil
}

func scan(dir string) (part.Folder, error) {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return part.Folder{}, errors.New("there is no such folder; check the path")
	case errors.Is(err, os.ErrPermission):
		return part.Folder{}, errors.New("no permission to read it")
	case err != nil:
		if st, e := os.Stat(dir); e == nil && !st.IsDir() {
			return part.Folder{}, errors.New("this is a file; give the folder that holds the unit's pictures")
		}
		return part.Folder{}, err
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return part.Folder{}, err
	}
	f := part.Folder{Name: filepath.Base(abs), Dir: dir}
	list, err := readUnitFile(dir)
	if err != nil {
		return part.Folder{}, err
	}
	if list.Serial != "" {
		f.Name = list.Serial
	}
	listed := map[string]bool{}
	for _, p := range list.Pictures {
		shot, err := p.shot()
		if err != nil {
			return part.Folder{}, fmt.Errorf("%s: %w", UnitFile, err)
		}
		if listed[shot.File] {
			return part.Folder{}, fmt.Errorf("%s: %s is listed twice", UnitFile, shot.File)
		}
		listed[shot.File] = true
		shot.Path = filepath.Join(dir, shot.File)
		if st, err := os.Stat(shot.Path); err != nil || st.IsDir() {
			return part.Folder{}, fmt.Errorf("%s lists %s, which is not there; correct the list or add the picture", UnitFile, shot.File)
		}
		f.Shots = append(f.Shots, shot)
	}
	var other string
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() || listed[name] || !IsPicture(name) {
			continue
		}
		shot, ok, err := shotByName(name)
		if err != nil {
			return part.Folder{}, err
		}
		if !ok {
			other = name
			continue
		}
		shot.Path = filepath.Join(dir, name)
		f.Shots = append(f.Shots, shot)
	}
	if len(f.Shots) == 0 {
		if other != "" {
			return part.Folder{},
				fmt.Errorf("%w with a name that tells the view (%s, for one, does not): name them edge_<degrees>, face_<light>, "+
					"shell_<light> or shell_<degrees>_<light>, or list them in %s", ErrNoPictures, other, UnitFile)
		}
		if len(entries) == 0 {
			return part.Folder{}, fmt.Errorf("%w: it is empty", ErrNoPictures)
		}
		return part.Folder{}, fmt.Errorf("%w: no .jpg, .png, .tif or .bmp file in it", ErrNoPictures)
	}
	slices.SortFunc(f.Shots, func(a, b part.Shot) int { return strings.Compare(a.File, b.File) })
	return f, oneOfEach(f.Shots)
}

// oneOfEach refuses two pictures of one pose under one light: shell_raking,
// shell_000_raking and shell_360_raking are all turn 0. Of edges and faces two that
// are both searched were always taken.
func oneOfEach(shots []part.Shot) error {
	for i, a := range shots {
		for _, b := range shots[:i] {
			same := a.Pose() == b.Pose() && a.Light == b.Light
			if same && (a.View == part.Shell && a.Light != part.NoLight || !(a.Searched() && b.Searched())) {
				return fmt.Errorf("%s and %s are of one pose and one light (a shell picture without a turn in its name is turn 0, and so "+
					"is 360): keep one of them", b.File, a.File)
			}
		}
	}
	return nil
}

// IsPicture reports whether a file name ends like a picture and is not hidden
// (some systems leave ._name.jpg files that hold no picture).
func IsPicture(name string) bool {
	return !strings.HasPrefix(name, ".") && slices.Contains(extensions, strings.ToLower(filepath.Ext(name)))
}

// shotByName reads view, light and angle from a file name. ok is false for a
// name of another sort; the error is for one that begins like a view but does
// not go on like one, as a misspelt angle must not lose a station in silence.
func shotByName(name string) (shot part.Shot, ok bool, err error) {
	stem := strings.ToLower(strings.TrimSuffix(name, filepath.Ext(name)))
	view, rest, _ := strings.Cut(stem, "_")
	shot = part.Shot{File: name, View: part.View(view)}
	switch shot.View {
	case part.Edge:
		a, err := strconv.ParseFloat(rest, 64)
		if err != nil || !goodAngle(a) {
			return shot, false, fmt.Errorf("%s: the name of an edge picture ends in its angle in degrees, as in edge_030.jpg", name)
		}
		shot.AngleDeg = a
	case part.Face, part.Shell:
		wrong := fmt.Errorf("%s: the name of a face picture ends in its light, as in face_raking.jpg; lights: %s", name, lightWords)
		if shot.View == part.Shell {
			wrong = fmt.Errorf("%s: the name of a shell picture ends in its light, as in shell_raking.jpg, or in its turn in degrees and "+
				"its light, as in shell_045_raking.jpg; lights: %s", name, lightWords)
		}
		shot.Light = part.Light(rest)
		if turn, light, ok := strings.Cut(rest, "_"); ok && shot.View == part.Shell && !goodLight(shot.Light) {
			a, err := strconv.ParseFloat(turn, 64)
			if err != nil || !goodAngle(a) {
				return shot, false, wrong
			}
			shot.Light, shot.AngleDeg = part.Light(light), part.Turn(a)
		}
		if !goodLight(shot.Light) {
			return shot, false, wrong
		}
	default:
		return shot, false, nil
	}
	return shot, true, nil
}

// goodLight accepts a light's word in a name.
func goodLight(l part.Light) bool { return l != part.NoLight && slices.Contains(part.Lights, l) }

// lightWords lists the lights that a name may have.
const lightWords = "diffuse, raking, back; of a screen white, black, stripes_x0 to stripes_x3, stripes_y0 to stripes_y3"

// goodAngle accepts one turn either way; NaN fails.
func goodAngle(a float64) bool { return a >= -360 && a <= 360 }

// readUnitFile reads dir's unit.yaml; an absent one is an empty list.
func readUnitFile(dir string) (unitYAML, error) {
	file, err := files.Open(filepath.Join(dir, UnitFile))
	if errors.Is(err, os.ErrNotExist) {
		return unitYAML{}, nil
	}
	if err != nil {
		return unitYAML{}, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, maxUnitFile+1))
	if err != nil {
		return unitYAML{}, fmt.Errorf("%s: %w", UnitFile, err)
	}
	return parseUnitFile(data)
}

// parseUnitFile reads unit.yaml's text and checks what can be checked without
// looking at the folder.
func parseUnitFile(data []byte) (unitYAML, error) {
	var u unitYAML
	if len(data) > maxUnitFile {
		return u, fmt.Errorf("%s is larger than %d bytes", UnitFile, maxUnitFile)
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	dec.KnownFields(true)
	if err := dec.Decode(&u); err != nil {
		if errors.Is(err, io.EOF) {
			return unitYAML{}, fmt.Errorf("%s is empty; list the pictures in it or take it away", UnitFile)
		}
		return unitYAML{}, fmt.Errorf("%s: %s", UnitFile, plainYAMLError(err))
	}
	if err := dec.Decode(new(any)); !errors.Is(err, io.EOF) {
		return unitYAML{}, fmt.Errorf("%s: more than one document in it; keep the first", UnitFile)
	}
	if err := goodSerial(u.Serial); err != nil {
		return unitYAML{}, fmt.Errorf("%s: %w", UnitFile, err)
	}
	for _, p := range u.Pictures {
		if _, err := p.shot(); err != nil {
			return unitYAML{}, fmt.Errorf("%s: %w", UnitFile, err)
		}
	}
	return u, nil
}

// plainYAMLError makes one line of the library's message, without Go types.
func plainYAMLError(err error) string {
	s := strings.TrimPrefix(err.Error(), "yaml: ")
	s = strings.TrimPrefix(s, "unmarshal errors:\n")
	s = strings.ReplaceAll(s, "cannot unmarshal !!", "cannot take ")
	s = strings.ReplaceAll(s, " in type capture.unitYAML", " (keys: serial, pictures)")
	s = strings.ReplaceAll(s, " in type capture.pictureYAML", " (keys: file, view, light, angle_deg)")
	s = strings.ReplaceAll(s, "capture.unitYAML", "serial and pictures")
	s = strings.ReplaceAll(s, "[]capture.pictureYAML", "a list of pictures")
	s = strings.ReplaceAll(s, "capture.pictureYAML", "file, view, light and angle_deg")
	return strings.Join(strings.Fields(s), " ")
}

// goodSerial refuses a serial that could not be a folder's name.
func goodSerial(s string) error {
	bad := strings.ContainsFunc(s, func(r rune) bool { return r == '/' || r == '\\' || !unicode.IsPrint(r) })
	if bad || len(s) > 200 || s == "." || s == ".." || s != strings.TrimSpace(s) {
		return fmt.Errorf("serial %q: use up to 200 letters, digits and signs, without slashes or spaces at the ends", s)
	}
	return nil
}

// shot turns one entry into a Shot without its path. File names stay inside
// the folder by their spelling; a link that someone put into the folder is
// followed.
func (p pictureYAML) shot() (part.Shot, error) {
	s := part.Shot{File: filepath.Clean(p.File), View: part.View(p.View), Light: part.Light(p.Light)}
	switch {
	case p.File == "":
		return s, errors.New("a picture without a file name; give it as file: name")
	case !filepath.IsLocal(p.File) || strings.Contains(p.File, `\`) || strings.ContainsFunc(p.File, unicode.IsControl):
		return s, fmt.Errorf("%q lies outside the unit's folder; list only files inside it", p.File)
	case !slices.Contains(part.Views, s.View):
		return s, fmt.Errorf("%s: view %q; use edge, face or shell", p.File, p.View)
	case !slices.Contains(part.Lights, s.Light):
		return s, fmt.Errorf("%s: light %q; use %s", p.File, p.Light, lightWords)
	case s.View == part.Edge && s.Light.OfScreen():
		return s, fmt.Errorf("%s: light %s is for face and shell pictures only", p.File, s.Light)
	case s.View == part.Edge && p.AngleDeg == nil:
		return s, fmt.Errorf("%s: an edge picture needs angle_deg, the unit's turn in degrees", p.File)
	case s.View == part.Face && p.AngleDeg != nil:
		return s, fmt.Errorf("%s: angle_deg is for edge and shell pictures only", p.File)
	case p.AngleDeg != nil && !goodAngle(*p.AngleDeg):
		return s, fmt.Errorf("%s: angle_deg %g; give -360 to 360", p.File, *p.AngleDeg)
	}
	if p.AngleDeg != nil {
		s.AngleDeg = *p.AngleDeg
	}
	if s.View == part.Shell {
		s.AngleDeg = part.Turn(s.AngleDeg)
	}
	return s, nil
}
