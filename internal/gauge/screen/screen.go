package screen

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/files"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/stripes"
)

// Cautions are what a person must know before laying a mirror under a screen.
func Cautions(x *lang.Lang) []string {
	return []string{
		x.T("screen.caution.glass"),
		x.T("screen.caution.mirror"),
		x.T("screen.caution.lacquer"),
		x.T("setup.caution.codes"),
	}
}

// Options are the station whose screen is measured, and how long its file holds.
type Options struct {
	cli.SheetOptions
	Station string
	MaxAge  int
}

func (o *Options) read() (config.Station, error) {
	if o.MaxAge < 1 || o.MaxAge > 3660 {
		return config.Station{}, cli.Usagef("--max-age-days %d: give 1 to 3660", o.MaxAge)
	}
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return st, cli.UsageError{Err: err}
	}
	return st, nil
}

// greyName is a step of a wedge: grey_128.png, grey_255_2.jpg.
var greyName = regexp.MustCompile(`^grey_(\d{3})(?:_\d+)?\.[A-Za-z]+$`)

// greyPicture is one of its pictures.
type greyPicture struct {
	path  string
	level int
}

// greysIn are a folder's, the darkest first; levels shown again behind the first.
func greysIn(dir string) ([]greyPicture, error) {
	paths, err := capture.Pictures(dir)
	if err != nil {
		return nil, cli.Usagef("%s", cli.Plain(err))
	}
	var out []greyPicture
	for _, p := range paths {
		m := greyName.FindStringSubmatch(filepath.Base(p))
		if m == nil {
			continue
		}
		level, err := strconv.Atoi(m[1])
		if err != nil || level > 255 {
			return nil, cli.Usagef("%s: a screen shows levels of 000 to 255", p)
		}
		out = append(out, greyPicture{p, level})
	}
	if len(out) == 0 {
		return nil, cli.Usagef("folder %s holds no picture named grey_000 to grey_255, by the level that the screen showed", dir)
	}
	slices.SortStableFunc(out, func(a, b greyPicture) int {
		if a.level != b.level {
			return a.level - b.level
		}
		return len(a.path) - len(b.path)
	})
	return out, nil
}

// screenPicture reads a picture for a screen's file, and what proves it.
func screenPicture(path, name string) (*part.Image, stripes.Picture, error) {
	data, err := files.Read(path, files.MostPicture)
	if err != nil {
		return nil, stripes.Picture{}, cli.Usagef("picture %s: %w", path, cli.PlainPath(err))
	}
	im, err := capture.Read(path)
	if err != nil {
		return nil, stripes.Picture{}, cli.Usagef("%s", cli.Plain(err))
	}
	return im, stripes.Picture{File: name, SHA256: files.SHA256(data)}, nil
}

// twin is the picture among some that has the same bytes as another; nil where none has.
func twin(of []stripes.Picture, p stripes.Picture) *stripes.Picture {
	if i := slices.IndexFunc(of, func(q stripes.Picture) bool { return q.SHA256 == p.SHA256 }); i >= 0 {
		return &of[i]
	}
	return nil
}

// RunWedge tells the screen's light curve from pictures of greys.
func RunWedge(ctx context.Context, o Options, dir string, stdout, stderr io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	st, err := o.read()
	if err != nil {
		return err
	}
	greys, err := greysIn(dir)
	if err != nil {
		return err
	}
	c, err := curveOf(ctx, greys)
	if err != nil {
		return notMeasured(err, "the screen's curve", stderr)
	}
	c.Made, c.MaxAgeDays = time.Now().UTC().Truncate(time.Second), o.MaxAge
	if err := c.Validate(); err != nil {
		return err
	}
	sheet, err := curveSheet(x, c, st.Screen)
	if err != nil {
		return err
	}
	return o.keep("screen-curve", "curve", sheet, c, stdout)
}

// notMeasured says why nothing was measured, with its exit code; errors of usage stay.
func notMeasured(err error, what string, stderr io.Writer) error {
	var usage cli.UsageError
	if errors.As(err, &usage) || errors.Is(err, context.Canceled) {
		return err
	}
	fmt.Fprintf(stderr, "inspect: %s is not measured: %s\n", what, strings.TrimPrefix(err.Error(), "stripes: "))
	return cli.ExitCode(cli.ExitUnmeasured)
}

// curveOf reads the greys one after the other.
func curveOf(ctx context.Context, greys []greyPicture) (stripes.Curve, error) {
	var proof []stripes.Picture
	read := func(g greyPicture) (*part.Image, error) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		im, p, err := screenPicture(g.path, filepath.Base(g.path))
		if err == nil && !slices.Contains(proof, p) {
			if other := twin(proof, p); other != nil {
				err = cli.Usagef("%s and %s are one and the same picture: take each grey again that has not its own", other.File, p.File)
			}
			proof = append(proof, p)
		}
		return im, err
	}
	brightest := greys[slices.IndexFunc(greys, func(g greyPicture) bool { return g.level == greys[len(greys)-1].level })]
	black, err := read(greys[0])
	if err != nil {
		return stripes.Curve{}, err
	}
	white, err := read(brightest)
	if err != nil {
		return stripes.Curve{}, err
	}
	w, err := stripes.NewWedge(black, white)
	capture.Release(black)
	capture.Release(white)
	if err != nil {
		return stripes.Curve{}, err
	}
	for _, g := range greys {
		im, err := read(g)
		if err != nil {
			return stripes.Curve{}, err
		}
		err = w.Add(g.level, im)
		capture.Release(im)
		if err != nil {
			return stripes.Curve{}, err
		}
	}
	c, err := w.Fit()
	c.Pictures = proof
	return c, err
}

// keep writes the file beside its page, and says how it comes into use.
func (o Options) keep(name, key string, s report.Sheet, file any, stdout io.Writer) error {
	if o.Out != "" {
		data, err := json.MarshalIndent(file, "", "  ")
		if err != nil {
			return err
		}
		dir, err := cli.OpenOut(o.Out)
		if err != nil {
			return err
		}
		if err := dir.ReplaceFile(name+".json", append(data, '\n')); err != nil {
			return err
		}
	}
	if err := o.SheetOptions.Write(name, s, file, stdout); err != nil {
		return err
	}
	if !o.JSON {
		if o.Out == "" {
			fmt.Fprintf(stdout, "\nNothing is kept: say --out FOLDER for the file %s.json.\n", name)
		} else {
			fmt.Fprintf(stdout, "The file: %s. Name it in the station file, as lying from there: screen: {%s: %s.json}\n",
				filepath.Join(o.Out, name+".json"), key, name)
		}
	}
	if s.Rating == report.Poor {
		return cli.ExitCode(cli.ExitFails)
	}
	return nil
}

// MirrorOptions are the flags of screen mirror.
type MirrorOptions struct {
	Options
	GaugeUM, UGaugeUM float64
	SpanMM            []float64
	USpanMM           float64
}

// gauge checks what the flags say of it.
func (o MirrorOptions) gauge() (stripes.Gauge, error) {
	g := stripes.Gauge{ThickUM: o.GaugeUM, UThickUM: o.UGaugeUM, USpanMM: o.USpanMM}
	switch len(o.SpanMM) {
	case 1:
		g.SpanMM = [2]float64{o.SpanMM[0], o.SpanMM[0]}
	case 2:
		g.SpanMM = [2]float64{o.SpanMM[0], o.SpanMM[1]}
	default:
		return g, cli.Usagef("--span-mm: give the way from the gauge to the edge on which the mirror stands, mm, " +
			"once or along x and y: 30,40")
	}
	for _, v := range g.SpanMM {
		if !(v >= 5 && v <= 500) {
			return g, cli.Usagef("--span-mm %g: give 5 to 500 mm", v)
		}
	}
	switch {
	case !(g.ThickUM >= 10 && g.ThickUM <= 2000):
		return g, cli.Usagef("--gauge-um %g: give the gauge's thickness, 10 to 2000 um", g.ThickUM)
	case !(g.UThickUM > 0 && g.UThickUM < g.ThickUM):
		return g, cli.Usagef("--u-gauge-um %g: give more than 0 and less than the gauge has", g.UThickUM)
	case !(g.USpanMM > 0 && g.USpanMM < min(g.SpanMM[0], g.SpanMM[1])):
		return g, cli.Usagef("--u-span-mm %g: give more than 0 and less than the span", g.USpanMM)
	}
	return g, nil
}

// RunMirror tells how the screen stands from pictures of a mirror.
func RunMirror(ctx context.Context, o MirrorOptions, dir string, stdout, stderr io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	st, err := o.read()
	if err != nil {
		return err
	}
	g, err := o.gauge()
	if err != nil {
		return err
	}
	m, err := mirrorIn(ctx, dir, g, st.Screen)
	if err != nil {
		return notMeasured(err, "the screen before the mirror", stderr)
	}
	m.Made, m.MaxAgeDays = time.Now().UTC().Truncate(time.Second), o.MaxAge
	if err := m.Validate(); err != nil {
		return err
	}
	return o.keep("screen-mirror", "mirror", mirrorSheet(x, m), m, stdout)
}

// mirrorIn reads the three positions.
func mirrorIn(ctx context.Context, dir string, g stripes.Gauge, screen config.Screen) (stripes.Mirror, error) {
	var three [3]*stripes.Position
	var proof []stripes.Picture
	for i, name := range stripes.Positions {
		if err := ctx.Err(); err != nil {
			return stripes.Mirror{}, err
		}
		p, pictures, err := positionIn(filepath.Join(dir, name), name)
		if err != nil {
			return stripes.Mirror{}, err
		}
		for _, q := range pictures {
			if other := twin(proof, q); other != nil {
				return stripes.Mirror{},
					fmt.Errorf("%s and %s are one and the same picture: one set was given twice; give each position its own", other.File,
						q.File)
			}
		}
		three[i], proof = p, append(proof, pictures...)
	}
	m, err := stripes.Sensitivity(three[0], three[1], three[2], g, stripes.Screen{PeriodMM: screen.PeriodMM,
		DistanceMM: screen.DistanceMM, TiltDeg: screen.TiltDeg})
	m.Pictures = proof
	return m, err
}

// positionIn reads the set of one position.
func positionIn(dir, name string) (*stripes.Position, []stripes.Picture, error) {
	folder, err := capture.Scan(dir)
	if err != nil {
		return nil, nil, cli.Usagef("%s; wanted are %s, each with the set before the screen", cli.Plain(err),
			strings.Join(stripes.Positions[:], ", "))
	}
	images := map[part.Light]*part.Image{}
	defer func() {
		for _, im := range images {
			capture.Release(im)
		}
	}()
	var proof []stripes.Picture
	for _, s := range folder.Shots {
		if s.View != part.Face || !slices.Contains(append(stripes.Lights[0][:], stripes.Lights[1][:]...), s.Light) {
			continue
		}
		im, p, err := screenPicture(s.Path, name+"/"+s.File)
		if err != nil {
			return nil, nil, err
		}
		images[s.Light], proof = im, append(proof, p)
	}
	p, err := stripes.NewPosition(images)
	if err != nil {
		return nil, nil, fmt.Errorf("position %s: %s", name, strings.TrimPrefix(err.Error(), "stripes: "))
	}
	return p, proof, nil
}
