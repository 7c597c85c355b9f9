package lots

import (
	"embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"sync"
)

// The tables of MIL-STD-105E (1989), I, II-A, II-B and II-C, and B-1 of
// MIL-STD-414 (1957); both are in the public domain. Arrows are followed to the
// plan that they point to, with that plan's sample size.
//
//go:embed tables/*.csv
var tableFiles embed.FS

// Letters are the code letters of MIL-STD-105E in order; S, of the tightened
// table only, is not one of Table I.
const Letters = "ABCDEFGHJKLMNPQR"

type cellKey struct {
	letter string
	aql    float64
}

// cell is one place of a table of single plans.
type cell struct {
	arrow  string // "", "up" or "down"
	letter string // of the plan
	n      int
	ac, re int
}

type letterRow struct {
	from, to int // units; to is 0 for no end
	letter   map[Level]string
}

type singleTables struct {
	rows  []letterRow
	cells map[Mode]map[cellKey]cell
	aqls  []float64 // in order
}

// tables reads the embedded files once. They are part of the program: one that
// cannot be read is a fault of it, and panics.
var tables = sync.OnceValue(func() *singleTables {
	t := &singleTables{cells: map[Mode]map[cellKey]cell{}}
	for _, r := range tableRows("code_letters.csv") {
		row := letterRow{from: atoi(r[0]), to: atoi(r[1]), letter: map[Level]string{}}
		for i, l := range Levels {
			row.letter[l] = r[2+i]
		}
		t.rows = append(t.rows, row)
	}
	for _, m := range Modes {
		t.cells[m] = map[cellKey]cell{}
		for _, r := range tableRows(string(m) + "_single.csv") {
			k := cellKey{r[0], atof(r[2])}
			c := cell{letter: r[4], n: atoi(r[5]), ac: atoi(r[6]), re: atoi(r[7])}
			if r[3] == "up" || r[3] == "down" {
				c.arrow = r[3]
			}
			t.cells[m][k] = c
			if m == Normal && k.letter == "A" {
				t.aqls = append(t.aqls, k.aql)
			}
		}
	}
	slices.Sort(t.aqls)
	return t
})

// tableRows are the rows of an embedded table without its head.
func tableRows(name string) [][]string {
	f, err := tableFiles.Open("tables/" + name)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		panic(fmt.Sprintf("lots: the embedded table %s: %v", name, err))
	}
	return rows[1:]
}

// atoi is the number of a table's cell, 0 for an empty one.
func atoi(s string) int {
	if s == "" {
		return 0
	}
	v, err := strconv.Atoi(s)
	if err != nil {
		panic("lots: an embedded table has " + s)
	}
	return v
}

func atof(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("lots: an embedded table has " + s)
	}
	return v
}
