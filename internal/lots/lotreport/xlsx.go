package lotreport

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// WriteXLSX writes the report as a workbook, in a language: a sheet each for the
// plan, the units, the findings and the stations. Numbers are numbers, times are
// times of zone, headings stay in sight.
func (r *Report) WriteXLSX(out io.Writer, w Words, tag string, zone *time.Location) error {
	b := &book{speech{w, tag, zone}, excelize.NewFile(), 0, 0}
	defer b.file.Close()
	if err := b.fill(r); err != nil {
		return fmt.Errorf("lotreport: write XLSX: %w", err)
	}
	var p parts
	b.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return &p })
	if _, err := b.file.WriteToBuffer(); err != nil {
		return fmt.Errorf("lotreport: write XLSX: %w", err)
	}
	if err := p.write(out, r.Generated); err != nil {
		return fmt.Errorf("lotreport: write XLSX: %w", err)
	}
	return nil
}

// book is a workbook under way.
type book struct {
	speech
	file     *excelize.File
	bold, at int // styles
}

func (b *book) fill(r *Report) error {
	var err error
	if b.bold, err = b.file.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true},
		Fill:      excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"F1ECE1"}},
		Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"},
		Border:    []excelize.Border{{Type: "bottom", Color: "1D1B18", Style: 2}}}); err != nil {
		return err
	}
	form := "yyyy-mm-dd hh:mm"
	if b.at, err = b.file.NewStyle(&excelize.Style{CustomNumFmt: &form, Alignment: &excelize.Alignment{Horizontal: "left"}}); err != nil {
		return err
	}
	stamp := r.Generated.UTC().Format(time.RFC3339)
	if err := b.file.SetDocProps(&excelize.DocProperties{Title: b.t("title") + " " + r.Lot.Name, Creator: "Finishbench",
		LastModifiedBy: "Finishbench", Created: stamp, Modified: stamp, Language: b.tag}); err != nil {
		return err
	}
	first := b.t("sheetname.plan")
	if err := b.file.SetSheetName("Sheet1", first); err != nil {
		return err
	}
	if err := b.plan(first, r); err != nil {
		return err
	}
	for _, g := range r.grids() {
		name := b.t("sheetname." + g.name)
		if _, err := b.file.NewSheet(name); err != nil {
			return err
		}
		if err := b.grid(name, g); err != nil {
			return err
		}
	}
	return nil
}

// frozen keeps a sheet's first rows in sight.
func frozen(rows int) *excelize.Panes {
	at := fmt.Sprintf("A%d", rows+1)
	return &excelize.Panes{Freeze: true, YSplit: rows, TopLeftCell: at, ActivePane: "bottomLeft",
		Selection: []excelize.Selection{{SQRef: at, ActiveCell: at, Pane: "bottomLeft"}}}
}

// grid writes a table, row by row: a lot may have ten thousand units.
func (b *book) grid(name string, g grid) error {
	w, err := b.file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	if err := w.SetPanes(frozen(1)); err != nil {
		return err
	}
	for i, wide := range g.wide {
		if err := w.SetColWidth(i+1, i+1, wide); err != nil {
			return err
		}
	}
	var head []any
	for _, k := range g.keys {
		head = append(head, excelize.Cell{StyleID: b.bold, Value: b.T(k)})
	}
	if err := w.SetRow("A1", head); err != nil {
		return err
	}
	row, values := 1, make([]any, len(g.keys))
	err = g.rows(func(cells []cell) error {
		row++
		for i, c := range cells {
			values[i] = b.value(c)
		}
		return w.SetRow("A"+strconv.Itoa(row), values)
	})
	if err != nil {
		return err
	}
	return w.Flush()
}

// value is a cell as excelize takes it.
func (b *book) value(c cell) any {
	switch v := c.(type) {
	case words:
		if v.word == "" {
			return nil
		}
		return b.word(v.prefix, v.word)
	case time.Time:
		t := v.In(b.zone) // a workbook's times have no zone
		return excelize.Cell{StyleID: b.at, Value: time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)}
	case string:
		if len(v) > excelize.TotalCellChars {
			return v[:excelize.TotalCellChars]
		}
	}
	return c
}

// plan writes what the first sheet tells: the plans as a table, then the facts.
func (b *book) plan(name string, r *Report) error {
	w, err := b.file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	if err := w.SetPanes(frozen(1)); err != nil {
		return err
	}
	for i, wide := range []float64{26, 30, 12, 10, 9, 9, 9, 7, 7, 11, 10, 26} {
		if err := w.SetColWidth(i+1, i+1, wide); err != nil {
			return err
		}
	}
	row := 0
	put := func(style int, cells ...any) error {
		row++
		for i, c := range cells {
			cells[i] = b.value(c)
			if style != 0 {
				cells[i] = excelize.Cell{StyleID: style, Value: cells[i]}
			}
		}
		return w.SetRow(fmt.Sprintf("A%d", row), cells)
	}
	var head []any
	for _, k := range []string{"plan.severity", "var.by", "plan.mode", "plan.level", "plan.letter", "plan.aql", "plan.n", "plan.ac",
		"plan.re", "plan.inspected", "plan.count", "plan.stand"} {
		head = append(head, b.t(k))
	}
	if err := put(b.bold, head...); err != nil {
		return err
	}
	for _, p := range r.Plans {
		var aql any
		if p.AQL > 0 {
			aql = p.AQL
		}
		what := b.t("plan.units")
		if p.PerHundred {
			what = b.t("plan.findings")
		}
		if err := put(0, b.t("plan.what", "severity", "@severity."+string(p.Severity), "what", what), p.Standard,
			words{"lot.mode.", p.Mode}, p.Level, p.Letter, aql, p.N, p.Ac, p.Re, p.Inspected, p.Count,
			b.t("stand."+string(p.Stand))); err != nil {
			return err
		}
	}
	if err := put(0); err != nil {
		return err
	}
	for _, f := range b.planFacts(r) {
		if err := put(0, f[0], f[1]); err != nil {
			return err
		}
	}
	return w.Flush()
}

// planFacts are names and values; a value that is a number stays one.
func (b *book) planFacts(r *Report) (all [][2]any) {
	add := func(key string, v any) {
		if v != nil && v != "" {
			all = append(all, [2]any{b.t(key), v})
		}
	}
	l := r.Lot
	add("page.name", l.Name)
	add("fact.state", b.t("state."+string(l.State)))
	add("fact.size", l.Size)
	add("fact.product", l.Product)
	add("fact.stage", words{"stage.", l.Stage})
	add("fact.opened", l.Opened)
	add("fact.limits", limitsWord(l))
	if d := r.Draw; d != nil {
		add("fact.sample", len(d.Serials))
		add("fact.seed", fmt.Sprint(d.Seed)) // all of its digits: a number of a workbook has fifteen
	}
	if d := r.Decision; d != nil {
		add("decision.word", b.t(map[bool]string{true: "decision.accept", false: "decision.refuse"}[d.Accept]))
		add("decision.by", d.By)
		add("decision.at", d.At)
		add("decision.note", d.Note)
	}
	for _, s := range r.Disposed {
		add("disposed.title", b.say(s))
	}
	for _, s := range r.Earlier {
		add("earlier.title", b.say(s))
	}
	for _, s := range r.Switching {
		add("switch.title", strings.Join([]string{b.T("severity." + string(s.Severity)), s.Standard,
			b.word("lot.mode.", s.Before) + " → " + b.word("lot.mode.", s.After)}, ", "))
	}
	if s := r.Gauge.Study; s != nil {
		add("gauge.study", join(", ", s.Name, s.Date, b.word("lot.grade.", s.Grade)))
	}
	if u := r.Gauge.Step; u != nil {
		add("unit.uu", num(u.MedianUM))
	}
	for _, x := range r.Gauge.Scales {
		add("scale.file", x.File+" "+x.SHA256)
	}
	add("fact.reported", r.Generated)
	return all
}

// parts are the files of a workbook, packed as they come: excelize writes them in
// any order, with no time. Packing is fast rather than tight: a lot may have a hundred
// thousand stations.
type parts struct{ all []*bookPart }

type bookPart struct {
	name string
	data bytes.Buffer
	pack *flate.Writer
	crc  uint32
	size uint64
}

// Create is [excelize.ZipWriter].
func (p *parts) Create(name string) (io.Writer, error) {
	b := &bookPart{name: name}
	var err error
	b.pack, err = flate.NewWriter(&b.data, flate.BestSpeed)
	p.all = append(p.all, b)
	return b, err
}

// AddFS is [excelize.ZipWriter]; a report has no files of others in it.
func (p *parts) AddFS(fs.FS) error { return errors.ErrUnsupported }

// Close is [excelize.ZipWriter].
func (p *parts) Close() error {
	for _, b := range p.all {
		if err := b.pack.Close(); err != nil {
			return err
		}
	}
	return nil
}

// Write is [io.Writer].
func (b *bookPart) Write(data []byte) (int, error) {
	b.crc, b.size = crc32.Update(b.crc, crc32.IEEETable, data), b.size+uint64(len(data))
	return b.pack.Write(data)
}

// write writes the parts in the order of their names, all with the same time, so that
// the same report gives the same bytes.
func (p *parts) write(out io.Writer, at time.Time) error {
	slices.SortStableFunc(p.all, func(a, b *bookPart) int { return strings.Compare(a.name, b.name) })
	w := zip.NewWriter(out)
	for _, b := range p.all {
		h := &zip.FileHeader{Name: b.name, Method: zip.Deflate, CRC32: b.crc, CompressedSize64: uint64(b.data.Len()),
			UncompressedSize64: b.size}
		//lint:ignore SA1019 CreateRaw leaves Modified alone
		h.SetModTime(at.UTC().Truncate(2 * time.Second))
		to, err := w.CreateRaw(h)
		if err != nil {
			return err
		}
		if _, err := to.Write(b.data.Bytes()); err != nil {
			return err
		}
	}
	return w.Close()
}
