// Package target finds a target of known size in a picture and measures where
// its marks are, to a few hundredths of a pixel: chessboards, grids of dots,
// rulers and graticules, discs and pins.
//
// The way of a picture:
//
//  1. brightness in linear light, all colours weighed together;
//  2. the search, in a picture shrunk to at most 1600 px: corners by OpenCV
//     (chess_cv.go, the one file that needs cgo); dots as round areas darker or
//     lighter than the light around them, joined to a lattice step by step
//     (blobs.go, lattice.go), numbered by columns and rows (assign.go);
//  3. the measurement in the full picture, by least squares over all pixels
//     around a mark: a dot's blurred rim (rim.go), a corner's two blurred edges
//     (saddle.go), a tick's two edges (ruler.go), a disc's rim or a pin's two
//     edges (disc.go);
//  4. for dots, the way from the middle of the ellipse to the picture of the
//     dot's own middle (warp.go).
//
// # Edges
//
// An edge is where linear light is half way between both sides' levels, as
// fitted next to each dot. Blur moves that place on a curved edge, which is
// taken off; a straight one keeps it. What is not taken off, because one picture
// cannot tell it: in bright field light creeps around an edge of a thick body
// (the pin looks narrower or wider by up to about the blur), print spreads on
// paper, and a camera's own tone curve or sharpening that is not undone by the
// sRGB curve shifts the half level. All of them change a diameter, and none a
// mark's middle.
//
// # Order and mirrors
//
// Columns run to the right and rows downwards as far as the target's shape
// leaves a choice; a plain grid and a chessboard may be held by half a turn
// without a trace. An asymmetric grid with an odd number of rows shows which way
// up it is; one with an even number of rows shows whether it is seen in a mirror,
// unless it has twice as many rows as columns.
// No other kind can tell a mirror: chessboards, plain grids, asymmetric grids
// with odd rows, rulers (their figures are not read) and discs.
//
// An asymmetric grid's pitch is that between dots of one row; odd rows, counted
// from 0, are half of it further right, and rows half of it apart.
package target
