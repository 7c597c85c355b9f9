package config

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"finishbench/configs"
	"finishbench/internal/grade"
)

// Station describes the camera station. The names in the tags are the keys of
// station.yaml.
type Station struct {
	Version              int     `mapstructure:"version"`                // 1
	MMPerPX              float64 `mapstructure:"mm_per_px"`              // scale; 0: not set, 0.001..0.1
	URelScale            float64 `mapstructure:"u_rel_scale"`            // relative standard uncertainty of the scale, 0..0.1
	Jobs                 int     `mapstructure:"jobs"`                   // pictures at a time; 0: one a processor, 0..256
	FaceplateThicknessMM float64 `mapstructure:"faceplate_thickness_mm"` // 0: not known, 0.2..5
}

// LoadStation reads a station file; with the path "" the settings that are
// shipped inside the program. Keys that the file leaves out keep their shipped
// value. The error is a [FileError] where the file's content is wrong.
func LoadStation(path string) (Station, error) {
	s, err := parseStation("shipped station.yaml", configs.StationYAML, Station{})
	if err != nil || path == "" {
		return s, err
	}
	name, data, err := content(path, "station")
	if err != nil {
		return Station{}, err
	}
	return parseStation(name, data, s)
}

func parseStation(name string, data []byte, s Station) (Station, error) {
	if err := decode(name, data, &s, func() error { return s.Validate() }); err != nil {
		return Station{}, err
	}
	return s, nil
}

// Validate checks the settings. The error joins a [grade.KeyError] for each
// thing that is wrong.
func (s Station) Validate() error {
	var c checks
	if s.Version != 1 {
		c.addf("version", "%d, but this program reads version 1", s.Version)
	}
	c.zeroOr("mm_per_px", s.MMPerPX, 0.001, 0.1)
	c.between("u_rel_scale", s.URelScale, 0, 0.1)
	c.between("jobs", float64(s.Jobs), 0, 256)
	c.zeroOr("faceplate_thickness_mm", s.FaceplateThicknessMM, 0.2, 5)
	return errors.Join(c...)
}

// checks gathers what is wrong.
type checks []error

func (c *checks) addf(key, format string, a ...any) {
	*c = append(*c, &grade.KeyError{Key: key, What: fmt.Sprintf(format, a...)})
}

func (c *checks) between(key string, v, lo, hi float64) {
	if math.IsNaN(v) || v < lo || v > hi {
		c.addf(key, "%s is not between %s and %s", plain(v), plain(lo), plain(hi))
	}
}

func (c *checks) zeroOr(key string, v, lo, hi float64) {
	if v != 0 && !(v >= lo && v <= hi) {
		c.addf(key, "%s is not between %s and %s (0: not set)", plain(v), plain(lo), plain(hi))
	}
}

func plain(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
