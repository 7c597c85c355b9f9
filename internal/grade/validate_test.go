package grade

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"finishbench/internal/part"
)

func TestDefaultLimitsAreValid(t *testing.T) {
	if err := DefaultLimits().Validate(); err != nil {
		t.Fatal(err)
	}
}

func TestStepLimits(t *testing.T) {
	l := DefaultLimits()
	if p, r := l.StepLimits(part.Wet); p != 50 || r != 50 {
		t.Errorf("shipped: %v and %v um, want 50 and 50, where a step becomes major", p, r)
	}
	l.Seam[0].By[0] = classes(ProudUM, 25, never, never, never)
	if p, _ := l.StepLimits(part.Trim); p != 25 {
		t.Errorf("with minor alone: %v um, want 25", p)
	}
	if p, _ := l.StepLimits(""); !math.IsInf(p, 1) {
		t.Errorf("without a stage: %v um, want none", p)
	}
}

// Every number of the limits, made NaN, infinite or absurd, must be refused with
// its key. Reflection finds them, so that a new one is not forgotten.
func TestNoNumberGoesUnchecked(t *testing.T) {
	n := 0
	var walk func(v reflect.Value, key string)
	l := DefaultLimits()
	check := func(key string, bad float64) {
		if err := l.Validate(); err == nil || !strings.Contains(err.Error(), key) {
			t.Errorf("%s = %v: error %v, want one that names the key", key, bad, err)
		}
	}
	walk = func(v reflect.Value, key string) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				name := v.Type().Field(i).Tag.Get("mapstructure")
				if key != "" {
					name = key + "." + name
				}
				walk(v.Field(i), name)
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i), fmt.Sprintf("%s[%d]", key, i))
			}
		case reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem(), key)
			}
		case reflect.Float64:
			old := v.Float()
			n++
			for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 1e9} {
				v.SetFloat(bad)
				check(key, bad)
			}
			v.SetFloat(old)
		case reflect.Int:
			old := v.Int()
			for _, bad := range []int64{-1, 1e9} {
				v.SetInt(bad)
				check(key, float64(bad))
			}
			v.SetInt(old)
		}
	}
	walk(reflect.ValueOf(&l).Elem(), "")
	if n < 50 {
		t.Errorf("%d numbers tried, want at least 50: has the walk lost its way?", n)
	}
	if err := l.Validate(); err != nil {
		t.Errorf("after all was put back: %v", err)
	}
}
