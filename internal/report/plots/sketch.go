package plots

import (
	"fmt"
	"math"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Sketch shows where on a unit something is to be done: the faceplate from above, round it the seam
// as a clock face, and beside it the shell, cut open at 6 o'clock, all of one scale. Angles round the seam run
// clockwise from 3 o'clock, as part.StepStation's do in a face picture; a shell's turn 0 is at 6 o'clock.
type Sketch struct {
	Plate   [][2]float64 // the faceplate's closed outline, mm, y down; empty: a circle stands for it
	Ring    []RingPlace  // places at the seam
	Marks   []Placed     // on the faceplate, from its outline's origin, or on the shell, from turn 0 and the seam down
	GirthMM float64      // of the shell; 0: it is not drawn
	DepthMM float64
	Looked  []string // as Unrolled's
	Names   SketchNames
	Onto    Onto // nil: the sketch is returned as SVG
}

// SketchNames are the words of a sketch.
type SketchNames struct {
	Plate, Shell string
	Hour         string // "o'clock", after the last of the shell's hours
	Some, None   string // as Unrolled's
}

// RingPlace is a place at the seam.
type RingPlace struct {
	AroundDeg float64
	Label     string // "": nothing is to be done there
	Unknown   bool   // nothing is known of it
}

// Sizes of a sketch, in the drawing's units.
const (
	sketchWide = 900.0
	ringClear  = 1.8  // mm from the faceplate's farthest corner to the seam's circle
	ringOuter  = 56.0 // room for hours and degrees round the circle
	plateRound = 8.0  // mm, the radius of a faceplate whose outline is not known
	sketchTop  = 24.0
	mostScale  = 18.0 // units a mm
)

// Draw draws the sketch.
func (s Sketch) Draw() ([]byte, error) {
	d := unrolled{Unrolled: Unrolled{Plate: s.Plate, GirthMM: s.GirthMM, DepthMM: s.DepthMM, Looked: s.Looked, Marks: s.Marks}, markRadius: 8}
	d.Names.Some, d.Names.None = s.Names.Some, s.Names.None
	x0, y0, x1, y1, known := extent(s.Plate)
	if !known {
		d.Plate = nil
		for k := range 72 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 36)
			d.Plate = append(d.Plate, [2]float64{plateRound * cos, plateRound * sin})
		}
		x0, y0, x1, y1 = -plateRound, -plateRound, plateRound, plateRound
	}
	if !(s.GirthMM > 0) || !(s.DepthMM > 0) || !finite(s.GirthMM) || !finite(s.DepthMM) {
		d.GirthMM, d.DepthMM, d.Looked = 0, 0, nil
	}
	cx, cy, radius := (x0+x1)/2, (y0+y1)/2, 0.0
	for _, q := range d.Plate {
		radius = max(radius, math.Hypot(q[0]-cx, q[1]-cy))
	}
	radius += ringClear
	const gap = 64.0 // between the two, with room for the depth's numbers
	wide := sketchWide
	if d.GirthMM > 0 {
		d.k = min(mostScale, (sketchWide-2*ringOuter-gap-20)/(2*radius+d.GirthMM))
	} else {
		d.k = min(mostScale, 320/(2*radius))
	}
	ring := d.k * radius
	midX, midY := ringOuter+ring, sketchTop+ringOuter+ring
	d.plateX, d.plateY = midX-d.k*cx, midY-d.k*cy
	if d.GirthMM > 0 {
		d.shellX, d.shellY = midX+ring+ringOuter+gap, midY-d.k*d.DepthMM/2
	} else {
		wide = 2 * (ringOuter + ring)
	}
	f := &frame{}
	d.legendOfCells(f)
	rows := f.legendRows(vg.Length(wide) - 16)
	legend := vg.Length(len(rows)) * (lineHeight + 3)
	if len(rows) > 0 {
		legend += 10
	}
	d.high = vg.Length(math.Ceil(midY+ring+ringOuter)) + legend
	return s.Onto.on(vg.Length(wide), d.high, func(canvas vg.Canvas) {
		d.c = draw.NewCanvas(canvas, vg.Length(wide), d.high)
		if d.GirthMM > 0 {
			d.clockShell(s.Names)
		}
		d.clockRing(s, midX, midY, ring)
		for i := range d.Marks {
			d.take(&d.Marks[i])
		}
		for i := range d.Marks {
			d.mark(&d.Marks[i])
		}
		for i := range d.Marks {
			d.label(&d.Marks[i])
		}
		f.drawLegend(draw.Crop(d.c, 8, -8, 2, 0), rows, legend)
	})
}

// clockRing draws the faceplate, the seam's circle round it with hours and degrees, and the places on it.
func (d *unrolled) clockRing(s Sketch, midX, midY, ring float64) {
	var p, circle []vg.Point
	for _, q := range d.Plate {
		p = append(p, d.at(d.plateX+d.k*q[0], d.plateY+d.k*q[1]))
	}
	fill(&d.c, ground(), p...)
	d.c.StrokeLines(inkLine(1.6), append(p, p[0]))
	place := func(deg, r float64) (x, y float64) {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		return midX + r*cos, midY + r*sin
	}
	for k := range 181 {
		x, y := place(2*float64(k), ring)
		circle = append(circle, d.at(x, y))
	}
	d.c.StrokeLines(inkLine(2.6), circle)
	for hour := 1; hour <= 12; hour++ {
		deg := math.Mod(float64(30*hour)-90+360, 360)
		xa, ya := place(deg, ring-6)
		xb, yb := place(deg, ring+6)
		d.line(inkLine(1.4), xa, ya, xb, yb)
		x, y := place(deg, ring+38)
		d.text(x, y-8, textSize, draw.XCenter, strconv.Itoa(hour))
		d.text(x, y+8, tickSize-4, draw.XCenter, fmt.Sprintf("%g°", deg))
	}
	d.text(8, 14, textSize, draw.XLeft, s.Names.Plate)
	for _, q := range s.Ring {
		x, y := place(q.AroundDeg, ring)
		switch {
		case q.Label != "":
			d.taken = append(d.taken, [4]float64{x - 12, y - 12, x + 12, y + 12})
			plate(&d.c, ground(), q.Label, d.at(x, y))
		case q.Unknown:
			d.text(x, y, textSize, draw.XCenter, "?")
		default:
			d.c.SetColor(ink())
			var dot vg.Path
			c := d.at(x, y)
			dot.Move(vg.Point{X: c.X + 4, Y: c.Y})
			dot.Arc(c, 4, 0, 2*math.Pi)
			dot.Close()
			d.c.Fill(dot)
		}
	}
	const barMM = 5
	bx, by := 8.0, midY+ring+ringOuter-8
	d.line(inkLine(2.2), bx, by-6, bx, by, bx+barMM*d.k, by, bx+barMM*d.k, by-6)
	d.text(bx+barMM*d.k+8, by-3, tickSize-2, draw.XLeft, "5 mm")
}

// clockShell draws the shell with hours along it.
func (d *unrolled) clockShell(names SketchNames) {
	x0, y0, x1, y1 := d.shellX, d.shellY, d.shellX+d.k*d.GirthMM, d.shellY+d.k*d.DepthMM
	d.box(ground(), x0, y0, x1, y1)
	for _, digit := range []byte{'1', '0'} {
		d.cells(digit)
	}
	for i := range 13 {
		x := x0 + d.k*d.GirthMM*float64(i)/12
		tick := 4.0
		if i%3 == 0 {
			tick = 8
			hour := strconv.Itoa((i+5)%12 + 1)
			if i == 12 && names.Hour != "" {
				hour += " " + names.Hour
				d.text(x1, y1+8+lineHeight/2, tickSize, draw.XRight, hour)
			} else {
				d.text(x, y1+8+lineHeight/2, tickSize, draw.XCenter, hour)
			}
		}
		d.line(inkLine(1.3), x, y1, x, y1+tick)
	}
	for _, mm := range []float64{0, math.Floor(d.DepthMM)} {
		d.text(x0-8, y0+d.k*mm, tickSize-2, draw.XRight, strconv.FormatFloat(mm, 'g', -1, 64)+" mm")
	}
	d.line(inkLine(1.3), x0, y0, x0, y1, x1, y1, x1, y0)
	d.line(inkLine(2.6), x0, y0, x1, y0)
	d.text((x0+x1)/2, y0-lineHeight/2-4, textSize, draw.XCenter, names.Shell)
}
