package walk

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/scaling"
	"finishbench/internal/gauge/setup"
	"finishbench/internal/gauge/target"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// setupBench is what setup knows before the first picture.
type setupBench struct {
	fit    part.FitLimits
	limits setup.Limits
	view   part.View             // of pictures whose names do not tell it
	target *optics.Target        // nil: none was named
	scale  *inspection.ScaleFile // in force; nil: none, or only a number
	lensMM float64               // the station file's distance of the lens; 0: not known
	camera string                // of pictures whose tags name none
	focus  string
}

// stored reads and looks at a picture by what its name says it is.
func (b *setupBench) stored(path string) setup.Reading {
	file := filepath.Base(path)
	im, err := capture.Read(path)
	if err != nil {
		r := setup.NewReading(file)
		r.Trouble = cli.Why(err)
		return r
	}
	tags, _ := capture.ReadTags(path) // the picture was read; without tags it is only less well known
	f := capture.Frame{Image: im, Path: path, Tags: tags}
	defer capture.Release(im)
	if _, named := capture.ShotByName(file); named || b.target == nil {
		return b.unit(f)
	}
	r := b.board(f)
	if r.Subject == setup.Unclear {
		r.Trouble = part.Say("setup.trouble.name").With("trouble", r.Trouble)
	}
	return r
}

// live looks at a picture for the step that is worked at. For exposure and focus
// a target does as well as a unit.
func (b *setupBench) live(f capture.Frame, step setup.Name) setup.Reading {
	if b.target == nil || step == setup.Panel {
		return b.unit(f)
	}
	r := b.board(f)
	if r.Subject == setup.Target || step == setup.Squareness || step == setup.ScaleStep {
		return r
	}
	return b.unit(f)
}

// unit looks at a picture of a unit, or of the place where one will be.
func (b *setupBench) unit(f capture.Frame) setup.Reading {
	file := filepath.Base(f.Path)
	r := setup.NewReading(file)
	shot, named := capture.ShotByName(file)
	if !named {
		shot = part.Shot{File: file, Path: f.Path, View: b.view}
	}
	v, err := capture.LookAtBench(f.Image, shot, b.fit)
	if err != nil {
		r.Trouble = cli.Why(err)
		return r
	}
	r.Lit, r.Bright = shot.View == part.Edge, v.Bright
	r.PanelLevel, r.PanelUneven, r.PanelDark, r.PanelDirt, r.PanelClipped = v.PanelLevel, v.PanelUneven, v.PanelDark, v.PanelDirt,
		v.PanelClipped
	r.Level, r.Clipped, r.ClippedMost = v.UnitLevel, v.UnitClipped, v.ClippedMost
	r.EdgeWidthPX, r.EdgeMostPX = v.EdgeWidthPX, v.EdgeMostPX
	r.MotionPX, r.MotionMostPX, r.MotionDeg, r.Moved = v.MotionPX, v.MotionMostPX, v.MotionDeg, v.Moved
	switch {
	case v.Unit:
		r.Subject = setup.Unit
	case r.Lit:
		r.Subject = setup.Empty
	default:
		r.Trouble = part.Say("setup.trouble.no_unit")
	}
	if v.Unit && math.IsNaN(v.EdgeWidthPX) {
		r.FocusTrouble = part.Say("setup.trouble.outline")
	}
	r.Framing = framing(v)
	if v.Unit && r.Lit {
		b.stance(&r, f.Image, shot)
	}
	return r
}

// stance tells how the unit stands before the camera, by its seam.
func (b *setupBench) stance(r *setup.Reading, im *part.Image, shot part.Shot) {
	if b.limits.Scale == nil {
		r.StanceTrouble = part.Say("setup.trouble.no_scale")
		return
	}
	l := inspection.Lengths{MMPerPX: b.limits.Scale.MMPerPX, URel: b.limits.Scale.U / b.limits.Scale.MMPerPX, File: b.scale}
	p := seam.DefaultParams(l.MMPerPX)
	p.Undistort, p.Camera = l.Undistort(), l.Camera(b.lensMM)
	if d := p.Camera.DistanceMM; d > 0 {
		r.DistanceMM = d
	}
	m := seam.Measure(im, shot, p)
	if math.IsNaN(m.Stance.SlantDeg) {
		r.StanceTrouble = part.Say("setup.trouble.seam")
		for _, s := range m.Stations {
			if s.Reason != "" {
				r.StanceTrouble = s.Why()
			}
		}
		return
	}
	r.HeightMM, r.UHeightMM = m.Stance.HeightMM, m.Stance.UHeightMM
	r.SlantDeg, r.USlantDeg, r.HalfMM = m.Stance.SlantDeg, m.Stance.USlantDeg, m.Stance.HalfMM
}

// framing is what is wrong with where the unit stands.
func framing(v capture.BenchView) part.Phrase {
	switch {
	case !v.Unit && v.UnitPX > 0:
		return part.Say("setup.framing.small", "size_px", fmt.Sprintf("%.0f", v.UnitPX))
	case v.Pieces > 1:
		return part.Say("setup.framing.several", "n", strconv.Itoa(v.Pieces))
	case len(v.CutOff) > 0:
		return part.Say("setup.framing.cut_off").With("sides", v.CutOff...)
	}
	return part.Phrase{}
}

// board looks at a picture of the target.
func (b *setupBench) board(f capture.Frame) setup.Reading {
	file := filepath.Base(f.Path)
	r := setup.NewReading(file)
	r.Lit = b.view == part.Edge
	found, err := target.Find(f.Image, *b.target, file)
	if err != nil {
		var p *target.Problem
		if r.Trouble = cli.Why(err); errors.As(err, &p) {
			r.Trouble = part.Say("setup.trouble.target").With("target", p.Target).With("seen", p.Phrase())
		}
		return r
	}
	r.Subject = setup.Target
	if v, err := capture.LookAtSurface(f.Image, b.fit); err == nil {
		r.Level, r.Clipped, r.ClippedMost = v.UnitLevel, v.UnitClipped, v.ClippedMost
	}
	b.sharpness(&r, f.Image, found)
	b.square(&r, f, found)
	return r
}

// gaussRise is the 10-90 % width of a Gaussian-blurred edge in sigmas, twice the
// normal distribution's 90 % point (tables).
const gaussRise = 2.5631

// sharpness measures the target's edges: straight slanted ones, else the rims
// of its dots.
func (b *setupBench) sharpness(r *setup.Reading, im *part.Image, found target.Found) {
	r.EdgeMostPX, r.MotionMostPX = b.fit.EdgeWidthPX, b.fit.MotionPX
	plane, err := optics.Linear(im, im.C/2) // grey, or green
	if err != nil {
		r.FocusTrouble = cli.Why(err)
		return
	}
	edges, err := optics.FindSlantedEdges(plane, optics.DefaultFindOptions())
	if err == nil && len(edges) > 0 {
		r.MTF50CyPX, _ = optics.SharpnessOf(edges)
		r.EdgeWidthPX = medianRise(edges)
		r.MTF50LeastCyPX = leastMTF50(b.fit.Warn * b.fit.EdgeWidthPX)
		return
	}
	if r.EdgeWidthPX = gaussRise * found.BlurPX; math.IsNaN(r.EdgeWidthPX) {
		r.FocusTrouble = part.Say("setup.trouble.no_edge")
	}
}

func medianRise(edges []optics.FoundEdge) float64 {
	var rises []float64
	for _, e := range edges {
		rises = append(rises, e.Rise1090PX)
	}
	slices.Sort(rises)
	return rises[len(rises)/2]
}

// leastMTF50 is the MTF50 of a Gaussian blur and a square pixel that together
// make an edge so many px wide; the square's variance is 1/12 px^2.
func leastMTF50(widthPX float64) float64 {
	s := widthPX / gaussRise
	return optics.MTF50OfSigma(math.Sqrt(max(0, s*s-1.0/12)))
}

// square tells how squarely the camera looks at the target, and the scale.
func (b *setupBench) square(r *setup.Reading, f capture.Frame, found target.Found) {
	o := optics.FlatViewOptions{TargetURel: b.target.URel}
	if b.scale != nil {
		o.Projection = b.scale.Projection
		if o.Projection == optics.Perspective {
			o.Lens = b.scale.Lens
		}
		facts := optics.PictureFacts{WidthPX: f.Image.W, HeightPX: f.Image.H, Camera: cli.First(f.Tags.Camera, b.camera),
			Focus: cli.First(f.Tags.Focus, b.focus), FocalLengthMM: f.Tags.FocalLengthMM}
		if err := b.scale.CheckPicture(facts); err != nil {
			r.ScaleTrouble = part.Say("setup.trouble.scale", "file", filepath.Base(b.scale.Path)).With("why", cli.Why(err))
			o.Lens = nil // of another camera
		}
	}
	flat, err := b.flat(found, o)
	if err != nil {
		r.ScaleTrouble = cli.Why(err)
		return
	}
	r.MMPerPX, r.UMMPerPX = flat.MMPerPX, flat.UMMPerPX
	r.TiltDeg, r.UTiltDeg, r.TiltAlongDeg = flat.TiltDeg, flat.UTiltDeg, flat.TiltAlongDeg
	r.SkewDeg, r.USkewDeg = flat.SkewDeg, flat.USkewDeg
	if flat.PerspectiveSeen {
		r.ChangePct = flat.ScaleChangePct
	}
	r.TiltUnseen = b.target.Kind == optics.Ruler || b.target.Kind == optics.Disc
}

func (b *setupBench) flat(found target.Found, o optics.FlatViewOptions) (optics.Flat, error) {
	switch b.target.Kind {
	case optics.Ruler:
		return optics.FitRuler(found.View, o)
	case optics.Disc:
		return optics.FitDisc(scaling.DiscOf(found), found.View.W, found.View.H, b.target.DiameterMM, o)
	}
	return optics.FitFlat(found.View, o)
}
