package report

import (
	"fmt"
	"math"
	"path"
	"strings"

	"finishbench/internal/part"
)

// PageWidth is the usual width, in pixels, of the pictures that a page carries.
const PageWidth = 800

// PagePicture is an annotated picture as the page carries it.
type PagePicture struct {
	File       string // the picture's name, as in the Result
	Href       string // link to the full-size annotated picture; "" for none
	JPEG       []byte
	W, H       int  // pixels of the JPEG
	Brightened bool // shown brighter than taken
	Hatched    bool // where nothing was looked for
}

// AnnotatedName is the name of a picture's annotated file: the picture's own,
// with .jpg; a folder in the name becomes part of it.
func AnnotatedName(file string) string {
	slashes := strings.ReplaceAll(file, "\\", "/")
	name := strings.TrimSuffix(slashes, path.Ext(path.Base(slashes)))
	return strings.ReplaceAll(name, "/", "_") + ".jpg"
}

// MakePagePicture shrinks a picture to at most width pixels, lifts its dark
// tones where the unit is hard to see, draws what [Annotate] draws, and encodes
// it. Href is set to annotated/ and [AnnotatedName]; change it where the file
// lies elsewhere.
func MakePagePicture(im *part.Image, ov Overlay, r *part.Result, width int) (PagePicture, error) {
	if err := im.Validate(); err != nil {
		return PagePicture{}, fmt.Errorf("report: picture %s for the page: %w", ov.File, err)
	}
	if width < 1 {
		return PagePicture{}, fmt.Errorf("report: picture %s for the page: width %d", ov.File, width)
	}
	src := im
	if im.Pix8 == nil {
		src = rgb8(im)
	}
	p, err := drawnPicture(src, src != im, ov, r, width, drawing{letters: 1.4}) // shown smaller still on the page
	if err != nil {
		return PagePicture{}, fmt.Errorf("report: picture %s for the page: %w", ov.File, err)
	}
	return p, nil
}

// drawnPicture shrinks an 8-bit picture to at most width, lifts it, and draws into
// it: into a copy, unless it is ours to draw into. The scale of d is set here.
func drawnPicture(src *part.Image, ours bool, ov Overlay, r *part.Result, width int, d drawing) (PagePicture, error) {
	d.scale = 1
	if src.W > width {
		d.scale = float64(width) / float64(src.W)
		var err error
		if src, err = shrink(src, width, max(1, int(float64(src.H)*d.scale+0.5))); err != nil {
			return PagePicture{}, err
		}
		ours = true
	}
	if src.C != 3 || !ours {
		src = rgb8(src)
	}
	lifted := brighten(src)
	annotate(src, ov, r, d)
	jpeg, err := EncodeJPEG(src, 80)
	if err != nil {
		return PagePicture{}, err
	}
	return PagePicture{File: ov.File, Href: "annotated/" + AnnotatedName(ov.File), JPEG: jpeg, W: src.W, H: src.H, Brightened: lifted, Hatched: ov.Unseen != nil}, nil
}

// brighten brightens an 8-bit picture whose lit part is dark, by a power law that
// brings the lit part's mean to a middle tone, and says whether it did. Black
// stays black and white stays white.
func brighten(im *part.Image) bool {
	const dark, aim = 14, 110.0
	sum, n := 0, 0
	for i := 1; i < len(im.Pix8); i += 3 * 7 { // every seventh pixel's green
		if v := im.Pix8[i]; v > dark {
			sum += int(v)
			n++
		}
	}
	if n < len(im.Pix8)/(3*7*50) || n == 0 {
		return false // nothing lit to speak of
	}
	mean := float64(sum) / float64(n)
	if mean > 90 {
		return false
	}
	g := max(math.Log(aim/255)/math.Log(mean/255), 0.45)
	var t [256]uint8
	for i := range t {
		t[i] = uint8(255*math.Pow(float64(i)/255, g) + 0.5)
	}
	for i, v := range im.Pix8 {
		im.Pix8[i] = t[v]
	}
	return true
}
