package book

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/truth"
)

// Where an item's picture is.
const (
	RefFile   = "file:"   // a file of a unit's folder
	refRecord = "record:" // a picture of the records, by its SHA-256
)

// errGone says that a picture is not there any more, or is another one.
var errGone = errors.New("the picture is not there any more")

// QuizPicture is a picture's file.
func QuizPicture(ctx context.Context, store *records.Store, p teach.ItemPicture) ([]byte, error) {
	if sha, ok := strings.CutPrefix(p.Ref, refRecord); ok {
		b, _, err := store.PictureBytes(ctx, sha)
		if errors.Is(err, records.ErrForgotten) || errors.Is(err, records.ErrNotFound) {
			return nil, fmt.Errorf("%w: it was taken off the records", errGone)
		}
		return b, err
	}
	if strings.HasPrefix(p.Ref, refMap) {
		return mapPictureOf(ctx, store, p)
	}
	path, ok := strings.CutPrefix(p.Ref, RefFile)
	if !ok {
		return nil, fmt.Errorf("%w: %q names no place that this program knows", errGone, p.Ref)
	}
	b, err := files.Read(path, files.MostPicture)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: there is no file %s", errGone, path)
	case err != nil:
		return nil, fmt.Errorf("%w: %s cannot be read: %w", errGone, path, cli.PlainPath(err))
	case files.SHA256(b) != p.SHA256:
		return nil, fmt.Errorf("%w: %s is another picture than when the test was drawn", errGone, path)
	}
	return b, nil
}

// pictureKind is the kind of a picture's file, if browsers show it.
func pictureKind(b []byte) (mime string, w, h int, err error) {
	c, kind, err := image.DecodeConfig(bytes.NewReader(b))
	if err != nil {
		return "", 0, 0, errors.New("it is no JPEG or PNG picture")
	}
	return "image/" + kind, c.Width, c.Height, nil
}

// PoolUnits are the units of folders with a truth.json, drawn with known defects.
// limits give the verdict that the known sizes earn.
func PoolUnits(dirs []string, stage part.Stage, limits grade.Limits) ([]teach.Item, error) {
	var all []teach.Item
	for _, dir := range dirs {
		its, err := poolUnit(dir, stage, limits)
		if err != nil {
			return nil, err
		}
		all = append(all, its...)
	}
	return all, nil
}

// poolUnit is an item for each surface of a unit of which something is known.
func poolUnit(dir string, stage part.Stage, limits grade.Limits) ([]teach.Item, error) {
	file := filepath.Join(dir, truth.File)
	var k truth.Unit
	if err := cli.ReadJSONFile(file, &k); err != nil {
		return nil, err
	}
	surfaces, err := k.Surfaces(file)
	if err != nil {
		return nil, err
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	var all []teach.Item
	for _, of := range surfaces {
		it, err := poolSurface(abs, file, k.MMPerPX, of, stage, limits)
		if err != nil {
			return nil, err
		}
		all = append(all, it)
	}
	return all, nil
}

func poolSurface(dir, file string, mmPerPX float64, of truth.Surface, stage part.Stage, limits grade.Limits) (teach.Item, error) {
	unit := filepath.Base(dir)
	it := teach.Item{Key: unit, Unit: unit, Stage: stage, Provenance: teach.Drawn, MMPerPX: mmPerPX}
	if of.Pose.View == part.Shell {
		it.Key += fmt.Sprintf("-shell-%g", of.Pose.TurnDeg)
	}
	var screen []teach.ItemPicture
	for _, l := range part.Lights {
		name, ok := of.Files[string(l)]
		if !ok || l == part.Black {
			continue
		}
		if name != filepath.Base(name) {
			return teach.Item{}, cli.Usagef("%s: the picture %q lies in another folder: name a file of this one", file, name)
		}
		path := filepath.Join(dir, name)
		b, err := files.Read(path, files.MostPicture)
		if err != nil {
			return teach.Item{}, cli.Usagef("%s cannot be read: %w", path, cli.PlainPath(err))
		}
		_, w, h, err := pictureKind(b)
		if err != nil {
			return teach.Item{}, cli.Usagef("%s cannot be shown in a test: %w", path, err)
		}
		im, err := capture.Read(path)
		if err != nil { // cut off, say: what is missing of it would be asked too
			return teach.Item{}, cli.UsageError{Err: err}
		}
		capture.Release(im)
		if it.WidthPX != 0 && (it.WidthPX != w || it.HeightPX != h) {
			return teach.Item{}, cli.Usagef("%s: its pictures differ in size, so that a place is not the same in all of them", dir)
		}
		it.WidthPX, it.HeightPX = w, h
		if q := (teach.ItemPicture{Light: l, Ref: RefFile + path, SHA256: files.SHA256(b)}); l.OfScreen() {
			screen = append(screen, q)
		} else {
			it.Pictures = append(it.Pictures, q)
		}
	}
	if len(screen) > 0 {
		more, err := screenPictures(context.Background(), nil, screen, mmPerPX)
		if err != nil {
			return teach.Item{}, err
		}
		it.Pictures = append(it.Pictures, more...)
	}
	for _, d := range of.Defects {
		size, measure, _ := d.Size()
		if d.OverAll() {
			size, measure = 0, ""
		}
		known := teach.KnownDefect{Kind: part.Kind(d.Kind), Box: part.Box(d.Box), SizeMM: size, Measure: measure, SlopeMRad: d.SlopeMRad}
		if d.Width != nil {
			known.WidthMM = *d.Width
		}
		known.CNR, _ = d.Cnr()
		for _, l := range part.Lights {
			if v, ok := d.CNR[string(l)]; ok && v == known.CNR && l != part.NoLight {
				known.Light = l
			}
		}
		known.Light = bestShown(known, it.Pictures)
		it.Known = append(it.Known, known)
	}
	it.Verdict = verdictOf(it, of.Pose, limits)
	if err := it.Check(); err != nil {
		return it, cli.Usagef("%s: %w", file, err)
	}
	return it, nil
}

// verdictOf is the verdict that what is known of a surface earns by the limits: of that
// alone, since nothing else is shown, and without what cannot be seen.
func verdictOf(it teach.Item, pose part.Pose, limits grade.Limits) part.Verdict {
	limits.Required = nil
	r := part.Result{Schema: 1, Unit: it.Unit, Stage: it.Stage, MMPerPX: it.MMPerPX}
	for _, p := range it.Pictures {
		r.Pictures = append(r.Pictures, part.PictureReport{File: string(p.Light), View: pose.View, AngleDeg: pose.TurnDeg, Light: p.Light,
			State: part.PictureOK})
	}
	zone := part.ZoneFace
	if pose.View == part.Shell {
		zone = part.ZoneShell
	}
	for i, k := range it.Known {
		if !k.Visible() {
			continue
		}
		f := part.Finding{Number: i + 1, Image: r.Pictures[0].File, Kind: k.Kind, Box: k.Box, Zone: zone, Confidence: 1}
		if k.SlopeMRad > 0 {
			f.Features = map[string]float64{"slope_mrad": k.SlopeMRad}
		}
		size := k.SizeMM
		switch {
		case k.Measure == "diameter" && size > 0:
			f.DiameterMM = &size
		case size > 0:
			f.LengthMM = &size
			if k.WidthMM > 0 {
				width, area := k.WidthMM, size*k.WidthMM
				f.WidthMM, f.AreaMM2 = &width, &area
			}
		}
		if f.AreaMM2 == nil {
			area := k.Box[2] * k.Box[3] * it.MMPerPX * it.MMPerPX
			f.AreaMM2 = &area
		}
		r.Findings = append(r.Findings, f)
	}
	grade.Judge(&r, limits)
	return r.Verdict
}

// TopicTruth is the topic of the journals that say what a person confirmed.
const TopicTruth = "truth"

// confirmedBody is what a person says is on a unit: on its faceplate, or on its shell as one
// turn shows it.
type confirmedBody struct {
	Inspection int64               `json:"inspection"`
	ShellDeg   *float64            `json:"shell_deg,omitempty"` // that turn, 0 <= ShellDeg < 360; absent: the faceplate
	Verdict    part.Verdict        `json:"verdict"`
	Known      []teach.KnownDefect `json:"known"`
}

// Pose is that of the pictures in which it was said.
func (b confirmedBody) Pose() part.Pose {
	if b.ShellDeg == nil {
		return part.PoseOf(part.Face, 0)
	}
	return part.PoseOf(part.Shell, *b.ShellDeg)
}

// Name is what is confirmed in the journals: a second confirmation takes its place.
func (b confirmedBody) Name() string {
	name := strconv.FormatInt(b.Inspection, 10)
	if b.ShellDeg != nil {
		name += fmt.Sprintf("-shell-%g", *b.ShellDeg)
	}
	return name
}

// seenIn is where a finding shows in the pictures of a pose: best there, else first.
func seenIn(pictures []part.StoredPicture, f part.Finding, pose part.Pose) (part.Sighting, bool) {
	for _, s := range append([]part.Sighting{{Image: f.Image, Box: f.Box}}, f.AlsoIn...) {
		if p := PictureOf(pictures, s.Image); p != nil && PoseOf(*p) == pose {
			return s, true
		}
	}
	return part.Sighting{}, false
}

// unitConfirmed is what a person confirmed last of a unit.
type unitConfirmed struct {
	confirmedBody
	By string
	At time.Time
}

// Confirmations are what was confirmed, in the order in which each unit was for the
// first time; a second confirmation takes the first one's place.
func Confirmations(ctx context.Context, store *records.Store) ([]unitConfirmed, error) {
	entries, err := store.Journals(ctx, TopicTruth)
	if err != nil {
		return nil, err
	}
	latest := map[string]part.Entry{}
	var names []string
	for _, e := range entries {
		if _, ok := latest[e.Name]; !ok {
			names = append(names, e.Name)
		}
		latest[e.Name] = e
	}
	var all []unitConfirmed
	for _, name := range names {
		e := latest[name]
		c := unitConfirmed{By: e.By, At: e.At}
		if err := json.Unmarshal(e.Body, &c.confirmedBody); err != nil {
			return nil, fmt.Errorf("what was confirmed of inspection %s cannot be read: %w", name, err)
		}
		all = append(all, c)
	}
	return all, nil
}

// PoolRecords are the recorded units of which a person confirmed what is on the
// faceplate; gone counts those whose pictures are not there any more, or cannot be
// shown.
func PoolRecords(ctx context.Context, store *records.Store) (all []teach.Item, gone int, err error) {
	confirmed, err := Confirmations(ctx, store)
	if err != nil {
		return nil, 0, err
	}
	for _, c := range confirmed {
		in, err := store.Get(ctx, c.Inspection)
		if err != nil {
			return nil, 0, err
		}
		if !in.Holds() {
			continue
		}
		it, err := RecordItem(ctx, store, in, c.confirmedBody, c.By)
		if errors.Is(err, errGone) {
			gone++
			continue
		}
		if err != nil {
			return nil, 0, err
		}
		all = append(all, it)
	}
	return all, gone, nil
}

// RecordItem is an item of a recorded unit.
func RecordItem(ctx context.Context, store *records.Store, in part.Inspection, b confirmedBody, by string) (teach.Item, error) {
	it := teach.Item{Key: "record-" + b.Name(), Unit: part.UnitName(in.Serial, in.Side), Stage: in.Stage, Provenance: teach.Confirmed,
		By: by, Known: b.Known, Verdict: b.Verdict}
	var screen []teach.ItemPicture
	withScreen, withLamps := false, true // nothing looks at a shell before a screen
	if b.ShellDeg == nil {
		withScreen, withLamps = PosesOf(in, b.Known)
	}
	for _, p := range in.Pictures {
		if PoseOf(p) != b.Pose() || p.Light == part.Black || p.Light == part.Back || p.Light.OfScreen() && !withScreen ||
			!p.Light.OfScreen() && !withLamps {
			continue
		}
		q := teach.ItemPicture{Light: p.Light, Ref: refRecord + p.SHA256, SHA256: p.SHA256}
		raw, err := QuizPicture(ctx, store, q)
		if err != nil {
			return it, err
		}
		_, w, h, err := pictureKind(raw)
		if err != nil {
			return it, fmt.Errorf("%w: picture %s of inspection %d: %w", errGone, p.File, in.ID, err)
		}
		if it.WidthPX != 0 && (it.WidthPX != w || it.HeightPX != h) {
			continue // of another camera: its places are others
		}
		it.WidthPX, it.HeightPX = w, h
		it.MMPerPX = in.Result.ScaleOf(p.File)
		if p.Light.OfScreen() {
			screen = append(screen, q)
		} else {
			it.Pictures = append(it.Pictures, q)
		}
	}
	if len(screen) > 0 {
		more, err := screenPictures(ctx, store, screen, it.MMPerPX)
		if err != nil {
			return it, err
		}
		it.Pictures = append(it.Pictures, more...)
	}
	if len(it.Pictures) == 0 {
		return it, fmt.Errorf("%w: inspection %d has no picture of the %s that can be asked", errGone, in.ID, b.Pose())
	}
	return it, it.Check()
}

// PosesOf says whether an item of a recorded unit shows the faceplate before a screen, and under lamps: both
// where both are of one pose, so that a place is the same in them, which a finding seen in both tells; else that in
// which something is known, and lamps where nothing is. Neither where something is known in each.
func PosesOf(in part.Inspection, known []teach.KnownDefect) (screen, lamps bool) {
	before := map[string]bool{} // a screen, by file
	for _, p := range in.Pictures {
		if p.View == part.Face {
			before[p.File] = p.Light.OfScreen()
			screen, lamps = screen || p.Light.OfScreen(), lamps || !p.Light.OfScreen()
		}
	}
	if !screen || !lamps {
		return screen, lamps
	}
	for _, f := range in.Result.Findings {
		first, ok := before[f.Image]
		for _, s := range f.AlsoIn {
			if other, ok2 := before[s.Image]; ok && ok2 && other != first {
				return true, true
			}
		}
	}
	byScreen := slices.ContainsFunc(known, fromScreen)
	byLamps := slices.ContainsFunc(known, func(k teach.KnownDefect) bool { return !fromScreen(k) })
	return byScreen && !byLamps, !byScreen
}

// Confirmation is what a person says of a recorded unit, in the words of the
// command line.
type Confirmation struct {
	ShellDeg *float64 // the shell at this turn; nil: the faceplate
	Verdict  part.Verdict
	Not      []int    // findings that are none
	Kinds    []string // NUMBER=KIND
	Also     []string // KIND,X,Y,W,H: overlooked
}

// Confirmed is the truth that a confirmation makes of the tool's findings on the
// faceplate, or on a turn of the shell: each looked at by the person.
func (c Confirmation) Confirmed(in part.Inspection) (confirmedBody, error) {
	b := confirmedBody{Inspection: in.ID, ShellDeg: c.ShellDeg, Verdict: c.Verdict}
	what := "faceplate"
	if c.ShellDeg != nil {
		what = b.Pose().String()
	}
	if !slices.Contains(teach.Verdicts, b.Verdict) {
		return b, cli.Usagef("--verdict: pass, rework or reject, as the %s deserves", what)
	}
	lights := map[string]part.Light{}
	for _, p := range in.Pictures {
		if PoseOf(p) == b.Pose() {
			lights[p.File] = p.Light
		}
	}
	if len(lights) == 0 {
		return b, cli.Usagef("inspection %d has no picture of the %s: nothing can be asked of it", in.ID, what)
	}
	kinds := map[int]part.Kind{}
	for _, s := range c.Kinds {
		number, kind, _ := strings.Cut(s, "=")
		n, err := strconv.Atoi(number)
		if err != nil || !slices.Contains(part.Kinds, part.Kind(kind)) {
			return b, cli.Usagef("--kind %s: give a finding's number and its kind, such as 3=dust", s)
		}
		kinds[n] = part.Kind(kind)
	}
	seen := map[int]bool{}
	for _, f := range in.Result.Findings {
		at, ok := seenIn(in.Pictures, f, b.Pose())
		if !ok {
			continue
		}
		seen[f.Number] = true
		if slices.Contains(c.Not, f.Number) {
			continue
		}
		k := teach.KnownDefect{Kind: f.Kind, Box: at.Box, Light: lights[at.Image]}
		if name := part.MapOf(f); name != "" {
			k.Light = mapLight(name)
		}
		if kind, ok := kinds[f.Number]; ok {
			k.Kind = kind
		}
		switch {
		case f.DiameterMM != nil:
			k.SizeMM, k.Measure = *f.DiameterMM, "diameter"
		case f.LengthMM != nil:
			k.SizeMM, k.Measure = *f.LengthMM, "length"
			if f.WidthMM != nil {
				k.WidthMM = *f.WidthMM
			}
		}
		b.Known = append(b.Known, k)
	}
	for _, n := range c.Not {
		if !seen[n] {
			return b, cli.Usagef("--not %d: the inspection has no such finding on the %s", n, what)
		}
	}
	for n := range kinds {
		if !seen[n] {
			return b, cli.Usagef("--kind %d=...: the inspection has no such finding on the %s", n, what)
		}
	}
	for _, s := range c.Also {
		k, err := alsoThere(s)
		if err != nil {
			return b, err
		}
		b.Known = append(b.Known, k)
	}
	return b, nil
}

func alsoThere(s string) (teach.KnownDefect, error) {
	bad := cli.Usagef("--also %s: give kind, x, y, width and height in pixels, such as dust,812,440,12,9", s)
	f := strings.Split(s, ",")
	if len(f) != 5 || !slices.Contains(part.Kinds, part.Kind(f[0])) {
		return teach.KnownDefect{}, bad
	}
	k := teach.KnownDefect{Kind: part.Kind(f[0])}
	for i := range k.Box {
		v, err := strconv.ParseFloat(f[i+1], 64)
		if err != nil || !(v >= 0 && v < 1e5) || i > 1 && v == 0 {
			return k, bad
		}
		k.Box[i] = v
	}
	return k, nil
}

// PictureOf is the picture with this file's name; nil where there is none.
func PictureOf(pictures []part.StoredPicture, file string) *part.StoredPicture {
	for i := range pictures {
		if pictures[i].File == file {
			return &pictures[i]
		}
	}
	return nil
}

// PoseOf is what a recorded picture shows of the unit.
func PoseOf(p part.StoredPicture) part.Pose { return part.PoseOf(p.View, p.AngleDeg) }
