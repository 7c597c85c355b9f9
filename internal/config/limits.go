package config

import "finishbench/internal/grade"

// LoadLimits reads a limits file; with the path "" the limits that are shipped
// ([grade.DefaultLimits], which a test keeps equal to configs/limits.yaml: the
// program need not read that file at each start). Keys that the file leaves out
// keep their shipped value; a list in the file replaces the whole list. The
// error is a [FileError] where the file's content is wrong.
func LoadLimits(path string) (grade.Limits, error) {
	if path == "" {
		return grade.DefaultLimits(), nil
	}
	name, data, err := content(path, "limits")
	if err != nil {
		return grade.Limits{}, err
	}
	return parseLimits(name, data)
}

// ParseLimits reads the content of a limits file, such as the records keep it.
func ParseLimits(name string, data []byte) (grade.Limits, error) { return parseLimits(name, data) }

func parseLimits(name string, data []byte) (grade.Limits, error) {
	l := grade.DefaultLimits()
	if err := decode(name, data, &l, func() error { return l.Validate() }); err != nil {
		return grade.Limits{}, err
	}
	return l, nil
}
