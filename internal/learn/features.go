package learn

import (
	"math"
	"slices"
)

// Feature is one of the numbers that a kind is told from: one that a finding's
// features in result.json have, in the form in which a model weighs it.
type Feature struct {
	Name string `json:"name"`
	Form string `json:"form"` // how the number is taken, in words
	take func(map[string]float64) float64
}

// The least value of each number that a logarithm is taken of: what is below
// cannot be told apart (common practice, no source; the units are the names').
const (
	leastRatio    = 0.05
	leastMM       = 0.01
	leastContrast = 0.005
)

// features lists what a model weighs, in order. A number that a finding lacks,
// because there was no such light, is NaN, and weighs nothing.
var features = []Feature{
	logged("response_over_threshold", leastRatio),
	logged("opacity", leastRatio),
	logged("line_length_mm", leastMM),
	logged("thickness_mm", leastMM),
	plain("fill"),
	plain("bend"),
	logged("parallel_lines", 0.5),
	logged("grain", leastRatio),
	{"one_sided", "as it is; 0 where absent and the raking picture is there", func(f map[string]float64) float64 {
		if _, raking := f["contrast_raking"]; !raking {
			return number(f, "one_sided")
		}
		return f["one_sided"]
	}},
	{"ring_radius_mm", "as it is; 0 where absent", func(f map[string]float64) float64 { return f["ring_radius_mm"] }},
	plain("contrast_diffuse"),
	plain("contrast_raking"),
	size("contrast_diffuse_size", "contrast_diffuse"),
	size("contrast_raking_size", "contrast_raking"),
	{"contrasts_alike", "the smaller of the two contrasts over the larger, negative where one is lighter and one darker", alike},
}

// Weighable says whether a finding's features have any of the numbers that a model weighs:
// those of what a screen's stripes show have none.
func Weighable(f map[string]float64) bool {
	return slices.ContainsFunc(features, func(x Feature) bool { _, ok := f[x.Name]; return ok })
}

func number(f map[string]float64, name string) float64 {
	if v, ok := f[name]; ok {
		return v
	}
	return math.NaN()
}

func plain(name string) Feature {
	return Feature{name, "as it is", func(f map[string]float64) float64 { return number(f, name) }}
}

func logged(name string, least float64) Feature {
	return Feature{name, "logarithm", func(f map[string]float64) float64 {
		v := number(f, name)
		if math.IsNaN(v) {
			return v
		}
		return math.Log(math.Max(v, least))
	}}
}

func size(name, of string) Feature {
	return Feature{name, "logarithm of the size", func(f map[string]float64) float64 {
		v := number(f, of)
		if math.IsNaN(v) {
			return v
		}
		return math.Log(math.Max(math.Abs(v), leastContrast))
	}}
}

func alike(f map[string]float64) float64 {
	a, b := number(f, "contrast_diffuse"), number(f, "contrast_raking")
	large := math.Max(math.Abs(a), math.Abs(b))
	if math.IsNaN(large) {
		return math.NaN()
	}
	if large < leastContrast {
		return 1
	}
	share := math.Min(math.Abs(a), math.Abs(b)) / large
	if a*b < 0 {
		return -share
	}
	return share
}

// vector is a finding's numbers in the order of the features.
func vector(f map[string]float64) []float64 {
	v := make([]float64, len(features))
	for i, ft := range features {
		if v[i] = ft.take(f); math.IsInf(v[i], 0) {
			v[i] = math.NaN()
		}
	}
	return v
}
