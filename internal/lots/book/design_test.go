package book

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"finishbench/internal/cli"
)

// Two-point designs of the reference, section 2: (.05,.05; .15,.075) -> 80, 7 and
// (.01,.02; .05,.15) -> 144, 4. Without a find: 1-.95^n >= .95 wants 59 of a process (from
// memory); of a lot it takes no more.
func TestLotDesign(t *testing.T) {
	for _, c := range []struct {
		o     DesignOptions
		n, ac int
	}{
		{DesignOptions{Good: 5, Producer: 5, Bad: 15, Consumer: 7.5, Law: "binomial"}, 80, 7},
		{DesignOptions{Good: 1, Producer: 2, Bad: 5, Consumer: 15, Law: "binomial"}, 144, 4},
	} {
		var out bytes.Buffer
		c.o.JSON = true
		if err := RunDesign(c.o, &out); err != nil {
			t.Fatal(err)
		}
		var d Design
		if err := json.Unmarshal(out.Bytes(), &d); err != nil || d.Plan.N != c.n || d.Plan.Ac != c.ac || len(d.Curve) == 0 {
			t.Errorf("%v: %+v, want %d and %d", err, d.Plan, c.n, c.ac)
		}
	}
	d, err := DesignOptions{Zero: true, Bad: 5, Consumer: 5, Size: 500}.design()
	if err != nil || d.Plan.Ac != 0 || d.Plan.N > 59 || d.Plan.N < 50 || d.Plan.Accept(0.05) > 0.05 {
		t.Errorf("%+v, %v", d.Plan, err)
	}
	if one := d.Plan; true { // one fewer lets too many through
		one.N--
		if !(one.Accept(0.05) > 0.05) || math.IsNaN(one.Accept(0.05)) {
			t.Errorf("%d units would do", one.N)
		}
	}
	// 0.1 % of 200 units is one at least, which a sample of 180 leaves out in 20 of 200.
	var zero bytes.Buffer
	if err := RunDesign(DesignOptions{Zero: true, Bad: 0.1, Consumer: 10, Size: 200, SheetOptions: cli.SheetOptions{JSON: true}},
		&zero); err != nil {
		t.Fatal(err)
	}
	var risk Design
	if err := json.Unmarshal(zero.Bytes(), &risk); err != nil || risk.Plan.N != 180 || math.Abs(risk.Accepted-0.1) > 1e-9 {
		t.Errorf("%v: %+v", err, risk)
	}
	var text bytes.Buffer
	if err := RunDesign(DesignOptions{Good: 1, Producer: 5, Bad: 6.5, Consumer: 10, Law: "hypergeometric", Size: 500}, &text); err != nil ||
		!strings.Contains(text.String(), "should not pass") {
		t.Errorf("%v: %s", err, text.String())
	}
}

func TestLotDesignBadInput(t *testing.T) {
	for name, o := range map[string]DesignOptions{
		"nothing":          {Law: "binomial"},
		"good worse":       {Good: 9, Producer: 5, Bad: 5, Consumer: 10, Law: "binomial"},
		"no such law":      {Good: 1, Producer: 5, Bad: 5, Consumer: 10, Law: "normal"},
		"lot not told":     {Good: 1, Producer: 5, Bad: 5, Consumer: 10, Law: "hypergeometric"},
		"zero, no lot":     {Zero: true, Bad: 5, Consumer: 10},
		"a risk above 100": {Good: 1, Producer: 500, Bad: 5, Consumer: 10, Law: "binomial"},
		"not a number":     {Good: math.NaN(), Producer: 5, Bad: 5, Consumer: 10, Law: "binomial"},
	} {
		err := RunDesign(o, &bytes.Buffer{})
		if err == nil || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "--") {
			t.Errorf("%s: %v, want one line that names the option", name, err)
		}
	}
}
