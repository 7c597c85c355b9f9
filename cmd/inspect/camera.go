package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

const cameraHelp = `camera looks at what a camera, its lens and its light can do, before units are
measured with them. Give at least one of:

--white   pictures of a clean white card that fills the view, evenly lit, out of
          focus, the brightest part at about 70 % of full. Three or more, the card
          moved between them, tell dust on the sensor from dust on the card.
          Result: how light falls off, and with --out a flat-field file.
--dark    pictures with the lens covered, for the same flat field.
--edge    a picture with straight, clean edges at 2 to 10 degrees to the picture's
          border: a chessboard, a blade or the lit panel's edge, turned by about 5
          degrees. Result: sharpness as MTF50, by the slanted-edge steps of ISO 12233.
--exposures SERIES.csv
          two pictures at each of several exposures, from dark to clipped, nothing
          else changed, and two with the lens covered. Result: linearity, noise,
          gain and saturation, in the quantities of EMVA 1288.

SERIES.csv has a line a picture, with the columns file and exposure_ms and, where
there are any, kind (light or dark) and photons (a pixel, from the light's measured
irradiance). Files are named from the table's own folder.

  file,exposure_ms,kind
  e01a.png,1,light
  e01b.png,1,light
  d01a.png,1,dark
  d01b.png,1,dark

Pictures are taken as sRGB-coded; --linear says that samples are proportional to
light, as raw pictures are.`

const cameraExitHelp = `EXIT STATUS
  0    all that was asked for was measured, and is good or fair
  1    anything else went wrong
  2    wrong usage, or a table or picture that cannot be read
  3    something is poor
  4    something was not measured: the page says why (4 wins over 3)`

type cameraOptions struct {
	cli.SheetOptions
	white, dark, edge []string
	exposures         string
	linear            bool
	mmPerPX           float64
	name              string
}

func newCameraCommand() *cobra.Command {
	var o cameraOptions
	cmd := &cobra.Command{
		Use:   "camera",
		Short: "Sharpness, light, linearity and noise of a camera",
		Long:  cameraHelp + "\n\n" + cameraExitHelp,
		Example: `  inspect camera --white w1.png,w2.png,w3.png --dark d1.png --out camera
  inspect camera --edge board.png --mm-per-px 0.015
  inspect camera --exposures series.csv --linear --out camera`,
		DisableFlagsInUseLine: true,
		Args:                  wrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCamera(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.white, "white", nil, "pictures of a white card, separated by commas")
	f.StringSliceVar(&o.dark, "dark", nil, "pictures with the lens covered, for the flat field")
	f.StringSliceVar(&o.edge, "edge", nil, "pictures with straight slanted edges")
	f.StringVar(&o.exposures, "exposures", "", "table of an exposure series (CSV)")
	f.BoolVar(&o.linear, "linear", false, "samples are proportional to light; else sRGB-coded")
	f.Float64Var(&o.mmPerPX, "mm-per-px", 0, "scale, for sharpness in line pairs a millimetre")
	f.StringVar(&o.name, "camera", "", "name of the camera, for the page")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

// cameraResult is what was found; a part that was not asked for is nil, one that
// could not be measured has its error.
type cameraResult struct {
	flat    *optics.FlatField
	flatErr error
	white   int // pictures

	edges []edgePicture

	transfer    *optics.Transfer
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

func runCamera(ctx context.Context, o cameraOptions, _ []string, stdout, _ io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	var r cameraResult
	for _, step := range []func(cameraOptions, *cameraResult) error{measureFlat, measureEdges, measureSeries} {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := step(o, &r); err != nil {
			return err
		}
	}
	j := judgeCamera(r)
	sheet, err := cameraSheet(o, r, j)
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

func (o cameraOptions) check() error {
	switch {
	case len(o.white)+len(o.edge) == 0 && o.exposures == "":
		return cli.Usagef("say what to look at: --white, --edge or --exposures (see 'inspect camera --help')")
	case len(o.dark) > 0 && len(o.white) == 0:
		return cli.Usagef("--dark goes with --white: name pictures of a white card as well")
	case o.mmPerPX != 0 && !(o.mmPerPX >= 0.0001 && o.mmPerPX <= 1):
		return cli.Usagef("--mm-per-px %g: the scale must be 0.0001 to 1 mm a pixel", o.mmPerPX)
	}
	seen := map[string]bool{}
	for _, f := range append(append([]string{}, o.white...), o.dark...) {
		if seen[filepath.Clean(f)] {
			return cli.Usagef("%s is named twice", f)
		}
		seen[filepath.Clean(f)] = true
	}
	return nil
}

// measureFlat makes the flat field.
func measureFlat(o cameraOptions, r *cameraResult) error {
	if len(o.white) == 0 {
		return nil
	}
	white, err := readNamed(o.white)
	defer releaseNamed(white)
	if err != nil {
		return err
	}
	dark, err := readNamed(o.dark)
	defer releaseNamed(dark)
	if err != nil {
		return err
	}
	fo := optics.DefaultFlatFieldOptions()
	fo.Linear = o.linear
	r.white = len(white)
	r.flat, r.flatErr = optics.NewFlatField(white, dark, fo)
	if r.flatErr != nil {
		return nil
	}
	r.flat.Made = time.Now().UTC().Truncate(time.Second)
	if r.flat.Pictures, err = hashed(o.white); err != nil {
		return err
	}
	r.flat.DarkPictures, err = hashed(o.dark)
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
func measureEdges(o cameraOptions, r *cameraResult) error {
	for _, f := range o.edge {
		im, err := capture.Read(f)
		if err != nil {
			return cli.UsageError{Err: err}
		}
		light, err := optics.EdgeLight(im, o.linear)
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
func measureSeries(o cameraOptions, r *cameraResult) error {
	if o.exposures == "" {
		return nil
	}
	f, err := cli.OpenTable(o.exposures)
	if err != nil {
		return err
	}
	defer f.Close()
	pairs, err := readSeries(f)
	if err != nil {
		return cli.Usagef("%s: %w", o.exposures, err)
	}
	to := optics.DefaultTransferOptions()
	to.Physical, r.physical = o.linear, o.linear
	dir := filepath.Dir(o.exposures)
	var levels []optics.Level
	var size *part.Image
	for _, p := range pairs {
		l, first, err := p.measure(dir, o.linear)
		if err != nil {
			return cli.Usagef("%s: %w", o.exposures, err)
		}
		if size == nil {
			size = first
		} else if size.W != first.W || size.H != first.H || size.C != first.C || size.MaxSample() != first.MaxSample() {
			return cli.Usagef("%s: line %d: %s has %dx%d pixels, %d channels and samples up to %d, the pictures before %dx%d, %d and %d: take all with one camera at one setting",
				o.exposures, p.lines[0], p.files[0], first.W, first.H, first.C, first.MaxSample(), size.W, size.H, size.C, size.MaxSample())
		}
		levels = append(levels, l)
		to.TopDN = float64(first.MaxSample())
		switch strings.ToLower(filepath.Ext(p.files[0])) {
		case ".jpg", ".jpeg":
			r.lossy = true
		}
	}
	r.transfer, r.transferErr = optics.PhotonTransfer(levels, to)
	return nil
}

// measure reads a pair and compares its pictures: the green channel of colour
// ones. The image returned has its size only, no pixels.
func (p seriesPair) measure(dir string, linear bool) (optics.Level, *part.Image, error) {
	l := optics.Level{TimeMS: p.ms, Photons: p.photons, Dark: p.dark}
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
	pair, err := optics.MeasurePair(im[0], im[1], im[0].C/2, linear)
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
func (o cameraOptions) writeFlatField(f *optics.FlatField) error {
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
	return dir.ReplaceFile(flatFieldFile, b.Bytes())
}

const flatFieldFile = "flatfield.json"

// cameraJudgement is the rating of all that was asked for.
type cameraJudgement struct {
	word    string // "": nothing was measured
	missing bool   // something that was asked for was not measured
	parts   []judgedPart
}

type judgedPart struct {
	name  string
	items []optics.Judged
}

func (p judgedPart) word() string {
	var w []string
	for _, i := range p.items {
		w = append(w, i.Word)
	}
	return optics.WorstRated(w...)
}

func judgeCamera(r cameraResult) cameraJudgement {
	l := optics.DefaultCameraLimits()
	var j cameraJudgement
	if r.flat != nil {
		j.parts = append(j.parts, judgedPart{"light", l.JudgeFlatField(r.flat)})
	} else if r.flatErr != nil {
		j.parts = append(j.parts, judgedPart{"light", []optics.Judged{{Reason: "not measured: " + bareError(r.flatErr)}}})
	}
	if len(r.edges) > 0 {
		p := judgedPart{"sharpness", nil}
		if all := r.allEdges(); len(all) > 0 {
			p.items = l.JudgeSharpness(all)
		}
		for _, e := range r.edges {
			if e.err != nil {
				p.items = append(p.items, optics.Judged{Reason: "not measured in " + filepath.Base(e.file) + ": " + bareError(e.err)})
			}
		}
		j.parts = append(j.parts, p)
	}
	if r.transfer != nil {
		j.parts = append(j.parts, judgedPart{"sensor", l.JudgeTransfer(r.transfer)})
	} else if r.transferErr != nil {
		j.parts = append(j.parts, judgedPart{"sensor", []optics.Judged{{Reason: "not measured: " + bareError(r.transferErr)}}})
	}
	var words []string
	for _, p := range j.parts {
		for _, i := range p.items {
			j.missing = j.missing || i.Word == ""
			words = append(words, i.Word)
		}
	}
	j.word = optics.WorstRated(words...)
	return j
}

// bareError is an error without the packages it came through.
func bareError(err error) string {
	s := err.Error()
	for _, p := range []string{"optics: ", "flat field: ", "exposure series: ", "find edges: "} {
		s = strings.TrimPrefix(s, p)
	}
	return s
}
