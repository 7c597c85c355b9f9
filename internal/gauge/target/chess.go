package target

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// chessboard finds a chessboard. The corners are searched by OpenCV, by its
// sector finder first, which is fast and asks for no light border: for the board
// asked for, then for any board, which finds some that the first misses (1 of
// OpenCV's 13 sample pictures); then by its quad finder. Both only say roughly where corners are; they are measured by
// [saddle]. Over those 13 pictures the root mean square about a calibration was
// 0.38 px with the quad finder's corners, 0.26 with the sector finder's, 0.20
// after OpenCV's cornerSubPix with a half window of 5 px (0.39 with 11, which
// takes in other corners where squares are small), 0.16 with saddle.
func (s *scene) chessboard() (Found, error) {
	cols, rows := s.spec.Cols, s.spec.Rows
	shrink := (max(s.p.W, s.p.H) + searchSide - 1) / searchSide
	small := shrunk(s.p, shrink)
	corners, _, _, err := searchCorners(small, cols, rows, sectorFinder, false)
	if err != nil {
		return Found{}, err
	}
	if corners == nil {
		seen, err := s.searchPart()
		if err != nil {
			return Found{}, err
		}
		if seen.clean && seen.cols == cols && seen.rows == rows {
			return seen.found, nil
		}
		if seen.clean && (seen.cols > cols || seen.rows > rows || s.boardCut(seen.corners, seen.cols, seen.rows)) {
			return s.partOfBoard(seen) // the quad finder takes seconds to find nothing
		}
		shrink = (max(s.p.W, s.p.H) + quadSide - 1) / quadSide
		if corners, _, _, err = searchCorners(shrunk(s.p, shrink), cols, rows, quadFinder, false); err != nil {
			return Found{}, err
		}
		if corners == nil {
			return s.partOfBoard(seen)
		}
	}
	for i := range corners {
		corners[i] = part.Point{X: unshrink(corners[i].X, shrink), Y: unshrink(corners[i].Y, shrink)}
	}
	f, err := s.measureCorners(corners, cols, rows)
	if err != nil {
		return f, err
	}
	if c, r, ok := s.larger(); ok {
		f.Partial = true
		return f, s.tooLarge(c, r)
	}
	return f, nil
}

func (s *scene) tooLarge(cols, rows int) *Problem {
	return s.problem(part.Say("target.board_size", "cols", strconv.Itoa(cols), "rows", strconv.Itoa(rows)), part.Say("target.do.corners"))
}

// larger says whether the board has more corners than asked for, each a clean
// crossing, so that only a part of it was found.
func (s *scene) larger() (cols, rows int, ok bool) {
	shrink := (max(s.p.W, s.p.H) + partSide - 1) / partSide
	corners, c, r, err := searchCorners(shrunk(s.p, shrink), s.spec.Cols, s.spec.Rows, sectorFinder, true)
	if err != nil || corners == nil || c*r <= s.spec.Cols*s.spec.Rows {
		return 0, 0, false
	}
	for i := range corners {
		corners[i] = part.Point{X: unshrink(corners[i].X, shrink), Y: unshrink(corners[i].Y, shrink)}
	}
	f, err := s.measureCorners(corners, c, r)
	return c, r, err == nil && float64(len(f.View.Marks)) > cleanShare*float64(c*r)
}

// measureCorners measures corners that were found roughly.
func (s *scene) measureCorners(rough []part.Point, cols, rows int) (Found, error) {
	f := Found{View: optics.View{Name: s.name, W: s.p.W, H: s.p.H}, Expected: s.spec.Cols * s.spec.Rows, BlurPX: math.NaN(),
		DiameterPX: math.NaN(), UDiameterPX: math.NaN()}
	rough = asHeld(rough, cols, rows)
	step := make([][2]vec, len(rough))
	var pitch []float64
	for i := range rough {
		step[i] = [2]vec{stepAt(rough, i, i%cols, cols, 1), stepAt(rough, i, i/cols, rows, cols)}
		pitch = append(pitch, step[i][0].len(), step[i][1].len())
	}
	if p := robust.Quantile(pitch, 0.5); p < leastPitch {
		f.Partial = true
		return f, s.problem(part.Say("target.small_squares", "width_px", fmt.Sprintf("%.1f", p)), part.Say("target.do.larger_board"))
	}
	got := make([]corner, len(rough))
	fine := make([]bool, len(rough))
	parallel(len(rough), func(i int) {
		u, v := step[i][0], step[i][1]
		got[i], fine[i] = saddle(s.p, rough[i], u, v, cornerRadius(u, v))
	})
	var blur []float64
	lost := 0
	for i, c := range got {
		if !fine[i] {
			lost++
			continue
		}
		blur = append(blur, c.blur)
		f.View.Marks = append(f.View.Marks, optics.Mark{Col: i % cols, Row: i / cols, XMM: float64(i%cols) * s.spec.PitchMM,
			YMM: float64(i/cols) * s.spec.PitchMM, XPX: c.x, YPX: c.y, UPX: c.u})
	}
	f.BlurPX = robust.Quantile(blur, 0.5)
	if lost > 0 {
		f.Partial = true
		f.Notes = append(f.Notes, part.Say("target.lost_corners", "n", strconv.Itoa(lost)))
	}
	if float64(len(f.View.Marks)) < leastFill*float64(len(rough)) {
		p := s.problem(part.Say("target.part_corners", "n", strconv.Itoa(len(f.View.Marks)), "of", strconv.Itoa(len(rough))),
			part.Say("target.do.whole_board"))
		p.Part = true
		return f, p
	}
	return f, nil
}

// Share of the way to the next edge that a corner's pixels reach, and limits,
// px. Common practice, no source: beyond the upper limit a lens's bending of
// the edges matters more than noise.
const (
	cornerShare   = 0.45
	cornerNearest = 2.8
	cornerFarest  = 14.0
)

// cornerRadius is how far around a corner pixels are used: inside the next
// edges, which run along the two ways.
func cornerRadius(u, v vec) float64 {
	cross := math.Abs(u.x*v.y - u.y*v.x)
	height := cross / max(u.len(), v.len()) // the nearest parallel edge
	return min(max(cornerShare*height, cornerNearest), cornerFarest)
}

// stepAt is the way from one corner to the next along a line of n corners that
// are stride apart in the list; at is the corner's place in the line.
func stepAt(p []part.Point, i, at, n, stride int) vec {
	a, b := i, i
	if at > 0 {
		a -= stride
	}
	if at < n-1 {
		b += stride
	}
	k := float64((b - a) / stride)
	return vec{(p[b].X - p[a].X) / k, (p[b].Y - p[a].Y) / k}
}

// asHeld turns the corners' order by half a turn, or mirrors it, so that columns
// run most to the right and rows follow clockwise.
func asHeld(p []part.Point, cols, rows int) []part.Point {
	out := make([]part.Point, len(p))
	copy(out, p)
	first, right, down := p[0], p[cols-1], p[(rows-1)*cols]
	u, v := vec{right.X - first.X, right.Y - first.Y}, vec{down.X - first.X, down.Y - first.Y}
	if u.x*v.y-u.y*v.x < 0 { // mirrored numbering: rows the other way
		for i := range out {
			out[i] = p[(rows-1-i/cols)*cols+i%cols]
		}
		v = vec{-v.x, -v.y}
	}
	if u.x/u.len()+v.y/v.len() < 0 {
		for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
			out[i], out[j] = out[j], out[i]
		}
	}
	return out
}

// quadSide is the longest side of the picture that the quad finder gets, px: on
// a large picture of a board that is cut off it takes a minute.
const quadSide = 640

// partSide is the longest side of the picture in which a part of a board is
// searched, px: that search is slow, and need not be fine.
const partSide = 800

// boardPart is what is seen of a board of unknown size.
type boardPart struct {
	corners    []part.Point // none: nothing is seen
	cols, rows int
	found      Found
	clean      bool // most of the corners are clean crossings
}

// nearMisses are how many corners a board may differ from what was asked for, by
// a miscount or a side cut off, and be searched for as such.
var nearMisses = [][2]int{{-1, 0}, {0, -1}, {-1, -1}, {1, 0}, {0, 1}, {1, 1}, {-2, 0}, {0, -2}}

// searchPart looks for any board of 3 x 3 corners or more, and where little of
// one is seen, for boards of nearly the size asked for.
func (s *scene) searchPart() (boardPart, error) {
	const least = 3
	shrink := (max(s.p.W, s.p.H) + partSide - 1) / partSide
	small := shrunk(s.p, shrink)
	corners, c, r, err := searchCorners(small, least, least, sectorFinder, true)
	if err != nil || corners == nil {
		return boardPart{}, err
	}
	for _, d := range nearMisses {
		if 2*c*r > s.spec.Cols*s.spec.Rows {
			break
		}
		cols, rows := s.spec.Cols+d[0], s.spec.Rows+d[1]
		if min(cols, rows) < least {
			continue
		}
		near, _, _, err := searchCorners(small, cols, rows, sectorFinder, false)
		if err != nil {
			return boardPart{}, err
		}
		if near != nil {
			corners, c, r = near, cols, rows
		}
	}
	for i := range corners {
		corners[i] = part.Point{X: unshrink(corners[i].X, shrink), Y: unshrink(corners[i].Y, shrink)}
	}
	if (c < r) != (s.spec.Cols < s.spec.Rows) && c != r { // a quarter turn
		turned := make([]part.Point, len(corners))
		for i := range turned {
			turned[i] = corners[i%r*c+i/r]
		}
		corners, c, r = turned, r, c
	}
	seen := boardPart{corners: corners, cols: c, rows: r}
	seen.found, err = s.measureCorners(corners, c, r)
	seen.clean = err == nil && float64(len(seen.found.View.Marks)) > cleanShare*float64(c*r)
	return seen, nil
}

// cleanShare is the share of a board's corners that must be clean crossings for
// its size to be believed. Common practice, no source.
const cleanShare = 0.95

// partOfBoard says what is seen of a board that is not seen whole.
func (s *scene) partOfBoard(seen boardPart) (Found, error) {
	if seen.corners == nil || !seen.clean { // what looked like corners is none
		return Found{}, s.problem(part.Say("target.not_found"), s.likelyCause(s.p))
	}
	corners, c, r, f := seen.corners, seen.cols, seen.rows, seen.found
	if c > s.spec.Cols || r > s.spec.Rows {
		return Found{}, s.tooLarge(c, r)
	}
	f.Partial = true
	p := s.problem(part.Say("target.part_board", "cols", strconv.Itoa(c), "rows", strconv.Itoa(r), "want_cols", strconv.Itoa(s.spec.Cols),
		"want_rows", strconv.Itoa(s.spec.Rows)), part.Phrase{})
	p.Part = true
	switch {
	case s.boardCut(corners, c, r):
		p.Do = part.Say("target.do.board_cut")
	case s.darkPart(s.p):
		p.Do = part.Say("target.do.dark")
	default:
		p.Do = part.Say("target.do.check_corners")
	}
	return f, p
}

// boardCut says whether the next corner beyond any side would be outside the
// picture or within half a square of its border.
func (s *scene) boardCut(p []part.Point, cols, rows int) bool {
	for i := range p {
		c, r := i%cols, i/cols
		if c > 0 && c < cols-1 && r > 0 && r < rows-1 {
			continue
		}
		u, v := stepAt(p, i, c, cols, 1).len(), stepAt(p, i, r, rows, cols).len()
		if min(p[i].X, p[i].Y, float64(s.p.W-1)-p[i].X, float64(s.p.H-1)-p[i].Y) < 1.6*max(u, v) {
			return true
		}
	}
	return false
}

// darkPart says whether even the picture's light parts are dark.
func (s *scene) darkPart(p *part.Plane) bool { return lightLevel(p, 0.95) < 0.03 }

// lightLevel is the light below which the share q of the pixels lies.
func lightLevel(p *part.Plane, q float64) float64 {
	v := make([]float64, 0, len(p.V)/7+1)
	for i := 0; i < len(p.V); i += 7 {
		v = append(v, float64(p.V[i]))
	}
	return robust.Quantile(v, q)
}

func (s *scene) likelyCause(p *part.Plane) part.Phrase {
	if s.darkPart(p) {
		return part.Say("target.do.dark")
	}
	return part.Say("target.do.board")
}
