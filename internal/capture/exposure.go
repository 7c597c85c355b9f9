package capture

import (
	"finishbench/internal/optics"
	"finishbench/internal/outline"
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

// lookAtLight samples two pixels of every second of the unit's blocks.
func lookAtLight(im *part.Image, s *outline.Silhouette) exposure {
	w, h := s.Size()
	full := fullScale(im)
	depth := max(2, w/20) // samples from the rim that count as rim
	var unitHist, panelHist [256]int
	var n, hot, inner, innerHot int
	inset := distance(s, func(k outline.Kind) bool { return k == outline.Unit })
	q := s.Step / 4
	for j := range h {
		for i := range w {
			kind := s.At(i, j)
			if kind != outline.Unit && kind != outline.Background {
				continue
			}
			v := 0.0
			for c := range im.C {
				v = max(v, s.Sample(i, j, c))
			}
			if kind == outline.Background {
				panelHist[uint8(v)]++
				continue
			}
			unitHist[uint8(v)]++
			// The outermost sample mixes with the panel.
			d := int(inset[j*w+i])
			if d < 2 {
				continue
			}
			if (i+j)&1 == 1 {
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

// distance counts steps up, down, left and right from each sample inside to the
// nearest one that is not, at most 255; 0 for those outside. What lies beyond
// the frame counts as far away. Two passes.
func distance(s *outline.Silhouette, inside func(outline.Kind) bool) []uint8 {
	w, h := s.Size()
	d := make([]uint8, w*h)
	for j := range h {
		for i := range w {
			if !inside(s.At(i, j)) {
				continue
			}
			n := uint8(254)
			if j > 0 {
				n = min(n, d[(j-1)*w+i])
			}
			if i > 0 {
				n = min(n, d[j*w+i-1])
			}
			d[j*w+i] = n + 1
		}
	}
	for j := h - 1; j >= 0; j-- {
		for i := w - 1; i >= 0; i-- {
			n := min(d[j*w+i], 254)
			if n == 0 {
				continue
			}
			if j < h-1 {
				n = min(n, min(d[(j+1)*w+i], 253)+1)
			}
			if i < w-1 {
				n = min(n, min(d[j*w+i+1], 253)+1)
			}
			d[j*w+i] = n
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
