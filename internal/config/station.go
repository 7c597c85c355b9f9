package config

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"finishbench/configs"
	"finishbench/internal/grade"
	"finishbench/internal/part"
)

// Station describes a bench station: cameras, lights, turntable, screen and page. What is measured at one place
// of a seam is a step station (part.StepStation). The names in the tags are the keys of
// station.yaml.
type Station struct {
	Version              int     `mapstructure:"version"`                // 1
	MMPerPX              float64 `mapstructure:"mm_per_px"`              // scale; 0: not set, 0.001..0.1
	URelScale            float64 `mapstructure:"u_rel_scale"`            // relative standard uncertainty of the scale, 0..0.1
	Jobs                 int     `mapstructure:"jobs"`                   // pictures at a time; 0: one a processor, 0..256
	FaceplateThicknessMM float64 `mapstructure:"faceplate_thickness_mm"` // 0: not known, 0.2..5
	LensDistanceMM       float64 `mapstructure:"lens_distance_mm"`       // of edge pictures, from the unit's axis to the lens; 0: not known, 50..5000
	Projection           string  `mapstructure:"projection"`             // of edge pictures: telecentric or perspective; "": not known
	Scales               []Scale `mapstructure:"scales"`                 // scale files; empty: mm_per_px holds
	Flats                []Flat  `mapstructure:"flats"`                  // flat-field files; empty: light is taken as it is
	Camera               string  `mapstructure:"camera"`                 // of pictures whose tags name none; "": not known
	Focus                string  `mapstructure:"focus"`                  // likewise
	CheckLog             string  `mapstructure:"check_log"`              // the check piece's log, see `inspect check`; "": none kept
	Records              string  `mapstructure:"records"`                // database of inspections, sqlite:FILE or postgres://USER@HOST/DATABASE; "": none is kept

	Fit part.FitLimits `mapstructure:"fit"` // when a picture is fit to measure

	Bench   Bench      `mapstructure:"bench"`
	Scans   Scans      `mapstructure:"scans"`
	Cameras []Camera   `mapstructure:"cameras"` // empty: pictures come as files
	Rig     Rig        `mapstructure:"rig"`
	Screen  Screen     `mapstructure:"screen"`
	Plan    []PlanStep `mapstructure:"plan"`     // shots of a unit, in order
	PlanWet []PlanStep `mapstructure:"plan_wet"` // the same of a unit at stage wet; empty: plan holds
	Lots    Lots       `mapstructure:"lots"`     // how lots are judged
}

// LensMM is the distance of the lens in edge pictures: 0 where it is not known, infinite of a telecentric one.
func (s Station) LensMM() float64 {
	if s.Projection == "telecentric" {
		return math.Inf(1)
	}
	return s.LensDistanceMM
}

// Scale names the scale file of a view's pictures.
type Scale struct {
	View string `mapstructure:"view"` // edge, face or shell; "": all views
	File string `mapstructure:"file"` // made absolute by [LoadStation], from the station file's folder
}

// Flat names the flat-field file of a view's pictures under a light.
type Flat struct {
	View  string `mapstructure:"view"`  // face or shell
	Light string `mapstructure:"light"` // diffuse or raking; "": pictures whose light is not told
	File  string `mapstructure:"file"`  // as of [Scale]
}

// LoadStation reads a station file; with the path "" the settings that are
// shipped inside the program. Keys that the file leaves out keep their shipped
// value. The error is a [FileError] where the file's content is wrong.
func LoadStation(path string) (Station, error) {
	s, _, err := ReadStation(path)
	return s, err
}

// ReadStation is [LoadStation], with the text that was read.
func ReadStation(path string) (Station, Text, error) {
	text := Text{"station.yaml (shipped)", configs.StationYAML}
	s, err := parseStation("shipped station.yaml", text.Bytes, Station{})
	if err != nil || path == "" {
		return s, text, err
	}
	text.Name = filepath.Base(path)
	if text.Bytes, err = content(path, "station"); err != nil {
		return Station{}, Text{}, err
	}
	if s, err = parseStation(path, text.Bytes, s); err != nil {
		return Station{}, Text{}, err
	}
	s.beside(filepath.Dir(path))
	return s, text, nil
}

// beside takes the files that the station names as lying from dir.
func (s *Station) beside(dir string) {
	from := func(name string) string {
		if name == "" || filepath.IsAbs(name) {
			return name
		}
		return filepath.Join(dir, name)
	}
	for i := range s.Scales {
		s.Scales[i].File = from(s.Scales[i].File)
	}
	for i := range s.Flats {
		s.Flats[i].File = from(s.Flats[i].File)
	}
	s.besideBench(from)
	s.CheckLog = from(s.CheckLog)
	if file, ok := strings.CutPrefix(s.Records, "sqlite:"); ok {
		s.Records = "sqlite:" + from(file)
	} else if !strings.Contains(s.Records, "://") {
		s.Records = from(s.Records)
	}
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
	c.zeroOr("lens_distance_mm", s.LensDistanceMM, 50, 5000)
	c.word("projection", s.Projection, "", "telecentric", "perspective")
	if s.Projection == "telecentric" && s.LensDistanceMM != 0 {
		c.addf("projection", "is telecentric beside lens_distance_mm: such a lens sees the same from any distance; leave one of them out")
	}
	s.validateScales(&c)
	s.validateFlats(&c)
	s.validateBench(&c)
	s.Scans.validate(&c)
	s.validateLots(&c)
	f := s.Fit
	c.between("fit.min_pixels", float64(f.MinPixels), 1, 50e6)
	c.between("fit.min_unit_px", f.MinUnitPX, 20, 10000)
	c.between("fit.clipped", f.Clipped, 0, 1)
	c.between("fit.clipped_raking", f.ClippedRaking, 0, 1)
	c.between("fit.min_level", f.MinLevel, 0, 1)
	c.between("fit.min_panel", f.MinPanel, 0, 1)
	c.between("fit.edge_width_px", f.EdgeWidthPX, 1, 50)
	c.between("fit.edge_width_share", f.EdgeWidthShare, 0, 0.05)
	c.between("fit.motion_px", f.MotionPX, 0.5, 50)
	c.between("fit.motion_share", f.MotionShare, 0, 0.05)
	c.between("fit.panel_uneven", f.PanelUneven, 0, 1)
	c.between("fit.panel_dirt", f.PanelDirt, 0, 1)
	c.between("fit.warn", f.Warn, 0, 1)
	return errors.Join(c...)
}

func (s Station) validateScales(c *checks) {
	seen := map[string]bool{}
	for i, sc := range s.Scales {
		key := fmt.Sprintf("scales[%d]", i)
		if sc.File == "" {
			c.addf(key+".file", "is missing: name a scale file, made by inspect scale")
		}
		if sc.View != "" && !slices.Contains(views, sc.View) {
			*c = append(*c, &grade.KeyError{Key: key + ".view", What: fmt.Sprintf("%q is no view", sc.View), Word: sc.View, Words: views})
		}
		if seen[sc.View] {
			c.addf(key+".view", "two scale files for the same view")
		}
		seen[sc.View] = true
	}
	if len(s.Scales) > 0 && s.MMPerPX != 0 {
		c.addf("mm_per_px", "is set beside scale files: leave it at 0, or take out scales")
	}
}

func (s Station) validateFlats(c *checks) {
	seen := map[[2]string]bool{}
	for i, f := range s.Flats {
		key := fmt.Sprintf("flats[%d]", i)
		if f.File == "" {
			c.addf(key+".file", "is missing: name a flat-field file, made by inspect camera")
		}
		if !slices.Contains(surfaceViews, f.View) {
			*c = append(*c, &grade.KeyError{Key: key + ".view", What: fmt.Sprintf("%q is no view of a surface", f.View), Word: f.View, Words: surfaceViews})
		}
		if f.Light != "" && !slices.Contains(lights, f.Light) {
			*c = append(*c, &grade.KeyError{Key: key + ".light", What: fmt.Sprintf("%q is no light", f.Light), Word: f.Light, Words: lights})
		}
		if at := [2]string{f.View, f.Light}; seen[at] {
			c.addf(key, "two flat-field files for the same view and light")
		} else {
			seen[at] = true
		}
	}
}

var (
	surfaceViews = []string{string(part.Face), string(part.Shell)}
	lights       = []string{string(part.Diffuse), string(part.Raking)}
)

var views = []string{string(part.Edge), string(part.Face), string(part.Shell)}

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
