package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// Two-point designs of the reference, section 2: (.05,.05; .15,.075) -> 80, 7 and
// (.01,.02; .05,.15) -> 144, 4. Without a find: 1-.95^n >= .95 wants 59 of a process (from
// memory); of a lot it takes no more.
func TestLotDesign(t *testing.T) {
	for _, c := range []struct {
		o     lotDesignOptions
		n, ac int
	}{
		{lotDesignOptions{good: 5, producer: 5, bad: 15, consumer: 7.5, law: "binomial"}, 80, 7},
		{lotDesignOptions{good: 1, producer: 2, bad: 5, consumer: 15, law: "binomial"}, 144, 4},
	} {
		var out bytes.Buffer
		c.o.JSON = true
		if err := runLotDesign(c.o, &out); err != nil {
			t.Fatal(err)
		}
		var d lotDesign
		if err := json.Unmarshal(out.Bytes(), &d); err != nil || d.Plan.N != c.n || d.Plan.Ac != c.ac || len(d.Curve) == 0 {
			t.Errorf("%v: %+v, want %d and %d", err, d.Plan, c.n, c.ac)
		}
	}
	d, err := lotDesignOptions{zero: true, bad: 5, consumer: 5, size: 500}.design()
	if err != nil || d.Plan.Ac != 0 || d.Plan.N > 59 || d.Plan.N < 50 || d.Plan.Accept(0.05) > 0.05 {
		t.Errorf("%+v, %v", d.Plan, err)
	}
	if one := d.Plan; true { // one fewer lets too many through
		one.N--
		if !(one.Accept(0.05) > 0.05) || math.IsNaN(one.Accept(0.05)) {
			t.Errorf("%d units would do", one.N)
		}
	}
	var text bytes.Buffer
	if err := runLotDesign(lotDesignOptions{good: 1, producer: 5, bad: 6.5, consumer: 10, law: "hypergeometric", size: 500}, &text); err != nil || !strings.Contains(text.String(), "should not pass") {
		t.Errorf("%v: %s", err, text.String())
	}
}

func TestLotDesignBadInput(t *testing.T) {
	for name, o := range map[string]lotDesignOptions{
		"nothing":          {law: "binomial"},
		"good worse":       {good: 9, producer: 5, bad: 5, consumer: 10, law: "binomial"},
		"no such law":      {good: 1, producer: 5, bad: 5, consumer: 10, law: "normal"},
		"lot not told":     {good: 1, producer: 5, bad: 5, consumer: 10, law: "hypergeometric"},
		"zero, no lot":     {zero: true, bad: 5, consumer: 10},
		"a risk above 100": {good: 1, producer: 500, bad: 5, consumer: 10, law: "binomial"},
		"not a number":     {good: math.NaN(), producer: 5, bad: 5, consumer: 10, law: "binomial"},
	} {
		err := runLotDesign(o, &bytes.Buffer{})
		if err == nil || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "--") {
			t.Errorf("%s: %v, want one line that names the option", name, err)
		}
	}
}
