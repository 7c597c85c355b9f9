package study

import (
	"reflect"
	"testing"
)

func TestMatch(t *testing.T) {
	known := []Known{{"bubble", Box{100, 100, 20, 20}, 0.3}, {"bubble", Box{125, 100, 20, 20}, 0.3}, {"dust", Box{400, 400, 4, 4}, 0.06},
		{"fibre", Box{600, 600, 100, 10}, 1.5}}
	called := []Called{
		{"bubble", Box{101, 101, 24, 20}}, // the first; it touches the second too
		{"dust", Box{407, 400, 4, 4}},     // the dust, within the slack of 3 px
		{"fibre", Box{600, 600, 40, 10}},  // the fibre in two pieces: one is its call
		{"fibre", Box{650, 600, 50, 10}},
		{"bubble", Box{800, 800, 10, 10}}, // nothing there
		{"run", Box{0, 0, 1000, 130}},     // half the picture: tells of nothing
	}
	m := Match(known, called, DefaultMatchRule())
	if want := []int{0, -1, 1, 3}; !reflect.DeepEqual(m.Call, want) {
		t.Errorf("calls %v, want %v", m.Call, want)
	}
	if want := []int{2}; !reflect.DeepEqual(m.Repeats, want) {
		t.Errorf("repeats %v, want %v", m.Repeats, want)
	}
	if want := []int{4, 5}; !reflect.DeepEqual(m.False, want) {
		t.Errorf("false %v, want %v", m.False, want)
	}
	if want := []int{1}; !reflect.DeepEqual(m.Shared, want) {
		t.Errorf("shared %v, want %v", m.Shared, want)
	}
}

// A call that could tell of two defects leaves the one that has another call:
// as many pairs as there can be, though the nearest alone would make fewer.
func TestMatchMakesMostPairs(t *testing.T) {
	known := []Known{{Box: Box{100, 100, 20, 20}}, {Box: Box{130, 100, 20, 20}}}
	called := []Called{{Box: Box{115, 100, 14, 20}}, {Box: Box{92, 100, 10, 20}}}
	m := Match(known, called, DefaultMatchRule())
	if want := []int{1, 0}; !reflect.DeepEqual(m.Call, want) {
		t.Errorf("calls %v, want %v", m.Call, want)
	}
}

func TestMatchNothing(t *testing.T) {
	m := Match(nil, []Called{{Box: Box{1, 1, 2, 2}}}, DefaultMatchRule())
	if len(m.False) != 1 {
		t.Errorf("%+v", m)
	}
	m = Match([]Known{{Box: Box{1, 1, 2, 2}}}, nil, DefaultMatchRule())
	if m.Call[0] != -1 || len(m.Shared) != 0 {
		t.Errorf("%+v", m)
	}
}
