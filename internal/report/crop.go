package report

import (
	"fmt"
	"image"
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/report/palette"
)

const (
	cropSide  = 240 // pixels of a crop's picture on the page
	cropStrip = 30  // and of the strip below it, with the scale bar
	cropLimit = 40  // findings that get a crop; beyond, the pictures must do
)

// Crop is the enlarged detail of one finding in one picture, as a JPEG file.
type Crop struct {
	Number    int    // the finding's
	File      string // the picture's
	JPEG      []byte
	W, H      int     // pixels of the JPEG
	BarMM     float64 // length of the scale bar, millimetres; 0: the scale is not known
	Stretched bool    // contrast was raised
}

// MakeCrop cuts finding f out of the picture im, named file, enlarges it to a
// readable size, raises its contrast where it is dark or flat, and adds a scale
// bar in a strip below. Only the corners of the box are marked, outside it.
// mmPerPX is the picture's scale; 0 where it is not known.
func MakeCrop(im *part.Image, file string, f part.Finding, mmPerPX float64) (Crop, error) {
	if err := im.Validate(); err != nil {
		return Crop{}, fmt.Errorf("report: crop of finding %d in %s: %w", f.Number, file, err)
	}
	b, ok := boxIn(&f, file)
	if !ok {
		return Crop{}, fmt.Errorf("report: crop of finding %d: it is not in %s", f.Number, file)
	}
	if b, ok = within(b, im.W, im.H); !ok {
		return Crop{}, fmt.Errorf("report: crop of finding %d: its box lies outside %s", f.Number, file)
	}
	area := cropArea(b, im.W, im.H, mmPerPX)
	small := cut(im, area)
	stretched := stretch(small)
	k := float64(cropSide) / float64(max(area.Dx(), area.Dy()))
	w, h := max(1, int(float64(area.Dx())*k+0.5)), max(1, int(float64(area.Dy())*k+0.5))
	big, err := resize(small, w, h)
	if err != nil {
		return Crop{}, fmt.Errorf("report: crop of finding %d in %s: %w", f.Number, file, err)
	}
	out := &part.Image{W: cropSide, H: h + cropStrip, C: 3, Pix8: make([]uint8, 3*cropSide*(h+cropStrip))}
	for i := range out.Pix8 {
		out.Pix8[i] = 255
	}
	x0 := (cropSide - w) / 2
	for y := 0; y < h; y++ {
		copy(out.Pix8[(y*cropSide+x0)*3:(y*cropSide+x0+w)*3], big.Pix8[y*w*3:(y+1)*w*3])
	}
	c := &canvas{w: out.W, h: out.H, pix: out.Pix8}
	rel := part.Box{b[0] - float64(area.Min.X), b[1] - float64(area.Min.Y), b[2], b[3]}
	rel = scaled(rel, k)
	rel[0] += float64(x0)
	c.keep = []image.Rectangle{pixels(rel), image.Rect(0, h, out.W, out.H)}
	corners(c, rel.Grow(6))
	c.keep = nil
	bar, err := scaleStrip(c, h, mmPerPX, k)
	if err != nil {
		return Crop{}, err
	}
	jpeg, err := EncodeJPEG(out, 85)
	if err != nil {
		return Crop{}, fmt.Errorf("report: crop of finding %d in %s: %w", f.Number, file, err)
	}
	return Crop{Number: f.Number, File: file, JPEG: jpeg, W: out.W, H: out.H, BarMM: bar, Stretched: stretched}, nil
}

// MakeCrops makes the crops of a result's findings in all pictures that show
// them, the worst forty findings where there are more, in order of number.
// picture returns a picture by file name, or nil where it is not at hand. A
// finding whose box lies outside its picture gets none.
func MakeCrops(r *part.Result, picture func(file string) *part.Image) ([]Crop, error) {
	order := make([]*part.Finding, len(r.Findings))
	for i := range r.Findings {
		order[i] = &r.Findings[i]
	}
	slices.SortStableFunc(order, func(a, b *part.Finding) int { return b.Severity.Rank() - a.Severity.Rank() })
	order = order[:min(len(order), cropLimit)]
	slices.SortStableFunc(order, func(a, b *part.Finding) int { return a.Number - b.Number })
	var out []Crop
	for _, f := range order {
		for _, file := range filesOf(f) {
			im := picture(file)
			if im == nil {
				continue
			}
			b, _ := boxIn(f, file)
			if _, ok := within(b, im.W, im.H); !ok {
				continue
			}
			c, err := MakeCrop(im, file, *f, r.ScaleOf(file))
			if err != nil {
				return nil, err
			}
			out = append(out, c)
		}
	}
	return out, nil
}

// filesOf lists the pictures that show a finding, the best first, each once.
func filesOf(f *part.Finding) []string {
	out := []string{f.Image}
	for _, s := range f.AlsoIn {
		if !slices.Contains(out, s.Image) {
			out = append(out, s.Image)
		}
	}
	return out
}

// cropArea is a square around the box with its surroundings, at least 0.6 mm or
// 40 pixels wide, moved (or cut) into the picture.
func cropArea(b part.Box, w, h int, mmPerPX float64) image.Rectangle {
	side := max(1.7*max(b[2], b[3]), 40)
	if mmPerPX > 0 {
		side = max(side, min(0.6/mmPerPX, 400))
	}
	n := int(math.Ceil(side))
	c := b.Centre()
	frame := image.Rect(0, 0, w, h)
	r := image.Rect(0, 0, n, n).Add(image.Pt(int(math.Round(c.X))-n/2, int(math.Round(c.Y))-n/2))
	return into(r, frame).Intersect(frame)
}

// stretch spreads the brightness of a small 8-bit RGB picture over the range
// where it uses little of it, up to four times, and says whether it did. All
// channels get the same change, so that hues stay.
func stretch(im *part.Image) bool {
	var hist [256]int
	for _, v := range im.Pix8 {
		hist[v]++
	}
	lo, hi := percentile(&hist, 0.005), percentile(&hist, 0.998)
	gain := 235 / math.Max(float64(hi-lo), 1)
	if gain < 1.25 {
		return false
	}
	gain = min(gain, 4)
	mid := float64(lo+hi) / 2
	var t [256]uint8
	for i := range t {
		t[i] = uint8(min(max(127.5+gain*(float64(i)-mid), 0), 255))
	}
	for i, v := range im.Pix8 {
		im.Pix8[i] = t[v]
	}
	return true
}

// percentile is the value below which the share p of a histogram lies.
func percentile(hist *[256]int, p float64) int {
	n := 0
	for _, v := range hist {
		n += v
	}
	sum := 0
	for i, v := range hist {
		if sum += v; float64(sum) > p*float64(n) {
			return i
		}
	}
	return 255
}

// corners draws four angles around an area.
func corners(c *canvas, b part.Box) {
	x0, y0, x1, y1 := b[0], b[1], b[0]+b[2], b[1]+b[3]
	d := min(18, 0.35*min(b[2], b[3]))
	c.cased([][]part.Point{
		pts(x0+d, y0, x0, y0, x0, y0+d), pts(x1-d, y0, x1, y0, x1, y0+d),
		pts(x0+d, y1, x0, y1, x0, y1-d), pts(x1-d, y1, x1, y1, x1, y1-d),
	}, 1, 1.2, palette.White)
}

// scaleStrip draws the scale bar below a crop and returns its length in mm.
func scaleStrip(c *canvas, top int, mmPerPX, k float64) (float64, error) {
	l, err := newLettering(17)
	if err != nil {
		return 0, err
	}
	mm, px := roundBar(mmPerPX, k, 0.3*cropSide)
	text := mmText(mm)
	if px == 0 {
		px, mm = roundBarPixels(k)
		text = fmt.Sprintf("%g px", mm)
		mm = 0
	}
	y, x := top+cropStrip/2, 8
	c.fill(image.Rect(x, y-1, x+int(px+0.5), y+2), palette.Ink, 1)
	c.fill(image.Rect(x, y-6, x+3, y+7), palette.Ink, 1)
	c.fill(image.Rect(x+int(px+0.5)-3, y-6, x+int(px+0.5), y+7), palette.Ink, 1)
	l.write(c, x+int(px+0.5)+10, y+l.ascent/2, text, palette.Ink)
	return mm, nil
}

// roundBarPixels is a round number of source pixels and its length on a crop.
func roundBarPixels(k float64) (length, n float64) {
	n, length = roundBar(1, k, 0.3*cropSide)
	return length, n
}
