package camera

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"path/filepath"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/gauge/sensor"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Options are the pictures that a camera is judged by, and how.
type Options struct {
	cli.SheetOptions
	White, Dark, Edge []string
	Exposures         string
	Linear            bool
	MmPerPX           float64
	Name              string
}

// cameraResult is what was found; a part that was not asked for is nil, one that
// could not be measured has its error.
type cameraResult struct {
	flat    *optics.FlatField
	flatErr error
	white   int // pictures

	edges []edgePicture

	transfer    *sensor.Transfer
	transferErr error
	lossy       bool // a picture of the series is a JPEG
	physical    bool
}

// edgePicture is one picture with its edges, or why there are none.
type edgePicture struct {
	file  string
	w, h  int
	found []optics.FoundEdge
	err   error
}

// Run judges a camera by its pictures, and makes a flat field of them.
func Run(ctx context.Context, o Options, _ []string, stdout, _ io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	var r cameraResult
	for _, step := range []func(Options, *cameraResult) error{measureFlat, measureEdges, measureSeries} {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := step(o, &r); err != nil {
			return err
		}
	}
	j := judgeCamera(r)
	sheet, err := cameraSheet(x, o, r, j)
	if err != nil {
		return err
	}
	if err := o.writeFlatField(r.flat); err != nil {
		return err
	}
	if err := o.Write("camera", sheet, newCameraJSON(o, r, j), stdout); err != nil {
		return err
	}
	switch {
	case j.missing:
		return cli.ExitCode(cli.ExitUnmeasured)
	case j.word == optics.RatedPoor:
		return cli.ExitCode(cli.ExitFails)
	}
	return nil
}

func (o Options) check() error {
	switch {
	case len(o.White)+len(o.Edge) == 0 && o.Exposures == "":
		return cli.Usagef("say what to look at: --white, --edge or --exposures (see 'inspect camera --help')")
	case len(o.Dark) > 0 && len(o.White) == 0:
		return cli.Usagef("--dark goes with --white: name pictures of a white card as well")
	case o.MmPerPX != 0 && !(o.MmPerPX >= 0.0001 && o.MmPerPX <= 1):
		return cli.Usagef("--mm-per-px %g: the scale must be 0.0001 to 1 mm a pixel", o.MmPerPX)
	}
	seen := map[string]bool{}
	for _, f := range append(append([]string{}, o.White...), o.Dark...) {
		if seen[filepath.Clean(f)] {
			return cli.Usagef("%s is named twice", f)
		}
		seen[filepath.Clean(f)] = true
	}
	return nil
}

// measureFlat makes the flat field.
func measureFlat(o Options, r *cameraResult) error {
	if len(o.White) == 0 {
		return nil
	}
	white, err := readNamed(o.White)
	defer releaseNamed(white)
	if err != nil {
		return err
	}
	dark, err := readNamed(o.Dark)
	defer releaseNamed(dark)
	if err != nil {
		return err
	}
	fo := optics.DefaultFlatFieldOptions()
	fo.Linear = o.Linear
	r.white = len(white)
	r.flat, r.flatErr = optics.NewFlatField(white, dark, fo)
	if r.flatErr != nil {
		return nil
	}
	r.flat.Made = time.Now().UTC().Truncate(time.Second)
	if r.flat.Pictures, err = hashed(o.White); err != nil {
		return err
	}
	r.flat.DarkPictures, err = hashed(o.Dark)
	return err
}

// readNamed reads pictures. What was read before an error is returned too, to be
// released.
func readNamed(paths []string) ([]optics.Named, error) {
	var all []optics.Named
	for _, f := range paths {
		im, err := capture.Read(f)
		if err != nil {
			return all, cli.UsageError{Err: err}
		}
		all = append(all, optics.Named{Name: f, Image: im})
	}
	return all, nil
}

func releaseNamed(all []optics.Named) {
	for _, n := range all {
		capture.Release(n.Image)
	}
}

// hashed names files with what tells them from others.
func hashed(paths []string) ([]optics.FlatFieldPicture, error) {
	var all []optics.FlatFieldPicture
	for _, f := range paths {
		data, err := files.Read(f, files.MostPicture)
		if err != nil {
			return nil, cli.UsageError{Err: err}
		}
		sum := sha256.Sum256(data)
		all = append(all, optics.FlatFieldPicture{File: filepath.Base(f), SHA256: hex.EncodeToString(sum[:])})
	}
	return all, nil
}

// measureEdges looks for edges in each picture.
func measureEdges(o Options, r *cameraResult) error {
	for _, f := range o.Edge {
		im, err := capture.Read(f)
		if err != nil {
			return cli.UsageError{Err: err}
		}
		light, err := sensor.EdgeLight(im, o.Linear)
		e := edgePicture{file: f, w: im.W, h: im.H}
		capture.Release(im)
		if err != nil {
			return err
		}
		e.found, e.err = optics.FindSlantedEdges(light, optics.DefaultFindOptions())
		r.edges = append(r.edges, e)
	}
	return nil
}

// allEdges are the edges of all pictures.
func (r cameraResult) allEdges() []optics.FoundEdge {
	var all []optics.FoundEdge
	for _, e := range r.edges {
		all = append(all, e.found...)
	}
	return all
}

// measureSeries looks at the exposure series, two pictures at a time.
func measureSeries(o Options, r *cameraResult) error {
	if o.Exposures == "" {
		return nil
	}
	f, err := cli.OpenTable(o.Exposures)
	if err != nil {
		return err
	}
	defer f.Close()
	pairs, err := readSeries(f)
	if err != nil {
		return cli.Usagef("%s: %w", o.Exposures, err)
	}
	to := sensor.DefaultTransferOptions()
	to.Physical, r.physical = o.Linear, o.Linear
	dir := filepath.Dir(o.Exposures)
	var levels []sensor.Level
	var size *part.Image
	for _, p := range pairs {
		l, first, err := p.measure(dir, o.Linear)
		if err != nil {
			return cli.Usagef("%s: %w", o.Exposures, err)
		}
		if size == nil {
			size = first
		} else if size.W != first.W || size.H != first.H || size.C != first.C || size.MaxSample() != first.MaxSample() {
			return cli.Usagef("%s: line %d: %s has %dx%d pixels, %d channels and samples up to %d, the pictures before %dx%d, %d and %d: "+
				"take all with one camera at one setting",
				o.Exposures, p.lines[0], p.files[0], first.W, first.H, first.C, first.MaxSample(), size.W, size.H, size.C, size.MaxSample())
		}
		levels = append(levels, l)
		to.TopDN = float64(first.MaxSample())
		switch strings.ToLower(filepath.Ext(p.files[0])) {
		case ".jpg", ".jpeg":
			r.lossy = true
		}
	}
	r.transfer, r.transferErr = sensor.PhotonTransfer(levels, to)
	return nil
}

// measure reads a pair and compares its pictures: the green channel of colour
// ones. The image returned has its size only, no pixels.
func (p seriesPair) measure(dir string, linear bool) (sensor.Level, *part.Image, error) {
	l := sensor.Level{TimeMS: p.ms, Photons: p.photons, Dark: p.dark}
	var im [2]*part.Image
	for i, f := range p.files {
		if !filepath.IsAbs(f) {
			f = filepath.Join(dir, f)
		}
		var err error
		if im[i], err = capture.Read(f); err != nil {
			capture.Release(im[0])
			return l, nil, lineError(p.lines[i], err)
		}
	}
	defer capture.Release(im[0])
	defer capture.Release(im[1])
	pair, err := sensor.MeasurePair(im[0], im[1], im[0].C/2, linear)
	if err != nil {
		return l, nil, lineError(p.lines[1], err)
	}
	l.Pair = pair
	shape := &part.Image{W: im[0].W, H: im[0].H, C: im[0].C}
	if im[0].Pix16 != nil {
		shape.Pix16 = []uint16{}
	}
	return l, shape, nil
}

// writeFlatField writes OUT/flatfield.json where there is an OUT.
func (o Options) writeFlatField(f *optics.FlatField) error {
	if f == nil || o.Out == "" {
		return nil
	}
	dir, err := cli.OpenOut(o.Out)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := optics.WriteFlatField(&b, f); err != nil {
		return err
	}
	return dir.ReplaceFile(FlatFieldFile, b.Bytes())
}

// FlatFieldFile is the name of a flat-field file under OUT.
const FlatFieldFile = "flatfield.json"

// cameraJudgement is the rating of all that was asked for.
type cameraJudgement struct {
	word    string // "": nothing was measured
	missing bool   // something that was asked for was not measured
	parts   []judgedPart
}

type judgedPart struct {
	name  string
	items []sensor.Judged
}

func (p judgedPart) word() string {
	var w []string
	for _, i := range p.items {
		w = append(w, i.Word)
	}
	return sensor.WorstRated(w...)
}

func judgeCamera(r cameraResult) cameraJudgement {
	l := sensor.DefaultCameraLimits()
	var j cameraJudgement
	if r.flat != nil {
		j.parts = append(j.parts, judgedPart{"light", l.JudgeFlatField(r.flat)})
	} else if r.flatErr != nil {
		j.parts = append(j.parts, judgedPart{"light", []sensor.Judged{unmeasured(r.flatErr)}})
	}
	if len(r.edges) > 0 {
		p := judgedPart{"sharpness", nil}
		if all := r.allEdges(); len(all) > 0 {
			p.items = l.JudgeSharpness(all)
		}
		for _, e := range r.edges {
			if e.err != nil {
				p.items = append(p.items, sensor.Judged{Reason: part.Say("camera.unmeasured_in", "file",
					filepath.Base(e.file)).With("why", cli.Why(e.err))})
			}
		}
		j.parts = append(j.parts, p)
	}
	if r.transfer != nil {
		j.parts = append(j.parts, judgedPart{"sensor", l.JudgeTransfer(r.transfer)})
	} else if r.transferErr != nil {
		j.parts = append(j.parts, judgedPart{"sensor", []sensor.Judged{unmeasured(r.transferErr)}})
	}
	var words []string
	for _, p := range j.parts {
		for _, i := range p.items {
			j.missing = j.missing || i.Word == ""
			words = append(words, i.Word)
		}
	}
	j.word = sensor.WorstRated(words...)
	return j
}

// unmeasured is why something could not be judged.
func unmeasured(err error) sensor.Judged {
	return sensor.Judged{Reason: part.Say("camera.unmeasured").With("why", cli.Why(err))}
}
