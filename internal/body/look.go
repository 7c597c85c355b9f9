package body

import (
	"errors"
	"fmt"
	"math"

	"finishbench/internal/lang"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// View is a unit seen from the side in one turn.
type View struct {
	TurnDeg float64
	MMPerPX float64
	Flanks  *outline.Flanks // of the whole unit, in full-resolution pixels of its picture

	// The seam in the picture: at x pixels right of MiddleX it lies at
	// SeamY + Roll*dx + Bow*sqrt(1-(dx/HalfPX)^2), full-resolution pixels. Bow is positive where the camera looks down on
	// the unit: the front of the seam lies lower than its ends.
	MiddleX, SeamY, Roll, Bow, HalfPX float64

	// Straight: under the faceplate its outline is not seen against the ground. It is taken as
	// straight for a few millimetres; nothing is told of what lies below.
	Straight bool

	rows []row // each heightStepMM, from the seam down
}

// row is the unit's outline at one height, mm from the picture's middle along the seam.
type row struct{ left, right float64 }

// heightStepMM is the step of heights at which the outline is told.
const heightStepMM = 0.25

// Errors of Look.
var (
	ErrNoSeam     = lang.Error(part.Say("body.no_seam"))
	ErrNoLimb     = lang.Error(part.Say("body.no_limb"))
	ErrUpsideDown = lang.Error(part.Say("body.upside_down"))
)

// How a seam is sought; lengths in millimetres (common practice, no source).
const (
	seamFromMM   = 0.6  // so far below the top of the outline it begins to be sought
	seamShare    = 0.45 // down to this share of the outline's height
	seamPixelMM  = 0.03 // in pixels of this size
	seamSideMM   = 0.25 // colours are compared over so much on either side,
	seamBlendMM  = 0.09 // leaving out so much beside it
	seamWidth    = 0.8  // share of the outline's width that is looked at
	seamColumns  = 60   // in so many columns
	seamBowMM    = 0.7  // it bends by at most so much
	seamLeast    = 3.0  // least change of light, in levels of 255,
	seamClear    = 0.6  // the lowest line is taken that is as clear as this share of the clearest
	hueSharp     = 0.5  // and is less sharp: chroma is coded coarsely
	hueCounts    = 2.0  // a change of one colour against another counts so many times as much
	seamOneSign  = 0.7  // of one sign on at least this share of the width
	upsideFactor = 1.5  // a seam below that is so much clearer is the seam
)

// Look finds the unit and its seam in the pictures of one turn, all of one size. flanks are what
// outline.FindFlanks found in just these; nil where that was not asked yet. Where these show no shell, sides
// that bulge are sought (outline.FindBulging).
//
// Errors: outline's; ErrNoSeam; ErrUpsideDown; ErrNoLimb.
func Look(images []*part.Image, flanks *outline.Flanks, turnDeg, mmPerPX float64) (*View, error) {
	if !(mmPerPX > 0) || math.IsInf(mmPerPX, 0) {
		return nil, fmt.Errorf("body: the scale is %v mm per pixel; it must be a positive number", mmPerPX)
	}
	if flanks == nil {
		var err error
		if flanks, err = outline.FindFlanks(images); err != nil {
			return nil, err
		}
	}
	v := &View{TurnDeg: turnDeg, MMPerPX: mmPerPX, Flanks: flanks}
	err := v.measure(images)
	if err == nil || errors.Is(err, ErrUpsideDown) {
		return v, err
	}
	// What a see-through shell mirrors, and shows inside, may be clearer than its limb: but it does not bulge all the way down.
	if flanks, no := outline.FindBulging(images); no == nil {
		b := &View{TurnDeg: turnDeg, MMPerPX: mmPerPX, Flanks: flanks}
		if b.measure(images) == nil && (errors.Is(err, ErrNoSeam) || math.Abs(b.SeamY-v.SeamY)*mmPerPX <= plateMM) {
			return b, nil
		}
	}
	if errors.Is(err, ErrNoSeam) || !v.plateSeen(images[0].W) {
		return v, err
	}
	v.straight()
	return v, nil
}

// measure finds the seam between the sides, and where these lie below it.
func (v *View) measure(images []*part.Image) error {
	if err := v.findSeam(images); err != nil {
		return err
	}
	v.readRows()
	return v.checkLimb()
}

// AtSeam is where the unit's sides lie at the seam, mm right of a column of the picture, px.
func (v *View) AtSeam(columnPX float64) (left, right float64) {
	off := (v.MiddleX - columnPX) * v.MMPerPX
	return off + v.rows[0].left, off + v.rows[0].right
}

// checkLimb says whether the shell goes on under the seam about as wide as it is there, and bulges outwards
// from there on: parts seen inside a clear shell do not.
func (v *View) checkLimb() error {
	plateLeft, plateRight := v.across(v.SeamY - plateMM/v.MMPerPX)
	left, right := v.across(v.SeamY + v.Bow + plateMM/v.MMPerPX)
	if math.Abs(1-(right-left)/(plateRight-plateLeft)) > limbStep {
		return ErrNoLimb
	}
	// Where it is not convex, the middle of a stretch lies inside its ends' line.
	n := len(v.rows)
	if n < 8 {
		return ErrNoLimb
	}
	half := func(k int) float64 { return v.rows[k].right - v.rows[k].left }
	for _, span := range []int{n / 3, n / 2} {
		for k := 0; k+2*span < n*9/10; k++ {
			if half(k+span) < (half(k)+half(k+2*span))/2-limbDent*half(0) {
				return ErrNoLimb
			}
		}
	}
	return nil
}

// plateSeen says whether above the seam there are a faceplate's upright sides, in the frame.
func (v *View) plateSeen(width int) bool {
	rows := v.Flanks.Rows
	over := (v.SeamY - rows[0].Y) * v.MMPerPX
	if wide := 2 * v.HalfPX; over > plateMostMM || wide*v.MMPerPX < plateWideMM {
		return false
	}
	margin := float64(width) / 100
	for _, mm := range []float64{plateMM / 3, plateMM * 2 / 3} {
		l0, r0 := v.across(v.SeamY - plateMM/v.MMPerPX)
		l, r := v.across(v.SeamY - mm/v.MMPerPX)
		if math.Max(math.Abs(l-l0), math.Abs(r-r0))*v.MMPerPX > plateLeanMM || min(l, l0) < margin || max(r, r0) > float64(width)-margin {
			return false
		}
	}
	return true
}

// straight takes the sides to go on as at the faceplate.
func (v *View) straight() {
	left, right := v.across(v.SeamY - plateMM/v.MMPerPX)
	v.MiddleX, v.HalfPX = (left+right)/2, (right-left)/2
	half := v.HalfPX * v.MMPerPX
	v.Straight, v.rows = true, nil
	for h := 0.0; h <= straightMM; h += heightStepMM {
		v.rows = append(v.rows, row{-half, half})
	}
}

// straightMM is how far under its faceplate a shell is about as wide as that (common practice, no source).
const straightMM = 3.5

// How a limb is held against what it may be; lengths in millimetres (common practice, no source).
const (
	plateMM     = 0.6  // so far above and below the seam
	plateMostMM = 3.5  // a faceplate is at most so thick,
	plateWideMM = 8.0  // and at least so wide,
	plateLeanMM = 0.4  // and over so much of it its sides lean by at most this
	limbStep    = 0.09 // the width changes by at most this share
	limbDent    = 0.03 // and lies by at most this share of it inside a straight line
)

// seamLine is a place of the seam: y at the outline's middle column, the lean and the bow.
type seamLine struct {
	y, lean, bow float64
	score        float64
	channel      int  // that shows it best,
	thin         bool // as a line, not as a step
	sign         float64
}

// findSeam looks across the upper part of the outline for the line at which most of
// its width changes in colour, or in a thin line, alike.
func (v *View) findSeam(images []*part.Image) error {
	rows := v.Flanks.Rows
	top, bottom := rows[0].Y, rows[len(rows)-1].Y
	px := max(1, math.Round(seamPixelMM/v.MMPerPX)) // full-resolution pixels a step
	from := top + seamFromMM/v.MMPerPX
	to := top + seamShare*(bottom-top)
	left, right := v.across(top + 0.35*(bottom-top))
	v.MiddleX, v.HalfPX = (left+right)/2, (right-left)/2
	up := v.bestLine(images, from, to, px)
	if up.y+up.bow < from-seamFromMM/2/v.MMPerPX {
		up.score = 0 // it settled on the outline's top
	}
	down := v.bestLine(images, bottom-seamShare*(bottom-top), bottom-seamFromMM/v.MMPerPX, px)
	if down.score > upsideFactor*up.score && down.score > 0 {
		return ErrUpsideDown
	}
	if up.score <= 0 {
		return ErrNoSeam
	}
	v.SeamY, v.Roll, v.Bow = up.y, up.lean, up.bow
	left, right = v.across(v.SeamY)
	v.MiddleX, v.HalfPX = (left+right)/2, (right-left)/2
	return nil
}

// bestLine is the clearest line between two rows; its score is 0 where there is none.
func (v *View) bestLine(images []*part.Image, from, to, px float64) seamLine {
	if v.HalfPX < 20*px || to-from < 4*px {
		return seamLine{}
	}
	s := newColumns(images, v.MiddleX, v.HalfPX*seamWidth, seamColumns, from, to, px)
	var lines []seamLine // the best bow at each row
	best := 0.0
	bowPX := seamBowMM / v.MMPerPX
	for y := from; y <= to; y += px {
		top := seamLine{}
		for bow := -1.0; bow <= 1; bow += 0.5 {
			if l := s.score(seamLine{y: y - bow*bowPX, bow: bow * bowPX}); l.score > top.score { // y is the middle's
				top = l
			}
		}
		lines = append(lines, top)
		best = max(best, top.score)
	}
	if best == 0 {
		return seamLine{}
	}
	// Above the seam the faceplate's own edge may show as clearly; below it nothing reaches
	// across: the lowest of the clear ones.
	k := len(lines) - 1
	for lines[k].score < seamClear*best {
		k--
	}
	for k > 0 && lines[k-1].score > lines[k].score {
		k--
	}
	return s.settle(s.settle(lines[k], 0.4), 0.15)
}

// across is where a row of the picture enters and leaves the unit.
func (v *View) across(y float64) (left, right float64) {
	rows := v.Flanks.Rows
	at := max(0, min((y-rows[0].Y)/(rows[1].Y-rows[0].Y), float64(len(rows)-1)))
	i := min(int(at), len(rows)-2)
	u := at - float64(i)
	return rows[i].Left*(1-u) + rows[i+1].Left*u, rows[i].Right*(1-u) + rows[i+1].Right*u
}

// columns are some columns of a picture's colours, thinned.
type columns struct {
	n, rows  int       // columns, samples in each
	y0, px   float64   // the first sample's middle row, and the step
	dx       []float64 // each column's distance from the middle, full-resolution pixels
	half     float64   // of the seam
	channels [][]float32
	hues     []bool // of each channel: one colour against another
	side     int
	blend    int
	at       [][2]int  // of score, as is
	buf      []float64 // this
}

func newColumns(images []*part.Image, middle, half float64, n int, from, to, px float64) *columns {
	more := 2 * (seamSideMM + seamBlendMM + seamBowMM) / seamPixelMM * px
	s := &columns{n: n, y0: from - more, px: px, half: half / seamWidth}
	s.rows = int((to-from+2*more)/px) + 1
	s.side, s.blend = int(math.Round(seamSideMM/seamPixelMM)), int(math.Round(seamBlendMM/seamPixelMM))
	for i := range n {
		s.dx = append(s.dx, half*(2*(float64(i)+0.5)/float64(n)-1))
	}
	k := int(px)
	for _, im := range images {
		value := func(i int) float64 { return float64(im.Pix8[i]) }
		if im.Pix16 != nil {
			value = func(i int) float64 { return float64(im.Pix16[i]) / 257 }
		}
		for c := range im.C {
			sum := make([]float32, s.rows*n) // running sums down each column
			for i, dx := range s.dx {
				x0 := int(middle + dx - px/2)
				t := 0.0
				for r := range s.rows {
					y0 := int(s.y0 + float64(r)*px - px/2)
					v := 0.0
					for y := y0; y < y0+k; y++ {
						for x := x0; x < x0+k; x++ {
							v += value((min(max(y, 0), im.H-1)*im.W+min(max(x, 0), im.W-1))*im.C + c)
						}
					}
					t += v / float64(k*k)
					sum[r*n+i] = float32(t)
				}
			}
			s.channels, s.hues = append(s.channels, sum), append(s.hues, false)
		}
		if n := len(s.channels); im.C == 3 { // hues differ where a pattern's light varies
			for _, c := range []int{n - 3, n - 1} {
				hue := make([]float32, len(s.channels[c]))
				for i, v := range s.channels[c] {
					hue[i] = hueCounts * (v - s.channels[n-2][i])
				}
				s.channels, s.hues = append(s.channels, hue), append(s.hues, true)
			}
		}
	}
	return s
}

// score is how clearly light changes along a line: the largest over the channels of the
// median change across it, or in it, over its scatter, where most columns agree; times
// the square root of the change, so that a faint line is none.
func (s *columns) score(l seamLine) seamLine {
	shown := 0.0
	at := s.at[:0] // samples of the columns in which the line lies
	for i, dx := range s.dx {
		y := l.y + l.lean*dx + l.bow*s.bend(dx)
		r := int(math.Round((y - s.y0) / s.px))
		if r-s.side-s.blend >= 1 && r+s.side+s.blend < s.rows {
			at = append(at, [2]int{i, r})
		}
	}
	s.at = at
	if len(at) < s.n*9/10 {
		return l
	}
	for c, sum := range s.channels {
		for _, thin := range []bool{false, true} {
			d := s.buf[:0]
			for _, q := range at {
				i, r := q[0], q[1]
				mean := func(a, b int) float64 { return float64(sum[b*s.n+i]-sum[(a-1)*s.n+i]) / float64(b-a+1) }
				above, below := mean(r-s.side, r-s.blend), mean(r+s.blend, r+s.side)
				if thin {
					in := mean(r-1, r+1)
					// a line is darker or brighter than both sides
					lo, hi := min(above, below), max(above, below)
					switch {
					case in < lo:
						d = append(d, in-lo)
					case in > hi:
						d = append(d, in-hi)
					default:
						d = append(d, 0)
					}
				} else {
					d = append(d, below-above)
				}
			}
			s.buf = d
			pos, neg := 0, 0
			for _, v := range d {
				if v > 0 {
					pos++
				} else if v < 0 {
					neg++
				}
			}
			if float64(max(pos, neg)) < seamOneSign*float64(len(d)) {
				continue
			}
			q25, q50, q75 := robust.Nth(d, len(d)/4), robust.Nth(d, len(d)/2), robust.Nth(d, len(d)*3/4)
			if m := math.Abs(q50); m >= seamLeast {
				score := math.Sqrt(m) * m / (m/4 + (q75-q25)/1.349 + 1)
				l.score = max(l.score, score)
				if s.hues[c] {
					score *= hueSharp // where light itself changes the line is placed by that
				}
				if score > shown {
					shown, l.channel, l.thin, l.sign = score, c, thin, math.Copysign(1, q50)
				}
			}
		}
	}
	return l
}

// How far the seam is from straight across the picture before it is looked at, standard
// deviations: of its lean, as a slope, and of its bow, mm. Common practice, no source.
const (
	leanSD  = 0.02
	bowSDMM = 0.3
)

// settle places a line column by column, where within reach mm of it the change is steepest, and
// fits it to these places, far ones left out (Tukey's biweight).
func (s *columns) settle(l seamLine, reachMM float64) seamLine {
	const narrow = 3 // samples
	sum := s.channels[l.channel]
	reach := int(math.Round(reachMM / seamPixelMM))
	var at []float64
	var rows [][3]float64
	for i, dx := range s.dx {
		y := l.y + l.lean*dx + l.bow*s.bend(dx)
		mid := int(math.Round((y - s.y0) / s.px))
		best, where := 0.0, math.NaN()
		value := func(r int) float64 {
			mean := func(a, b int) float64 { return float64(sum[b*s.n+i]-sum[(a-1)*s.n+i]) / float64(b-a+1) }
			if l.thin {
				return l.sign * (mean(r, r) - (mean(r-narrow, r-2)+mean(r+2, r+narrow))/2)
			}
			return l.sign * (mean(r+1, r+narrow) - mean(r-narrow, r-1))
		}
		for r := mid - reach; r <= mid+reach; r++ {
			if r-narrow < 2 || r+narrow >= s.rows-1 {
				continue
			}
			if v := value(r); v > best {
				// between samples: the top of the parabola through three
				a, b := value(r-1), value(r+1)
				d := 0.0
				if den := a - 2*v + b; den < 0 {
					d = max(-0.5, min(0.5, (a-b)/(2*den)))
				}
				best, where = v, s.y0+(float64(r)+d)*s.px
			}
		}
		if where == where {
			at, rows = append(at, where), append(rows, [3]float64{1, dx, s.bend(dx)})
		}
	}
	if len(at) < s.n/2 {
		return l
	}
	mm := s.px / seamPixelMM // about a millimetre's pixels
	fit := []float64{l.y, l.lean, l.bow}
	prior := [3]float64{0, 1 / (leanSD * leanSD), 1 / math.Pow(bowSDMM*mm, 2)}
	off, dev := make([]float64, len(at)), make([]float64, len(at))
	for range 8 {
		for k, b := range rows {
			off[k] = at[k] - fit[0] - fit[1]*b[1] - fit[2]*b[2]
			dev[k] = math.Abs(off[k])
		}
		sd := max(1.4826*robust.Quantile(dev, 0.5), s.px/2)
		var a [3 * 4]float64
		for i, p := range prior {
			a[i*4+i] = p
		}
		for k, b := range rows {
			u := off[k] / (4.685 * sd)
			if math.Abs(u) >= 1 {
				continue
			}
			w := (1 - u*u) * (1 - u*u) / (sd * sd)
			for i := range 3 {
				for j := i; j < 3; j++ {
					a[i*4+j] += w * b[i] * b[j]
				}
				a[i*4+3] += w * b[i] * at[k]
			}
		}
		x := robust.Solve(a[:], 3)
		if x == nil {
			break
		}
		fit = x
	}
	l.y, l.lean, l.bow = fit[0], fit[1], fit[2]
	return l
}

// bend is the bow's share at a column.
func (s *columns) bend(dx float64) float64 { return math.Sqrt(max(0, 1-dx*dx/(s.half*s.half))) }
