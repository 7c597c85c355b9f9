package plots

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
)

// spread moves names that would overlap apart, in order of height.
func spread(names []sideName) []sideName {
	const gap = 17
	slices.SortStableFunc(names, func(a, b sideName) int { return cmp.Compare(a.at, b.at) })
	for range 50 {
		moved := false
		for i := 1; i < len(names); i++ {
			if d := gap - (names[i].y - names[i-1].y); d > 0.1 {
				names[i-1].y, names[i].y = names[i-1].y-d/2, names[i].y+d/2
				moved = true
			}
		}
		if !moved {
			break
		}
	}
	return names
}

// sortedMarks are the vertical lines from left to right.
func sortedMarks(marks []Mark) []Mark {
	out := slices.Clone(marks)
	slices.SortStableFunc(out, func(a, b Mark) int { return cmp.Compare(a.X, b.X) })
	return out
}

// categories puts words under the places 0, 1, ... of the x axis: level where
// they fit, else slanting, else only each second, third ...
func (f *frame) categories(names []string, n int) {
	n = max(n, len(names), 1)
	f.X.Min, f.X.Max = -0.5, float64(n)-0.5
	room := vg.Length(f.o.WidthMM*unitsPerMM-80) / vg.Length(n)
	labels := make([]string, n)
	wide := vg.Length(0)
	for i := range labels {
		if i < len(names) {
			labels[i] = shortened(clean(names[i]), 170)
		}
		wide = max(wide, textWidth(labels[i], tickSize))
	}
	every := 1
	if wide+10 > room {
		short := wide < 42 // numbers and letters: leaving some out is plain
		if short {
			every = int(math.Ceil(float64((wide + 10) / room)))
		} else {
			f.X.Tick.Label.Rotation = math.Pi / 5
			f.X.Tick.Label.XAlign, f.X.Tick.Label.YAlign = -1, -0.7
			every = max(1, int(math.Ceil(float64(26/room))))
		}
	}
	var ticks []plot.Tick
	for i := 0; i < n; i += every {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: labels[i]})
	}
	f.X.Tick.Marker = plot.ConstantTicks(ticks)
}
