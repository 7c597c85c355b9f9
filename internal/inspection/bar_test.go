package inspection

import (
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// What bars a pass leaves a unit that needs work as it is.
func TestBar(t *testing.T) {
	for _, v := range []part.Verdict{part.Pass, part.Rework} {
		r := &part.Result{Verdict: v}
		why := part.Say("check.none")
		bar(r, &why)
		if want := map[part.Verdict]part.Verdict{part.Pass: part.NotMeasured,
			part.Rework: part.Rework}[v]; r.Verdict != want || len(r.Warnings) != 1 {
			t.Errorf("%s becomes %s, warnings %q", v, r.Verdict, r.Warnings)
		}
		r = &part.Result{Verdict: v}
		if bar(r, nil); r.Verdict != v || r.Warnings != nil {
			t.Errorf("%s becomes %s though nothing bars", v, r.Verdict)
		}
	}
}

// A scale that is rated poor passes no unit; one that is fair or good bars nothing.
func TestPoorScale(t *testing.T) {
	f := &ScaleFile{Scale: optics.Scale{Rating: optics.RatedPoor}, Path: "a.json"}
	set := Settings{Scales: []*ScaleFile{f}}
	r := &part.Result{Verdict: part.Pass}
	if why, barred := set.PoorScale(); !barred {
		t.Error("a poor scale bars nothing")
	} else if bar(r, &why); r.Verdict != part.NotMeasured || len(r.Reasons) != 1 {
		t.Errorf("%+v", r)
	}
	for _, word := range []string{optics.RatedFair, optics.RatedGood} {
		f.Rating = word
		if why, barred := set.PoorScale(); barred {
			t.Errorf("%s: %v", word, why)
		}
	}
}
