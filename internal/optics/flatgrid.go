package optics

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// SampleOf is sample i of an image of either depth.
func SampleOf(im *part.Image, i int) int {
	if im.Pix16 != nil {
		return int(im.Pix16[i])
	}
	return int(im.Pix8[i])
}

// meanLight is the mean of the pictures' channel c in linear light.
func meanLight(all []Named, c int, o FlatFieldOptions) *part.Plane {
	im := all[0].Image
	p := part.NewPlane(im.W, im.H)
	for _, n := range all {
		t := o.linearTable(n.Image)
		for i := range p.V {
			p.V[i] += t[SampleOf(n.Image, i*im.C+c)] / float32(len(all))
		}
	}
	return p
}

// takeDark sets the dark level and counts hot pixels: those that stand out in
// the mean dark frame by 2 % of full light and by ten times its scatter.
func (f *FlatField) takeDark(dark []Named, o FlatFieldOptions) error {
	if len(dark) == 0 {
		return nil
	}
	for c := range f.Channels {
		p := meanLight(dark, c, o)
		mean, ss := 0.0, 0.0
		for _, v := range p.V {
			mean += float64(v) / float64(len(p.V))
		}
		for _, v := range p.V {
			ss += (float64(v) - mean) * (float64(v) - mean)
		}
		if mean > 0.2 {
			return lang.Error(part.Say("optics.dark_lit", "file", dark[0].Name, "level_percent", fmt.Sprintf("%.0f", 100*mean)))
		}
		limit := mean + max(0.02, 10*math.Sqrt(ss/float64(len(p.V))))
		for _, v := range p.V {
			if float64(v) > limit {
				f.HotPixels++
			}
		}
		f.Dark = append(f.Dark, mean)
	}
	return nil
}

// cell is the pixels from x0 to x1-1 and y0 to y1-1 of node (c, r).
func (f *FlatField) cell(c, r int) (x0, y0, x1, y1 int) {
	return c * f.WidthPX / f.Cols, r * f.HeightPX / f.Rows, (c + 1) * f.WidthPX / f.Cols, (r + 1) * f.HeightPX / f.Rows
}

// addChannel adds a channel's grid from its mean picture.
func (f *FlatField) addChannel(p *part.Plane) {
	g := make([]float64, f.Cols*f.Rows)
	var v []float64
	mean := 0.0
	for r := range f.Rows {
		for c := range f.Cols {
			x0, y0, x1, y1 := f.cell(c, r)
			v = v[:0]
			for y := y0; y < y1; y++ {
				for x := x0; x < x1; x++ {
					v = append(v, float64(p.At(x, y)))
				}
			}
			g[r*f.Cols+c] = nearMedian(v)
			mean += g[r*f.Cols+c] / float64(len(g))
		}
	}
	f.LevelPct = append(f.LevelPct, 100*mean)
	if mean > 0 {
		for i := range g {
			g[i] /= mean
		}
	}
	f.Light = append(f.Light, g)
}

// nearMedian is the mean of the values within three robust standard deviations
// (1.4826 MAD) of the median, and at least 2 % of it. The mean, as samples come in
// steps that a median would keep.
func nearMedian(v []float64) float64 {
	m := robust.Nth(v, len(v)/2)
	off := make([]float64, len(v))
	for i, x := range v {
		off[i] = math.Abs(x - m)
	}
	reach := max(3*1.4826*robust.Nth(off, len(off)/2), 0.02*math.Abs(m))
	sum, n := 0.0, 0
	for _, x := range v {
		if math.Abs(x-m) <= reach {
			sum, n = sum+x, n+1
		}
	}
	return sum / float64(n)
}

// check looks whether this was an even card, and collects spots of dust.
func (f *FlatField) check(white []Named, o FlatFieldOptions) error {
	least, most, at := math.Inf(1), 0.0, 0
	key := 0 // the channel that is looked at: green
	if f.Channels == 3 {
		key = 1
	}
	for i, v := range f.Light[key] {
		most = max(most, v)
		if v < least {
			least, at = v, i
		}
	}
	for _, g := range f.Light {
		if slices.Min(g) <= 0 {
			least, most = 0, 1
		}
	}
	if least < o.LeastCell*most {
		x0, y0, x1, y1 := f.cell(at%f.Cols, at/f.Cols)
		return lang.Error(part.Say("optics.card_small", "x_px", strconv.Itoa((x0+x1)/2), "y_px", strconv.Itoa((y0+y1)/2),
			"least_percent", fmt.Sprintf("%.0f", 100*o.LeastCell)))
	}
	f.UnevenPct = 100 * (most - least) / most
	mean := meanLight(white, key, o)
	off := f.residual(mean, key)
	ss, far := 0.0, 0
	for _, v := range off.V {
		ss += float64(v) * float64(v)
		if math.Abs(float64(v)) > 0.1 {
			far++
		}
	}
	f.ResidualPct = 100 * math.Sqrt(ss/float64(len(off.V)))
	if share := float64(far) / float64(len(off.V)); share > o.MostOff {
		return lang.Error(part.Say("optics.card_uneven", "share_percent", fmt.Sprintf("%.0f", 100*share)))
	}
	f.findSpots(white, off, key, o)
	return nil
}

// residual is how far each pixel lies off the grid, as a share of its light there.
func (f *FlatField) residual(p *part.Plane, c int) *part.Plane {
	out := part.NewPlane(p.W, p.H)
	row := make([]float32, p.W)
	dark := float32(0)
	if len(f.Dark) > 0 {
		dark = float32(f.Dark[c])
	}
	level := float32(f.LevelPct[c] / 100)
	for y := range p.H {
		f.light(c, y, row)
		for x := range p.W {
			out.V[y*p.W+x] = (p.At(x, y)-dark)/(row[x]*level) - 1
		}
	}
	return out
}

// describe sets the figures for people and the warnings.
func (f *FlatField) describe(pictures int, o FlatFieldOptions) {
	v, g := f.fallOff()
	f.VignettePct, f.GradientPct = part.Num(v), part.Num(g)
	add := func(p part.Phrase) {
		f.Warnings, f.WarningPhrases = append(f.Warnings, lang.English().Say(&p)), append(f.WarningPhrases, p)
	}
	if len(f.Dark) == 0 {
		add(part.Say("optics.no_dark"))
	}
	if pictures == 1 {
		add(part.Say("optics.one_picture"))
	}
	if n := len(f.Spots); n > 0 && pictures > 1 {
		add(part.Say("optics.spots_stay", "n", strconv.Itoa(n)))
	}
	if f.HotPixels > 0 {
		add(part.Say("optics.hot_pixels", "n", strconv.Itoa(f.HotPixels)))
	}
	if m := slices.Max(f.LevelPct); m < 25 {
		add(part.Say("optics.dim_card", "level_percent", fmt.Sprintf("%.0f", m)))
	}
}

// fallOff fits light = a + b r^2 + c r^4 + d x + e y to the key channel's nodes,
// r being 1 in the corners and x, y -1 to 1, and gives what of it is lost in the
// corners, and the change along the slope from border to border, % of the middle.
func (f *FlatField) fallOff() (vignette, gradient float64) {
	g := f.Light[len(f.Light)/2]
	// The nodes lie evenly about the middle, so that x and y are at right angles to
	// the rest: each has its own quotient.
	var m [3][4]float64
	var sx, sxx, sy, syy float64
	diag := math.Hypot(float64(f.WidthPX), float64(f.HeightPX)) / 2
	for i, v := range g {
		x := (float64(i%f.Cols)+0.5)/float64(f.Cols)*2 - 1
		y := (float64(i/f.Cols)+0.5)/float64(f.Rows)*2 - 1
		q := math.Pow(math.Hypot(x*float64(f.WidthPX)/2, y*float64(f.HeightPX)/2)/diag, 2)
		b := [4]float64{1, q, q * q, v}
		for j := range 3 {
			for k := range 4 {
				m[j][k] += b[j] * b[k]
			}
		}
		sx, sxx, sy, syy = sx+x*v, sxx+x*x, sy+y*v, syy+y*y
	}
	det := func(a, b, c int) float64 {
		return m[0][a]*(m[1][b]*m[2][c]-m[1][c]*m[2][b]) - m[0][b]*(m[1][a]*m[2][c]-m[1][c]*m[2][a]) +
			m[0][c]*(m[1][a]*m[2][b]-m[1][b]*m[2][a])
	}
	d := det(0, 1, 2)
	if math.Abs(d) < 1e-9 || f.Cols*f.Rows < 9 {
		return math.NaN(), math.NaN()
	}
	middle, q1, q2 := det(3, 1, 2)/d, det(0, 3, 2)/d, det(0, 1, 3)/d
	return -100 * (q1 + q2) / middle, 100 * 2 * math.Hypot(sx/sxx, sy/syy) / middle
}

// light is channel c's share of light along row y, for each x.
func (f *FlatField) light(c, y int, dst []float32) {
	g := f.Light[c]
	r, wy := node(y, f.HeightPX, f.Rows)
	at := func(k int) float64 {
		i := r*f.Cols + k
		return wy[0]*g[i] + wy[1]*g[i+f.Cols] + wy[2]*g[i+2*f.Cols]
	}
	var v [3]float64
	have := -1
	for x := range dst {
		k, w := node(x, f.WidthPX, f.Cols)
		if k != have {
			v, have = [3]float64{at(k), at(k + 1), at(k + 2)}, k
		}
		dst[x] = float32(max(leastLight, w[0]*v[0]+w[1]*v[1]+w[2]*v[2]))
	}
}

// leastLight keeps a gain from growing without end beyond the outer nodes of a
// file with an odd grid; a tenth of what a real one may hold (LeastCell).
const leastLight = 0.01

// node is the first of three nodes that tell the light at pixel x of n, and
// their weights: straight lines between nodes, a parabola beyond the outer ones,
// where a line would miss a lens's fall-off.
func node(x, n, nodes int) (int, [3]float64) {
	t := (float64(x)+0.5)/float64(n)*float64(nodes) - 0.5
	last := float64(nodes - 1)
	switch {
	case t < 0:
		return 0, [3]float64{(t - 1) * (t - 2) / 2, t * (2 - t), t * (t - 1) / 2}
	case t > last:
		t = last - t
		return nodes - 3, [3]float64{t * (t - 1) / 2, t * (2 - t), (t - 1) * (t - 2) / 2}
	}
	k := min(int(t), nodes-2)
	d := t - float64(k)
	if k == nodes-2 {
		return k - 1, [3]float64{0, 1 - d, d}
	}
	return k, [3]float64{1 - d, d, 0}
}

// Gain is what linear light at (x, y), dark taken off, is to be multiplied with,
// by channel; of a grey camera all three are the same. The mean light of each
// channel stays, and with it the colour balance.
func (f *FlatField) Gain(x, y int) (r, g, b float64) {
	k, wx := node(x, f.WidthPX, f.Cols)
	m, wy := node(y, f.HeightPX, f.Rows)
	var v [3]float64
	for c := range f.Channels {
		sum := 0.0
		for j := range 3 {
			for i := range 3 {
				sum += wy[j] * wx[i] * f.Light[c][(m+j)*f.Cols+k+i]
			}
		}
		v[c] = 1 / max(leastLight, sum)
	}
	if f.Channels == 1 {
		return v[0], v[0], v[0]
	}
	return v[0], v[1], v[2]
}

// GainRow puts channel c's gains along row y into dst, one for each x; dst has
// WidthPX places.
func (f *FlatField) GainRow(c, y int, dst []float32) {
	f.light(c, y, dst)
	for x, v := range dst {
		dst[x] = 1 / v
	}
}

// Fits says why a picture cannot be corrected by f: another size or other
// channels; nil where it can.
func (f *FlatField) Fits(im *part.Image) error {
	if err := im.Validate(); err != nil {
		return err
	}
	if im.W != f.WidthPX || im.H != f.HeightPX || im.C != f.Channels {
		return lang.Error(part.Say("optics.flat_misfit", "width_px", strconv.Itoa(im.W), "height_px", strconv.Itoa(im.H),
			"channels", strconv.Itoa(im.C), "flat_width_px", strconv.Itoa(f.WidthPX), "flat_height_px", strconv.Itoa(f.HeightPX),
			"flat_channels", strconv.Itoa(f.Channels)))
	}
	return nil
}

// Linear returns channel c of a picture in linear light, dark taken off and
// evened. Values may pass 1 a little in the corners; a clipped sample gives 1 at
// least, so that it still is told as clipped.
func (f *FlatField) Linear(im *part.Image, c int) (*part.Plane, error) {
	if err := f.Fits(im); err != nil {
		return nil, err
	}
	if c < 0 || c >= im.C {
		return nil, fmt.Errorf("optics: channel %d of an image with %d", c, im.C)
	}
	p := part.NewPlane(im.W, im.H)
	t := SamplesToLight(im, f.Encoding == "linear")
	top := im.MaxSample()
	dark := f.dark(c)
	gain := make([]float32, im.W)
	for y := range im.H {
		f.GainRow(c, y, gain)
		for x := range im.W {
			s := SampleOf(im, (y*im.W+x)*im.C+c)
			v := (t[s] - dark) * gain[x]
			if s >= top {
				v = max(v, 1)
			}
			p.V[y*im.W+x] = v
		}
	}
	return p, nil
}

func (f *FlatField) dark(c int) float32 {
	if len(f.Dark) == 0 {
		return 0
	}
	return float32(f.Dark[c])
}

// Apply returns the picture corrected: coded as it was, with as many bits.
// Clipped samples stay clipped; others never become so, and where the gain
// carries them too far they end one step below. Judge the exposure on the picture
// as it was taken.
func (f *FlatField) Apply(im *part.Image) (*part.Image, error) {
	if err := f.Fits(im); err != nil {
		return nil, err
	}
	out := &part.Image{W: im.W, H: im.H, C: im.C}
	if im.Pix16 != nil {
		out.Pix16 = make([]uint16, len(im.Pix16))
	} else {
		out.Pix8 = make([]uint8, len(im.Pix8))
	}
	t := SamplesToLight(im, f.Encoding == "linear")
	encode := lightToSamples(im.MaxSample(), f.Encoding == "linear")
	top := im.MaxSample()
	gain := make([]float32, im.W)
	for c := range im.C {
		dark := f.dark(c)
		for y := range im.H {
			f.GainRow(c, y, gain)
			for x := range im.W {
				i := (y*im.W+x)*im.C + c
				s := SampleOf(im, i)
				if s < top {
					s = min(encode((t[s]-dark)*gain[x]), top-1)
				}
				if out.Pix16 != nil {
					out.Pix16[i] = uint16(s)
				} else {
					out.Pix8[i] = uint8(s)
				}
			}
		}
	}
	return out, nil
}

// lightToSamples is the inverse of SamplesToLight, to the nearest sample.
func lightToSamples(top int, linear bool) func(float32) int {
	if linear {
		return func(v float32) int { return int(min(max(v, 0), 1)*float32(top) + 0.5) }
	}
	// Straight lines between 65537 places are good to 2e-5 of full at the dark end.
	const n = 1 << 16
	t := make([]float32, n+1)
	for i := range t {
		t[i] = float32(LinearToSRGB(float64(i)/n)) * float32(top)
	}
	return func(v float32) int {
		x := min(max(v, 0), 1) * n
		i := min(int(x), n-1)
		return int(t[i] + (x-float32(i))*(t[i+1]-t[i]) + 0.5)
	}
}
