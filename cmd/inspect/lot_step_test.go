package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/lots/book"
)

func runStep(t *testing.T, o book.StepOptions, values string) (book.Step, string, error) {
	t.Helper()
	if o.Database == nil {
		o.Database = &cli.Database{}
	}
	if values != "" {
		o.Values = filepath.Join(t.TempDir(), "values.txt")
		if err := os.WriteFile(o.Values, []byte(values), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if o.Level == "" {
		o.Level, o.Mode = "IV", string(lots.Normal)
	}
	o.JSON = true
	var out bytes.Buffer
	err := book.RunStep(context.Background(), o, "", &out)
	var s book.Step
	if out.Len() > 0 {
		if err := json.Unmarshal(out.Bytes(), &s); err != nil {
			t.Fatal(err)
		}
	}
	o.JSON = false
	var text bytes.Buffer
	_ = book.RunStep(context.Background(), o, "", &text)
	return s, text.String(), err
}

// MIL-STD-414, Example B (values and result as in the reference, section 3): lot 40,
// level IV, AQL 1 %, limit 209: mean 195, s 8.8034, Q 1.5903, k 1.53, accepted.
func TestLotStepExampleB(t *testing.T) {
	s, text, err := runStep(t, book.StepOptions{Size: 40, AQL: 1, High: "209", Low: "none"}, "# invented unit: degrees\n197\n188\n184\n205\n201\n")
	if err != nil {
		t.Fatal(err)
	}
	if s.Plan.N != 5 || s.Plan.Letter != "D" || s.Plan.K != 1.53 || s.Judged == nil || !s.Judged.Accepted {
		t.Fatalf("%+v", s)
	}
	for _, x := range []struct {
		name        string
		got, want   float64
		withinDigit float64
	}{{"mean", s.Judged.Mean, 195, 1e-9}, {"s", s.Judged.S, 8.8034, 5e-5}, {"Q", *s.Judged.QUpper, 1.5903, 5e-5}} {
		if !(math.Abs(x.got-x.want) <= x.withinDigit) {
			t.Errorf("%s %v, want %v", x.name, x.got, x.want)
		}
	}
	if !strings.Contains(text, "ACCEPTED") || !strings.Contains(text, "could not be tested") { // five values are too few to test
		t.Errorf("%s", text)
	}
}

func TestLotStepRefusesAndWaits(t *testing.T) {
	_, text, err := runStep(t, book.StepOptions{Size: 40, AQL: 1, High: "200", Low: "none"}, "197\n188\n184\n205\n201\n")
	if !errors.Is(err, cli.ExitCode(cli.ExitFails)) || !strings.Contains(text, "REFUSED") || !strings.Contains(text, "themselves beyond a limit") {
		t.Errorf("%v: %s", err, text)
	}
	s, text, err := runStep(t, book.StepOptions{Size: 40, AQL: 1}, "12\n3\n")
	if !errors.Is(err, cli.ExitCode(cli.ExitUnmeasured)) || s.Judged != nil || !strings.Contains(text, "nothing is decided") {
		t.Errorf("%v: %s", err, text)
	}
	if s, _, err = runStep(t, book.StepOptions{Size: 500, AQL: 1}, ""); err != nil || s.Judged != nil || s.Plan.N < 5 || s.Protection.P10 == nil {
		t.Errorf("the plan alone: %v, %+v", err, s)
	}
}

func TestLotStepBadInput(t *testing.T) {
	for want, c := range map[string]struct {
		o      book.StepOptions
		values string
	}{
		"say how large the lot is": {book.StepOptions{AQL: 1}, ""},
		"line 2":                   {book.StepOptions{Size: 40, AQL: 1}, "1\ntwo\n"},
		"needs a limit":            {book.StepOptions{Size: 40, AQL: 1, Low: "none", High: "none"}, ""},
		"is not below":             {book.StepOptions{Size: 40, AQL: 1, Low: "9", High: "3"}, ""},
		"AQL":                      {book.StepOptions{Size: 40, AQL: 0.9}, ""},
		"--high tall":              {book.StepOptions{Size: 40, AQL: 1, High: "tall"}, ""},
	} {
		if _, _, err := runStep(t, c.o, c.values); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// Values come from standard input too; what is no list of steps is told in a line.
func TestLotStepStandardInput(t *testing.T) {
	run := func(values string, aql float64) (string, error) {
		o := book.StepOptions{Database: &cli.Database{}, Size: 40, AQL: aql, Level: "IV", Mode: string(lots.Normal), Values: "-", Stdin: strings.NewReader(values)}
		var out bytes.Buffer
		err := book.RunStep(context.Background(), o, "", &out)
		return out.String(), err
	}
	if text, err := run("12\n3\n-4\n8\n5\n", 1); err != nil || !strings.Contains(text, "ACCEPTED") {
		t.Errorf("%v: %s", err, text)
	}
	var usage cli.UsageError
	for want, values := range map[string]string{
		"standard input, line 2: \"two\" is no step": "1\ntwo\n",
		"line of more than":                          strings.Repeat("1", 70_000),
		"xxx...\" is no step":                        strings.Repeat("x", 5000),
	} {
		if _, err := run(values, 1); err == nil || !strings.Contains(err.Error(), want) || len(err.Error()) > 200 || !errors.As(err, &usage) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	for _, c := range []struct {
		values string
		aql    float64
	}{{"1\n", 0.9}, {"3\n3\n3\n3\n3\n", 1}} {
		if _, err := run(c.values, c.aql); err == nil || strings.Contains(err.Error(), "lots:") {
			t.Errorf("%v", err)
		}
	}
}

// The unit that was not measured is not passed over for the next one of the draw.
func TestLotStepNotMeasured(t *testing.T) {
	s := book.Step{Plan: lots.Variables{N: 3, K: 1, M: 0.1, AQL: 1}, Names: []string{"a", "b", "c", "d"}, ValuesUM: []float64{1, math.NaN(), 3, 4}, WasAsked: true}
	if err := s.Judge(); err != nil || s.Judged != nil || s.Measured != 2 || len(s.Missing) != 1 || s.Missing[0] != "b" {
		t.Errorf("%+v, %v", s, err)
	}
	if err := s.Exit(); err != cli.ExitCode(cli.ExitUnmeasured) {
		t.Errorf("%v", err)
	}
}

// The steps of a lot on record: those of its sample, in the draw's order.
func TestLotStepOfALot(t *testing.T) {
	file, names := inventedLots(t, 1, 200, true)
	var out bytes.Buffer
	o := book.StepOptions{Database: &cli.Database{URL: file}, AQL: 1, Level: "IV", Mode: string(lots.Normal)}
	o.JSON = true
	err := book.RunStep(context.Background(), o, names[0], &out)
	var s book.Step
	if e := json.Unmarshal(out.Bytes(), &s); e != nil {
		t.Fatal(e, err)
	}
	if s.Plan.LotSize != 200 || s.Measured == 0 || s.Judged == nil || s.Judged.N != s.Plan.N {
		t.Errorf("%v, %+v", err, s)
	}
	if err := book.RunStep(context.Background(), o, "none such", &out); err == nil || !strings.Contains(err.Error(), "none such") {
		t.Errorf("a lot that is not there: %v", err)
	}
}
