package defects

import (
	"reflect"
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// A caller is asked of each finding, with the features and the rules' call that the
// finding then has; its kind is taken where it has one, the rules' is kept beside it,
// and which findings there are does not change.
func TestCaller(t *testing.T) {
	pictures, _, mm := facePair("plain", 61, nil, map[part.Kind]int{part.Dust: 2, part.Bubble: 2, part.Fibre: 1})
	p := scene.DefaultParams(mm)
	plain, err := Find(pictures, p)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	p.Call = func(f map[string]float64, rule part.Kind, sure float64) (part.Kind, float64, bool) {
		asked++
		switch rule {
		case part.Dust:
			return part.Run, 0.01, true // below the least confidence: it stays all the same
		case part.Bubble:
			return part.Bubble, 1, true
		}
		return part.Chip, 1, false // no call
	}
	called, err := Find(pictures, p)
	if err != nil {
		t.Fatal(err)
	}
	if len(called.Findings) != len(plain.Findings) || asked < len(called.Findings) || len(called.Findings) < 5 {
		t.Fatalf("%d findings, %d with a caller, who was asked %d times", len(plain.Findings), len(called.Findings), asked)
	}
	for i, f := range called.Findings {
		was := plain.Findings[i]
		if was.Rule != nil {
			t.Errorf("without a caller the rules' call is kept apart: %+v", was.Rule)
		}
		if f.Rule == nil || f.Rule.Kind != was.Kind || f.Rule.Confidence != was.Confidence || !reflect.DeepEqual(f.Features, was.Features) {
			t.Errorf("the rules call it %s (%.2f), beside the caller's it says %+v", was.Kind, was.Confidence, f.Rule)
			continue
		}
		switch was.Kind {
		case part.Dust:
			if f.Kind != part.Run || f.Confidence > 0.01 || f.DiameterMM != nil || f.LengthMM == nil {
				t.Errorf("called a run it is %s (%.2f), diameter %v", f.Kind, f.Confidence, f.DiameterMM)
			}
		case part.Bubble:
			if f.Kind != part.Bubble || f.Confidence < was.Confidence {
				t.Errorf("sure of a bubble: %s (%.2f, the rules %.2f)", f.Kind, f.Confidence, was.Confidence)
			}
		default:
			if f.Kind != was.Kind || f.Confidence != was.Confidence {
				t.Errorf("without a call it is %s (%.2f), not %s (%.2f)", f.Kind, f.Confidence, was.Kind, was.Confidence)
			}
		}
	}
}
