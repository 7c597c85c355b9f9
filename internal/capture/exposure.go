package capture

import (
	"finishbench/internal/capture/outline"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// exposure is what the unit's and the panel's pixels say of the light.
type exposure struct {
	clipped      float64 // share of the unit's pixels with a channel at full scale
	inner        float64 // the same away from the rim
	unit         float64 // linear light that the brightest tenth of the unit reaches, brightest channel
	panel        float64 // linear light of the background's median, brightest channel
	panelClipped float64 // share of the background's samples at full scale
}

// fullScale is the least sample that counts as clipped: JPEG rings by a level,
// and 12-bit cameras end a little below 65535.
func fullScale(im *part.Image) int {
	if im.Pix16 != nil {
		return 65200
	}
	return 254
}

// lookAtLight looks at one sample in four, and two pixels of each.
func lookAtLight(im *part.Image, s *outline.Silhouette, grid *coarse) exposure {
	full := fullScale(im)
	depth := max(2, grid.w/20) // steps from the rim that count as rim
	var unitHist, panelHist [256]int
	var n, hot, inner, innerHot int
	inset := grid.distance(outline.Unit, outline.Unit)
	q := s.Step / 4
	for p, kind := range grid.kind {
		if kind != outline.Unit && kind != outline.Background {
			continue
		}
		i, j := 2*(p%grid.w), 2*(p/grid.w)
		v := s.Brightest(i, j)
		if kind == outline.Background {
			panelHist[v]++
			continue
		}
		unitHist[v]++
		// The outermost sample mixes with the panel.
		d := int(inset[p])
		if d < 2 {
			continue
		}
		for _, o := range [2]int{q, s.Step - 1 - q} {
			// The sample is the mean of four pixels, these two among them: under a
			// quarter of full scale none can be full.
			yes := v >= 63 && anyFull(im, ((j*s.Step+o)*im.W+i*s.Step+o)*im.C, full)
			n++
			if yes {
				hot++
			}
			if d > depth {
				inner++
				if yes {
					innerHot++
				}
			}
		}
	}
	e := exposure{unit: linearOf(histQuantile(&unitHist, 0.9)), panel: linearOf(histQuantile(&panelHist, 0.5))}
	seen, bright := 0, 0
	for v, k := range panelHist {
		seen += k
		if v >= 254 {
			bright += k
		}
	}
	if seen > 0 {
		e.panelClipped = float64(bright) / float64(seen)
	}
	if n > 0 {
		e.clipped = float64(hot) / float64(n)
	}
	if inner > 0 {
		e.inner = float64(innerHot) / float64(inner)
	}
	return e
}

func linearOf(level int) float64 { return float64(optics.Linear8()[level]) }

func anyFull(im *part.Image, at, full int) bool {
	for c := range im.C {
		if im.Pix16 != nil && int(im.Pix16[at+c]) >= full || im.Pix8 != nil && int(im.Pix8[at+c]) >= full {
			return true
		}
	}
	return false
}

// histQuantile is the level below which a share p of the counts lies.
func histQuantile(h *[256]int, p float64) int {
	n := 0
	for _, k := range h {
		n += k
	}
	seen := 0
	for v, k := range h {
		if seen += k; float64(seen) > p*float64(n) {
			return v
		}
	}
	return 255
}

// coarse is every second sample of a silhouette, each way.
type coarse struct {
	w, h int
	kind []outline.Kind
}

func newCoarse(s *outline.Silhouette) *coarse {
	w, h := s.Size()
	c := &coarse{w: w / 2, h: h / 2}
	c.kind = make([]outline.Kind, 0, c.w*c.h)
	for j := range c.h {
		for i := range c.w {
			c.kind = append(c.kind, s.At(2*i, 2*j))
		}
	}
	return c
}

// distance counts steps of two samples up, down, left and right from each place
// where the kind is a or b to the nearest one where it is neither, at most 255; 0
// for those themselves. What lies beyond the frame counts as far away. Two
// passes.
func (c *coarse) distance(a, b outline.Kind) []uint8 {
	w, h := c.w, c.h
	d := make([]uint8, w*h)
	for j := range h {
		for i := range w {
			p := j*w + i
			if k := c.kind[p]; k != a && k != b {
				continue
			}
			n := uint8(254)
			if j > 0 {
				n = min(n, d[p-w])
			}
			if i > 0 {
				n = min(n, d[p-1])
			}
			d[p] = n + 1
		}
	}
	for j := h - 1; j >= 0; j-- {
		for i := w - 1; i >= 0; i-- {
			p := j*w + i
			n := d[p]
			if n == 0 {
				continue
			}
			if j < h-1 {
				n = min(n, min(d[p+w], 254)+1)
			}
			if i < w-1 {
				n = min(n, min(d[p+1], 254)+1)
			}
			d[p] = n
		}
	}
	return d
}

// lookAll is lookAtLight for a picture that is surface all over, one pixel in
// sixteen.
func lookAll(im *part.Image) exposure {
	full := fullScale(im)
	var hist [256]int
	n, hot := 0, 0
	for y := 0; y < im.H; y += 4 {
		for x := 0; x < im.W; x += 4 {
			at := (y*im.W + x) * im.C
			n++
			if anyFull(im, at, full) {
				hot++
			}
			v := 0
			for c := range im.C {
				if im.Pix16 != nil {
					v = max(v, int(im.Pix16[at+c]>>8))
				} else {
					v = max(v, int(im.Pix8[at+c]))
				}
			}
			hist[v]++
		}
	}
	share := float64(hot) / float64(n)
	return exposure{clipped: share, inner: share, unit: linearOf(histQuantile(&hist, 0.9))}
}
