package inspection

import (
	"os"
	"path/filepath"

	"finishbench/internal/cli"
)

// unitRef is a unit as named on the command line: a folder, and the name of
// the folder that its results get.
type unitRef struct {
	Dir  string // as given
	name string
}

// NameUnits gives each folder the name of its results, and refuses two of one name.
func NameUnits(dirs []string) ([]unitRef, error) {
	var units []unitRef
	seen := map[string]string{}
	for _, dir := range dirs {
		abs, err := filepath.Abs(dir)
		if err != nil {
			return nil, cli.Usagef("%s: %w", dir, err)
		}
		name := filepath.Base(abs)
		if name == string(filepath.Separator) {
			return nil, cli.Usagef("%s is the root of the disk, not a unit's folder", dir)
		}
		if first, ok := seen[name]; ok {
			if first == dir {
				return nil, cli.Usagef("%s is named twice", dir)
			}
			return nil, cli.Usagef("two units are called %s: %s and %s; their results would overwrite each other, so rename one folder "+
				"or inspect them with two --out folders", name, first, dir)
		}
		seen[name] = dir
		units = append(units, unitRef{dir, name})
	}
	return units, nil
}

// IsFolder says whether dir is there; if not, why, in plain words.
func IsFolder(dir string) (ok bool, why string) {
	info, err := os.Stat(dir)
	switch {
	case os.IsNotExist(err):
		return false, "there is no such folder"
	case err != nil:
		return false, err.Error()
	case !info.IsDir():
		return false, "this is a file; name the unit's folder (or use 'inspect surface' for single pictures)"
	}
	return true, ""
}
