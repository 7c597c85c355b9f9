package records

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"finishbench/internal/part"
)

// The roles of texts.
const (
	roleLimits  = "limits"
	roleScale   = "scale"
	roleStation = "station"
)

// Bounds against slips: far above what a unit needs.
const (
	maxWord    = 200
	maxNote    = 2000
	maxPicture = 512 << 20
	maxText    = 16 << 20
)

// Add records an inspection and returns its number once it is on disk, whole.
// Where its key is on record already with the same content, nothing is written,
// and the number is that one's: so an Add whose answer was lost on the way from a
// database elsewhere may be asked again. Add does so itself where the connection
// broke, and the caller may at any time later. The error wraps [ErrInvalid] where
// the inspection itself is at fault, [ErrNotFound] where the one it corrects is
// not there, and is a [*KeyError] where the key is on record with another content.
func (s *Store) Add(ctx context.Context, in part.Inspection) (int64, error) {
	r, err := ready(in)
	if err != nil {
		return 0, fmt.Errorf("records: inspection of %q: %w", in.Serial, err)
	}
	var id int64
	add := func() error {
		return s.write(ctx, func(t *tx) (err error) {
			id, err = t.addOnce(ctx, r)
			return err
		})
	}
	if err = add(); in.Key != "" && s.unanswered(err) {
		err = again(ctx, err, s.mayAnswer, add)
	}
	if err != nil {
		return 0, err
	}
	return id, nil
}

// again asks again, as long as an answer may come and ctx lasts. Where it does
// not last, the error is the one before: that one says what is wrong.
func again(ctx context.Context, err error, more func(error) bool, do func() error) error {
	for _, d := range againAfter {
		if !wait(ctx, d) {
			break
		}
		last := do()
		if ctx.Err() != nil && last != nil {
			break
		}
		if err = last; !more(err) {
			break
		}
	}
	return err
}

// againAfter is how long is waited before a write whose answer was lost is asked
// for again: a connection that broke is made anew at once, a server that starts
// anew takes a second or two.
var againAfter = [...]time.Duration{50 * time.Millisecond, 500 * time.Millisecond, 2 * time.Second}

// wait waits, unless ctx ends first.
func wait(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return true
	}
}

// KeyError says that a key is on record already, for an inspection with another
// content.
type KeyError struct {
	Key        string
	Inspection int64
}

func (e *KeyError) Error() string {
	return fmt.Sprintf("records: the key %s is on record already, with another content: inspection %d", e.Key, e.Inspection)
}

// addOnce adds an inspection, unless its key is on record.
func (t *tx) addOnce(ctx context.Context, e *entry) (int64, error) {
	e, err := t.withAliases(ctx, e)
	if err != nil {
		return 0, err
	}
	if e.Key == "" {
		return t.add(ctx, e)
	}
	var id int64
	var content string
	err = t.row(ctx, "SELECT i.id, e.content FROM inspections i JOIN events e ON e.inspection = i.id AND e.kind = ? WHERE i.client_key = ?", eventRecorded, e.Key).Scan(&id, &content)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return t.add(ctx, e)
	case err != nil:
		return 0, fmt.Errorf("records: look for the key %s: %w", e.Key, err)
	}
	var was event
	if err := json.Unmarshal([]byte(content), &was); err != nil {
		return 0, fmt.Errorf("records: inspection %d is damaged: run 'inspect records check': %w", id, err)
	}
	if was.Recorded == nil || !was.Recorded.same(&e.what) {
		return 0, &KeyError{e.Key, id}
	}
	return id, nil
}

// same says whether two inspections say the same. When each was judged does not
// count: what is judged again, for its answer was lost, ends later.
func (r *recorded) same(other *recorded) bool {
	a, b := *r, *other
	a.Ended, b.Ended = "", ""
	return reflect.DeepEqual(a, b)
}

// entry is an inspection ready to be written.
type entry struct {
	part.Inspection
	result string // JSON
	what   recorded
	texts  []part.SettingsFile // along what.Texts
}

// ready checks an inspection and works out its hashes and its event.
func ready(in part.Inspection) (*entry, error) {
	if err := validate(&in); err != nil {
		return nil, err
	}
	raw, err := json.Marshal(in.Result)
	if err != nil {
		return nil, fmt.Errorf("%w: its result: %v", ErrInvalid, err)
	}
	e := &entry{Inspection: in, result: string(raw)}
	// As it will be read back: characters that JSON cannot hold are replaced.
	e.Result = part.Result{}
	if err := json.Unmarshal(raw, &e.Result); err != nil {
		return nil, fmt.Errorf("%w: its result: %v", ErrInvalid, err)
	}
	e.what = recorded{
		Serial: in.Serial, Side: in.Side, Lot: in.Lot, Bench: in.Bench, Operator: in.Operator, Faceplate: in.Faceplate, Resin: in.Resin, Stage: string(in.Stage),
		Started: stamp(in.Started), Ended: stamp(in.Ended), Verdict: string(in.Result.Verdict), Score: in.Result.Score, WorstStepUM: in.Result.Seam.WorstStepUM,
		Program: in.Program, Libraries: in.Libraries, Corrects: in.Corrects, Key: in.Key, ResultSHA256: hashOf(raw),
	}
	if err := e.addPictures(); err != nil {
		return nil, err
	}
	e.addText(roleLimits, in.Limits)
	for _, sc := range in.Scales {
		e.addText(roleScale, sc)
	}
	e.addText(roleStation, in.Station)
	return e, nil
}

func (e *entry) addPictures() error {
	e.Pictures = slices.Clone(e.Pictures)
	for i := range e.Pictures {
		p := &e.Pictures[i]
		if p.Bytes != nil {
			sum := hashOf(p.Bytes)
			if p.SHA256 != "" && p.SHA256 != sum {
				return fmt.Errorf("%w: picture %s has another SHA-256 than told", ErrInvalid, p.File)
			}
			p.SHA256 = sum
		}
		e.what.Pictures = append(e.what.Pictures, recordedPicture{
			File: clean(p.File), View: clean(string(p.View)), Light: clean(string(p.Light)), AngleDeg: p.AngleDeg, SHA256: p.SHA256, Numbers: p.Bytes == nil,
		})
	}
	return nil
}

func (e *entry) addText(role string, t part.SettingsFile) {
	if t.Bytes == nil {
		return
	}
	t.SHA256 = hashOf(t.Bytes)
	e.texts = append(e.texts, t)
	e.what.Texts = append(e.what.Texts, recordedText{role, clean(t.Name), t.SHA256})
}

// validate says in one line all that is wrong with an inspection.
func validate(in *part.Inspection) error {
	var wrong []string
	addf := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	if in.Serial == "" {
		addf("it has no serial")
	}
	for _, w := range []struct {
		name, value string
		most        int
	}{{"serial", in.Serial, maxWord}, {"lot", in.Lot, maxWord}, {"bench", in.Bench, maxWord}, {"operator", in.Operator, maxWord}, {"faceplate", in.Faceplate, maxWord}, {"resin", in.Resin, maxWord}, {"program", in.Program, maxNote}, {"libraries", in.Libraries, maxNote}, {"key", in.Key, maxWord}} {
		if why := badWord(w.value, w.most); why != "" {
			addf("its %s %s", w.name, why)
		}
	}
	if in.Side != "" && in.Side != "L" && in.Side != "R" {
		addf("its side is %q: L, R or none", in.Side)
	}
	if !slices.Contains(part.Stages, in.Stage) {
		addf("its stage is %q: trim, wet or cured", in.Stage)
	}
	if !isVerdict(in.Result.Verdict) {
		addf("its verdict is %q", in.Result.Verdict)
	}
	if !storable(in.Started) || !storable(in.Ended) {
		addf("its times are not told")
	}
	for _, p := range in.Pictures {
		switch {
		case p.Bytes == nil && !isHash(p.SHA256):
			addf("picture %s has neither bytes nor a SHA-256", p.File)
		case p.Bytes != nil && (len(p.Bytes) == 0 || len(p.Bytes) > maxPicture):
			addf("picture %s has %d bytes", p.File, len(p.Bytes))
		case p.AngleDeg-p.AngleDeg != 0: // NaN or infinite
			addf("picture %s has no angle", p.File)
		}
	}
	for _, t := range append([]part.SettingsFile{in.Limits, in.Station}, in.Scales...) {
		if len(t.Bytes) > maxText {
			addf("%s has %d bytes", t.Name, len(t.Bytes))
		}
	}
	if wrong != nil {
		return fmt.Errorf("%w: %s", ErrInvalid, strings.Join(wrong, "; "))
	}
	return nil
}

func isVerdict(v part.Verdict) bool {
	return v == part.Pass || v == part.Rework || v == part.Reject || v == part.NotMeasured
}

// storable says whether a time can be written in four digits of a year.
func storable(t time.Time) bool {
	return !t.IsZero() && t.UTC().Year() >= 1 && t.UTC().Year() <= 9999
}

func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

// badWord says why a word that people look for cannot be kept; "": it can.
func badWord(s string, most int) string {
	switch {
	case len(s) > most:
		return fmt.Sprintf("is %d bytes long, of %d at most", len(s), most)
	case !utf8.ValidString(s):
		return "is not UTF-8 text"
	case strings.ContainsFunc(s, unicode.IsControl):
		return "holds a control character"
	case strings.TrimSpace(s) != s:
		return "begins or ends with a space"
	}
	return ""
}

// clean replaces what a database cannot hold in a text that nobody looks for.
func clean(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// add writes an inspection's rows and its event.
func (t *tx) add(ctx context.Context, e *entry) (int64, error) {
	if e.Corrects != 0 {
		if err := t.mayCorrect(ctx, e.Corrects); err != nil {
			return 0, err
		}
	}
	var id int64
	if err := t.row(ctx, "SELECT coalesce(max(id), 0) + 1 FROM inspections").Scan(&id); err != nil {
		return 0, fmt.Errorf("records: next number: %w", err)
	}
	for _, p := range e.Pictures {
		if err := t.keepPicture(ctx, p); err != nil {
			return 0, err
		}
	}
	for _, x := range e.texts {
		if err := t.keepText(ctx, x); err != nil {
			return 0, err
		}
	}
	for _, in := range []struct {
		table, columns string
		rows           [][]any
	}{
		{"inspections", inspectionColumns, [][]any{e.what.row(id, e.result)}},
		{"inspection_pictures", "inspection, place, file, view, light, angle_deg, sha256", pictureRows(id, e.what.Pictures)},
		{"inspection_texts", "inspection, place, role, name, sha256", textRows(id, e.what.Texts)},
		{"findings", findingColumns, findingRows(id, e.Result.Findings)},
		{"stations", stepStationColumns, stepStationRows(id, e.Result.Seam.Stations)},
	} {
		if err := t.insert(ctx, in.table, in.columns, in.rows); err != nil {
			return 0, err
		}
	}
	return id, t.append(ctx, &event{Kind: eventRecorded, Inspection: id, Recorded: &e.what})
}

func (t *tx) mayCorrect(ctx context.Context, id int64) error {
	var there, corrected int
	err := t.row(ctx, "SELECT (SELECT count(*) FROM inspections WHERE id = ?), (SELECT count(*) FROM inspections WHERE corrects = ?)", id, id).Scan(&there, &corrected)
	switch {
	case err != nil:
		return fmt.Errorf("records: look for inspection %d: %w", id, err)
	case there == 0:
		return fmt.Errorf("records: correct inspection %d: %w", id, ErrNotFound)
	case corrected > 0:
		return fmt.Errorf("records: correct inspection %d: %w: it was corrected already: correct that one", id, ErrInvalid)
	}
	return nil
}

// keepPicture stores a picture's bytes, unless they are there.
func (t *tx) keepPicture(ctx context.Context, p part.StoredPicture) error {
	var kept int
	err := t.row(ctx, "SELECT CASE WHEN bytes IS NULL THEN 0 ELSE 1 END FROM pictures WHERE sha256 = ?", p.SHA256).Scan(&kept)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		var bytes any // NULL
		if p.Bytes != nil {
			bytes = p.Bytes
		}
		err = t.exec(ctx, "INSERT INTO pictures (sha256, mime, size, bytes) VALUES (?, ?, ?, ?)", p.SHA256, clean(p.MIME), len(p.Bytes), bytes)
	case err == nil && kept == 0 && p.Bytes != nil:
		err = t.exec(ctx, "UPDATE pictures SET mime = ?, size = ?, bytes = ? WHERE sha256 = ?", clean(p.MIME), len(p.Bytes), p.Bytes, p.SHA256)
	}
	if err != nil {
		return fmt.Errorf("records: keep picture %s: %w", p.File, err)
	}
	return nil
}

func (t *tx) keepText(ctx context.Context, x part.SettingsFile) error {
	err := t.exec(ctx, "INSERT INTO texts (sha256, bytes) SELECT ?, ? WHERE NOT EXISTS (SELECT 1 FROM texts WHERE sha256 = ?)", x.SHA256, x.Bytes, x.SHA256)
	if err != nil {
		return fmt.Errorf("records: keep %s: %w", x.Name, err)
	}
	return nil
}
