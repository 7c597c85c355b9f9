package stripes

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Wedge measures a screen's own light curve from pictures of it, or of what mirrors it, each
// under one grey all over the screen. First the black and the white step, which tell where in
// the picture the screen is seen, then all, in any order. What is measured is screen and camera
// together: a tone curve that the camera adds passes for the screen's, and phases want just that product.
type Wedge struct {
	w, h, channels, bin int
	lit                 []int     // blocks in which the screen is seen
	black, white        []float64 // light of these blocks, sum over the channels
	steps               []CurveStep
}

// CurveStep is one picture of a wedge.
type CurveStep struct {
	Level  int     `json:"level"`            // that the screen showed, 0..255
	Light  float64 `json:"light"`            // against the white step, black taken off
	Fitted float64 `json:"fitted,omitempty"` // of the curve, at that level
}

// What a wedge is held against (common practice, no source).
const (
	wedgeBlocks  = 64    // along the longer side of the picture
	wedgeLit     = 0.5   // of the best block's light: the screen is seen
	wedgeFewest  = 16    // blocks in which it must be seen
	wedgeDark    = 0.03  // linear light of white over black that is too little
	wedgeFull    = 0.2   // share of the lit blocks that may hold a clipped sample; they are left out
	wedgeOther   = 0.5   // light of the black step over the white one's, above which other lamps are on
	wedgeUneven  = 0.06  // half the spread of the blocks about a step's light
	wedgeLevels  = 7     // different greys at least, and
	wedgeEnds    = 10    // levels by which the darkest and the lightest may miss black and white
	wedgeAgain   = 0.02  // share by which a grey shown again may differ
	wedgeBack    = 0.004 // of white by which a lighter grey may look darker
	wedgeFloor   = 0.1   // of white
	wedgeMisfit  = 0.012 // of white, root mean square about the curve
	wedgeRobust  = 6     // rounds in which steps that are far off lose their weight
	wedgeFar     = 10.0  // standard deviations of the others by which a step is left out,
	wedgeOut     = 2     // and of ten so many at most
	wedgeMinU    = 0.002 // standard uncertainty of gamma that no wedge is better than
	leastGamma   = 1.5   // screens are made for 1.8 to 2.6
	mostGamma    = 3.2
	wedgeRounds  = 30
	wedgeTooWide = 0.1 // standard uncertainty of gamma
)

// NewWedge finds where the screen is seen.
func NewWedge(black, white *part.Image) (*Wedge, error) {
	for _, im := range []*part.Image{black, white} {
		if err := im.Validate(); err != nil {
			return nil, fmt.Errorf("stripes: %w", err)
		}
	}
	w := &Wedge{w: white.W, h: white.H, channels: white.C, bin: max(1, max(white.W, white.H)/wedgeBlocks)}
	if !w.fits(black) {
		return nil, errOtherSize
	}
	b, _ := w.blocks(black)
	l, full := w.blocks(white)
	over := make([]float64, len(l))
	for i := range l {
		over[i] = l[i] - b[i]
	}
	best := robust.Quantile(over, 0.98)
	if best/float64(w.channels) < wedgeDark {
		return nil, fmt.Errorf("stripes: between the black and the white step there is only %.1f %% of full light; see that the screen is seen in the picture and is white in the white step, and expose longer, all steps alike", max(0, 100*best/float64(w.channels)))
	}
	clipped := 0
	for i, v := range over {
		switch {
		case v < wedgeLit*best:
		case full[i]:
			clipped++
		default:
			w.lit, w.black, w.white = append(w.lit, i), append(w.black, b[i]), append(w.white, l[i])
		}
	}
	if float64(clipped) > wedgeFull*float64(clipped+len(w.lit)) {
		return nil, fmt.Errorf("stripes: %.0f %% of the white step is clipped; expose shorter, all steps alike",
			100*float64(clipped)/float64(clipped+len(w.lit)))
	}
	if len(w.lit) < wedgeFewest {
		return nil, fmt.Errorf("stripes: the screen is seen in %d of %d parts of the picture only; let it fill more of it", len(w.lit),
			len(l))
	}
	if share := sum(w.black) / sum(w.white); share > wedgeOther {
		return nil, fmt.Errorf("stripes: with the screen black there is still %.0f %% of the light of the white step; put out the other lamps", 100*share)
	}
	return w, nil
}

var errOtherSize = errors.New("stripes: the pictures are of unlike size or colours; take all with one camera, moved and set by nobody meanwhile")

func (w *Wedge) fits(im *part.Image) bool { return im.W == w.w && im.H == w.h && im.C == w.channels }

// blocks are the mean linear light of a picture's blocks, summed over the channels, and which hold clipped samples.
func (w *Wedge) blocks(im *part.Image) (light []float64, full []bool) {
	cols, rows := w.w/w.bin, w.h/w.bin
	light, full = make([]float64, cols*rows), make([]bool, cols*rows)
	share := slices.Repeat([]float32{1}, im.C)
	line, clip := make([]float32, cols*w.bin), make([]bool, cols*w.bin)
	for y := range rows * w.bin {
		clear(clip)
		lightRow(line, clip, im, 0, y, share)
		for x, v := range line {
			i := y/w.bin*cols + x/w.bin
			light[i] += float64(v) / float64(w.bin*w.bin)
			full[i] = full[i] || clip[x]
		}
	}
	return light, full
}

// Add takes the picture of one step; black and white count as well, and a level may come again.
func (w *Wedge) Add(level int, im *part.Image) error {
	if level < 0 || level > 255 {
		return fmt.Errorf("stripes: a screen shows levels of 0 to 255, not %d", level)
	}
	if err := im.Validate(); err != nil {
		return fmt.Errorf("stripes: level %d: %w", level, err)
	}
	if !w.fits(im) {
		return errOtherSize
	}
	light, _ := w.blocks(im)
	share := make([]float64, len(w.lit))
	step, all := 0.0, 0.0
	for k, i := range w.lit {
		d := w.white[k] - w.black[k]
		share[k] = (light[i] - w.black[k]) / d
		step, all = step+light[i]-w.black[k], all+d
	}
	if spread := (robust.Quantile(share, 0.9) - robust.Quantile(share, 0.1)) / 2; spread > wedgeUneven {
		return fmt.Errorf("stripes: level %d is not one grey: its parts differ by %.0f %% of white; see that the screen is grey all over, that no shadow or lamp came in and nothing moved, and expose longer if it is noise", level, 100*spread)
	}
	w.steps = append(w.steps, CurveStep{Level: level, Light: step / all})
	return nil
}

// Fit fits light = offset + gain (level/255)^gamma to the steps by least squares. A step far off what the others say is
// left out and told of. Standard uncertainties are the scatter's about the curve (JCGM 100, 4.2), widened by Student's t so
// that 2 u holds 95 % (G.3.2). When and from what is left to fill in.
func (w *Wedge) Fit() (Curve, error) {
	steps := slices.Clone(w.steps)
	slices.SortStableFunc(steps, func(a, b CurveStep) int { return a.Level - b.Level })
	again, err := wholeWedge(steps)
	if err != nil {
		return Curve{}, err
	}
	c := Curve{Schema: FileSchema, Kind: KindCurve}
	f, _, err := c.fit(steps, wedgeRobust)
	if err != nil {
		return Curve{}, err
	}
	usual := 1.4826 * robust.Quantile(f.off, 0.5)
	for i, s := range steps {
		if f.off[i] > wedgeFar*usual && math.Abs(s.Light-s.Fitted) > wedgeBack {
			c.warn(part.Say("stripes.warn.level", "level", strconv.Itoa(s.Level), "percent", fmt.Sprintf("%.1f", 100*(s.Light-s.Fitted))))
			continue
		}
		c.Steps = append(c.Steps, s)
	}
	if len(c.Warnings) > wedgeOut*len(steps)/10 {
		return Curve{}, fmt.Errorf("stripes: %d of %d steps do not follow the others; set the camera's exposure by hand and the screen to its full brightness, put out its night mode, and take the steps again", len(c.Warnings), len(steps))
	}
	f, gain, err := c.fit(c.Steps, 1)
	if err != nil {
		return Curve{}, err
	}
	all, ss, dof := 0.0, 0.0, float64(len(c.Steps)-3)
	for i, s := range c.Steps {
		all, ss = all+(s.Light-s.Fitted)*(s.Light-s.Fitted), ss+f.off[i]*f.off[i]
	}
	if c.Residual = math.Sqrt(all/dof) / gain; c.Residual > wedgeMisfit {
		return Curve{}, fmt.Errorf("stripes: the steps lie %.1f %% of white about their curve; set the camera's exposure by hand and the screen to its full brightness, put out its night mode and other lamps, and take the steps again", 100*c.Residual)
	}
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(f.normal) || chol.InverseTo(&inv) != nil {
		return Curve{}, errors.New("stripes: the steps do not tell the curve; show more of them, from black to white")
	}
	wide := math.Sqrt(ss/dof) * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(0.975) / 2
	c.UGamma, c.UOffset = max(wide*math.Sqrt(inv.At(2, 2)), wedgeMinU), wide*math.Sqrt(inv.At(0, 0))/gain
	c.Offset = c.Offset/gain + w.stray()
	if c.UGamma > wedgeTooWide {
		return Curve{}, fmt.Errorf("stripes: gamma would be known to %.2f only; show more steps, and expose longer", 2*c.UGamma)
	}
	if !again {
		c.warn(part.Say("stripes.warn.once"))
	}
	return c, nil
}

// fit fits steps in some rounds, see fitRobust, and notes offset, gamma and each step's light by the curve.
func (c *Curve) fit(steps []CurveStep, rounds int) (f robustFit, gain float64, err error) {
	c.Gamma, gain = 2.2, 1
	// Light that flickers does so in proportion, and the dark has its noise: what is off is told against this.
	y, unit := make([]float64, len(steps)), make([]float64, len(steps))
	for i, s := range steps {
		unit[i] = wedgeFloor + max(0, s.Light)
		y[i] = s.Light / unit[i]
	}
	for range wedgeRounds { // Newton's, on gamma
		rows := make([][]float64, len(steps))
		for i, s := range steps {
			p, ln := 0.0, 0.0
			if s.Level > 0 {
				p, ln = math.Pow(float64(s.Level)/255, c.Gamma), math.Log(float64(s.Level)/255)
			}
			rows[i] = []float64{1 / unit[i], p / unit[i], gain * p * ln / unit[i]}
		}
		if f = fitRobust(rows, y, nil, 1, rounds, 0); !f.ok {
			return f, gain, errors.New("stripes: no curve fits the steps; see that each picture is named by the level that the screen showed, and take them again")
		}
		c.Offset, gain = f.a[0], f.a[1]
		move := min(max(f.a[2], -0.3), 0.3)
		if c.Gamma += move; !(c.Gamma > 0.1 && c.Gamma < 10) || math.Abs(move) < 1e-9 {
			break
		}
	}
	if !(gain > 0) || !(c.Gamma >= leastGamma && c.Gamma <= mostGamma) {
		return f, gain, fmt.Errorf("stripes: the light would follow the level's power of %.2f, and screens are made for 1.8 to 2.6; set the camera's exposure, gain and white balance by hand, put out the screen's night mode and its own dimming, and take the steps again", c.Gamma)
	}
	for i := range steps {
		steps[i].Fitted = c.Offset + gain*math.Pow(float64(steps[i].Level)/255, c.Gamma)
	}
	return f, gain, nil
}

// stray is the black step's light over what white adds to it.
func (w *Wedge) stray() float64 {
	b := sum(w.black)
	return b / (sum(w.white) - b)
}

// wholeWedge says why steps, sorted by level, are no wedge, and whether one was shown again.
func wholeWedge(steps []CurveStep) (again bool, err error) {
	var first []CurveStep // of each level
	for _, s := range steps {
		if n := len(first); n == 0 || first[n-1].Level != s.Level {
			first = append(first, s)
			continue
		}
		again = true
		a := first[len(first)-1].Light
		if d := math.Abs(s.Light - a); d > wedgeAgain*math.Abs(a)+wedgeBack {
			return again, fmt.Errorf("stripes: level %d, shown again, has %.1f %% of white instead of %.1f %%: the screen dims or warms up by itself, or the camera sets itself; put that out, wait a quarter of an hour, and take the steps again", s.Level, 100*s.Light, 100*a)
		}
	}
	if n := len(first); n < wedgeLevels || first[0].Level > wedgeEnds || first[n-1].Level < 255-wedgeEnds {
		return again, fmt.Errorf("stripes: %d different greys make no wedge; show %d or more, from 0 to 255", n, wedgeLevels)
	}
	for i := 1; i < len(first); i++ {
		if a, b := first[i-1], first[i]; b.Light < a.Light-wedgeBack {
			return again, fmt.Errorf("stripes: level %d looks darker than level %d (%.1f and %.1f %% of white); see that the pictures are named by the level that was shown, that the camera's exposure is set by hand and that the screen does not dim by itself", b.Level, a.Level, 100*b.Light, 100*a.Light)
		}
	}
	return again, nil
}

func sum(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s
}

// PhaseErrorRad is by how much at most stripes that were drawn for one screen and shown on another turn the
// phase, radians: drawn gives the level, 0..1, for a light, shown the light of a level. Light that is no cosine any more is
//
//	a0 + a1 cos(phi) + a2 cos(2 phi) + a3 cos(3 phi) + ...
//
// and pictures at 0, 90, 180 and 270 degrees give (I0 - I2)/2 = a1 cos(phi) + a3 cos(3 phi) + ... and (I3 - I1)/2 =
// a1 sin(phi) - a3 sin(3 phi) + ...: even harmonics drop out, and the phase is off by -(a3 - a5)/a1 sin(4 phi) to first
// order. With 0, 90 and 180 degrees alone, (I0 + I2)/2 - I1 in the sine's place, the second comes in as well: 2 a2/a1
// cos(phi) cos(2 phi) - a3/a1 sin(4 phi). Where a screen of gamma g times the one that was drawn for shows stripes of full
// contrast, its light is cos(phi/2)^(2 g), of which a2/a1 = (g - 1)/(g + 2) and a3/a2 = (g - 2)/(g + 3).
func PhaseErrorRad(drawn, shown func(float64) float64, contrast float64) (four, three float64) {
	const n = 720
	var a [6]float64
	for k := range n {
		phi := 2 * math.Pi * float64(k) / n
		light := shown(drawn(0.5 + 0.5*contrast*math.Cos(phi)))
		for h := 1; h < len(a); h++ {
			a[h] += 2 * light * math.Cos(float64(h)*phi) / n
		}
	}
	for k := range n {
		phi := 2 * math.Pi * float64(k) / n
		e := -(a[3] - a[5]) / a[1] * math.Sin(4*phi)
		four = max(four, math.Abs(e))
		three = max(three, math.Abs(e+2*a[2]/a[1]*math.Cos(phi)*math.Cos(2*phi)))
	}
	return four, three
}
