package atlas

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"finishbench/internal/capture"
	"finishbench/internal/capture/outline"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
	"finishbench/internal/synth"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
	"finishbench/internal/truth"
)

// Where an atlas page's pictures are from.
const (
	fromRecords = "records"
	fromUnits   = "units"
	fromDrawn   = "drawn"
	fromNone    = "none"
)

// Sample is a sample with its pictures, which are opened only when it is
// shown.
type Sample struct {
	teach.Sample
	In   string // the map of a screen's stripes in which it shows best; "": it is shown as it was photographed
	Open func(ctx context.Context) (*openSample, error)
}

// openSample is a finding's pictures: that in which it shows best first.
type openSample struct {
	Images  []*part.Image
	Box     []part.Box
	mmPerPX float64
	outline []part.Point
	others  []part.Box // all findings there
	Release func()
}

// Panels are the windows of a strip: each picture, and a clean place in the first.
func (s *openSample) Panels(windowMM float64) []report.StripPanel {
	var out []report.StripPanel
	for i, im := range s.Images {
		out = append(out, report.StripPanel{Image: im, Middle: s.Box[i].Centre(), MMPerPX: s.mmPerPX, Box: &s.Box[i]})
	}
	if m, ok := teach.CleanPlace(s.Box[0].Centre(), windowMM/s.mmPerPX, s.outline, s.others); ok {
		out = append(out, report.StripPanel{Image: s.Images[0], Middle: m, MMPerPX: s.mmPerPX})
	}
	return out
}

// Atlas gathers samples by kind and makes the pages.
type Atlas struct {
	l        *lang.Lang
	n        int
	Recorded map[part.Kind][]Sample
	units    map[part.Kind][]Sample
	LinkTo   func(part.Kind) string // the page of a kind
}

// New is an atlas in a language, with at most n samples of a kind, and none yet.
func New(l *lang.Lang, n int) *Atlas {
	return &Atlas{l: l, n: n, Recorded: map[part.Kind][]Sample{}, units: map[part.Kind][]Sample{},
		LinkTo: func(k part.Kind) string { return string(k) + ".html" }}
}

// AddRecords takes findings from the records. Where a person said what a finding is,
// that holds. Those of calls that a person overruled, and those of which one said
// that they are no defect, are no examples of anything.
func (a *Atlas) AddRecords(ctx context.Context, store *records.Store, f records.Filter) error {
	marks, err := marksOf(ctx, store)
	if err != nil {
		return err
	}
	labels, err := store.Labels(ctx)
	if err != nil {
		return err
	}
	said := AgreedKinds(book.LastWords(labels))
	return store.Each(ctx, f, func(in part.Inspection) error {
		if !in.Holds() || in.Overruled != nil {
			return nil
		}
		for _, f := range in.Result.Findings {
			ref := teach.Ref{Inspection: in.ID, Number: f.Number}
			kind, confirmed := said[ref]
			if confirmed {
				f.Kind = kind
			}
			st := marks[ref]
			if f.Severity == part.None && !st.Pinned || book.PictureOf(in.Pictures, f.Image) == nil {
				continue
			}
			s := teach.Sample{Inspection: in.ID, Unit: part.UnitName(in.Serial, in.Side), Finding: f, SizeMM: atlasSize(f),
				Confirmed: confirmed, Pinned: st.Pinned, Hidden: st.Hidden, Caption: st.Caption}
			a.Recorded[f.Kind] = append(a.Recorded[f.Kind], Sample{s, part.MapOf(f),
				func(ctx context.Context) (*openSample, error) { return openRecorded(ctx, store, s) }})
		}
		return nil
	})
}

// atlasSize is what a finding's size goes by, and of orange peel, which is all over a face, the root mean square
// slope in mrad; 0 where that is not known.
func atlasSize(f part.Finding) float64 {
	if f.Kind == part.OrangePeel {
		return max(f.Features["slope_mrad"], f.Features["slope_mrad_at_least"])
	}
	return teach.Size(f)
}

// AgreedKinds are what people say that findings are; where they disagree, nothing
// is said.
func AgreedKinds(labels []records.Label) map[teach.Ref]part.Kind {
	said, torn := map[teach.Ref]part.Kind{}, map[teach.Ref]bool{}
	for _, l := range labels {
		key := teach.Ref{Inspection: l.Inspection, Number: l.Number}
		if k, ok := said[key]; ok && k != l.Kind {
			torn[key] = true
		}
		said[key] = l.Kind
	}
	for key := range torn {
		delete(said, key)
	}
	return said
}

// openRecorded reads the pictures of a finding from the records.
func openRecorded(ctx context.Context, store *records.Store, s teach.Sample) (*openSample, error) {
	in, err := store.Get(ctx, s.Inspection)
	if err != nil {
		return nil, err
	}
	r := inspection.NewRecordedPictures(ctx, store, &in)
	f := s.Finding
	o := &openSample{mmPerPX: in.Result.ScaleOf(f.Image), outline: in.Result.Faceplate.Outline(), Release: r.Release}
	files := []part.Sighting{{Image: f.Image, Box: f.Box}}
	if other := OtherLight(in.Pictures, f.Image); other != "" {
		i := slices.IndexFunc(f.AlsoIn, func(x part.Sighting) bool { return x.Image == other })
		if i >= 0 {
			files = append(files, f.AlsoIn[i])
		} else {
			files = append(files, part.Sighting{Image: other, Box: f.Box}) // one pose: the same place
		}
	}
	for _, x := range files {
		im, err := r.Image(x.Image)
		if err != nil {
			r.Release()
			return nil, err
		}
		o.Images, o.Box = append(o.Images, im), append(o.Box, x.Box)
	}
	if shot := book.PictureOf(in.Pictures, f.Image); shot == nil || shot.View != part.Face {
		o.outline = nil // it is the faceplate's, in face pictures
	}
	o.others = InPoseOf(in, f)
	if name := part.MapOf(f); name != "" {
		of := map[part.Light]*part.Image{}
		for _, p := range in.Pictures {
			if p.View != part.Face || !p.Light.OfScreen() || p.Light == part.Black {
				continue
			}
			if of[p.Light], err = r.Image(p.File); err != nil {
				r.Release()
				return nil, err
			}
		}
		o.withMap(of, nil, name, f.Box)
	}
	return o, nil
}

// OtherLight is the picture of the same pose under another light; "" for none. A screen that is dark, or
// shows stripes, lights nothing, and a panel behind shows an outline.
func OtherLight(pictures []part.StoredPicture, file string) string {
	p := book.PictureOf(pictures, file)
	if p == nil || p.View == part.Edge {
		return ""
	}
	for _, q := range pictures {
		if book.PoseOf(q) == book.PoseOf(*p) && q.Light != p.Light && q.Light != part.Back &&
			(q.Light == part.White || !q.Light.OfScreen()) {
			return q.File
		}
	}
	return ""
}

// InPoseOf are the boxes of all findings that show in the pose in which one shows best: those
// of other turns and views lie elsewhere.
func InPoseOf(in part.Inspection, f part.Finding) []part.Box {
	var pose part.Pose
	if p := book.PictureOf(in.Pictures, f.Image); p != nil {
		pose = book.PoseOf(*p)
	}
	var out []part.Box
	for _, x := range in.Result.Findings {
		for _, s := range append([]part.Sighting{{Image: x.Image, Box: x.Box}}, x.AlsoIn...) {
			if p := book.PictureOf(in.Pictures, s.Image); p != nil && book.PoseOf(*p) == pose {
				out = append(out, s.Box)
			}
		}
	}
	return out
}

// addUnits takes the known defects of units in folders with a truth.json.
func (a *Atlas) addUnits(dir string) error {
	names, err := truth.FoldersWith(dir, truth.File)
	if err != nil {
		return err
	}
	for _, u := range names {
		var k truth.Unit
		file := filepath.Join(dir, u, truth.File)
		if err := cli.ReadJSONFile(file, &k); err != nil {
			return err
		}
		if !(k.MMPerPX > 0) {
			return cli.Usagef("%s: mm_per_px must be above 0", file)
		}
		surfaces, err := k.Surfaces(file)
		if err != nil {
			return err
		}
		known := 0
		for _, of := range surfaces {
			a.addSurface(filepath.Join(dir, u), u, k.MMPerPX, of, known)
			known += len(of.Defects)
		}
	}
	return nil
}

// addSurface takes a surface's defects. before tells how many the unit has on those before it.
func (a *Atlas) addSurface(folder, name string, mmPerPX float64, of truth.Surface, before int) {
	var boxes []part.Box
	for _, d := range of.Defects {
		boxes = append(boxes, part.Box(d.Box))
	}
	peel, mirror := slices.ContainsFunc(of.Defects, truth.Defect.OverAll), of.Files[string(part.StripesX0)] != ""
	for i, d := range of.Defects {
		if c, ok := d.Cnr(); ok && c < teach.VisibleCNR {
			continue
		}
		if peel && !d.OverAll() && mirror && book.Mirrored(part.Kind(d.Kind)) {
			continue // the mirror shows orange peel there
		}
		mm, _, _ := d.Size()
		s := teach.Sample{Unit: name, SizeMM: mm, Confirmed: true,
			Finding: part.Finding{Number: before + i + 1, Kind: part.Kind(d.Kind), Box: boxes[i], Confidence: 1}}
		in := ""
		if book.Mirrored(s.Finding.Kind) && mirror {
			in = part.GlossMap
		}
		a.units[s.Finding.Kind] = append(a.units[s.Finding.Kind], Sample{s, in, func(context.Context) (*openSample, error) {
			return openKnown(folder, mmPerPX, of, boxes, i, in)
		}})
	}
}

// openKnown reads the pictures of a known defect; in is the map that shows it best, "" for none.
func openKnown(folder string, mmPerPX float64, of truth.Surface, boxes []part.Box, i int, in string) (*openSample, error) {
	o := &openSample{mmPerPX: mmPerPX, others: boxes}
	var all []*part.Image
	o.Release = func() {
		for _, im := range all {
			capture.Release(im)
		}
	}
	read := func(l part.Light) (*part.Image, error) {
		file := of.Files[string(l)]
		if file == "" {
			return nil, nil
		}
		im, err := capture.Read(filepath.Join(folder, filepath.Base(file)))
		if err != nil {
			o.Release()
			return nil, err
		}
		all = append(all, im)
		return im, nil
	}
	for _, l := range []part.Light{part.Raking, part.Diffuse, part.White} {
		if l == part.White && len(o.Images) > 0 {
			break
		}
		im, err := read(l)
		if err != nil {
			return nil, err
		}
		if im != nil {
			o.Images, o.Box = append(o.Images, im), append(o.Box, boxes[i])
		}
	}
	if len(o.Images) == 0 {
		return nil, fmt.Errorf("%s: no picture of the %s under diffuse, raking or white light is named", folder, of.Pose)
	}
	if of.Pose.View == part.Face {
		if sil, err := outline.Find(o.Images[len(o.Images)-1]); err == nil {
			o.outline = sil.Boundary
		}
	}
	if in == "" {
		return o, nil
	}
	lit := map[part.Light]*part.Image{}
	for _, l := range part.ScreenLights {
		im, err := read(l)
		if err != nil {
			return nil, err
		}
		if im != nil {
			lit[l] = im
		}
	}
	o.withMap(lit, nil, in, boxes[i])
	return o, nil
}

// drawable are the kinds that can be drawn on a faceplate, with sizes from just
// visible to severe, in mm (common practice, no source).
var drawable = map[part.Kind][]float64{
	part.Bubble:  {0.1, 0.2, 0.35, 0.6, 1.0},
	part.Dust:    {0.05, 0.1, 0.2, 0.35, 0.6},
	part.Crater:  {0.2, 0.35, 0.5, 0.8, 1.2},
	part.Fibre:   {0.4, 0.8, 1.5, 2.5, 4},
	part.Sanding: {0.6, 1.2, 2, 3, 4.5},
	part.Run:     {0.5, 1, 1.5, 2.5, 4},
}

// drawnDefect is a defect of a size.
func drawnDefect(k part.Kind, mm float64) synth.Defect {
	d := synth.Defect{Kind: k, DiameterMM: mm}
	switch k {
	case part.Fibre:
		d.DiameterMM, d.LengthMM, d.AngleDeg = 0, mm, 35
	case part.Sanding, part.Run:
		d.DiameterMM, d.LengthMM, d.WidthMM, d.AngleDeg = 0, mm, mm/2, 20
	}
	return d
}

// drawSizes draws defects of one kind, each on a plain lacquered panel of its own
// with room for a clean window beside it. windowMM is that of the largest.
func drawSizes(k part.Kind, sizesMM []float64) []Sample {
	windowMM := report.StripWindowMM(slices.Max(sizesMM))
	var out []Sample
	for i, mm := range sizesMM {
		s := teach.Sample{SizeMM: mm, Confirmed: true, Finding: part.Finding{Number: i + 1, Kind: k, Confidence: 1}}
		out = append(out, Sample{s, "", func(context.Context) (*openSample, error) {
			return drawOne(drawnDefect(k, mm), windowMM, uint64(i)+1), nil
		}})
	}
	return out
}

// drawOne draws a defect in the left half of a panel, at the scale at which it will
// be shown, or the cameras' where that is finer.
func drawOne(d synth.Defect, windowMM float64, seed uint64) *openSample {
	const room = 2.6 // windows wide, so that one beside the defect is clear of it
	p := synth.DefaultPanel()
	p.MMPerPX, p.Pattern, p.Seed = math.Max(0.015, windowMM/320), "plain", seed
	p.W, p.H = int(room*windowMM/p.MMPerPX), int(1.1*windowMM/p.MMPerPX)
	d.XMM = -0.25 * room * windowMM
	p.Defects = []synth.Defect{d}
	diffuse, raking, truth := synth.Panel(p)
	w, h := float64(p.W), float64(p.H)
	o := &openSample{Images: []*part.Image{raking, diffuse}, mmPerPX: p.MMPerPX, Release: func() {},
		outline: []part.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}}
	t := truth.Defects[0]
	if t.CNRDiffuse > t.CNRRaking { // the light that shows it best comes first
		o.Images = []*part.Image{diffuse, raking}
	}
	o.Box, o.others = []part.Box{t.Box, t.Box}, []part.Box{t.Box}
	return o
}

// drawSteps draws the left limb of edge pictures with steps, in um, + proud.
func drawSteps(stepsUM []float64) []Sample {
	var out []Sample
	for i, um := range stepsUM {
		s := teach.Sample{SizeMM: math.Abs(um) / 1000, Confirmed: true,
			Finding: part.Finding{Number: i + 1, Kind: part.Step, ValueUM: part.Num(um), Confidence: 1}}
		out = append(out, Sample{s, "", func(context.Context) (*openSample, error) {
			p := synth.SmallEdge()
			p.StepLeftUM, p.Grain = um, false
			im, truth := synth.Edge(p)
			b := part.Box{truth.Left.XPX - 12, truth.Left.YPX - 12, 24, 24}
			return &openSample{Images: []*part.Image{im}, Box: []part.Box{b}, mmPerPX: p.MMPerPX, Release: func() {}}, nil
		}})
	}
	return out
}

// choose is what is shown of a kind, and where it is from.
func (a *Atlas) choose(k part.Kind) ([]Sample, string) {
	for _, from := range []struct {
		name string
		all  []Sample
	}{{fromRecords, a.Recorded[k]}, {fromUnits, a.units[k]}} {
		if got := chosen(from.all, a.n); len(got) > 0 {
			return got, from.name
		}
	}
	switch {
	case drawable[k] != nil || mirrorSamples[k] != nil:
		var all []Sample
		if sizes := drawable[k]; sizes != nil {
			all = drawSizes(k, sizes)
		}
		return append(all, drawMirrors(k)...), fromDrawn
	case k == part.Step:
		return drawSteps([]float64{-60, -25, 15, 30, 60, 120}), fromDrawn
	}
	return nil, fromNone
}

func chosen(all []Sample, n int) []Sample {
	plain := make([]teach.Sample, len(all))
	type name struct {
		id     int64
		unit   string
		number int
	}
	by := map[name]Sample{}
	for i, s := range all {
		plain[i] = s.Sample
		by[name{s.Inspection, s.Unit, s.Finding.Number}] = s
	}
	var out []Sample
	for _, s := range teach.Choose(plain, n) {
		out = append(out, by[name{s.Inspection, s.Unit, s.Finding.Number}])
	}
	return out
}
