package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/records"
)

// benchRecords writes what the bench answers to the records.
type benchRecords struct {
	*inspection.Recorder
	name string // the bench's, for the records
}

// Add is [bench.Recorder]: one transaction, so that an answer is there as a
// whole or not at all.
func (b *benchRecords) Add(ctx context.Context, e bench.Entry) (int64, error) {
	in := records.Inspection{
		Key: e.Key, Serial: e.Unit.Serial, Side: e.Unit.Side, Lot: e.Unit.Lot, Bench: b.name, Operator: e.Unit.Operator, Faceplate: b.Faceplate, Resin: b.Resin, Stage: e.Unit.Stage,
		Started: e.Started, Ended: e.Ended, Result: *inspection.WithoutBudgets(e.Outcome.Result), Limits: b.Limits, Station: b.Station, Scales: b.Scales,
		Program: cli.Version, Libraries: inspection.Libraries(),
	}
	for _, s := range e.Shots {
		if len(s.Raw) > 0 {
			in.Pictures = append(in.Pictures, records.Picture{File: s.File, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg, MIME: s.MIME, Bytes: s.Raw})
		}
	}
	id, err := b.Store.Add(ctx, in)
	var twice *records.KeyError
	if errors.As(err, &twice) {
		// It was recorded, though the answer was lost on the way and nobody saw it;
		// judged again it says something else, for what bars a pass has changed.
		// What is shown now corrects it.
		in.Key, in.Corrects = "", twice.Inspection
		return b.Store.Add(ctx, in)
	}
	return id, err
}

// Withdraw is asked for again where the answer to the first time was lost: then
// it is done.
func (b *benchRecords) Withdraw(ctx context.Context, id int64, by, why string) error {
	err := b.Store.Withdraw(ctx, id, records.Note{By: by, Why: why})
	if errors.Is(err, records.ErrWithdrawn) {
		return nil
	}
	return err
}

func (b *benchRecords) Overrule(ctx context.Context, id int64, o bench.Overrule) error {
	return b.Store.Overrule(ctx, id, records.Overrule{At: o.At, By: o.By, Verdict: o.Verdict, Reason: o.Reason, Note: o.Note})
}

// historyMost is how many inspections of a serial the page looks at, the latest.
const historyMost = 40

func (b *benchRecords) History(ctx context.Context, serial string) ([]bench.Past, error) {
	all, err := b.Store.Find(ctx, records.Filter{Serial: serial, Limit: historyMost, NewestFirst: true})
	if err != nil {
		return nil, err
	}
	out := make([]bench.Past, len(all))
	for i := range all {
		out[len(all)-1-i] = pastOf(&all[i])
	}
	return out, nil
}

func pastOf(in *records.Inspection) bench.Past {
	p := bench.Past{
		ID: in.ID, Ended: in.Ended, Result: in.Result, Withdrawn: !in.Holds(),
		Unit: bench.UnitInfo{Serial: in.Serial, Side: in.Side, Lot: in.Lot, Operator: in.Operator, Stage: in.Stage},
	}
	if o := in.Overruled; o != nil {
		p.Overruled = &bench.Overrule{At: o.At, By: o.By, Verdict: o.Verdict, Reason: o.Reason, Note: o.Note}
	}
	for _, q := range in.Pictures {
		p.Pictures = append(p.Pictures, bench.PastPicture{File: q.File, SHA256: q.SHA256, View: q.View, Light: q.Light, AngleDeg: q.AngleDeg})
	}
	return p
}

func (b *benchRecords) PictureBytes(ctx context.Context, sum string) ([]byte, string, error) {
	data, mime, err := b.Store.PictureBytes(ctx, sum)
	if errors.Is(err, records.ErrForgotten) {
		err = bench.ErrForgotten
	}
	return data, mime, err
}

// benchMemory keeps answers until the program ends, the latest ones only: for
// trying the bench out. The page says so.
type benchMemory struct {
	mu       sync.Mutex
	n        int64
	past     []bench.Past
	pictures map[string]bench.Shot
}

// memoryMost bounds what is kept: inspections, without and with pictures.
const (
	memoryMost         = 500
	memoryWithPictures = 20
)

func (m *benchMemory) Add(_ context.Context, e bench.Entry) (int64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.pictures == nil {
		m.pictures = map[string]bench.Shot{}
	}
	m.n++
	p := bench.Past{ID: m.n, Unit: e.Unit, Ended: e.Ended, Result: *e.Outcome.Result}
	for _, s := range e.Shots {
		if len(s.Raw) == 0 {
			continue
		}
		sum := sha256.Sum256(s.Raw)
		key := hex.EncodeToString(sum[:])
		m.pictures[key] = bench.Shot{Raw: s.Raw, MIME: s.MIME}
		p.Pictures = append(p.Pictures, bench.PastPicture{File: s.File, SHA256: key, View: s.View, Light: s.Light, AngleDeg: s.AngleDeg})
	}
	m.past = append(m.past, p)
	if n := len(m.past); n > memoryMost {
		m.past = append([]bench.Past(nil), m.past[n-memoryMost:]...)
	}
	m.forget()
	return p.ID, nil
}

// forget drops the pictures of all but the latest inspections.
func (m *benchMemory) forget() {
	if len(m.past) <= memoryWithPictures {
		return
	}
	old := &m.past[len(m.past)-memoryWithPictures-1]
	for _, q := range old.Pictures {
		if !m.used(q.SHA256) {
			delete(m.pictures, q.SHA256)
		}
	}
	old.Pictures = nil
}

func (m *benchMemory) used(sum string) bool {
	for i := max(0, len(m.past)-memoryWithPictures); i < len(m.past); i++ {
		for _, q := range m.past[i].Pictures {
			if q.SHA256 == sum {
				return true
			}
		}
	}
	return false
}

func (m *benchMemory) change(id int64, f func(*bench.Past)) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.past {
		if m.past[i].ID == id {
			f(&m.past[i])
			return nil
		}
	}
	return fmt.Errorf("there is no inspection %d any more", id)
}

func (m *benchMemory) Withdraw(_ context.Context, id int64, _, _ string) error {
	return m.change(id, func(p *bench.Past) { p.Withdrawn = true })
}

func (m *benchMemory) Overrule(_ context.Context, id int64, o bench.Overrule) error {
	return m.change(id, func(p *bench.Past) { p.Overruled = &o })
}

func (m *benchMemory) History(_ context.Context, serial string) ([]bench.Past, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []bench.Past
	for _, p := range m.past {
		if p.Unit.Serial == serial {
			out = append(out, p)
		}
	}
	return out, nil
}

func (m *benchMemory) PictureBytes(_ context.Context, sum string) ([]byte, string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if s, ok := m.pictures[sum]; ok {
		return s.Raw, s.MIME, nil
	}
	return nil, "", bench.ErrForgotten
}

// benchNotices says what stands in the way of trusting an answer. The check
// piece's log is looked at again now and then, not for each browser.
type benchNotices struct {
	inspection.Settings
	checkLog string
	fixed    []bench.Notice // for as long as the program runs

	mu   sync.Mutex
	at   time.Time
	last []bench.Notice
}

// noticesEvery is the least time between two looks at files.
const noticesEvery = 5 * time.Second

func (n *benchNotices) Notices(now time.Time) []bench.Notice {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !n.at.IsZero() && now.Sub(n.at) < noticesEvery && !now.Before(n.at) {
		return n.last
	}
	n.at, n.last = now, nil
	if barred, _, said := inspection.CheckGatePhrase(n.checkLog, now); barred {
		n.last = append(n.last, bench.Notice{Phrase: lang.Phrase{Key: "notice.check_bars"}.With("why", *said), Bars: true})
	}
	if _, file := n.PoorScale(); file != "" {
		n.last = append(n.last, bench.Notice{Phrase: lang.Phrase{Key: "notice.scale_poor", Args: map[string]string{"file": file}}, Bars: true})
	}
	for _, f := range n.Scales {
		args := map[string]string{"file": filepath.Base(f.Path)}
		switch age := f.AgeState(now); age.State {
		case optics.AgeOver:
			n.last = append(n.last, bench.Notice{Phrase: lang.Phrase{Key: "notice.scale_over", Args: args}, Bars: true})
		case optics.AgeSoon:
			args["days"] = strconv.Itoa(int(math.Ceil(age.DaysLeft)))
			n.last = append(n.last, bench.Notice{Phrase: lang.Phrase{Key: "notice.scale_soon", Args: args}})
		}
	}
	n.last = append(n.last, n.fixed...)
	return n.last
}
