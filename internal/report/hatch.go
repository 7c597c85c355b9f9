package report

import (
	"fmt"
	"html/template"
	"math"

	"finishbench/internal/report/palette"
)

// leastHoleMM is how wide a place in which nothing was looked for must be, each
// way, to be hatched: smaller ones hide nothing that matters. Common practice, no
// source.
const leastHoleMM = 0.3

// Unseen tells where in a picture nothing was looked for, as a grid: cell (x, y)
// covers the step x step full-resolution pixels from (x0+x*step, y0+y*step).
type Unseen struct {
	x0, y0, step, w, h int
	in                 []bool
}

// NewUnseen takes a grid, row by row, from the picture's corner on, and keeps what
// is large enough to be hatched; nil where nothing is, or where in does not fit.
// mmPerPX is the picture's scale; 0: not known, and all is kept.
func NewUnseen(step, w, h int, in []bool, mmPerPX float64) *Unseen {
	if step < 1 || w < 1 || h < 1 || len(in) != w*h {
		return nil
	}
	least := 1
	if mmPerPX > 0 {
		least = int(math.Ceil(leastHoleMM / (mmPerPX * float64(step))))
	}
	u := &Unseen{step: step, w: w, h: h, in: make([]bool, w*h)}
	keep := func(at, n, stride int, mark func(i int)) {
		for k, run := 0, 0; k <= n; k++ {
			if k < n && in[at+k*stride] {
				run++
				continue
			}
			if run >= least {
				for j := k - run; j < k; j++ {
					mark(at + j*stride)
				}
			}
			run = 0
		}
	}
	for y := range h {
		keep(y*w, w, 1, func(i int) { u.in[i] = true })
	}
	tall := make([]bool, w*h)
	for x := range w {
		keep(x, h, w, func(i int) { tall[i] = true })
	}
	any := false
	for i := range u.in {
		u.in[i] = u.in[i] && tall[i]
		any = any || u.in[i]
	}
	if !any {
		return nil
	}
	return u
}

// moved is the grid in the pixels of a cut that begins at x, y.
func (u *Unseen) moved(x, y int) *Unseen {
	if u == nil {
		return nil
	}
	m := *u
	m.x0, m.y0 = u.x0-x, u.y0-y
	return &m
}

// hatch draws thin diagonal dashes, each light with a dark side so that it shows on
// any ground, over what was not looked at: dashes, since sanding marks are lines.
// scale is the picture's size over full resolution.
func (u *Unseen) hatch(c *canvas, st style, scale float64) {
	if u == nil {
		return
	}
	period, thick := max(8, int(14*st.half)), max(1, int(0.8*st.half))
	// Column or row of the grid at a pixel of the picture.
	cells := func(n, from, most int) []int {
		out := make([]int, n)
		for i := range out {
			full := (float64(i)+0.5)/scale - float64(from)
			if k := int(math.Floor(full / float64(u.step))); k >= 0 && k < most {
				out[i] = k
			} else {
				out[i] = -1
			}
		}
		return out
	}
	cols, rows := cells(c.w, u.x0, u.w), cells(c.h, u.y0, u.h)
	for y, row := range rows {
		if row < 0 {
			continue
		}
		for x := (period - y%period) % period; x < c.w; x += period {
			if along := ((x-y)%(2*period) + 2*period) % (2 * period); 3*along >= 4*period {
				continue // between two dashes
			}
			if cols[x] < 0 || !u.in[row*u.w+cols[x]] {
				continue
			}
			for k := range min(2*thick, c.w-x) {
				switch {
				case inAny(c.keep, x+k, y): // a finding's box stays clear
				case k < thick:
					c.mix(x+k, y, palette.White, 0.45)
				default:
					c.mix(x+k, y, palette.Shadow, 0.35)
				}
			}
		}
	}
}

// hatchIcon is the hatching, as drawn in the pictures, on a dark ground.
func hatchIcon() template.HTML {
	return template.HTML(fmt.Sprintf(`<svg class="icon" viewBox="0 0 32 32" aria-hidden="true" focusable="false">`+
		`<rect width="32" height="32" rx="4" fill="%s"/><path d="M4 14L14 4M4 28L13 19M19 13L28 4M18 28L28 18" fill="none" stroke="%s" stroke-width="1.6"/></svg>`,
		palette.Hex(palette.Shadow), palette.Hex(palette.White)))
}
