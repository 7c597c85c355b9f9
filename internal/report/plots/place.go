package plots

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
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

// categories puts names under the places 0, 1, ... of the x axis.
func (f *frame) categories(names []string, n int) {
	f.ncats = max(n, len(names), 1)
	f.X.Min, f.X.Max = -0.5, float64(f.ncats)-0.5
	f.cats = make([]string, f.ncats)
	for i := range min(len(names), len(f.cats)) {
		f.cats[i] = clean(names[i])
	}
}

// placeCategories writes the names of categories level where they fit, else on
// up to three lines, else slanting, else only each second, third ... of them; w
// is the width of plot and y axis.
func (f *frame) placeCategories(w vg.Length) {
	if f.ncats == 0 {
		return
	}
	const axis, narrow = 60, 36 // about the y axis' width, and where its numbers have one digit
	room := max(w-axis-14, 20) / vg.Length(f.ncats)
	labels, every := f.cats, 1
	widest := widestOf(labels)
	switch folded, ok := foldAll(labels, room-16); {
	case widest+8 <= room:
	case widest < 42: // numbers and letters: that some are left out is plain
		every = int(math.Ceil(float64((widest + 8) / room)))
	case ok:
		labels = folded
	default:
		f.X.Tick.Label.Rotation = slant
		f.X.Tick.Label.XAlign, f.X.Tick.Label.YAlign = draw.XRight, draw.YTop
		labels = make([]string, len(f.cats))
		for i := range labels {
			labels[i] = shortened(f.cats[i], 190)
			f.left = max(f.left, textWidth(labels[i], tickSize)*vg.Length(math.Cos(slant))-narrow+12-(vg.Length(i)+0.5)*room)
		}
		every = max(1, int(math.Ceil(float64(28/room))))
	}
	var ticks []plot.Tick
	for i := 0; i < len(labels); i += every {
		ticks = append(ticks, plot.Tick{Value: float64(i), Label: labels[i]})
	}
	f.X.Tick.Marker = plot.ConstantTicks(ticks)
}

// slant is the angle of names that do not fit level.
const slant = math.Pi / 5

func widestOf(labels []string) vg.Length {
	w := vg.Length(0)
	for _, l := range labels {
		w = max(w, textWidth(l, tickSize))
	}
	return w
}

// foldAll breaks texts at spaces into at most three lines of width w; false
// where one does not fit.
func foldAll(labels []string, w vg.Length) ([]string, bool) {
	out := make([]string, len(labels))
	for i, l := range labels {
		var lines []string
		for _, word := range strings.Fields(l) {
			if textWidth(word, tickSize) > w {
				return nil, false
			}
			if k := len(lines) - 1; k >= 0 && textWidth(lines[k]+" "+word, tickSize) <= w {
				lines[k] += " " + word
				continue
			}
			lines = append(lines, word)
		}
		if len(lines) > 3 {
			return nil, false
		}
		out[i] = strings.Join(lines, "\n")
	}
	return out, true
}
