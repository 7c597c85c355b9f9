package study

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// column is a column that a table may have.
type column struct {
	name     string   // as asked for and as told in errors
	also     []string // other names that are read
	optional bool
}

// table is a table as read: text by row and column name.
type table struct {
	rows []row
	has  map[string]bool // by column.name
}

type row struct {
	line int // in the file, from 1
	text map[string]string
}

// readTable reads a table with a line of names, columns in any order, separated
// by commas, semicolons or tabs. Empty lines and lines that begin with # are
// left out, and columns that are not asked for.
func readTable(r io.Reader, want []column) (table, error) {
	src, sep, err := separator(r, want)
	if err != nil {
		return table{}, err
	}
	c := csv.NewReader(src)
	c.Comma, c.Comment, c.FieldsPerRecord, c.TrimLeadingSpace = sep, '#', -1, sep != '\t'
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return table{}, errors.New("the table is empty: its first line must name the columns " + names(want))
	} else if err != nil {
		return table{}, plainCSV(err)
	}
	place, err := places(head, want)
	if err != nil {
		return table{}, err
	}
	t := table{has: map[string]bool{}}
	for name := range place {
		t.has[name] = true
	}
	for {
		fields, err := c.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return table{}, plainCSV(err)
		}
		line, _ := c.FieldPos(0)
		if len(fields) > len(head) {
			return table{}, fmt.Errorf("line %d has %d fields, but the first line names %d columns", line, len(fields), len(head))
		}
		rw := row{line, map[string]string{}}
		empty := true
		for name, i := range place {
			if i < len(fields) {
				rw.text[name] = strings.TrimSpace(fields[i])
				empty = empty && rw.text[name] == ""
			}
		}
		if !empty {
			t.rows = append(t.rows, rw)
		}
	}
}

// separator finds what separates the columns from the first line that has
// letters: the sign that yields most of the names wanted.
func separator(r io.Reader, want []column) (io.Reader, rune, error) {
	b := bufio.NewReaderSize(r, 1<<16)
	start, err := b.Peek(3)
	switch {
	case bytes.HasPrefix(start, []byte{0xef, 0xbb, 0xbf}):
		_, _ = b.Discard(3)
	case bytes.HasPrefix(start, []byte{0xff, 0xfe}), bytes.HasPrefix(start, []byte{0xfe, 0xff}):
		return nil, 0, errors.New("the table is in UTF-16: save it again as CSV in UTF-8")
	case err != nil && !errors.Is(err, io.EOF):
		return nil, 0, err
	}
	head, err := b.Peek(1 << 16)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull) {
		return nil, 0, err
	}
	best, most := ',', -1
	for line := range strings.Lines(string(head)) {
		if strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#") {
			continue
		}
		for _, sep := range ",;\t" {
			n := 0
			for _, f := range strings.Split(line, string(sep)) {
				if i := slices.IndexFunc(want, func(c column) bool { return c.called(f) }); i >= 0 {
					n++
				}
			}
			if n > most {
				best, most = sep, n
			}
		}
		break
	}
	return b, best, nil
}

// called says whether a heading names the column; case, quotes and spaces
// around it do not matter.
func (c column) called(heading string) bool {
	h := strings.ToLower(strings.Trim(strings.TrimSpace(heading), `"`))
	return h == c.name || slices.Contains(c.also, h)
}

// places finds the columns wanted in the line of names.
func places(head []string, want []column) (map[string]int, error) {
	place := map[string]int{}
	for i, h := range head {
		for _, c := range want {
			if !c.called(h) {
				continue
			}
			if _, twice := place[c.name]; twice {
				return nil, fmt.Errorf("two columns are called %s: keep one of them", c.name)
			}
			place[c.name] = i
		}
	}
	for _, c := range want {
		if _, ok := place[c.name]; !ok && !c.optional {
			return nil, fmt.Errorf("no column is called %s: the first line must name the columns %s (it has %s)", c.name, names(want),
				strings.Join(head, ", "))
		}
	}
	return place, nil
}

func names(want []column) string {
	var s []string
	for _, c := range want {
		if c.optional {
			s = append(s, "["+c.name+"]")
		} else {
			s = append(s, c.name)
		}
	}
	return strings.Join(s, ", ")
}

// number is the finite number in a column; NaN where the field is empty or says
// that nothing was measured.
func (r row) number(col string) (float64, error) {
	s := r.text[col]
	switch strings.ToLower(s) {
	case "", "na", "nan", "not measured", "not_measured":
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		if _, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64); err == nil {
			return 0, r.wrong(col, "has a decimal comma: use a decimal point")
		}
		return 0, r.wrong(col, "is not a number")
	}
	if math.Abs(v) > largest {
		return 0, r.wrong(col, "is too large for a measurement")
	}
	return v, nil
}

// wrong is the error of one field.
func (r row) wrong(col, what string) error {
	return fmt.Errorf("line %d, column %s: %q %s", r.line, col, r.text[col], what)
}

// plainCSV says what is wrong with a table's form.
func plainCSV(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("line %d, at character %d: %v", p.Line, p.Column, p.Err)
	}
	return err
}
