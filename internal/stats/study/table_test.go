package study

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

func readCrossed(text string) (Crossed, error) {
	readings, err := ReadReadings(strings.NewReader(text))
	if err != nil {
		return Crossed{}, err
	}
	return NewCrossed(readings)
}

// TestReadForms: names in any order and case, three separators, a byte order
// mark, quotes, remarks and empty lines; parts by number, not by letter.
func TestReadForms(t *testing.T) {
	for name, text := range map[string]string{
		"commas":     "part,appraiser,trial,value\n2,A,1,5\n10,A,1,7\n2,A,2,6\n10,A,2,7.5\n",
		"semicolons": "\ufeffTrial;Value;Appr;Unit\n1;5;A;2\n1;7;A;10\n2;6;A;2\n2;7.5;A;10\n",
		"tabs":       "# a remark\n\ny\tpart\toperator\trun\tnote\n5\t2\tA\t1\t\n6\t2\tA\t2\tx\n7\t10\tA\t1\t\n7.5\t10\tA\t2\t\n",
		"quotes":     "\"part\",\"appraiser\",\"value\"\r\n\"2\",\"A\",5\r\n\"2\",\"A\",6\r\n\"10\",\"A\",7\r\n\"10\",\"A\",7.5\r\n",
		"no one":     "part,value\n2,5\n2,6\n10,7\n10,7.5\n",
	} {
		c, err := readCrossed(text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := fmt.Sprint(c.Parts, c.Trials, c.Values); got != "[2 10] 2 [[[5 6]] [[7 7.5]]]" {
			t.Errorf("%s: %s", name, got)
		}
	}
}

// TestReadRefuses: what is wrong is told in one sentence, by line and column.
func TestReadRefuses(t *testing.T) {
	const head = "part,appraiser,trial,value\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "the table is empty"},
		{"names only", head, "no readings"},
		{"no value column", "part,appraiser,trial\n1,A,1\n", "no column is called value"},
		{"two value columns", "part,value,y\n1,2,3\n", "two columns are called value"},
		{"text", head + "1,A,1,5\n1,A,2,abc\n", `line 3, column value: "abc" is not a number`},
		{"decimal comma", "part;appraiser;trial;value\n1;A;1;5,5\n", `line 2, column value: "5,5" has a decimal comma`},
		{"infinite", head + "1,A,1,inf\n", "line 2, column value"},
		{"no part", head + ",A,1,5\n", "line 2, column part"},
		{"no appraiser", head + "1,,1,5\n", "line 2, column appraiser"},
		{"no trial", head + "1,A,,5\n", "line 2, column trial"},
		{"too many fields", head + "1,A,1,5,9\n", "line 2 has 5 fields"},
		{"twice", head + "1,A,1,5\n1,A,2,6\n1,A,1,5\n", "there twice (lines 2 and 4)"},
		{"missing cell", head + "1,A,1,5\n1,A,2,6\n1,B,1,5\n1,B,2,6\n2,A,1,5\n2,A,2,7\n", "part 2 by B has 0"},
		{"missing value", head + "1,A,1,5\n1,A,2,6\n2,A,1,5\n2,A,2,\n", "part 2 by A has 1"},
		{"one trial", head + "1,A,1,5\n2,A,1,6\n", "without a second trial"},
		{"constant", head + "1,A,1,5\n1,A,2,5\n2,A,1,5\n2,A,2,5\n", "nothing varies"},
		{"nothing measured", head + "1,A,1,\n1,A,2,NA\n", "nothing was measured"},
		{"open quote", head + "1,A,1,\"5\n", "line 2"},
		{"UTF-16", "\xff\xfep\x00", "UTF-16"},
	} {
		_, err := readCrossed(c.text)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: more than a line: %v", c.name, err)
		}
	}
}

// TestComplete: parts with a missing cell are left out by name.
func TestComplete(t *testing.T) {
	readings, err := ReadReadings(strings.NewReader("part,appraiser,trial,value\n1,A,1,5\n1,A,2,6\n1,B,1,5\n1,B,2,6\n2,A,1,5\n2,A,2,7\n" +
		"3,A,1,5\n3,A,2,\n3,B,1,5\n3,B,2,6\n"))
	if err != nil {
		t.Fatal(err)
	}
	var incomplete IncompleteError
	if _, err := NewCrossed(readings); !errors.As(err, &incomplete) || len(incomplete.Cells) != 2 {
		t.Fatalf("two cells lack readings: %v", err)
	}
	left, out := Complete(readings)
	if fmt.Sprint(out) != "[2 3]" {
		t.Errorf("left out %v, want 2 and 3", out)
	}
	if c, err := NewCrossed(left); err != nil || fmt.Sprint(c.Parts, c.Appraisers) != "[1] [A B]" {
		t.Errorf("left: %v %v", c, err)
	}
}

// FuzzReadReadings: any text is a study or one sentence.
func FuzzReadReadings(f *testing.F) {
	f.Add("part,appraiser,trial,value\n1,A,1,5\n1,A,2,6\n2,A,1,7\n2,A,2,7\n")
	f.Add("\ufeffunit;y\n1;5\n1;6,5\n")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := readCrossed(text)
		if err != nil {
			if err.Error() == "" {
				t.Error("an error that says nothing")
			}
			return
		}
		g, err := NewGauge(c, DefaultGaugeOptions())
		if err != nil {
			t.Fatal(err)
		}
		r := NewRangeStudy(c)
		if v := g.Verdict(r); v.Line.Key == "" {
			t.Error("no verdict")
		}
	})
}
