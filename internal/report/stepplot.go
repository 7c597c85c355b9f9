package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// stepStationsAround returns the stations in order around the seam.
func stepStationsAround(r *part.Result) []*part.StepStation {
	out := make([]*part.StepStation, len(r.Seam.Stations))
	for i := range r.Seam.Stations {
		out[i] = &r.Seam.Stations[i]
	}
	slices.SortStableFunc(out, func(a, b *part.StepStation) int {
		switch d := a.AroundDeg() - b.AroundDeg(); {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	return out
}

// beyond says whether a station's step is over a limit: +1 proud, -1 recessed,
// 0 within or not measured. Limits are sizes in micrometres; one that is not
// above 0 is no limit.
func beyond(s *part.StepStation, proudUM, recessedUM float64) int {
	switch {
	case s.State != part.Measured || s.StepUM == nil:
		return 0
	case proudUM > 0 && *s.StepUM > proudUM:
		return 1
	case recessedUM > 0 && *s.StepUM < -recessedUM:
		return -1
	}
	return 0
}

// plot maps angle and micrometres to the drawing's units.
type plot struct {
	lo, hi, tick float64 // micrometres
	words        words
}

const (
	plotW, plotH                                  = 900.0, 380.0
	plotLeft, plotRight, plotTop, plotBot         = 70.0, 112.0, 26.0, 52.0
	plotInnerW                                    = plotW - plotLeft - plotRight
	plotInnerH                                    = plotH - plotTop - plotBot
	plotLo, plotHi                        float64 = -12, 360 // degrees shown
)

func (p plot) x(deg float64) float64 { return plotLeft + (deg-plotLo)/(plotHi-plotLo)*plotInnerW }
func (p plot) y(um float64) float64 {
	return plotTop + (p.hi-min(max(um, p.lo), p.hi))/(p.hi-p.lo)*plotInnerH
}

// stepPlot draws the step around the seam: angle against micrometres, the
// limits as dashed lines with the ground beyond them hatched, a bar of plus and
// minus twice the standard uncertainty at each station, and the curve fitted to all of them as a broad line behind. A station within the
// limits is a dot, one that is proud beyond its limit a triangle pointing up,
// one recessed beyond it a triangle pointing down, one not measured a cross on
// the axis. See [part.StepStation.AroundDeg] for the angle. Limits are sizes in micrometres (> 0);
// 0 or NaN where there is none. It returns nothing where there are no stations.
func (x words) stepPlot(r *part.Result, proudUM, recessedUM float64) template.HTML {
	st := stepStationsAround(r)
	if len(st) == 0 {
		return ""
	}
	p := newPlot(st, proudUM, recessedUM)
	p.words = x
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot" viewBox="0 0 %g %g" role="img" aria-labelledby="plot-title plot-desc">`, plotW, plotH)
	fmt.Fprintf(&b, `<title id="plot-title">%s</title><desc id="plot-desc">%s</desc>`,
		template.HTMLEscapeString(x.T("page.step_head")), template.HTMLEscapeString(x.plotDescription(st, proudUM, recessedUM)))
	b.WriteString(`<defs><pattern id="plot-hatch" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M0 0V8"/></pattern></defs>`)
	p.grid(&b)
	p.limits(&b, proudUM, recessedUM)
	p.shape(&b, r.Seam.Shape)
	p.curve(&b, st)
	for _, s := range st {
		p.stepStation(&b, s, beyond(s, proudUM, recessedUM))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

// newPlot chooses a range that holds stations and limits, and its ticks.
func newPlot(st []*part.StepStation, proudUM, recessedUM float64) plot {
	lo, hi := -10.0, 10.0
	if proudUM > 0 {
		hi = max(hi, proudUM*1.2)
	}
	if recessedUM > 0 {
		lo = min(lo, -recessedUM*1.2)
	}
	for _, s := range st {
		if s.State != part.Measured || s.StepUM == nil {
			continue
		}
		u := 0.0
		if s.UUM != nil {
			u = min(2**s.UUM, 500)
		}
		lo, hi = min(lo, (*s.StepUM-u)*1.08), max(hi, (*s.StepUM+u)*1.08)
	}
	tick := 1.0
	for _, t := range []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000, 5000, 1e4, 1e5, 1e6} {
		if (hi-lo)/tick <= 9 {
			break
		}
		tick = t
	}
	return plot{lo: math.Floor(lo/tick) * tick, hi: math.Ceil(hi/tick) * tick, tick: tick}
}

func (p plot) grid(b *strings.Builder) {
	for k := math.Ceil(p.lo / p.tick); k*p.tick <= p.hi; k++ {
		class := "grid"
		if k == 0 {
			class = "zero"
		}
		y := p.y(k * p.tick)
		fmt.Fprintf(b, `<path class="%s" d="M%g %.1fH%g"/>`, class, plotLeft, y, plotW-plotRight)
		sign := ""
		if k > 0 {
			sign = "+"
		}
		fmt.Fprintf(b, `<text class="tick" x="%g" y="%.1f" text-anchor="end">%s%s</text>`, plotLeft-8, y+5, sign, trimNumber(k*p.tick, 1))
	}
	for a := 0.0; a <= 330; a += 30 {
		fmt.Fprintf(b, `<path class="grid" d="M%.1f %g V%g"/>`, p.x(a), plotH-plotBot, plotH-plotBot+6)
		fmt.Fprintf(b, `<text class="tick" x="%.1f" y="%g" text-anchor="middle">%g°</text>`, p.x(a), plotH-plotBot+22, a)
	}
	fmt.Fprintf(b, `<text class="axis" x="%g" y="%g" text-anchor="middle">%s</text>`, plotLeft+plotInnerW/2, plotH-8, template.HTMLEscapeString(p.words.T("page.plot.x")))
	fmt.Fprintf(b, `<text class="axis" x="8" y="16">%s</text>`, template.HTMLEscapeString(p.words.T("page.plot.y")))
}

func (p plot) limits(b *strings.Builder, proudUM, recessedUM float64) {
	if proudUM > 0 {
		y := p.y(proudUM)
		fmt.Fprintf(b, `<rect fill="url(#plot-hatch)" x="%g" y="%g" width="%g" height="%.1f"/>`, plotLeft, plotTop, plotInnerW, y-plotTop)
		fmt.Fprintf(b, `<path class="limit" d="M%g %.1fH%g"/>`, plotLeft, y, plotW-plotRight)
		fmt.Fprintf(b, `<text class="limit-word" x="%g" y="%.1f">%s<tspan x="%g" dy="17">+%s µm</tspan></text>`, plotW-plotRight+8, y-3, template.HTMLEscapeString(p.words.T("page.plot.proud")), plotW-plotRight+8, trimNumber(proudUM, 1))
	}
	if recessedUM > 0 {
		y := p.y(-recessedUM)
		fmt.Fprintf(b, `<rect fill="url(#plot-hatch)" x="%g" y="%.1f" width="%g" height="%.1f"/>`, plotLeft, y, plotInnerW, plotH-plotBot-y)
		fmt.Fprintf(b, `<path class="limit" d="M%g %.1fH%g"/>`, plotLeft, y, plotW-plotRight)
		fmt.Fprintf(b, `<text class="limit-word" x="%g" y="%.1f">%s<tspan x="%g" dy="17">−%s µm</tspan></text>`, plotW-plotRight+8, y-3, template.HTMLEscapeString(p.words.T("page.plot.recessed")), plotW-plotRight+8, trimNumber(recessedUM, 1))
	}
}

// shape draws the curve that was fitted to the steps.
func (p plot) shape(b *strings.Builder, s *part.SeamShape) {
	if math.IsNaN(s.Step(0)) {
		return
	}
	for a := 0.0; a <= 360; a += 5 {
		cmd := "L"
		if a == 0 {
			cmd = `<path class="shape" d="M`
		}
		fmt.Fprintf(b, "%s%.1f %.1f", cmd, p.x(a), p.y(s.Step(a)))
	}
	b.WriteString(`"/>`)
}

// curve joins neighbours that were both measured.
func (p plot) curve(b *strings.Builder, st []*part.StepStation) {
	var d strings.Builder
	pen := false
	for _, s := range st {
		if s.State != part.Measured || s.StepUM == nil {
			pen = false
			continue
		}
		cmd := "L"
		if !pen {
			cmd = "M"
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", cmd, p.x(s.AroundDeg()), p.y(*s.StepUM))
		pen = true
	}
	if d.Len() > 0 {
		fmt.Fprintf(b, `<path class="curve" d="%s"/>`, d.String())
	}
}

func (p plot) stepStation(b *strings.Builder, s *part.StepStation, over int) {
	x := p.x(s.AroundDeg())
	if s.State != part.Measured || s.StepUM == nil {
		y := p.y(0)
		fmt.Fprintf(b, `<path class="missing" d="M%.1f %.1fl14 14m0 -14l-14 14"/>`, x-7, y-7)
		fmt.Fprintf(b, `<text class="mark-word" x="%.1f" y="%.1f" text-anchor="middle">?</text>`, x, y-12)
		return
	}
	y := p.y(*s.StepUM)
	if s.UUM != nil {
		top, bot := p.y(*s.StepUM+2**s.UUM), p.y(*s.StepUM-2**s.UUM)
		fmt.Fprintf(b, `<path class="bar" d="M%.1f %.1fV%.1fM%.1f %.1fh10M%.1f %.1fh10"/>`, x, top, bot, x-5, top, x-5, bot)
	}
	switch over {
	case 1:
		fmt.Fprintf(b, `<path class="over" d="M%.1f %.1fl10 17h-20z"/>`, x, y-11)
	case -1:
		fmt.Fprintf(b, `<path class="over" d="M%.1f %.1fl10 -17h-20z"/>`, x, y+11)
	default:
		fmt.Fprintf(b, `<circle class="dot" cx="%.1f" cy="%.1f" r="6.5"/>`, x, y)
		return
	}
	dy := -18.0
	if y-plotTop < 30 {
		dy = 28
	} else if over < 0 {
		dy = 30
		if plotH-plotBot-y < 36 {
			dy = -18
		}
	}
	fmt.Fprintf(b, `<text class="mark-word" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, y+dy, minus(fmt.Sprintf("%+.0f", *s.StepUM)))
}

// plotDescription says in words what the plot shows.
func (x words) plotDescription(st []*part.StepStation, proudUM, recessedUM float64) string {
	measured, over := 0, 0
	var lo, hi *part.StepStation
	for _, s := range st {
		if s.State != part.Measured || s.StepUM == nil {
			continue
		}
		measured++
		if beyond(s, proudUM, recessedUM) != 0 {
			over++
		}
		if lo == nil || *s.StepUM < *lo.StepUM {
			lo = s
		}
		if hi == nil || *s.StepUM > *hi.StepUM {
			hi = s
		}
	}
	if measured == 0 {
		return x.T("page.plot.none")
	}
	return x.T("page.plot.summary", "measured", strconv.Itoa(measured), "of", strconv.Itoa(len(st)), "from_um", signedUM(lo.StepUM), "from_deg", trimNumber(lo.AroundDeg(), 1),
		"to_um", signedUM(hi.StepUM), "to_deg", trimNumber(hi.AroundDeg(), 1), "over", strconv.Itoa(over))
}
