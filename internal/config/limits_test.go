package config

import (
	"reflect"
	"testing"

	"finishbench/internal/grade"
)

func TestShippedLimitsEqualDefaults(t *testing.T) {
	got, err := LoadLimits("")
	if err != nil {
		t.Fatal(err)
	}
	if want := grade.DefaultLimits(); !reflect.DeepEqual(got, want) {
		t.Errorf("configs/limits.yaml and grade.DefaultLimits differ:\n got %+v\nwant %+v", got, want)
	}
	l, err := LoadLimits("../../configs/limits.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(l, got) {
		t.Error("the embedded file is not configs/limits.yaml")
	}
}
