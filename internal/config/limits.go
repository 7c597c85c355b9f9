package config

import (
	"path/filepath"

	"finishbench/configs"
	"finishbench/internal/grade"
)

// LoadLimits reads a limits file; with the path "" the limits that are shipped
// ([grade.DefaultLimits], which a test keeps equal to configs/limits.yaml: the
// program need not read that file at each start). Keys that the file leaves out
// keep their shipped value; a list in the file replaces the whole list. The
// error is a [FileError] where the file's content is wrong.
func LoadLimits(path string) (grade.Limits, error) {
	l, _, err := ReadLimits(path)
	return l, err
}

// ReadLimits is [LoadLimits], with the text that was read.
func ReadLimits(path string) (grade.Limits, Text, error) {
	if path == "" {
		return grade.DefaultLimits(), Text{"limits.yaml (shipped)", configs.LimitsYAML}, nil
	}
	data, err := content(path, "limits")
	if err != nil {
		return grade.Limits{}, Text{}, err
	}
	l, err := ParseLimits(path, data)
	return l, Text{filepath.Base(path), data}, err
}

// ParseLimits reads the content of a limits file, such as the records keep it.
func ParseLimits(name string, data []byte) (grade.Limits, error) {
	l := grade.DefaultLimits()
	if err := decode(name, data, &l, func() error { return l.Validate() }); err != nil {
		return grade.Limits{}, err
	}
	return l, nil
}
